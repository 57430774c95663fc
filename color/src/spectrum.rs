//! Reflectance spectra: evenly spaced values as fractions, 1 being the perfect diffuser.

use std::fmt;

use serde::{Deserialize, Serialize};

/// Steps in nm for which color is computed.
pub const STEPS_NM: [u16; 2] = [10, 20];
/// Range in nm that a spectrum must cover, unless its ends may be extended.
pub const NEEDED_NM: (u16, u16) = (400, 700);
/// Range in nm outside which a value is no reflectance of paint as instruments read it.
pub const ALLOWED_NM: (u16, u16) = (200, 1100);
/// Furthest that an end is extended, in nm (common practice, no source): beyond, the missing
/// part would decide the color.
pub const MAX_EXTENSION_NM: u16 = 40;
/// Fewest values of a spectrum.
pub const MIN_VALUES: usize = 2;
/// Most values of a spectrum: [`ALLOWED_NM`] in the smallest of [`STEPS_NM`].
pub const MAX_VALUES: usize = 91;
/// Lowest reflectance taken for the zero error of an instrument and set to 0.
pub const MIN_REFLECTANCE: f64 = -0.005;
/// Highest reflectance (fluorescence, calibration error).
pub const MAX_REFLECTANCE: f64 = 2.0;

/// Evenly spaced wavelengths.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Grid {
    pub(crate) start_nm: u16,
    pub(crate) step_nm: u16,
    pub(crate) count: u16,
}

impl Grid {
    /// Checks and makes a grid that reaches 400 and 700 nm, or nearly.
    ///
    /// # Errors
    /// [`SpectrumError`] as in [`Spectrum::new`] with [`Ends::Extend`].
    pub fn new(start_nm: u16, step_nm: u16, count: usize) -> Result<Self, SpectrumError> {
        let grid = check_grid(start_nm, step_nm, count)?;
        check_ends(grid, Ends::Extend)?;
        Ok(grid)
    }

    /// First wavelength in nm.
    #[must_use]
    pub fn start_nm(self) -> u16 {
        self.start_nm
    }

    /// Step in nm.
    #[must_use]
    pub fn step_nm(self) -> u16 {
        self.step_nm
    }

    /// Last wavelength in nm.
    #[must_use]
    pub fn end_nm(self) -> u16 {
        self.start_nm + self.step_nm * (self.count - 1)
    }

    /// Number of wavelengths.
    #[must_use]
    pub fn count(self) -> usize {
        usize::from(self.count)
    }

    /// The wavelengths in nm, rising.
    pub fn wavelengths(self) -> impl Iterator<Item = u16> {
        (0..self.count).map(move |i| self.start_nm + i * self.step_nm)
    }
}

impl fmt::Display for Grid {
    /// `400–700 nm by 10 nm`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{}–{} nm by {} nm",
            self.start_nm,
            self.end_nm(),
            self.step_nm
        )
    }
}

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
/// Serialized as `{"start_nm":400,"step_nm":10,"values":[…],"ends":"refuse"}`; `ends` may be
/// left out; reading it back checks as [`Spectrum::new`] does.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(into = "SpectrumAsRead", try_from = "SpectrumAsRead")]
pub struct Spectrum {
    grid: Grid,
    values: Vec<f64>,
    ends_extended: bool,
    warnings: Vec<SpectrumWarning>,
}

#[derive(Serialize, Deserialize)]
#[serde(rename = "Spectrum", deny_unknown_fields)]
struct SpectrumAsRead {
    start_nm: u16,
    step_nm: u16,
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
        nm: u16,
        /// The value measured.
        value: f64,
    },
    /// A value above 1: fluorescence, or the white calibration is off.
    AboveOne {
        /// Wavelength in nm.
        nm: u16,
        /// The value measured.
        value: f64,
    },
    /// The spectrum does not reach 400 or 700 nm; its end values stand for the rest.
    EndsExtended {
        /// First wavelength measured, nm.
        first_nm: u16,
        /// Last wavelength measured, nm.
        last_nm: u16,
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
    /// Fewer than [`MIN_VALUES`].
    #[error("a spectrum of {count} value(s) gives no color; give values from 400 to 700 nm")]
    TooFew {
        /// Number of values.
        count: usize,
    },
    /// More than [`MAX_VALUES`].
    #[error(
        "a spectrum of {count} values is more than the {MAX_VALUES} that 200–1100 nm by 10 nm \
         have; export it at 10 or 20 nm"
    )]
    TooMany {
        /// Number of values.
        count: usize,
    },
    /// A step other than [`STEPS_NM`].
    #[error("wavelength step {step_nm} nm is not computed yet; export the spectrum at 10 or 20 nm")]
    Step {
        /// Step in nm.
        step_nm: u16,
    },
    /// Wavelengths outside [`ALLOWED_NM`].
    #[error(
        "wavelengths {first_nm} to {last_nm} nm leave 200–1100 nm; give wavelengths in \
         nanometers"
    )]
    Range {
        /// First wavelength, nm.
        first_nm: u32,
        /// Last wavelength, nm.
        last_nm: u32,
    },
    /// 400 or 700 nm is not reached.
    #[error(
        "measured from {first_nm} to {last_nm} nm, while color needs 400 to 700 nm; measure \
         again over the whole range, or ask for the ends to be extended"
    )]
    MissingEnds {
        /// First wavelength, nm.
        first_nm: u16,
        /// Last wavelength, nm.
        last_nm: u16,
    },
    /// More is missing than may be extended.
    #[error(
        "measured from {first_nm} to {last_nm} nm; ends are extended by {MAX_EXTENSION_NM} nm at \
         most, to reach 400 and 700 nm; measure again over the whole range"
    )]
    TooFarToExtend {
        /// First wavelength, nm.
        first_nm: u16,
        /// Last wavelength, nm.
        last_nm: u16,
    },
    /// NaN or infinite.
    #[error("reflectance at {nm} nm is {value}, which is no number; measure again")]
    NotFinite {
        /// Wavelength in nm.
        nm: u16,
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
        nm: u16,
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
        nm: u16,
        /// The value.
        value: f64,
    },
}

impl Spectrum {
    /// Checks and makes a spectrum from fractions in rising wavelength.
    ///
    /// Values from −0.005 to 0 are set to 0; these, values above 1 and extended ends are in
    /// [`Spectrum::warnings`].
    ///
    /// # Errors
    /// [`SpectrumError`] on a wrong number of values, a step other than 10 or 20 nm, missing
    /// ends (unless `ends` is [`Ends::Extend`]), or a value that is not finite or outside
    /// −0.005…2.0.
    pub fn new(
        start_nm: u16,
        step_nm: u16,
        mut values: Vec<f64>,
        ends: Ends,
    ) -> Result<Self, SpectrumError> {
        let grid = check_grid(start_nm, step_nm, values.len())?;
        let mut warnings = Vec::new();
        let ends_extended = check_ends(grid, ends)?;
        if ends_extended {
            let (first_nm, last_nm) = (start_nm, grid.end_nm());
            warnings.push(SpectrumWarning::EndsExtended { first_nm, last_nm });
        }
        for (nm, value) in grid.wavelengths().zip(values.iter_mut()) {
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
            grid,
            values,
            ends_extended,
            warnings,
        })
    }

    /// The wavelengths.
    #[must_use]
    pub fn grid(&self) -> Grid {
        self.grid
    }

    /// First wavelength in nm.
    #[must_use]
    pub fn start_nm(&self) -> u16 {
        self.grid.start_nm
    }

    /// Step in nm.
    #[must_use]
    pub fn step_nm(&self) -> u16 {
        self.grid.step_nm
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

fn check_grid(start_nm: u16, step_nm: u16, count: usize) -> Result<Grid, SpectrumError> {
    if count < MIN_VALUES {
        return Err(SpectrumError::TooFew { count });
    }
    if !STEPS_NM.contains(&step_nm) {
        return Err(SpectrumError::Step { step_nm });
    }
    let short = u16::try_from(count).ok().filter(|_| count <= MAX_VALUES);
    let Some(short) = short else {
        return Err(SpectrumError::TooMany { count });
    };
    let (first_nm, last_nm) = (
        u32::from(start_nm),
        u32::from(start_nm) + u32::from(step_nm) * (u32::from(short) - 1),
    );
    if first_nm < u32::from(ALLOWED_NM.0) || last_nm > u32::from(ALLOWED_NM.1) {
        return Err(SpectrumError::Range { first_nm, last_nm });
    }
    Ok(Grid {
        start_nm,
        step_nm,
        count: short,
    })
}

/// Whether the ends have to be extended.
fn check_ends(grid: Grid, ends: Ends) -> Result<bool, SpectrumError> {
    let (first_nm, last_nm) = (grid.start_nm, grid.end_nm());
    if first_nm <= NEEDED_NM.0 && last_nm >= NEEDED_NM.1 {
        return Ok(false);
    }
    let within =
        first_nm <= NEEDED_NM.0 + MAX_EXTENSION_NM && last_nm >= NEEDED_NM.1 - MAX_EXTENSION_NM;
    match ends {
        Ends::Extend if within => Ok(true),
        Ends::Refuse if within => Err(SpectrumError::MissingEnds { first_nm, last_nm }),
        Ends::Extend | Ends::Refuse => Err(SpectrumError::TooFarToExtend { first_nm, last_nm }),
    }
}

impl TryFrom<SpectrumAsRead> for Spectrum {
    type Error = SpectrumError;
    fn try_from(read: SpectrumAsRead) -> Result<Self, SpectrumError> {
        Self::new(read.start_nm, read.step_nm, read.values, read.ends)
    }
}

impl From<Spectrum> for SpectrumAsRead {
    fn from(spectrum: Spectrum) -> Self {
        Self {
            start_nm: spectrum.grid.start_nm,
            step_nm: spectrum.grid.step_nm,
            ends: if spectrum.ends_extended {
                Ends::Extend
            } else {
                Ends::Refuse
            },
            values: spectrum.values,
        }
    }
}
