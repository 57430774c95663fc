//! Color inconstancy of one sample: how much its color changes with the light, once the eye has
//! adapted to it. A plain CIEDE2000 between corresponding colors; no standardized index.

use serde::{Deserialize, Serialize};

use crate::difference::de2000;
use crate::illuminant::Viewing;
use crate::lab::{Lab, Xyz};
use crate::metamerism::TwoLights;
use crate::spectrum::Spectrum;

/// From XYZ to the responses that CAT16 scales (CIE 248:2022, CIECAM16; Li et al., Color Res.
/// Appl. 42 (2017) 703).
const CAT16: [[f64; 3]; 3] = [
    [0.401_288, 0.650_173, -0.051_461],
    [-0.250_268, 1.204_414, 0.045_854],
    [-0.002_079, 0.048_952, 0.953_127],
];

/// The color that looks under the white `to` as `color` does under the white `from`, to an eye
/// that has adapted to each in full (D = 1): CAT16 of CIE 248:2022. Whites have Y = 100.
#[must_use]
pub fn corresponding(color: Xyz, from: Xyz, to: Xyz) -> Xyz {
    let [color, from, to] = [color, from, to].map(|xyz| responses(xyz.into()));
    Xyz::from(solve(std::array::from_fn(|i| color[i] * (to[i] / from[i]))))
}

fn responses(xyz: [f64; 3]) -> [f64; 3] {
    CAT16.map(|row| row.iter().zip(xyz).map(|(m, v)| m * v).sum())
}

/// The XYZ of responses, by Cramer's rule.
fn solve(responses: [f64; 3]) -> [f64; 3] {
    let determinant = |m: [[f64; 3]; 3]| {
        let [a, b, c] = m;
        a[0] * (b[1] * c[2] - b[2] * c[1]) - a[1] * (b[0] * c[2] - b[2] * c[0])
            + a[2] * (b[0] * c[1] - b[1] * c[0])
    };
    let whole = determinant(CAT16);
    std::array::from_fn(|column| {
        let mut replaced = CAT16;
        for (row, response) in replaced.iter_mut().zip(responses) {
            row[column] = response;
        }
        determinant(replaced) / whole
    })
}

/// What one spectrum does between two lights.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Inconstancy {
    /// Its color under the reference light.
    pub under_reference: Lab,
    /// Its color under the test light as the adapted eye sees it, carried over to the reference
    /// light by [`corresponding`].
    pub under_test: Lab,
    /// CIEDE2000 between the two; 0 for a sample that keeps its color.
    pub de2000: f64,
}

impl Inconstancy {
    /// Compares a spectrum with itself under two lights. Give both one observer.
    #[must_use]
    pub fn of(spectrum: &Spectrum, lights: TwoLights<Viewing>) -> Self {
        let (to, from) = (lights.reference.white(), lights.test.white());
        let under_reference = spectrum.lab(lights.reference);
        let seen = corresponding(spectrum.xyz(lights.test), from, to);
        let under_test = Lab::from_xyz(seen, to);
        Self {
            under_reference,
            under_test,
            de2000: de2000(under_reference, under_test),
        }
    }
}
