//! Corrections of one instrument to another, fitted on tiles read on both. They are applied when
//! readings are compared, never to what is stored.

use serde::{Deserialize, Serialize};
use time::OffsetDateTime;
use utoipa::ToSchema;

use super::Named;
use crate::id::{CorrectionId, InstrumentId, PersonId};

/// A correction to be fitted on the tiles that both instruments have read, and put in force.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewCorrection {
    /// Id made by the caller.
    pub id: CorrectionId,
    /// The instrument whose readings are corrected.
    pub instrument_id: InstrumentId,
    /// The one that they are corrected to.
    pub reference_id: InstrumentId,
    /// Tile readings of before are left out; the last 90 days count when left out.
    #[serde(
        default,
        skip_serializing_if = "Option::is_none",
        with = "time::serde::rfc3339::option"
    )]
    pub read_since: Option<OffsetDateTime>,
}

/// How far two instruments read the same tiles apart: ΔE00, D65, 10°.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Apart {
    /// Mean.
    pub mean: f64,
    /// Median.
    pub median: f64,
    /// Greatest.
    pub max: f64,
}

impl From<color::instrument::correction::Apart> for Apart {
    fn from(apart: color::instrument::correction::Apart) -> Self {
        Self {
            mean: apart.mean,
            median: apart.median,
            max: apart.max,
        }
    }
}

/// A tile of a correction's check.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct CorrectedTile {
    /// The tile.
    pub tile: String,
    /// ΔE00 between the instruments, uncorrected.
    pub before: f64,
    /// The same, corrected by a fit that had not seen the tile.
    pub after: f64,
}

/// A correction as kept.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct InstrumentCorrection {
    /// Its id.
    pub id: CorrectionId,
    /// The instrument whose readings are corrected.
    pub instrument: Named<InstrumentId>,
    /// The one that they are corrected to.
    pub reference: Named<InstrumentId>,
    /// Running number for these two instruments.
    pub version: i32,
    /// SHA-256 of its coefficients, in hexadecimal.
    pub digest: String,
    /// Name and version of the computation.
    pub method: String,
    /// Wavelength shift that was found, nm.
    pub shift_nm: f64,
    /// The tiles uncorrected.
    pub before: Apart,
    /// The tiles corrected, each left out of its own fit.
    pub after: Apart,
    /// Each tile.
    pub tiles: Vec<CorrectedTile>,
    /// Who fitted it and put it in force.
    pub fitted_by: Named<PersonId>,
    /// When.
    #[serde(with = "time::serde::rfc3339")]
    pub fitted_at: OffsetDateTime,
    /// When it was taken out of force.
    #[serde(
        default,
        skip_serializing_if = "Option::is_none",
        with = "time::serde::rfc3339::option"
    )]
    pub retired_at: Option<OffsetDateTime>,
}

/// A correction that a figure rests on.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct CorrectionUsed {
    /// The correction.
    pub id: CorrectionId,
    /// Its running number.
    pub version: i32,
    /// The instrument whose reading was corrected.
    pub instrument: Named<InstrumentId>,
    /// The one that it was corrected to.
    pub reference: Named<InstrumentId>,
}

/// A difference after correction between instruments.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct CorrectedFigure {
    /// CIEDE2000 from the wanted color, D65, 10°, after correction.
    pub de2000_from_wanted: f64,
    /// What it rests on: one correction, or two when both readings were taken to a third
    /// instrument.
    pub rests_on: Vec<CorrectionUsed>,
    /// What to know before relying on it, in words.
    pub cautions: Vec<String>,
}
