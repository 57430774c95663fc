//! Reflectance spectra: values as fractions, 1 being the perfect diffuser.

use std::fmt;

use serde::{Deserialize, Serialize};

use crate::wavelengths::{Grid, MAX_EXTENSION_NM, MAX_VALUES, STEP_NM, Wavelengths};

/// Lowest reflectance taken for the zero error of an instrument and set to 0.
pub const MIN_REFLECTANCE: f64 = -0.005;
/// Highest reflectance (fluorescence, calibration error).
pub const MAX_REFLECTANCE: f64 = 2.0;

/// What to do when a spectrum does not reach 400 and 700 nm.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Ends {
    /// Refuse it.
    #[default]
    Refuse,
    /// Count the end value as the value beyond, and mark the spectrum. No value is invented:
    /// the spectrum keeps what was measured.
    Extend,
}

/// A reflectance spectrum that has been checked. Values are fractions in rising wavelength.
///
/// Serialized as `{"start_nm":400,"step_nm":10,"values":[…],"ends":"refuse"}`, or with
/// `"wavelengths_nm":[…]` in place of start and step when they are no [`Grid`]; `ends` may be
/// left out; reading it back checks as [`Spectrum::at`] does.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(into = "SpectrumAsRead", try_from = "SpectrumAsRead")]
pub struct Spectrum {
    wavelengths: Wavelengths,
    values: Vec<f64>,
    ends_extended: bool,
    warnings: Vec<SpectrumWarning>,
}

#[derive(Serialize, Deserialize)]
#[serde(rename = "Spectrum", deny_unknown_fields)]
struct SpectrumAsRead {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    start_nm: Option<u16>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    step_nm: Option<u16>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    wavelengths_nm: Option<Vec<f64>>,
    values: Vec<f64>,
    #[serde(default)]
    ends: Ends,
}

/// Something about a spectrum that a person should know, though it is usable.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "kind")]
pub enum SpectrumWarning {
    /// A slightly negative value was set to 0.
    NegativeClamped {
        /// Wavelength in nm.
        nm: f64,
        /// The value measured.
        value: f64,
    },
    /// A value above 1: fluorescence, or the white calibration is off.
    AboveOne {
        /// Wavelength in nm.
        nm: f64,
        /// The value measured.
        value: f64,
    },
    /// The spectrum does not reach 400 or 700 nm; its end values stand for the rest.
    EndsExtended {
        /// First wavelength measured, nm.
        first_nm: f64,
        /// Last wavelength measured, nm.
        last_nm: f64,
    },
}

impl fmt::Display for SpectrumWarning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NegativeClamped { nm, value } => write!(
                f,
                "reflectance {value} at {nm} nm is below 0 and was taken as 0; zero calibration \
                 of the instrument may be due"
            ),
            Self::AboveOne { nm, value } => write!(
                f,
                "reflectance {value} at {nm} nm is above 1; the sample may be fluorescent, or \
                 white calibration of the instrument may be due"
            ),
            Self::EndsExtended { first_nm, last_nm } => write!(
                f,
                "measured from {first_nm} to {last_nm} nm only; the end values stand for the \
                 rest of 400–700 nm"
            ),
        }
    }
}

/// Why numbers are no usable spectrum.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum SpectrumError {
    /// Fewer than [`MIN_VALUES`](crate::wavelengths::MIN_VALUES).
    #[error("a spectrum of {count} value(s) gives no color; give values from 400 to 700 nm")]
    TooFew {
        /// Number of values.
        count: usize,
    },
    /// More than [`MAX_VALUES`].
    #[error(
        "a spectrum of {count} values is more than the {MAX_VALUES} that 200–1100 nm by 1 nm \
         have; export it at 10 or 20 nm"
    )]
    TooMany {
        /// Number of values.
        count: usize,
    },
    /// A step outside [`STEP_NM`].
    #[error(
        "wavelength step {step_nm} nm is outside {} to {} nm; export the spectrum at 10 or 20 nm",
        STEP_NM.0, STEP_NM.1
    )]
    Step {
        /// Step in nm.
        step_nm: u16,
    },
    /// Neighbors less than 1 nm apart, or not in rising order.
    #[error(
        "wavelength {to_nm} nm follows {from_nm} nm; they must rise by 1 nm or more: sort them, or \
         export the spectrum at 1 nm or more"
    )]
    TooClose {
        /// A wavelength, nm.
        from_nm: f64,
        /// The next, nm.
        to_nm: f64,
    },
    /// More than 20 nm without a value where color is computed.
    #[error(
        "nothing was measured between {from_nm} and {to_nm} nm; at most 20 nm may lie between two \
         values: measure or export the whole range"
    )]
    Gap {
        /// Last wavelength before the gap, nm.
        from_nm: f64,
        /// First wavelength after it, nm.
        to_nm: f64,
    },
    /// A different number of values than wavelengths.
    #[error("{values} values stand beside {wavelengths} wavelengths; give one for each")]
    Unequal {
        /// Number of wavelengths.
        wavelengths: usize,
        /// Number of values.
        values: usize,
    },
    /// Neither start and step nor a list of wavelengths, or both.
    #[error("give start_nm and step_nm, or wavelengths_nm, and not both")]
    Form,
    /// Wavelengths outside [`ALLOWED_NM`](crate::wavelengths::ALLOWED_NM).
    #[error(
        "wavelengths {first_nm} to {last_nm} nm leave 200–1100 nm; give wavelengths in \
         nanometers"
    )]
    Range {
        /// First wavelength, nm.
        first_nm: f64,
        /// Last wavelength, nm.
        last_nm: f64,
    },
    /// 400 or 700 nm is not reached.
    #[error(
        "measured from {first_nm} to {last_nm} nm, while color needs 400 to 700 nm; measure \
         again over the whole range, or ask for the ends to be extended"
    )]
    MissingEnds {
        /// First wavelength, nm.
        first_nm: f64,
        /// Last wavelength, nm.
        last_nm: f64,
    },
    /// More is missing than may be extended.
    #[error(
        "measured from {first_nm} to {last_nm} nm; ends are extended by {MAX_EXTENSION_NM} nm at \
         most, to reach 400 and 700 nm; measure again over the whole range"
    )]
    TooFarToExtend {
        /// First wavelength, nm.
        first_nm: f64,
        /// Last wavelength, nm.
        last_nm: f64,
    },
    /// NaN or infinite.
    #[error("reflectance at {nm} nm is {value}, which is no number; measure again")]
    NotFinite {
        /// Wavelength in nm.
        nm: f64,
        /// The value.
        value: f64,
    },
    /// Below [`MIN_REFLECTANCE`].
    #[error(
        "reflectance {value} at {nm} nm is below {MIN_REFLECTANCE}; calibrate the instrument \
         (white, then black or zero) and measure again"
    )]
    Negative {
        /// Wavelength in nm.
        nm: f64,
        /// The value.
        value: f64,
    },
    /// Above [`MAX_REFLECTANCE`].
    #[error(
        "reflectance {value} at {nm} nm is above {MAX_REFLECTANCE}; if the values are percent, \
         say so, else calibrate the instrument and measure again"
    )]
    TooHigh {
        /// Wavelength in nm.
        nm: f64,
        /// The value.
        value: f64,
    },
}

impl Spectrum {
    /// Checks and makes a spectrum from fractions at evenly spaced wavelengths, rising.
    ///
    /// # Errors
    /// [`SpectrumError`] on a wrong number of values or a step outside 1 to 20 nm, and as
    /// [`Spectrum::at`].
    pub fn new(
        start_nm: u16,
        step_nm: u16,
        values: Vec<f64>,
        ends: Ends,
    ) -> Result<Self, SpectrumError> {
        Self::at(Grid::new(start_nm, step_nm, values.len())?, values, ends)
    }

    /// Checks and makes a spectrum from fractions, one for each wavelength.
    ///
    /// Values from −0.005 to 0 are set to 0; these, values above 1 and extended ends are in
    /// [`Spectrum::warnings`].
    ///
    /// # Errors
    /// [`SpectrumError`] when there is not one value for each wavelength, on missing ends
    /// (unless `ends` is [`Ends::Extend`]), or on a value that is not finite or outside
    /// −0.005…2.0.
    pub fn at(
        wavelengths: impl Into<Wavelengths>,
        mut values: Vec<f64>,
        ends: Ends,
    ) -> Result<Self, SpectrumError> {
        let wavelengths = wavelengths.into();
        if wavelengths.count() != values.len() {
            return Err(SpectrumError::Unequal {
                wavelengths: wavelengths.count(),
                values: values.len(),
            });
        }
        let mut warnings = Vec::new();
        let ends_extended = wavelengths.needs_extension(ends)?;
        if ends_extended {
            let (first_nm, last_nm) = (wavelengths.first_nm(), wavelengths.last_nm());
            warnings.push(SpectrumWarning::EndsExtended { first_nm, last_nm });
        }
        for (nm, value) in wavelengths.iter().zip(values.iter_mut()) {
            let v = *value;
            if !v.is_finite() {
                return Err(SpectrumError::NotFinite { nm, value: v });
            }
            if v < MIN_REFLECTANCE {
                return Err(SpectrumError::Negative { nm, value: v });
            }
            if v > MAX_REFLECTANCE {
                return Err(SpectrumError::TooHigh { nm, value: v });
            }
            if v < 0.0 {
                warnings.push(SpectrumWarning::NegativeClamped { nm, value: v });
                *value = 0.0;
            } else if v > 1.0 {
                warnings.push(SpectrumWarning::AboveOne { nm, value: v });
            }
        }
        Ok(Self {
            wavelengths,
            values,
            ends_extended,
            warnings,
        })
    }

    /// The wavelengths.
    #[must_use]
    pub fn wavelengths(&self) -> &Wavelengths {
        &self.wavelengths
    }

    /// The values as fractions, in rising wavelength.
    #[must_use]
    pub fn values(&self) -> &[f64] {
        &self.values
    }

    /// Whether end values stand for wavelengths that were not measured.
    #[must_use]
    pub fn ends_extended(&self) -> bool {
        self.ends_extended
    }

    /// What a person should know about it.
    #[must_use]
    pub fn warnings(&self) -> &[SpectrumWarning] {
        &self.warnings
    }
}

impl TryFrom<SpectrumAsRead> for Spectrum {
    type Error = SpectrumError;
    fn try_from(read: SpectrumAsRead) -> Result<Self, SpectrumError> {
        let listed = read.wavelengths_nm.as_deref();
        let count = read.values.len();
        let wavelengths = Wavelengths::written(read.start_nm, read.step_nm, listed, count)?;
        Self::at(wavelengths, read.values, read.ends)
    }
}

impl From<Spectrum> for SpectrumAsRead {
    fn from(spectrum: Spectrum) -> Self {
        let even = spectrum.wavelengths.even();
        Self {
            start_nm: even.map(Grid::start_nm),
            step_nm: even.map(Grid::step_nm),
            wavelengths_nm: even
                .is_none()
                .then(|| spectrum.wavelengths.iter().collect()),
            ends: if spectrum.ends_extended {
                Ends::Extend
            } else {
                Ends::Refuse
            },
            values: spectrum.values,
        }
    }
}
