//! Verification tiles: whether an instrument still reads a tile as it used to.
//!
//! The rule is ours, in the spirit of ASTM E2214 (scatter as MCDM, the mean color difference
//! from the mean). The first [`BASELINE_READINGS`] readings of a tile are its baseline and stay
//! so, since a history that moves along with the instrument would hide a slow drift. A reading
//! is compared in ΔE00 with the mean of the baseline; limits are multiples of the baseline's
//! MCDM. The multiples are those of scatter along one direction (a lamp that fades moves L\*
//! alone): ΔE is then half-normal, its mean σ√(2/π), and 95 % and 99.73 % of readings stay
//! within 1.960σ and 3σ. Scatter in all directions alike stays within these limits more often
//! still (chi with three degrees of freedom: 1.75 and 2.36 times its mean).

use serde::{Deserialize, Serialize};

use super::temperature::TileHue;
use crate::difference::de2000;
use crate::lab::Lab;

/// Readings before there are limits (common practice, no source; E2214 asks for several).
pub const NEEDED_READINGS: usize = 10;
/// Days on which they must have been made: readings of one day show repeatability only, and
/// limits from them would cry wolf next week (common practice, no source).
pub const NEEDED_DAYS: usize = 3;
/// Readings that make the baseline (common practice for control charts, no source: 20 to 25).
pub const BASELINE_READINGS: usize = 20;
/// ΔE00 below which scatter is not believed: readings rounded to 0.01 % say no more (common
/// practice, no source).
pub const LEAST_SCATTER: f64 = 0.01;
/// Warning limit as a multiple of MCDM: 1.960 ÷ √(2/π); 5 % of readings pass it by chance.
pub const WARNING_FACTOR: f64 = 2.456;
/// Action limit as a multiple of MCDM: 3 ÷ √(2/π); 0.27 % of readings pass it by chance.
pub const ACTION_FACTOR: f64 = 3.760;
/// Expected ΔE76 from which a difference in temperature is told (common practice, no source).
pub const TOLD_DE76: f64 = 0.1;

/// One reading of a tile. D65, 10°.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TileReading {
    /// What was read.
    pub lab: Lab,
    /// Temperature of tile or room in °C, when known.
    pub temperature_c: Option<f64>,
    /// Number of the day, counted from anywhere.
    pub day: i32,
}

/// Mean and control limits of a tile, from its baseline.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Limits {
    /// Readings that they rest on.
    pub readings: usize,
    /// Mean color difference from the mean, ΔE00.
    pub mcdm: f64,
    /// ΔE00 from the mean that asks for a second reading.
    pub warning: f64,
    /// ΔE00 from the mean that asks for calibration or service.
    pub action: f64,
}

/// Why there are no limits yet.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, thiserror::Error)]
#[error("no limits yet: {readings} of {NEEDED_READINGS} readings, on {days} of {NEEDED_DAYS} days")]
pub struct NoLimitsYet {
    /// Readings there are.
    pub readings: usize,
    /// Days that they were made on.
    pub days: usize,
}

/// How a reading stands against the limits.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Standing {
    /// There are no limits yet.
    NotKnown,
    /// Within the warning limit.
    Within,
    /// Beyond the warning limit: clean the tile, read again.
    Warning,
    /// Beyond the action limit: calibrate, read again, then ask for service.
    Action,
}

/// What a difference in temperature does to a reading.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Warmth {
    /// °C above (below: negative) the baseline's mean.
    pub warmer_c: f64,
    /// ΔE76 to be expected from it.
    pub expected_de76: f64,
    /// ΔE00 from the mean as that is expected at this temperature.
    pub de2000_at_temperature: f64,
}

/// A reading against the tile's history.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Drift {
    /// ΔE00 from the baseline's mean; none for the first reading of a tile.
    pub de2000: Option<f64>,
    /// How it stands.
    pub standing: Standing,
    /// The limits, when there are any.
    pub limits: Option<Limits>,
    /// Why there are none.
    pub no_limits_yet: Option<NoLimitsYet>,
    /// What temperature explains, when it is known and worth telling.
    pub warmth: Option<Warmth>,
}

/// The mean of the baseline, its temperature and its limits.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Baseline {
    /// Mean of L\*, a\*, b\*: for scatter of this size the same as the color of the mean
    /// reflectance.
    pub mean: Lab,
    /// Mean temperature in °C of the readings that have one.
    pub temperature_c: Option<f64>,
    /// Control limits.
    pub limits: Result<Limits, NoLimitsYet>,
}

impl Baseline {
    /// From the readings made before, the oldest first; none when there are none.
    #[must_use]
    pub fn of(history: &[TileReading]) -> Option<Self> {
        let base = &history[..history.len().min(BASELINE_READINGS)];
        if base.is_empty() {
            return None;
        }
        let mean_of = |part: fn(&Lab) -> f64| mean(base.iter().map(|reading| part(&reading.lab)));
        let center = Lab {
            l: mean_of(|lab| lab.l)?,
            a: mean_of(|lab| lab.a)?,
            b: mean_of(|lab| lab.b)?,
        };
        let mut days: Vec<i32> = base.iter().map(|reading| reading.day).collect();
        days.sort_unstable();
        days.dedup();
        let limits = if base.len() < NEEDED_READINGS || days.len() < NEEDED_DAYS {
            Err(NoLimitsYet {
                readings: base.len(),
                days: days.len(),
            })
        } else {
            let mcdm = mean(base.iter().map(|reading| de2000(center, reading.lab)))?;
            Ok(Limits::from_mcdm(mcdm, base.len()))
        };
        Some(Self {
            mean: center,
            temperature_c: mean(base.iter().filter_map(|reading| reading.temperature_c)),
            limits,
        })
    }
}

impl Limits {
    /// A reading that took no part in the mean of n scatters by √((n+1)/(n−1)) more around it
    /// than those that did.
    fn from_mcdm(mcdm: f64, readings: usize) -> Self {
        #[expect(clippy::cast_precision_loss, reason = "at most BASELINE_READINGS")]
        let n = readings as f64;
        let scatter = mcdm.max(LEAST_SCATTER) * ((n + 1.0) / (n - 1.0)).sqrt();
        Self {
            readings,
            mcdm,
            warning: WARNING_FACTOR * scatter,
            action: ACTION_FACTOR * scatter,
        }
    }
}

/// A reading of a tile against the readings before it, the oldest first.
#[must_use]
pub fn judge(history: &[TileReading], reading: TileReading, hue: Option<TileHue>) -> Drift {
    let Some(baseline) = Baseline::of(history) else {
        return Drift {
            de2000: None,
            standing: Standing::NotKnown,
            limits: None,
            no_limits_yet: Some(NoLimitsYet {
                readings: 0,
                days: 0,
            }),
            warmth: None,
        };
    };
    let de = de2000(baseline.mean, reading.lab);
    let standing = match &baseline.limits {
        Err(_) => Standing::NotKnown,
        Ok(limits) if de > limits.action => Standing::Action,
        Ok(limits) if de > limits.warning => Standing::Warning,
        Ok(_) => Standing::Within,
    };
    Drift {
        de2000: Some(de),
        standing,
        limits: baseline.limits.ok(),
        no_limits_yet: baseline.limits.err(),
        warmth: warmth(&baseline, reading, hue),
    }
}

/// Each reading, the oldest first, against those before it.
#[must_use]
pub fn chart(readings: &[TileReading], hue: Option<TileHue>) -> Vec<Drift> {
    readings
        .iter()
        .enumerate()
        .map(|(index, reading)| judge(&readings[..index], *reading, hue))
        .collect()
}

fn warmth(baseline: &Baseline, reading: TileReading, hue: Option<TileHue>) -> Option<Warmth> {
    let (hue, usual_c, now_c) = (hue?, baseline.temperature_c?, reading.temperature_c?);
    let warmer_c = now_c - usual_c;
    let expected_de76 = hue.de76_over(warmer_c);
    (expected_de76 >= TOLD_DE76).then(|| Warmth {
        warmer_c,
        expected_de76,
        de2000_at_temperature: de2000(hue.warmed(baseline.mean, warmer_c), reading.lab),
    })
}

fn mean(values: impl Iterator<Item = f64>) -> Option<f64> {
    let (sum, count) = values.fold((0.0, 0.0), |(sum, count), value| (sum + value, count + 1.0));
    (count > 0.0).then_some(sum / count)
}
