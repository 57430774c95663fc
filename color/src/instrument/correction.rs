//! The systematic difference between two instruments, fitted on tiles read on both and taken
//! off before their readings are compared (Berns & Petersen, Color Res. Appl. 13 (1988) 243).
//!
//! At each wavelength `Rref − R = β0 + β1 R + β2 R(1−R) + β3 dR/dλ + β4 d²R/dλ²`: a black
//! (zero) error, a white (scale) error, non-linearity, a shift of the wavelengths, another
//! bandwidth. Five free coefficients a wavelength on a dozen tiles overfit, so β3 and β4, which
//! belong to the monochromator as a whole, are one pair for all wavelengths, and each
//! coefficient is held by a ridge (Hoerl & Kennard, Technometrics 12 (1970) 55) as strong as
//! its expected size and the noise of a reading ask for. The shared pair is eliminated block by
//! block, which leaves 3×3 and 2×2 systems.
//!
//! On simulated instruments (a dozen tiles of our own, readings with even noise of ±0.0002; 38
//! published spectra held out; `examples/instrument_correction.rs` prints it) the median ΔE00
//! between the two goes, for a wavelength shift of 1 nm, from 0.390 to 0.010; for a bandwidth
//! of 16 nm against 10, from 0.105 to 0.010; for a white error of 1 %, from 0.223 to 0.010; for
//! a black error of 0.4 %, from 0.414 to 0.010; for all four, from 0.732 to 0.011. What is left
//! is the noise: at most 0.076. Real pairs of instruments differ in geometry too, which no such
//! fit takes off.

use serde::{Deserialize, Serialize};

use super::derivative::derivatives;
use crate::difference::de2000;
use crate::illuminant::Viewing;
use crate::spectrum::{Ends, MAX_REFLECTANCE, Spectrum, SpectrumError};
use crate::xyz::WeightTable;

/// Name and version of the computation, to be stored beside what it gave.
pub const METHOD: &str = "berns-petersen-1988-shared/1";
/// Fewest tiles: three coefficients a wavelength, and some left over to see whether they hold
/// (common practice, no source; a dozen with light, dark and saturated ones is better).
pub const MIN_TILES: usize = 8;
/// Most tiles.
pub const MAX_TILES: usize = 200;
/// Share by which the mean ΔE00 of the tiles left out has to fall (common practice, no source).
pub const LEAST_GAIN: f64 = 0.2;
/// Noise of a reflectance that the ridge reckons with: repeatability of an instrument, with
/// what the model leaves out (common practice, no source).
const NOISE: f64 = 0.0005;
/// Sizes that the ridge expects, from what is seen between instruments (common practice, no
/// source): black error, white error, non-linearity as fractions.
const EXPECTED: [f64; 3] = [0.005, 0.02, 0.02];
/// The same of the wavelength shift in nm and of the bandwidth term in nm²: for a triangular
/// bandpass the difference of the squared widths ÷ 12 (Stearns & Stearns, Color Res. Appl. 13
/// (1988) 257, in its form of a second derivative).
const EXPECTED_SHARED: [f64; 2] = [1.0, 15.0];
/// Reflectance beyond the tiles' own at which a corrected value counts as extrapolated (common
/// practice, no source).
const BEYOND: f64 = 0.05;

/// A tile read on both instruments.
#[derive(Clone, Debug, PartialEq)]
pub struct TilePair {
    /// What it is called, for messages.
    pub name: String,
    /// As read on the instrument that is to be corrected.
    pub read: Spectrum,
    /// As read on the reference instrument.
    pub reference: Spectrum,
}

/// What takes readings of one instrument to what another would have read. For comparisons only:
/// what was measured stays as it was measured.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "Parts", into = "Parts")]
pub struct Correction(Parts);

/// The parts of a correction as stored.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename = "Correction", deny_unknown_fields)]
struct Parts {
    /// [`METHOD`] of the fit.
    method: String,
    /// Wavelengths, nm.
    nm: Vec<f64>,
    /// β0, β1, β2 at each.
    own: Vec<[f64; 3]>,
    /// β3 in nm and β4 in nm².
    shared: [f64; 2],
    /// Least and greatest reflectance of the tiles at each.
    range: Vec<[f64; 2]>,
}

/// A spectrum as the other instrument would have read it.
#[derive(Clone, Debug, PartialEq)]
pub struct Corrected {
    /// The spectrum.
    pub spectrum: Spectrum,
    /// At how many of its wavelengths it is lighter or darker than every tile, so that the
    /// correction is a guess there.
    pub extrapolated: usize,
}

/// Mean, median and greatest ΔE00 between the two instruments (D65, 10°).
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Apart {
    /// Mean.
    pub mean: f64,
    /// Median.
    pub median: f64,
    /// Greatest.
    pub max: f64,
}

/// What a correction is worth: each tile corrected by a fit that has not seen it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Check {
    /// Uncorrected.
    pub before: Apart,
    /// Corrected, each tile left out of its own fit.
    pub after: Apart,
    /// Each tile: name, ΔE00 before and after.
    pub tiles: Vec<(String, f64, f64)>,
}

/// Why there is no correction.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum CorrectionError {
    /// Fewer than [`MIN_TILES`], or more than [`MAX_TILES`].
    #[error(
        "{count} tile(s) read on both instruments; a correction takes {MIN_TILES} to \
         {MAX_TILES}, better a dozen: light, dark and saturated ones"
    )]
    TileCount {
        /// How many were given.
        count: usize,
    },
    /// A spectrum with other wavelengths than the first tile's, or than the correction's.
    #[error(
        "{name} is read at other wavelengths than the correction's; export the readings of both \
         instruments at the same wavelengths"
    )]
    Wavelengths {
        /// Of which tile or reading.
        name: String,
    },
    /// The fit does not hold for tiles that it has not seen.
    #[error(
        "the correction does not help: on tiles left out of the fit, mean ΔE00 between the \
         instruments goes from {:.3} to {:.3} and the worst from {:.3} to {:.3}; it has to fall \
         by {:.0} %, the worst not rise. Calibrate both, clean the tiles, read them again",
        check.before.mean, check.after.mean, check.before.max, check.after.max,
        LEAST_GAIN * 100.0
    )]
    DoesNotHelp {
        /// What was found.
        check: Box<Check>,
    },
    /// Stored parts that do not belong together.
    #[error("this is no correction: {problem}")]
    Malformed {
        /// What is wrong.
        problem: &'static str,
    },
    /// The corrected values are no spectrum.
    #[error(transparent)]
    Spectrum(#[from] SpectrumError),
}

impl Correction {
    /// Fits a correction and checks it by leaving out each tile in turn.
    ///
    /// # Errors
    /// [`CorrectionError`] for too few or too many tiles, unlike wavelengths, and when the
    /// correction does not help.
    pub fn fit(pairs: &[TilePair]) -> Result<(Self, Check), CorrectionError> {
        let (correction, check) = Self::fit_and_check(pairs)?;
        let helps = check.after.mean < (1.0 - LEAST_GAIN) * check.before.mean
            && check.after.max <= check.before.max;
        if helps {
            Ok((correction, check))
        } else {
            Err(CorrectionError::DoesNotHelp {
                check: Box::new(check),
            })
        }
    }

    fn fit_and_check(pairs: &[TilePair]) -> Result<(Self, Check), CorrectionError> {
        let count = pairs.len();
        if !(MIN_TILES..=MAX_TILES).contains(&count) {
            return Err(CorrectionError::TileCount { count });
        }
        let nm = wavelengths(&pairs[0].read);
        for pair in pairs {
            if wavelengths(&pair.read) != nm || wavelengths(&pair.reference) != nm {
                return Err(CorrectionError::Wavelengths {
                    name: format!("tile {:?}", pair.name),
                });
            }
        }
        let table = WeightTable::new(Viewing::default(), pairs[0].read.wavelengths());
        let tiles: Vec<Tile<'_>> = pairs.iter().map(|pair| Tile::new(&nm, pair)).collect();
        let mut checked = Vec::with_capacity(count);
        for (left_out, pair) in pairs.iter().enumerate() {
            let others: Vec<&Tile<'_>> = tiles
                .iter()
                .enumerate()
                .filter(|(index, _)| *index != left_out)
                .map(|(_, tile)| tile)
                .collect();
            let corrected = solve(&nm, &others).apply(&pair.read)?.spectrum;
            let unlike = |_| CorrectionError::Wavelengths {
                name: format!("tile {:?}", pair.name),
            };
            let lab = |spectrum: &Spectrum| table.lab(spectrum).map_err(unlike);
            let reference = lab(&pair.reference)?;
            checked.push((
                pair.name.clone(),
                de2000(reference, lab(&pair.read)?),
                de2000(reference, lab(&corrected)?),
            ));
        }
        let check = Check {
            before: Apart::of(checked.iter().map(|tile| tile.1)),
            after: Apart::of(checked.iter().map(|tile| tile.2)),
            tiles: checked,
        };
        Ok((solve(&nm, &tiles.iter().collect::<Vec<_>>()), check))
    }

    /// The spectrum as the reference instrument would have read it.
    ///
    /// # Errors
    /// [`CorrectionError::Wavelengths`] when the spectrum has other wavelengths than the tiles
    /// had.
    pub fn apply(&self, spectrum: &Spectrum) -> Result<Corrected, CorrectionError> {
        let Parts {
            nm,
            own,
            shared,
            range,
            ..
        } = &self.0;
        if wavelengths(spectrum) != *nm {
            return Err(CorrectionError::Wavelengths {
                name: "the reading".to_owned(),
            });
        }
        let values = spectrum.values();
        let slopes = derivatives(nm, values);
        let corrected = values
            .iter()
            .zip(own)
            .zip(&slopes)
            .map(|((value, own), slopes)| {
                let off = dot(own, &terms(*value)) + dot(shared, slopes);
                (value + off).clamp(0.0, MAX_REFLECTANCE)
            })
            .collect();
        let extrapolated = values
            .iter()
            .zip(range)
            .filter(|(value, [low, high])| **value < low - BEYOND || **value > high + BEYOND)
            .count();
        let ends = if spectrum.ends_extended() {
            Ends::Extend
        } else {
            Ends::Refuse
        };
        Ok(Corrected {
            spectrum: Spectrum::at(spectrum.wavelengths(), corrected, ends)?,
            extrapolated,
        })
    }

    /// Name and version of the computation that fitted it.
    #[must_use]
    pub fn method(&self) -> &str {
        &self.0.method
    }

    /// By how many nm the instrument's wavelengths lie from the reference's, as fitted: positive
    /// when it reads at λ what the reference reads further up.
    #[must_use]
    pub fn shift_nm(&self) -> f64 {
        0.0 - self.0.shared[0]
    }
}

impl TryFrom<Parts> for Correction {
    type Error = CorrectionError;
    fn try_from(parts: Parts) -> Result<Self, CorrectionError> {
        let malformed = |problem| Err(CorrectionError::Malformed { problem });
        if parts.own.len() != parts.nm.len() || parts.range.len() != parts.nm.len() {
            return malformed("it has not as many coefficients as wavelengths");
        }
        let mut numbers = parts
            .nm
            .iter()
            .chain(parts.own.iter().flatten())
            .chain(&parts.shared)
            .chain(parts.range.iter().flatten());
        if !numbers.all(|number| number.is_finite()) {
            return malformed("one of its numbers is not finite");
        }
        Ok(Self(parts))
    }
}

impl From<Correction> for Parts {
    fn from(correction: Correction) -> Self {
        correction.0
    }
}

impl Apart {
    fn of(values: impl Iterator<Item = f64>) -> Self {
        let mut sorted: Vec<f64> = values.collect();
        sorted.sort_by(f64::total_cmp);
        let count = sorted.len();
        #[expect(clippy::cast_precision_loss, reason = "at most MAX_TILES")]
        let mean = sorted.iter().sum::<f64>() / count as f64;
        Self {
            mean,
            median: f64::midpoint(sorted[(count - 1) / 2], sorted[count / 2]),
            max: sorted[count - 1],
        }
    }
}

/// A tile as the fit sees it.
struct Tile<'a> {
    read: &'a [f64],
    /// First and second derivative.
    slopes: Vec<[f64; 2]>,
    /// Reference less reading.
    off: Vec<f64>,
}

impl<'a> Tile<'a> {
    fn new(nm: &[f64], pair: &'a TilePair) -> Self {
        let read = pair.read.values();
        let reference = pair.reference.values();
        Self {
            read,
            slopes: derivatives(nm, read),
            off: reference.iter().zip(read).map(|(f, r)| f - r).collect(),
        }
    }
}

/// The normal equations of one wavelength, with the ridge.
#[derive(Default)]
struct Normal {
    /// Own terms with own terms.
    own: [[f64; 3]; 3],
    /// Own terms with the difference.
    own_off: [f64; 3],
    /// Own terms with the shared ones, a column each.
    mixed: [[f64; 3]; 2],
}

/// Least squares with a ridge, the shared terms eliminated wavelength by wavelength.
fn solve(nm: &[f64], tiles: &[&Tile<'_>]) -> Correction {
    let mut normals = Vec::with_capacity(nm.len());
    let mut shared = [[0.0; 2]; 2];
    let mut shared_off = [0.0; 2];
    for at in 0..nm.len() {
        let mut normal = Normal::default();
        for (i, expected) in EXPECTED.iter().enumerate() {
            normal.own[i][i] = (NOISE / expected).powi(2);
        }
        for tile in tiles {
            let (own, slopes, off) = (terms(tile.read[at]), tile.slopes[at], tile.off[at]);
            for (i, left) in own.iter().enumerate() {
                for (slot, right) in normal.own[i].iter_mut().zip(own) {
                    *slot += left * right;
                }
                normal.own_off[i] += left * off;
                for (column, slope) in normal.mixed.iter_mut().zip(slopes) {
                    column[i] += left * slope;
                }
            }
            for (i, left) in slopes.iter().enumerate() {
                for (slot, right) in shared[i].iter_mut().zip(slopes) {
                    *slot += left * right;
                }
                shared_off[i] += left * off;
            }
        }
        let off = solve3(normal.own, normal.own_off);
        let mixed = normal.mixed.map(|column| solve3(normal.own, column));
        for i in 0..2 {
            for j in 0..2 {
                shared[i][j] -= dot(&normal.mixed[i], &mixed[j]);
            }
            shared_off[i] -= dot(&normal.mixed[i], &off);
        }
        normals.push(normal);
    }
    for (i, expected) in EXPECTED_SHARED.iter().enumerate() {
        shared[i][i] += (NOISE / expected).powi(2);
    }
    let determinant = shared[0][0] * shared[1][1] - shared[0][1] * shared[1][0];
    let shared = [
        (shared_off[0] * shared[1][1] - shared_off[1] * shared[0][1]) / determinant,
        (shared_off[1] * shared[0][0] - shared_off[0] * shared[1][0]) / determinant,
    ];
    let own = normals.iter().map(|normal| {
        let left = std::array::from_fn(|i| {
            normal.own_off[i] - normal.mixed[0][i] * shared[0] - normal.mixed[1][i] * shared[1]
        });
        solve3(normal.own, left)
    });
    let range = (0..nm.len()).map(|at| {
        let all = tiles.iter().map(|tile| tile.read[at]);
        all.fold([f64::MAX, f64::MIN], |[low, high], value| {
            [low.min(value), high.max(value)]
        })
    });
    Correction(Parts {
        method: METHOD.to_owned(),
        nm: nm.to_vec(),
        own: own.map(|own| own.map(rounded)).collect(),
        shared: shared.map(rounded),
        range: range.map(|range| range.map(rounded)).collect(),
    })
}

/// To 1e-10, far below any instrument's digits: a number that every JSON reader gives back as it
/// was, so that what is stored and what was checked are the same.
fn rounded(number: f64) -> f64 {
    (number * 1e10).round() / 1e10
}

/// What β0, β1 and β2 are multiplied by.
fn terms(value: f64) -> [f64; 3] {
    [1.0, value, value * (1.0 - value)]
}

fn dot<const N: usize>(a: &[f64; N], b: &[f64; N]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// Solves a symmetric positive definite system, which the ridge makes of any tiles, by
/// elimination.
fn solve3(mut matrix: [[f64; 3]; 3], mut right: [f64; 3]) -> [f64; 3] {
    for pivot in 0..3 {
        for row in pivot + 1..3 {
            let share = matrix[row][pivot] / matrix[pivot][pivot];
            let upper = matrix[pivot];
            for (value, above) in matrix[row].iter_mut().zip(upper) {
                *value -= share * above;
            }
            right[row] -= share * right[pivot];
        }
    }
    for row in (0..3).rev() {
        for later in row + 1..3 {
            right[row] -= matrix[row][later] * right[later];
        }
        right[row] /= matrix[row][row];
    }
    right
}

fn wavelengths(spectrum: &Spectrum) -> Vec<f64> {
    spectrum.wavelengths().iter().collect()
}
