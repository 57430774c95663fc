//! Several readings of one sample: their average and their spread.
//!
//! Readings are averaged in reflectance. The spread is the mean color difference from the mean (MCDM, ASTM E2214); the
//! confidence region of the mean and the test against a standard are those of Hotelling's T² (Hotelling, Ann. Math.
//! Stat. 2 (1931) 360; used by ASTM E2214) on L\*a\*b\*. How many readings are worth taking follows ASTM E1345.

use std::fmt;

use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF as _, FisherSnedecor};

use crate::illuminant::Viewing;
use crate::lab::Lab;
use crate::metamerism::Difference;
use crate::spectrum::{Ends, Spectrum, SpectrumError};

/// Fewest readings among which one can be named as the outlier: of three, any two that happen to agree would make one
/// of the third (common practice, no source).
pub const MIN_FOR_OUTLIER: usize = 4;
/// Fewest readings for T²: the covariance is 3×3.
pub const MIN_FOR_T2: usize = 4;
/// Fewest readings from which T² says much (common practice, no source): with four, F at 95 % is 216, with ten it is 4.3.
pub const ADVISED_FOR_T2: usize = 10;
/// A reading is an outlier when it lies further from the mean of the others than this many times their own MCDM (our own
/// rule). Among readings that scatter evenly it names one wrongly in 1 of 100 sets of four, and less often in larger ones.
pub const OUTLIER_TIMES: f64 = 6.0;
/// And further than this, in ΔE00: below, it is the instrument's own scatter (common practice, no source).
pub const OUTLIER_FLOOR: f64 = 0.3;
/// How well the mean should be known, in ΔE00 (common practice, no source).
pub const WANTED_WITHIN: f64 = 0.2;
/// Level of the confidence region.
pub const CONFIDENCE: f64 = 0.95;
/// Two-sided 95 % point of the normal distribution, of which the number of readings follows: n = (1.96 s/e)² (ASTM E1345,
/// from memory).
const NORMAL_95: f64 = 1.96;
/// Most readings that are ever advised.
const MOST_ADVISED: usize = 100;
/// Smallest ratio of the pivots of a covariance below which it counts as flat.
const FLAT: f64 = 1e-12;

/// Why readings have no average.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum AverageError {
    /// None given.
    #[error("there is no reading to average; measure the sample")]
    None,
    /// Other wavelengths.
    #[error(
        "reading {number} has other wavelengths than the first; average readings of one \
         instrument with one setting"
    )]
    Wavelengths {
        /// Its place, from 1.
        number: usize,
    },
    /// The average is no spectrum, which the readings would have to be first.
    #[error(transparent)]
    Spectrum(#[from] SpectrumError),
}

/// The average in reflectance, wavelength by wavelength. Its ends are extended when those of any reading are.
///
/// # Errors
/// [`AverageError`] when there is no reading, or their wavelengths differ.
pub fn average(readings: &[&Spectrum]) -> Result<Spectrum, AverageError> {
    let (first, rest) = readings.split_first().ok_or(AverageError::None)?;
    let mut sums = first.values().to_vec();
    for (at, reading) in rest.iter().enumerate() {
        if reading.wavelengths() != first.wavelengths() {
            return Err(AverageError::Wavelengths { number: at + 2 });
        }
        for (sum, value) in sums.iter_mut().zip(reading.values()) {
            *sum += value;
        }
    }
    let n = count(readings.len());
    for sum in &mut sums {
        *sum /= n;
    }
    let ends = if readings.iter().any(|reading| reading.ends_extended()) {
        Ends::Extend
    } else {
        Ends::Refuse
    };
    Ok(Spectrum::at(first.wavelengths(), sums, ends)?)
}

/// How far readings of one sample lie apart.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Spread {
    /// Number of readings.
    pub readings: usize,
    /// Mean difference from the mean; `None` for a single reading.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mcdm: Option<Difference>,
    /// Each reading from the mean, in their order.
    pub from_mean: Vec<Difference>,
    /// The reading that does not belong to the others, looked for from [`MIN_FOR_OUTLIER`] readings up.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub outlier: Option<Outlier>,
    /// How well the mean is known; `None` below [`MIN_FOR_T2`] readings, or when they lie in a plane.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mean_within: Option<MeanWithin>,
    /// What a person should know about it.
    pub advice: Vec<SpreadAdvice>,
}

/// A reading that does not belong to the others.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Outlier {
    /// Its place, from 0.
    pub at: usize,
    /// ΔE00 from the mean of the others.
    pub from_others: f64,
    /// MCDM of the others in ΔE00.
    pub mcdm_of_others: f64,
}

/// The region in L\*a\*b\* in which the mean of many readings lies with 95 % confidence.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct MeanWithin {
    /// Longest half axis of the ellipsoid, in ΔE\*ab.
    pub de76: f64,
    /// F at 95 % with 3 and n − 3 degrees of freedom.
    pub f: f64,
}

/// What should be known about a spread.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "kind")]
pub enum SpreadAdvice {
    /// Nothing is known of the scatter.
    SingleReading,
    /// Too few to name an outlier.
    OutlierNotNamed,
    /// T² rests on few readings.
    FewForT2,
    /// The readings scatter so much that the mean is known to [`WANTED_WITHIN`] only from more.
    TakeMore {
        /// So many in all.
        needed: usize,
    },
}

impl fmt::Display for SpreadAdvice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::SingleReading => f.write_str(
                "a single reading: nothing is known of its scatter; read the sample again at \
                 other places, a textured one at ten",
            ),
            Self::OutlierNotNamed => {
                write!(f, "an outlier is named from {MIN_FOR_OUTLIER} readings up")
            }
            Self::FewForT2 => write!(
                f,
                "the confidence region rests on few readings; {ADVISED_FOR_T2} are advised"
            ),
            Self::TakeMore { needed } => write!(
                f,
                "the readings scatter, as those of a textured sample do; {needed} in all, at \
                 other places, would give the mean to within {WANTED_WITHIN} ΔE00"
            ),
        }
    }
}

impl Spread {
    /// Of spectra of one sample, with their average.
    ///
    /// # Errors
    /// As [`average`].
    pub fn of_spectra(
        readings: &[&Spectrum],
        viewing: Viewing,
    ) -> Result<(Spectrum, Self), AverageError> {
        let mean = average(readings)?;
        let labs: Vec<Lab> = readings.iter().map(|one| one.lab(viewing)).collect();
        let spread = Self::around(mean.lab(viewing), &labs);
        Ok((mean, spread))
    }

    /// Of colors around their mean, which is the color of the averaged reflectance.
    #[must_use]
    pub fn around(mean: Lab, readings: &[Lab]) -> Self {
        let n = readings.len();
        let from_mean: Vec<Difference> = readings
            .iter()
            .map(|reading| Difference::between(mean, *reading))
            .collect();
        let mut advice = Vec::new();
        match n {
            0 | 1 => advice.push(SpreadAdvice::SingleReading),
            2..MIN_FOR_OUTLIER => advice.push(SpreadAdvice::OutlierNotNamed),
            MIN_FOR_T2..ADVISED_FOR_T2 => advice.push(SpreadAdvice::FewForT2),
            _ => {}
        }
        if let Some(needed) = needed(&from_mean).filter(|needed| *needed > n) {
            advice.push(SpreadAdvice::TakeMore { needed });
        }
        Self {
            readings: n,
            mcdm: (n > 1).then(|| Difference {
                de76: from_mean.iter().map(|from| from.de76).sum::<f64>() / count(n),
                de2000: from_mean.iter().map(|from| from.de2000).sum::<f64>() / count(n),
            }),
            from_mean,
            outlier: outlier(readings),
            mean_within: mean_within(readings),
            advice,
        }
    }
}

/// Number of readings that give the mean to within [`WANTED_WITHIN`], from the scatter of these.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "between 1 and 100 after the clamp"
)]
fn needed(from_mean: &[Difference]) -> Option<usize> {
    if from_mean.len() < 2 {
        return None;
    }
    let squares: f64 = from_mean.iter().map(|from| from.de2000.powi(2)).sum();
    let deviation = (squares / count(from_mean.len() - 1)).sqrt();
    let needed = (NORMAL_95 * deviation / WANTED_WITHIN).powi(2).ceil();
    Some(needed.clamp(1.0, count(MOST_ADVISED)) as usize)
}

/// The reading that lies furthest from the mean of the others, when that is far in their measure. Means are taken in
/// L\*a\*b\* here: over the small distances within a sample they are those of reflectance.
fn outlier(readings: &[Lab]) -> Option<Outlier> {
    if readings.len() < MIN_FOR_OUTLIER {
        return None;
    }
    (0..readings.len())
        .map(|at| {
            let others = || {
                readings
                    .iter()
                    .enumerate()
                    .filter(move |(other, _)| *other != at)
                    .map(|(_, lab)| *lab)
            };
            let mean = mean(others(), readings.len() - 1);
            let apart: f64 = others()
                .map(|lab| Difference::between(mean, lab).de2000)
                .sum();
            Outlier {
                at,
                from_others: Difference::between(mean, readings[at]).de2000,
                mcdm_of_others: apart / count(readings.len() - 1),
            }
        })
        .max_by(|x, y| x.from_others.total_cmp(&y.from_others))
        .filter(|far| {
            far.from_others > OUTLIER_FLOOR && far.from_others > OUTLIER_TIMES * far.mcdm_of_others
        })
}

fn mean(labs: impl Iterator<Item = Lab>, n: usize) -> Lab {
    let mut sum = [0.0; 3];
    for lab in labs {
        sum = [sum[0] + lab.l, sum[1] + lab.a, sum[2] + lab.b];
    }
    let [l, a, b] = sum.map(|sum| sum / count(n));
    Lab { l, a, b }
}

/// Hotelling's T² of the mean of readings against a standard that is taken as exact.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct HotellingT2 {
    /// n (x̄ − μ)ᵀ S⁻¹ (x̄ − μ) in L\*a\*b\*.
    pub t2: f64,
    /// T² (n − 3) / (3 (n − 1)).
    pub f: f64,
    /// Degrees of freedom of F: 3 and n − 3.
    pub degrees: (usize, usize),
    /// How often a sample that is the standard gives as much or more.
    pub p: f64,
}

impl HotellingT2 {
    /// Of readings against a standard; `None` below [`MIN_FOR_T2`], or when the readings lie in a plane.
    #[must_use]
    pub fn of_mean(readings: &[Lab], standard: Lab) -> Option<Self> {
        let n = readings.len();
        if n < MIN_FOR_T2 {
            return None;
        }
        let mean = mean(readings.iter().copied(), n);
        let root = cholesky(covariance(readings, mean))?;
        let apart = [
            mean.l - standard.l,
            mean.a - standard.a,
            mean.b - standard.b,
        ];
        // L z = apart, then T² = n |z|².
        let z0 = apart[0] / root[0][0];
        let z1 = (apart[1] - root[1][0] * z0) / root[1][1];
        let z2 = (apart[2] - root[2][0] * z0 - root[2][1] * z1) / root[2][2];
        let t2 = count(n) * (z0 * z0 + z1 * z1 + z2 * z2);
        let f = t2 * count(n - 3) / (3.0 * count(n - 1));
        Some(Self {
            t2,
            f,
            degrees: (3, n - 3),
            p: fisher(n)?.sf(f),
        })
    }
}

fn mean_within(readings: &[Lab]) -> Option<MeanWithin> {
    let n = readings.len();
    if n < MIN_FOR_T2 {
        return None;
    }
    let covariance = covariance(readings, mean(readings.iter().copied(), n));
    cholesky(covariance)?;
    let f = fisher(n)?.inverse_cdf(CONFIDENCE);
    let scale = 3.0 * count(n - 1) / (count(n) * count(n - 3)) * f;
    Some(MeanWithin {
        de76: (largest_eigenvalue(covariance) * scale).sqrt(),
        f,
    })
}

fn fisher(n: usize) -> Option<FisherSnedecor> {
    FisherSnedecor::new(3.0, count(n - 3)).ok()
}

/// Divided by n − 1.
fn covariance(readings: &[Lab], mean: Lab) -> [[f64; 3]; 3] {
    let mut sums = [[0.0; 3]; 3];
    for lab in readings {
        let from = [lab.l - mean.l, lab.a - mean.a, lab.b - mean.b];
        for (row, x) in sums.iter_mut().zip(from) {
            for (sum, y) in row.iter_mut().zip(from) {
                *sum += x * y;
            }
        }
    }
    sums.map(|row| row.map(|sum| sum / count(readings.len() - 1)))
}

/// Lower triangular root, or `None` for a matrix that is flat.
fn cholesky(m: [[f64; 3]; 3]) -> Option<[[f64; 3]; 3]> {
    let largest = m[0][0].max(m[1][1]).max(m[2][2]);
    let pivot = |square: f64| (square > largest * FLAT).then(|| square.sqrt());
    let l00 = pivot(m[0][0])?;
    let l10 = m[1][0] / l00;
    let l20 = m[2][0] / l00;
    let l11 = pivot(m[1][1] - l10 * l10)?;
    let l21 = (m[2][1] - l20 * l10) / l11;
    let l22 = pivot(m[2][2] - l20 * l20 - l21 * l21)?;
    Some([[l00, 0.0, 0.0], [l10, l11, 0.0], [l20, l21, l22]])
}

/// Of a symmetric matrix, by the trigonometric solution of its cubic (Smith, Comm. ACM 4 (1961) 168).
fn largest_eigenvalue(m: [[f64; 3]; 3]) -> f64 {
    let off = m[0][1].powi(2) + m[0][2].powi(2) + m[1][2].powi(2);
    let third = (m[0][0] + m[1][1] + m[2][2]) / 3.0;
    let d = [m[0][0] - third, m[1][1] - third, m[2][2] - third];
    let p = ((d[0].powi(2) + d[1].powi(2) + d[2].powi(2) + 2.0 * off) / 6.0).sqrt();
    if p == 0.0 {
        return third;
    }
    let determinant = d[0] * (d[1] * d[2] - m[1][2].powi(2))
        - m[0][1] * (m[0][1] * d[2] - m[1][2] * m[0][2])
        + m[0][2] * (m[0][1] * m[1][2] - d[1] * m[0][2]);
    let angle = (determinant / (2.0 * p.powi(3))).clamp(-1.0, 1.0).acos() / 3.0;
    third + 2.0 * p * angle.cos()
}

/// Of readings, of which there are never so many that an f64 would round.
#[expect(clippy::cast_precision_loss, reason = "far below 2^52")]
fn count(n: usize) -> f64 {
    n as f64
}
