//! CIE 1976 L\*a\*b\* coordinates and CIE XYZ tristimulus values (ISO/CIE 11664-4).

use serde::{Deserialize, Serialize};

/// Lowest and highest L\* accepted by [`Lab::new`]. Reflectance up to 2.0 (fluorescence,
/// calibration error) gives L\* of about 130; beyond these limits the value is a typing
/// or unit error.
const L_RANGE: (f64, f64) = (-20.0, 200.0);
/// Lowest and highest a\* and b\* accepted by [`Lab::new`]; real surfaces stay within ±200.
const AB_RANGE: (f64, f64) = (-500.0, 500.0);

/// A color in CIE L\*a\*b\*, relative to the white of the light it was computed for.
///
/// Serialized as the array `[L, a, b]`; reading it back checks as [`Lab::new`] does.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(into = "[f64; 3]", try_from = "[f64; 3]")]
pub struct Lab {
    /// L\*, 0 black to 100 perfect diffuser; a little more is possible.
    pub l: f64,
    /// a\*, green (−) to red (+).
    pub a: f64,
    /// b\*, blue (−) to yellow (+).
    pub b: f64,
}

/// Why three numbers are no Lab color.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum LabError {
    /// A coordinate is NaN or infinite.
    #[error("{field} is {value}, which is no number; give a finite value")]
    NotFinite {
        /// `L*`, `a*` or `b*`.
        field: &'static str,
        /// The value given.
        value: f64,
    },
    /// A coordinate lies outside what any surface can have.
    #[error(
        "{field} is {value}, outside {low} to {high}; give CIE L*a*b* values (L* 0 to 100), \
         in the order L*, a*, b*"
    )]
    OutOfRange {
        /// `L*`, `a*` or `b*`.
        field: &'static str,
        /// The value given.
        value: f64,
        /// Lowest value accepted.
        low: f64,
        /// Highest value accepted.
        high: f64,
    },
}

impl Lab {
    /// Checks and makes a color.
    ///
    /// # Errors
    /// [`LabError`] when a coordinate is not finite or outside L\* −20…200, a\* b\* ±500.
    pub fn new(l: f64, a: f64, b: f64) -> Result<Self, LabError> {
        for (field, value, (low, high)) in
            [("L*", l, L_RANGE), ("a*", a, AB_RANGE), ("b*", b, AB_RANGE)]
        {
            if !value.is_finite() {
                return Err(LabError::NotFinite { field, value });
            }
            if value < low || value > high {
                return Err(LabError::OutOfRange {
                    field,
                    value,
                    low,
                    high,
                });
            }
        }
        Ok(Self { l, a, b })
    }

    /// C\*ab, the distance from the neutral axis.
    #[must_use]
    pub fn chroma(self) -> f64 {
        (self.a * self.a + self.b * self.b).sqrt()
    }

    /// h_ab in degrees, 0 ≤ h < 360; 0 for an exact neutral, whose hue is undefined.
    #[must_use]
    pub fn hue_degrees(self) -> f64 {
        hue_degrees(self.a, self.b)
    }

    /// L\*a\*b\* of a tristimulus value relative to a white (ISO/CIE 11664-4, equations 1–8).
    #[must_use]
    pub fn from_xyz(color: Xyz, white: Xyz) -> Self {
        let fx = lightness_root(color.x / white.x);
        let fy = lightness_root(color.y / white.y);
        let fz = lightness_root(color.z / white.z);
        from_roots(fx, fy, fz)
    }

    /// The tristimulus value this color stands for under a white; inverse of
    /// [`Lab::from_xyz`].
    #[must_use]
    pub fn to_xyz(self, white: Xyz) -> Xyz {
        let fy = (self.l + 16.0) / 116.0;
        Xyz {
            x: white.x * lightness_cube(fy + self.a / 500.0),
            y: white.y * lightness_cube(fy),
            z: white.z * lightness_cube(fy - self.b / 200.0),
        }
    }

    /// The color rounded to `f32`, as the nearest search stores it, back in `f64`.
    #[must_use]
    pub fn stored(self) -> Self {
        let [l, a, b] = self.to_f32();
        Self {
            l: f64::from(l),
            a: f64::from(a),
            b: f64::from(b),
        }
    }

    /// The three coordinates rounded to `f32`.
    #[must_use]
    pub fn to_f32(self) -> [f32; 3] {
        [self.l as f32, self.a as f32, self.b as f32]
    }
}

impl From<Lab> for [f64; 3] {
    fn from(lab: Lab) -> Self {
        [lab.l, lab.a, lab.b]
    }
}

impl TryFrom<[f64; 3]> for Lab {
    type Error = LabError;
    fn try_from([l, a, b]: [f64; 3]) -> Result<Self, LabError> {
        Self::new(l, a, b)
    }
}

/// CIE tristimulus values; Y is 100 for the perfect diffuser.
///
/// Serialized as the array `[X, Y, Z]`.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(into = "[f64; 3]", from = "[f64; 3]")]
pub struct Xyz {
    /// X.
    pub x: f64,
    /// Y, luminance factor in percent.
    pub y: f64,
    /// Z.
    pub z: f64,
}

impl From<Xyz> for [f64; 3] {
    fn from(xyz: Xyz) -> Self {
        [xyz.x, xyz.y, xyz.z]
    }
}

impl From<[f64; 3]> for Xyz {
    fn from([x, y, z]: [f64; 3]) -> Self {
        Self { x, y, z }
    }
}

pub(crate) fn hue_degrees(a: f64, b: f64) -> f64 {
    if a == 0.0 && b == 0.0 {
        return 0.0;
    }
    let degrees = b.atan2(a).to_degrees();
    let positive = if degrees < 0.0 {
        degrees + 360.0
    } else {
        degrees
    };
    // A hue a hair below zero rounds up to 360, which is 0.
    if positive >= 360.0 { 0.0 } else { positive }
}

/// Where f(t) of ISO/CIE 11664-4 goes over from a straight line to the cube root.
pub(crate) const ROOT_LIMIT: f64 = (24.0 / 116.0) * (24.0 / 116.0) * (24.0 / 116.0);

/// L\*a\*b\* of f(X/Xn), f(Y/Yn), f(Z/Zn) (ISO/CIE 11664-4, equations 1–3).
pub(crate) fn from_roots(fx: f64, fy: f64, fz: f64) -> Lab {
    Lab {
        l: 116.0 * fy - 16.0,
        a: 500.0 * (fx - fy),
        b: 200.0 * (fy - fz),
    }
}

/// f(t) of ISO/CIE 11664-4: cube root above (24/116)³, straight line below.
fn lightness_root(ratio: f64) -> f64 {
    if ratio > ROOT_LIMIT {
        ratio.cbrt()
    } else {
        (841.0 / 108.0) * ratio + 16.0 / 116.0
    }
}

fn lightness_cube(root: f64) -> f64 {
    if root > 24.0 / 116.0 {
        root * root * root
    } else {
        (root - 16.0 / 116.0) * (108.0 / 841.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_that_are_no_color_are_refused_by_name() {
        let nan = Lab::new(50.0, f64::NAN, 0.0).unwrap_err();
        assert!(nan.to_string().contains("a*"), "{nan}");
        let infinite = Lab::new(f64::INFINITY, 0.0, 0.0).unwrap_err();
        assert!(infinite.to_string().contains("L*"), "{infinite}");
        let absurd = Lab::new(50.0, 0.0, 5000.0).unwrap_err();
        assert!(absurd.to_string().contains("b* is 5000"), "{absurd}");
        assert!(serde_json::from_str::<Lab>("[50.0,0.0,1e9]").is_err());
    }

    #[test]
    fn serialized_as_an_array() {
        let lab = Lab::new(50.5, -1.25, 3.0).unwrap();
        assert_eq!(serde_json::to_string(&lab).unwrap(), "[50.5,-1.25,3.0]");
        assert_eq!(serde_json::from_str::<Lab>("[50.5,-1.25,3]").unwrap(), lab);
    }

    #[test]
    fn tristimulus_round_trip_also_on_the_straight_part() {
        let white = Xyz {
            x: 94.811,
            y: 100.0,
            z: 107.304,
        };
        for y in [0.01, 0.5, 0.8856, 0.8857, 5.0, 50.0, 100.0, 120.0] {
            let color = Xyz {
                x: y * 0.9,
                y,
                z: y * 1.2,
            };
            let back = Lab::from_xyz(color, white).to_xyz(white);
            assert!((back.x - color.x).abs() < 1e-9, "{color:?} {back:?}");
            assert!((back.y - color.y).abs() < 1e-9, "{color:?} {back:?}");
            assert!((back.z - color.z).abs() < 1e-9, "{color:?} {back:?}");
        }
    }

    #[test]
    fn hue_runs_from_zero_to_below_360() {
        let hue = |a, b| Lab { l: 50.0, a, b }.hue_degrees();
        assert_eq!(hue(0.0, 0.0), 0.0);
        assert_eq!(hue(0.0, 10.0), 90.0);
        assert_eq!(hue(-10.0, -0.0), 180.0);
        assert_eq!(hue(0.0, -10.0), 270.0);
        assert!(hue(10.0, -1e-300) < 360.0);
    }
}
