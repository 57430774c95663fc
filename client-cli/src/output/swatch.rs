//! A block of a color on the screen: near enough to tell two matches apart, never to judge one.

use color::{Illuminant, Lab, Observer, Viewing};

use super::Paint;

/// The block with a blank behind it, or nothing where the terminal can't show it.
pub(super) fn block(paint: Paint, lab: Lab) -> String {
    if !paint.truecolor() {
        return String::new();
    }
    let [red, green, blue] = screen_color(lab);
    format!("\u{1b}[48;2;{red};{green};{blue}m      \u{1b}[0m ")
}

/// sRGB of a Lab color. Lab is read as if seen under D65 by the 2° observer, for whom screens are made: matrix and
/// curve of IEC 61966-2-1. Colors outside the screen's range are clipped.
fn screen_color(lab: Lab) -> [u8; 3] {
    let xyz = lab.to_xyz(Viewing::new(Illuminant::D65, Observer::TwoDegree).white());
    let (x, y, z) = (xyz.x / 100.0, xyz.y / 100.0, xyz.z / 100.0);
    [
        3.2406 * x - 1.5372 * y - 0.4986 * z,
        -0.9689 * x + 1.8758 * y + 0.0415 * z,
        0.0557 * x - 0.2040 * y + 1.0570 * z,
    ]
    .map(|linear| {
        let linear = linear.clamp(0.0, 1.0);
        let curved = if linear <= 0.003_130_8 {
            12.92 * linear
        } else {
            1.055 * linear.powf(1.0 / 2.4) - 0.055
        };
        to_byte(curved)
    })
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "the value is clamped to 0..=255 before"
)]
fn to_byte(value: f64) -> u8 {
    (value * 255.0).round().clamp(0.0, 255.0) as u8
}

#[cfg(test)]
mod tests {
    use super::*;

    /// IEC 61966-2-1: white is 255 255 255; Lab 53.585 under D65 is the gray 128 (from memory).
    #[test]
    fn grays_have_equal_parts() {
        assert_eq!(screen_color(Lab::new(100.0, 0.0, 0.0).unwrap()), [255; 3]);
        assert_eq!(screen_color(Lab::new(0.0, 0.0, 0.0).unwrap()), [0; 3]);
        let [red, green, blue] = screen_color(Lab::new(53.585, 0.0, 0.0).unwrap());
        for part in [red, green, blue] {
            assert!(part.abs_diff(128) <= 1, "{red} {green} {blue}");
        }
    }

    /// The sRGB red primary is about Lab 53.24, 80.09, 67.20 under D65/2° (IEC 61966-2-1, from memory).
    #[test]
    fn the_red_of_the_screen_is_red() {
        let [red, green, blue] = screen_color(Lab::new(53.24, 80.09, 67.20).unwrap());
        assert!(
            red >= 254 && green <= 4 && blue <= 4,
            "{red} {green} {blue}"
        );
    }
}
