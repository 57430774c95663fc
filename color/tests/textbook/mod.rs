//! CIEDE2000 as Sharma, Wu and Dalal print it (Color Res. Appl. 30 (2005) 21), with angles in
//! degrees and the system's trigonometry: what anyone would write from the paper. The yardstick
//! for values in tests and for time in benches.

use color::Lab;

pub(crate) fn ciede2000(first: Lab, second: Lab) -> f64 {
    let mean_chroma = (first.chroma() + second.chroma()) / 2.0;
    let g = 0.5 * (1.0 - half_rc(mean_chroma));
    let (a1, a2) = ((1.0 + g) * first.a, (1.0 + g) * second.a);
    let (c1, c2) = (a1.hypot(first.b), a2.hypot(second.b));
    let (h1, h2) = (hue(a1, first.b), hue(a2, second.b));

    let dl = second.l - first.l;
    let dc = c2 - c1;
    let neutral = c1 * c2 == 0.0;
    let step = h2 - h1;
    let turned = if neutral {
        0.0
    } else if step.abs() <= 180.0 {
        step
    } else if step > 180.0 {
        step - 360.0
    } else {
        step + 360.0
    };
    let dh = 2.0 * (c1 * c2).sqrt() * (turned / 2.0).to_radians().sin();

    let mean_l = (first.l + second.l) / 2.0;
    let mean_c = (c1 + c2) / 2.0;
    let mean_h = if neutral {
        h1 + h2
    } else if step.abs() <= 180.0 {
        (h1 + h2) / 2.0
    } else if h1 + h2 < 360.0 {
        (h1 + h2 + 360.0) / 2.0
    } else {
        (h1 + h2 - 360.0) / 2.0
    };
    let cos = |degrees: f64| degrees.to_radians().cos();
    let t =
        1.0 - 0.17 * cos(mean_h - 30.0) + 0.24 * cos(2.0 * mean_h) + 0.32 * cos(3.0 * mean_h + 6.0)
            - 0.20 * cos(4.0 * mean_h - 63.0);
    let dtheta = 30.0 * (-((mean_h - 275.0) / 25.0).powi(2)).exp();
    let off = (mean_l - 50.0).powi(2);
    let sl = 1.0 + 0.015 * off / (20.0 + off).sqrt();
    let sc = 1.0 + 0.045 * mean_c;
    let sh = 1.0 + 0.015 * mean_c * t;
    let rt = -(2.0 * dtheta).to_radians().sin() * 2.0 * half_rc(mean_c);
    let (x, y, z) = (dl / sl, dc / sc, dh / sh);
    (x * x + y * y + z * z + rt * y * z).max(0.0).sqrt()
}

fn half_rc(chroma: f64) -> f64 {
    let c7 = chroma.powi(7);
    (c7 / (c7 + 25f64.powi(7))).sqrt()
}

fn hue(a: f64, b: f64) -> f64 {
    if a == 0.0 && b == 0.0 {
        return 0.0;
    }
    let degrees = b.atan2(a).to_degrees();
    if degrees < 0.0 {
        degrees + 360.0
    } else {
        degrees
    }
}
