//! The wavelengths of a spectrum: evenly spaced, or any list of them.

use std::fmt;
use std::sync::Arc;

use crate::cie_table::{FIRST_NM, LAST_NM};
use crate::spectrum::{Ends, SpectrumError};

/// Smallest and largest step in nm between neighboring wavelengths. Color is integrated at 1 nm
/// (ASTM E2022), so that finer data would be passed over in part; beyond 20 nm no ASTM method
/// interpolates.
pub const STEP_NM: (u16, u16) = (1, 20);
/// Range in nm that a spectrum must cover, unless its ends may be extended.
pub const NEEDED_NM: (u16, u16) = (400, 700);
/// Range in nm outside which a value is no reflectance of paint as instruments read it.
pub const ALLOWED_NM: (u16, u16) = (200, 1100);
/// Furthest that an end is extended, in nm (common practice, no source): beyond, the missing
/// part would decide the color.
pub const MAX_EXTENSION_NM: u16 = 40;
/// Fewest values of a spectrum.
pub const MIN_VALUES: usize = 2;
/// Most values of a spectrum: [`ALLOWED_NM`] in the smallest of [`STEP_NM`].
pub const MAX_VALUES: usize = 901;
/// How far in nm a step may fall short of 1 nm by the rounding of its wavelengths.
const ROUNDING_NM: f64 = 1e-6;

/// Evenly spaced wavelengths in whole nanometers.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Grid {
    start_nm: u16,
    step_nm: u16,
    count: u16,
}

impl Grid {
    /// Checks and makes a grid that reaches 400 and 700 nm, or nearly.
    ///
    /// # Errors
    /// [`SpectrumError`] as in [`Spectrum::new`](crate::Spectrum::new) with [`Ends::Extend`].
    pub fn new(start_nm: u16, step_nm: u16, count: usize) -> Result<Self, SpectrumError> {
        if count < MIN_VALUES {
            return Err(SpectrumError::TooFew { count });
        }
        if !(STEP_NM.0..=STEP_NM.1).contains(&step_nm) {
            return Err(SpectrumError::Step { step_nm });
        }
        let short = u16::try_from(count).ok().filter(|_| count <= MAX_VALUES);
        let Some(short) = short else {
            return Err(SpectrumError::TooMany { count });
        };
        let first = u32::from(start_nm);
        let last = first + u32::from(step_nm) * (u32::from(short) - 1);
        if first < u32::from(ALLOWED_NM.0) || last > u32::from(ALLOWED_NM.1) {
            let (first_nm, last_nm) = (f64::from(first), f64::from(last));
            return Err(SpectrumError::Range { first_nm, last_nm });
        }
        needs_extension(f64::from(first), f64::from(last), Ends::Extend)?;
        Ok(Self {
            start_nm,
            step_nm,
            count: short,
        })
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

/// Wavelengths that have been checked: rising, 1 to 20 nm apart where color is computed, and
/// reaching 400 and 700 nm, or nearly. Cheap to clone.
///
/// Wavelengths in whole nanometers at one step are always a [`Grid`], however they were given.
#[derive(Clone, Debug, PartialEq)]
pub struct Wavelengths(Kind);

#[derive(Clone, Debug, PartialEq)]
enum Kind {
    Even(Grid),
    /// In nm.
    Listed(Arc<[f64]>),
}

impl Wavelengths {
    /// Checks wavelengths in nm, in rising order, fractions allowed.
    ///
    /// # Errors
    /// [`SpectrumError`] on fewer than 2 or more than 901, on one that is no number or outside
    /// 200–1100 nm, on neighbors less than 1 nm apart, on a gap above 20 nm within 360–780 nm,
    /// and on ends too far from 400 and 700 nm to be extended.
    pub fn new(nms: &[f64]) -> Result<Self, SpectrumError> {
        let count = nms.len();
        let ([first_nm, second, ..], Some(&last_nm)) = (nms, nms.last()) else {
            return Err(SpectrumError::TooFew { count });
        };
        let first_nm = *first_nm;
        if let Some(grid) = even(first_nm, second - first_nm, nms) {
            return grid.map(Self::from);
        }
        if count > MAX_VALUES {
            return Err(SpectrumError::TooMany { count });
        }
        let allowed = f64::from(ALLOWED_NM.0)..=f64::from(ALLOWED_NM.1);
        for pair in nms.windows(2) {
            let (from_nm, to_nm) = (pair[0], pair[1]);
            if !allowed.contains(&from_nm) || !allowed.contains(&to_nm) {
                return Err(SpectrumError::Range { first_nm, last_nm });
            }
            let step = to_nm - from_nm;
            if step < f64::from(STEP_NM.0) - ROUNDING_NM {
                return Err(SpectrumError::TooClose { from_nm, to_nm });
            }
            let counts = to_nm > f64::from(FIRST_NM) && from_nm < f64::from(LAST_NM);
            if counts && step > f64::from(STEP_NM.1) + ROUNDING_NM {
                return Err(SpectrumError::Gap { from_nm, to_nm });
            }
        }
        needs_extension(first_nm, last_nm, Ends::Extend)?;
        Ok(Self(Kind::Listed(nms.into())))
    }

    /// From the two ways to write them, of which one is to be used: first wavelength and step in
    /// nm for `count` values, or a list in nm.
    ///
    /// # Errors
    /// [`SpectrumError::Form`] when neither or both are there; else as [`Grid::new`] or
    /// [`Wavelengths::new`].
    pub fn written(
        start_nm: Option<u16>,
        step_nm: Option<u16>,
        listed_nm: Option<&[f64]>,
        count: usize,
    ) -> Result<Self, SpectrumError> {
        match (start_nm, step_nm, listed_nm) {
            (Some(start), Some(step), None) => Grid::new(start, step, count).map(Self::from),
            (None, None, Some(nms)) => Self::new(nms),
            _ => Err(SpectrumError::Form),
        }
    }

    /// The grid, when they are whole nanometers at one step.
    #[must_use]
    pub fn even(&self) -> Option<Grid> {
        match self.0 {
            Kind::Even(grid) => Some(grid),
            Kind::Listed(_) => None,
        }
    }

    /// Number of wavelengths.
    #[must_use]
    pub fn count(&self) -> usize {
        match &self.0 {
            Kind::Even(grid) => grid.count(),
            Kind::Listed(nms) => nms.len(),
        }
    }

    /// First wavelength in nm.
    #[must_use]
    pub fn first_nm(&self) -> f64 {
        match &self.0 {
            Kind::Even(grid) => f64::from(grid.start_nm),
            Kind::Listed(nms) => nms[0],
        }
    }

    /// Last wavelength in nm.
    #[must_use]
    pub fn last_nm(&self) -> f64 {
        match &self.0 {
            Kind::Even(grid) => f64::from(grid.end_nm()),
            Kind::Listed(nms) => nms[nms.len() - 1],
        }
    }

    /// The wavelengths in nm, rising.
    pub fn iter(&self) -> impl Iterator<Item = f64> + '_ {
        let (grid, listed) = match &self.0 {
            Kind::Even(grid) => (Some(*grid), None),
            Kind::Listed(nms) => (None, Some(nms)),
        };
        let even = grid.into_iter().flat_map(Grid::wavelengths).map(f64::from);
        even.chain(listed.into_iter().flat_map(|nms| nms.iter().copied()))
    }

    /// Whether the ends have to be extended to reach 400 and 700 nm.
    ///
    /// # Errors
    /// [`SpectrumError::MissingEnds`] when they have to and `ends` forbids it.
    pub(crate) fn needs_extension(&self, ends: Ends) -> Result<bool, SpectrumError> {
        needs_extension(self.first_nm(), self.last_nm(), ends)
    }
}

impl From<Grid> for Wavelengths {
    fn from(grid: Grid) -> Self {
        Self(Kind::Even(grid))
    }
}

impl From<&Wavelengths> for Wavelengths {
    fn from(wavelengths: &Wavelengths) -> Self {
        wavelengths.clone()
    }
}

impl fmt::Display for Wavelengths {
    /// `400–700 nm by 10 nm`, or `380–730 nm at 106 wavelengths`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.0 {
            Kind::Even(grid) => grid.fmt(f),
            Kind::Listed(nms) => {
                let (first, last) = (self.first_nm(), self.last_nm());
                write!(f, "{first}–{last} nm at {} wavelengths", nms.len())
            }
        }
    }
}

/// The grid that these are, if they are one; it may be one that is refused.
fn even(first: f64, step: f64, nms: &[f64]) -> Option<Result<Grid, SpectrumError>> {
    let whole = |value: f64| {
        let fits = value.fract() == 0.0 && (0.0..=f64::from(u16::MAX)).contains(&value);
        fits.then_some(value as u16)
    };
    let (start_nm, step_nm) = (whole(first)?, whole(step)?);
    let on_it = |(i, nm): (usize, &f64)| *nm == first + step * i as f64;
    let even = step > 0.0 && nms.iter().enumerate().all(on_it);
    even.then(|| Grid::new(start_nm, step_nm, nms.len()))
}

/// Whether the ends have to be extended.
fn needs_extension(first_nm: f64, last_nm: f64, ends: Ends) -> Result<bool, SpectrumError> {
    let (low, high) = (f64::from(NEEDED_NM.0), f64::from(NEEDED_NM.1));
    if first_nm <= low && last_nm >= high {
        return Ok(false);
    }
    let most = f64::from(MAX_EXTENSION_NM);
    let within = first_nm <= low + most && last_nm >= high - most;
    match ends {
        Ends::Extend if within => Ok(true),
        Ends::Refuse if within => Err(SpectrumError::MissingEnds { first_nm, last_nm }),
        Ends::Extend | Ends::Refuse => Err(SpectrumError::TooFarToExtend { first_nm, last_nm }),
    }
}
