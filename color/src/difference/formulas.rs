//! ΔE76, CIE94, CMC(l:c) and CIEDE2000.

use crate::lab::{Lab, hue_degrees};

/// 25⁷, the chroma constant of CIEDE2000.
const CHROMA_CONSTANT: f64 = 6_103_515_625.0;

/// ΔE\*ab of 1976, the plain distance in Lab (ISO/CIE 11664-4).
#[must_use]
pub fn de76(first: Lab, second: Lab) -> f64 {
    let (dl, da, db) = (second.l - first.l, second.a - first.a, second.b - first.b);
    (dl * dl + da * da + db * db).sqrt()
}

/// Parameters of CIE94 by application (CIE 116-1995).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Application94 {
    /// kL = 1, K1 = 0.045, K2 = 0.015.
    GraphicArts,
    /// kL = 2, K1 = 0.048, K2 = 0.014.
    Textile,
}

/// CIE94 (CIE 116-1995; not an ISO standard). Asymmetric: chroma of the standard weighs.
#[must_use]
pub fn cie94(standard: Lab, sample: Lab, application: Application94) -> f64 {
    let (kl, k1, k2) = match application {
        Application94::GraphicArts => (1.0, 0.045, 0.015),
        Application94::Textile => (2.0, 0.048, 0.014),
    };
    let c1 = standard.chroma();
    let (dl, dc, dh2) = lightness_chroma_hue(standard, sample);
    let sc = 1.0 + k1 * c1;
    let sh = 1.0 + k2 * c1;
    ((dl / kl).powi(2) + (dc / sc).powi(2) + dh2 / (sh * sh)).sqrt()
}

/// CMC(l:c) (BS 6923, ISO 105-J03). Asymmetric. Usual weights: 2:1 for acceptability,
/// 1:1 for perceptibility.
#[must_use]
pub fn cmc(standard: Lab, sample: Lab, lightness: f64, chroma: f64) -> f64 {
    let c1 = standard.chroma();
    let h1 = standard.hue_degrees();
    let (dl, dc, dh2) = lightness_chroma_hue(standard, sample);
    let c4 = c1 * c1 * c1 * c1;
    let f = (c4 / (c4 + 1900.0)).sqrt();
    let t = if (164.0..=345.0).contains(&h1) {
        0.56 + (0.2 * (h1 + 168.0).to_radians().cos()).abs()
    } else {
        0.36 + (0.4 * (h1 + 35.0).to_radians().cos()).abs()
    };
    let sl = if standard.l < 16.0 {
        0.511
    } else {
        0.040_975 * standard.l / (1.0 + 0.017_65 * standard.l)
    };
    let sc = 0.0638 * c1 / (1.0 + 0.0131 * c1) + 0.638;
    let sh = sc * (f * t + 1.0 - f);
    ((dl / (lightness * sl)).powi(2) + (dc / (chroma * sc)).powi(2) + dh2 / (sh * sh)).sqrt()
}

/// ΔL\*, ΔC\*ab and ΔH\*ab² from the first color to the second.
fn lightness_chroma_hue(standard: Lab, sample: Lab) -> (f64, f64, f64) {
    let dl = sample.l - standard.l;
    let dc = sample.chroma() - standard.chroma();
    let (da, db) = (sample.a - standard.a, sample.b - standard.b);
    (dl, dc, (da * da + db * db - dc * dc).max(0.0))
}

/// CIEDE2000 with kL = kC = kH = 1 (ISO/CIE 11664-6; Sharma, Wu, Dalal, Color Res. Appl.
/// 30 (2005) 21).
///
/// Symmetric to the last bit. This one function defines order wherever colors are ranked.
/// Whether two hues lie more than 180° apart is told by the sign of their cross product and
/// not by their angles, so that exact opposites never depend on how `atan2` rounds.
///
/// NaN in gives NaN out; [`Lab::new`] keeps NaN from getting here.
#[must_use]
pub fn de2000(first: Lab, second: Lab) -> f64 {
    let mean_c7 = seventh_power((first.chroma() + second.chroma()) / 2.0);
    let stretch = 1.0 + 0.5 * (1.0 - (mean_c7 / (mean_c7 + CHROMA_CONSTANT)).sqrt());
    let (a1, a2) = (stretch * first.a, stretch * second.a);
    let c1 = (a1 * a1 + first.b * first.b).sqrt();
    let c2 = (a2 * a2 + second.b * second.b).sqrt();

    let dl = second.l - first.l;
    let dc = c2 - c1;
    let (mean_hue, dh) = if c1 * c2 == 0.0 {
        // A neutral has no hue: the other's counts (its own is 0 here).
        (hue_degrees(a1, first.b) + hue_degrees(a2, second.b), 0.0)
    } else {
        let (h1, h2) = (hue_degrees(a1, first.b), hue_degrees(a2, second.b));
        let (mean, angle) = mean_hue(h1, h2, a1 * second.b - first.b * a2);
        (
            mean,
            2.0 * (c1 * c2).sqrt() * (angle / 2.0).to_radians().sin(),
        )
    };
    let mean_l = (first.l + second.l) / 2.0;
    let mean_c = (c1 + c2) / 2.0;

    let t = 1.0 - 0.17 * (mean_hue - 30.0).to_radians().cos()
        + 0.24 * (2.0 * mean_hue).to_radians().cos()
        + 0.32 * (3.0 * mean_hue + 6.0).to_radians().cos()
        - 0.20 * (4.0 * mean_hue - 63.0).to_radians().cos();
    let off_blue = (mean_hue - 275.0) / 25.0;
    let rotation = 30.0 * (-(off_blue * off_blue)).exp();
    let c7 = seventh_power(mean_c);
    let rc = 2.0 * (c7 / (c7 + CHROMA_CONSTANT)).sqrt();
    let off_middle = (mean_l - 50.0) * (mean_l - 50.0);
    let sl = 1.0 + 0.015 * off_middle / (20.0 + off_middle).sqrt();
    let sc = 1.0 + 0.045 * mean_c;
    let sh = 1.0 + 0.015 * mean_c * t;
    let rt = -(2.0 * rotation).to_radians().sin() * rc;

    let (x, y, z) = (dl / sl, dc / sc, dh / sh);
    let square = x * x + y * y + z * z + rt * y * z;
    // |R_T| < 2 makes the form positive; rounding may still leave a negative zero.
    if square <= 0.0 { 0.0 } else { square.sqrt() }
}

/// Mean hue and hue difference h2 − h1 in degrees. `cross` is a1'·b2 − b1·a2', which has the
/// sign of sin(h2 − h1).
fn mean_hue(h1: f64, h2: f64, cross: f64) -> (f64, f64) {
    let dh = h2 - h1;
    let sum = h1 + h2;
    let beyond_half_turn = (dh > 0.0 && cross < 0.0) || (dh < 0.0 && cross > 0.0);
    // Nearly equal hues can disagree with a cross product that rounding has flipped.
    if !beyond_half_turn || dh.abs() < 90.0 {
        (sum / 2.0, dh)
    } else {
        let turned = if dh > 0.0 { dh - 360.0 } else { dh + 360.0 };
        let mean = if sum < 360.0 {
            (sum + 360.0) / 2.0
        } else {
            (sum - 360.0) / 2.0
        };
        (mean, turned)
    }
}

/// Plain products, so that every platform gives the same bits.
fn seventh_power(c: f64) -> f64 {
    let c2 = c * c;
    let c4 = c2 * c2;
    c4 * c2 * c
}
