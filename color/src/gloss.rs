//! Gloss and gloss levels of paint.
//!
//! Gloss units are those of ISO 2813: black glass of refractive index 1.567 has 100 at 20°, 60°
//! and 85°. Levels are the seven gloss and sheen levels published by the Master Painters
//! Institute. By 60° alone they overlap (G1 and G2, G3 and G4); with both angles they touch
//! at edges and leave gaps. So the answer is every level that fits, or the nearest one with the
//! limits it fails.

use std::fmt;

use serde::{Deserialize, Serialize};

use crate::spectrum::Spectrum;

/// Highest gloss taken; paint stays near 100, bare metal goes far beyond.
pub const MAX_GLOSS: f64 = 200.0;

/// Gloss at 60°, and at 85° where it was read.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GlossReading {
    at60: f64,
    at85: Option<f64>,
}

/// A gloss that no paint has.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("gloss at {angle} is {value}; give gloss units from 0 to {MAX_GLOSS}")]
pub struct GlossError {
    /// Angle of the reading.
    pub angle: Angle,
    /// The value given.
    pub value: f64,
}

/// Angle from the perpendicular.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Angle {
    /// 60°, gloss.
    #[serde(rename = "60")]
    Sixty,
    /// 85°, sheen.
    #[serde(rename = "85")]
    EightyFive,
}

impl fmt::Display for Angle {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Sixty => "60°",
            Self::EightyFive => "85°",
        })
    }
}

impl GlossReading {
    /// Gloss units at 60° and, where read, at 85°.
    ///
    /// # Errors
    /// [`GlossError`] when a value is NaN or outside 0 to [`MAX_GLOSS`].
    pub fn new(at60: f64, at85: Option<f64>) -> Result<Self, GlossError> {
        for (angle, value) in [(Angle::Sixty, Some(at60)), (Angle::EightyFive, at85)] {
            if let Some(value) = value
                && !(0.0..=MAX_GLOSS).contains(&value)
            {
                return Err(GlossError { angle, value });
            }
        }
        Ok(Self { at60, at85 })
    }
}

/// Gloss level, from matte to high gloss.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub enum GlossLevel {
    /// At most 5 at 60° and 10 at 85°.
    G1,
    /// At most 10 at 60°, 10 to 35 at 85°.
    G2,
    /// 10 to 25 at 60°, 10 to 35 at 85°.
    G3,
    /// 20 to 35 at 60°, at least 35 at 85°.
    G4,
    /// 35 to 70 at 60°.
    G5,
    /// 70 to 85 at 60°.
    G6,
    /// At least 85 at 60°.
    G7,
}

/// One limit of a level.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct GlossLimit {
    /// Where it holds.
    pub angle: Angle,
    /// Whether it is the least or the most allowed.
    pub bound: LimitBound,
    /// Gloss units.
    pub units: f64,
}

/// Which side of a limit is allowed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum LimitBound {
    /// Not below.
    AtLeast,
    /// Not above.
    AtMost,
}

impl fmt::Display for GlossLimit {
    /// `at least 10 at 85°`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let bound = match self.bound {
            LimitBound::AtLeast => "at least",
            LimitBound::AtMost => "at most",
        };
        write!(f, "{bound} {} at {}", self.units, self.angle)
    }
}

/// Which level a gloss reading belongs to.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "answer", rename_all = "snake_case")]
pub enum GlossAnswer {
    /// All levels that fit, at least one.
    Levels {
        /// From matte to glossy.
        levels: Vec<GlossLevel>,
        /// A level named here has a limit at 85°, which was not read.
        needs_85: bool,
    },
    /// None fits.
    Between {
        /// The level whose limits are missed by the fewest gloss units in sum; the more matte
        /// one of equals.
        nearest: GlossLevel,
        /// The limits it fails.
        failed: Vec<GlossLimit>,
    },
}

impl GlossLevel {
    /// Every level, from matte to glossy.
    pub const ALL: [Self; 7] = [
        Self::G1,
        Self::G2,
        Self::G3,
        Self::G4,
        Self::G5,
        Self::G6,
        Self::G7,
    ];

    /// What the trade calls it (Master Painters Institute).
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::G1 => "traditional matte (flat)",
            Self::G2 => "high side sheen flat (velvet-like)",
            Self::G3 => "traditional eggshell-like",
            Self::G4 => "satin-like",
            Self::G5 => "traditional semi-gloss",
            Self::G6 => "traditional gloss",
            Self::G7 => "high gloss",
        }
    }

    /// Its limits.
    pub fn limits(self) -> impl Iterator<Item = GlossLimit> {
        // Least and most at 60°, least and most at 85°.
        let [least60, most60, least85, most85] = match self {
            Self::G1 => [None, Some(5.0), None, Some(10.0)],
            Self::G2 => [None, Some(10.0), Some(10.0), Some(35.0)],
            Self::G3 => [Some(10.0), Some(25.0), Some(10.0), Some(35.0)],
            Self::G4 => [Some(20.0), Some(35.0), Some(35.0), None],
            Self::G5 => [Some(35.0), Some(70.0), None, None],
            Self::G6 => [Some(70.0), Some(85.0), None, None],
            Self::G7 => [Some(85.0), None, None, None],
        };
        let limit = |angle, bound, units: Option<f64>| {
            units.map(|units| GlossLimit {
                angle,
                bound,
                units,
            })
        };
        [
            limit(Angle::Sixty, LimitBound::AtLeast, least60),
            limit(Angle::Sixty, LimitBound::AtMost, most60),
            limit(Angle::EightyFive, LimitBound::AtLeast, least85),
            limit(Angle::EightyFive, LimitBound::AtMost, most85),
        ]
        .into_iter()
        .flatten()
    }

    /// The level or levels of a reading. Limits are inclusive; those at 85° count only where it
    /// was read.
    #[must_use]
    pub fn of(reading: GlossReading) -> GlossAnswer {
        let levels: Vec<Self> = Self::ALL
            .into_iter()
            .filter(|level| level.missed_by(reading) == 0.0)
            .collect();
        if !levels.is_empty() {
            let at_85 = |level: &Self| level.limits().any(|l| l.angle == Angle::EightyFive);
            let needs_85 = reading.at85.is_none() && levels.iter().any(at_85);
            return GlossAnswer::Levels { levels, needs_85 };
        }
        let nearest = Self::ALL
            .into_iter()
            .min_by(|x, y| x.missed_by(reading).total_cmp(&y.missed_by(reading)))
            .unwrap_or(Self::G1);
        let failed = nearest
            .limits()
            .filter(|limit| limit.missed_by(reading) > 0.0)
            .collect();
        GlossAnswer::Between { nearest, failed }
    }

    fn missed_by(self, reading: GlossReading) -> f64 {
        self.limits().map(|limit| limit.missed_by(reading)).sum()
    }
}

impl GlossLimit {
    fn missed_by(&self, reading: GlossReading) -> f64 {
        let read = match self.angle {
            Angle::Sixty => Some(reading.at60),
            Angle::EightyFive => reading.at85,
        };
        read.map_or(0.0, |read| match self.bound {
            LimitBound::AtLeast => (self.units - read).max(0.0),
            LimitBound::AtMost => (read - self.units).max(0.0),
        })
    }
}

impl fmt::Display for GlossAnswer {
    /// `G2 high side sheen flat (velvet-like)`, or `between levels; nearest G1 …, which allows
    /// at most 5 at 60°`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Levels { levels, needs_85 } => {
                let names: Vec<String> = levels
                    .iter()
                    .map(|level| format!("{level:?} {}", level.name()))
                    .collect();
                f.write_str(&names.join(" or "))?;
                if *needs_85 {
                    f.write_str("; read 85° too, to be sure")
                } else {
                    Ok(())
                }
            }
            Self::Between { nearest, failed } => {
                let limits: Vec<String> = failed.iter().map(ToString::to_string).collect();
                let (name, limits) = (nearest.name(), limits.join(" and "));
                write!(
                    f,
                    "between levels; nearest {nearest:?} {name}, which allows {limits}"
                )
            }
        }
    }
}

/// What the first surface of a paint reflects like a mirror at near-perpendicular light: ((n − 1)/(n + 1))² with n = 1.5
/// (Fresnel). So much more a sphere reads with the specular component included, of a paint without any haze.
pub const FIRST_SURFACE: f64 = 0.04;
/// Below this share of [`FIRST_SURFACE`] a surface is called matte, from 1 minus it glossy (common practice, no source).
const MATTE_SHARE: f64 = 0.25;
/// How far below 0 the difference may be from the scatter of two readings (common practice, no source).
const BELOW_ZERO: f64 = -0.005;

/// A sign of sheen from a sphere's two readings. It is rough: haze, texture and the size of the specular port count too,
/// so that it orders samples read on one instrument and stands for no gloss level.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct SpecularSign {
    /// Specular included minus excluded, mean over the wavelengths, as a fraction.
    pub difference: f64,
    /// In words.
    pub surface: Surface,
}

/// What a surface looks like, roughly.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Surface {
    /// Hardly any mirror reflection.
    Matte,
    /// Some of it.
    Between,
    /// Nearly all that a first surface can give.
    Glossy,
}

/// Two readings that are no such pair.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum SpecularError {
    /// Other wavelengths.
    #[error(
        "the readings with specular included and excluded have other wavelengths; read both on \
         one instrument with one setting"
    )]
    Wavelengths,
    /// More light without the mirror reflection than with it.
    #[error(
        "the reading with specular excluded is higher by {by:.4} than that with specular \
         included; give them the other way round, or measure both again at one place"
    )]
    Swapped {
        /// By how much, mean over the wavelengths, as a fraction.
        by: f64,
    },
}

impl SpecularSign {
    /// From a reading with the specular component included and one with it excluded.
    ///
    /// # Errors
    /// [`SpecularError`] when the wavelengths differ or the excluded one is higher.
    pub fn between(included: &Spectrum, excluded: &Spectrum) -> Result<Self, SpecularError> {
        if included.wavelengths() != excluded.wavelengths() {
            return Err(SpecularError::Wavelengths);
        }
        let (mut sum, mut count) = (0.0, 0.0);
        for (with, without) in included.values().iter().zip(excluded.values()) {
            sum += with - without;
            count += 1.0;
        }
        let difference = sum / count;
        if difference < BELOW_ZERO {
            return Err(SpecularError::Swapped { by: -difference });
        }
        let share = difference / FIRST_SURFACE;
        let surface = if share < MATTE_SHARE {
            Surface::Matte
        } else if share < 1.0 - MATTE_SHARE {
            Surface::Between
        } else {
            Surface::Glossy
        };
        Ok(Self {
            difference,
            surface,
        })
    }
}

impl fmt::Display for SpecularSign {
    /// A sentence for a person.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let surface = match self.surface {
            Surface::Matte => "like a matte surface",
            Surface::Between => "between matte and glossy",
            Surface::Glossy => "like a glossy surface",
        };
        write!(
            f,
            "{:.2} percentage points of mirror reflection (a smooth paint has about {:.0}): {surface}; \
             a rough sign only, a gloss meter tells the level",
            self.difference * 100.0,
            FIRST_SURFACE * 100.0
        )
    }
}
