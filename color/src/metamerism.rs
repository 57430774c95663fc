//! Special index of metamerism for a change of light (ISO 18314-4): how far two samples that
//! match under one light part under another. What is left of a mismatch under the reference
//! light is corrected first, in XYZ (multiplicative) or in L\*a\*b\* (additive).

use serde::{Deserialize, Serialize};

use crate::difference::{de76, de2000};
use crate::illuminant::Viewing;
use crate::lab::{Lab, Xyz};
use crate::spectrum::Spectrum;

/// Something under the reference light and under the test light.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TwoLights<T> {
    /// Under the light where the samples should match.
    pub reference: T,
    /// Under the light of interest.
    pub test: T,
}

/// A difference by two formulas.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Difference {
    /// ΔE\*ab of 1976, as in the standard.
    pub de76: f64,
    /// CIEDE2000.
    pub de2000: f64,
}

impl Difference {
    /// Of a sample from a standard.
    #[must_use]
    pub fn between(standard: Lab, sample: Lab) -> Self {
        Self {
            de76: de76(standard, sample),
            de2000: de2000(standard, sample),
        }
    }
}

/// A sample that sends no light, which no ratio can correct.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error(
    "the sample's {field} under the reference light is {value}; the multiplicative correction \
     needs it above 0: measure again, or use the additive index"
)]
pub struct NoLight {
    /// `X`, `Y` or `Z`.
    pub field: &'static str,
    /// The value.
    pub value: f64,
}

/// Index with additive correction: the difference of the samples under the reference light is
/// taken off in L\*a\*b\* under the test light.
#[must_use]
pub fn additive(standard: TwoLights<Lab>, sample: TwoLights<Lab>) -> Difference {
    let corrected = Lab {
        l: sample.test.l + (standard.reference.l - sample.reference.l),
        a: sample.test.a + (standard.reference.a - sample.reference.a),
        b: sample.test.b + (standard.reference.b - sample.reference.b),
    };
    Difference::between(standard.test, corrected)
}

/// Index with multiplicative correction: the sample's X, Y, Z under the test light, each times
/// the ratio of standard to sample under the reference light. Ratios are those of XYZ, never of
/// L\*a\*b\*. `white` is that of the test light.
///
/// # Errors
/// [`NoLight`] when a tristimulus value of the sample under the reference light is not positive.
pub fn multiplicative(
    standard: TwoLights<Xyz>,
    sample: TwoLights<Xyz>,
    white: Xyz,
) -> Result<Difference, NoLight> {
    let corrected = |field, test: f64, standard: f64, sample: f64| {
        if sample > 0.0 {
            Ok(test * (standard / sample))
        } else {
            Err(NoLight {
                field,
                value: sample,
            })
        }
    };
    let (wanted, found, test) = (standard.reference, sample.reference, sample.test);
    let corrected = Xyz {
        x: corrected("X", test.x, wanted.x, found.x)?,
        y: corrected("Y", test.y, wanted.y, found.y)?,
        z: corrected("Z", test.z, wanted.z, found.z)?,
    };
    let standard = Lab::from_xyz(standard.test, white);
    Ok(Difference::between(
        standard,
        Lab::from_xyz(corrected, white),
    ))
}

/// What two spectra do between two lights.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Metamerism {
    /// Plain difference under the reference light.
    pub under_reference: Difference,
    /// Plain difference under the test light.
    pub under_test: Difference,
    /// Index by [`multiplicative`].
    pub multiplicative: Difference,
    /// Index by [`additive`].
    pub additive: Difference,
}

impl Metamerism {
    /// Compares two spectra under two lights.
    ///
    /// # Errors
    /// [`NoLight`] when the sample is perfectly black.
    pub fn between(
        standard: &Spectrum,
        sample: &Spectrum,
        lights: TwoLights<Viewing>,
    ) -> Result<Self, NoLight> {
        let whites = TwoLights {
            reference: lights.reference.white(),
            test: lights.test.white(),
        };
        let seen = |spectrum: &Spectrum| TwoLights {
            reference: spectrum.xyz(lights.reference),
            test: spectrum.xyz(lights.test),
        };
        let to_lab = |xyz: TwoLights<Xyz>| TwoLights {
            reference: Lab::from_xyz(xyz.reference, whites.reference),
            test: Lab::from_xyz(xyz.test, whites.test),
        };
        let (standard, sample) = (seen(standard), seen(sample));
        let (standard_lab, sample_lab) = (to_lab(standard), to_lab(sample));
        Ok(Self {
            under_reference: Difference::between(standard_lab.reference, sample_lab.reference),
            under_test: Difference::between(standard_lab.test, sample_lab.test),
            multiplicative: multiplicative(standard, sample, whites.test)?,
            additive: additive(standard_lab, sample_lab),
        })
    }
}
