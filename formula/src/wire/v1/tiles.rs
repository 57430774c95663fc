//! Verification tiles and their readings.

use serde::{Deserialize, Serialize};
use time::OffsetDateTime;
use utoipa::ToSchema;

use super::{LabD65, Named, SpectrumValues, Specular};
use crate::id::{InstrumentId, PersonId, StoreId, TileId, TileReadingId};
use crate::naming::TileName;
use crate::wire_form::closed_enum;

closed_enum! {
    /// The hue of a ceramic tile, by which its change with temperature is known.
    pub enum TileHue, what: "tile hue" {
        /// Pale gray.
        PaleGray => "pale_gray",
        /// Mid gray.
        MidGray => "mid_gray",
        /// Gray that differs a little from mid gray.
        DifferenceGray => "difference_gray",
        /// Deep gray.
        DeepGray => "deep_gray",
        /// Deep pink.
        DeepPink => "deep_pink",
        /// Red.
        Red => "red",
        /// Orange.
        Orange => "orange",
        /// Yellow.
        Yellow => "yellow",
        /// Green.
        Green => "green",
        /// Green that differs a little from green.
        DifferenceGreen => "difference_green",
        /// Cyan.
        Cyan => "cyan",
        /// Deep blue.
        DeepBlue => "deep_blue",
    }
}

closed_enum! {
    /// How a tile's reading stands against the limits of its own history.
    pub enum TileStanding, what: "standing" {
        /// There are no limits yet.
        NotKnown => "not_known",
        /// Within the warning limit.
        Within => "within",
        /// Beyond the warning limit: clean the tile, read it again.
        Warning => "warning",
        /// Beyond the action limit: calibrate, read it again, then ask for service.
        Action => "action",
    }
}

macro_rules! same_variants {
    ($here:ident, $there:path, $($variant:ident),+) => {
        impl From<$there> for $here {
            fn from(value: $there) -> Self {
                match value {
                    $(<$there>::$variant => Self::$variant,)+
                }
            }
        }

        impl From<$here> for $there {
            fn from(value: $here) -> Self {
                match value {
                    $($here::$variant => Self::$variant,)+
                }
            }
        }
    };
}

same_variants!(
    TileHue,
    color::instrument::TileHue,
    PaleGray,
    MidGray,
    DifferenceGray,
    DeepGray,
    DeepPink,
    Red,
    Orange,
    Yellow,
    Green,
    DifferenceGreen,
    Cyan,
    DeepBlue
);
same_variants!(
    TileStanding,
    color::instrument::Standing,
    NotKnown,
    Within,
    Warning,
    Action
);

/// A verification tile of a store's set.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Tile {
    /// Its id.
    pub id: TileId,
    /// Whose it is.
    pub store_id: StoreId,
    /// What it is called, in files too.
    pub name: TileName,
    /// Its hue, when it is a ceramic tile.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hue: Option<TileHue>,
    /// CIELAB of its certificate, D65, 10°.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub certified_lab: Option<LabD65>,
    /// Whether it is out of use.
    pub retired: bool,
    /// For `If-Match`.
    pub version: i32,
}

/// A tile to be added.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewTile {
    /// Id made by the caller.
    pub id: TileId,
    /// Whose it is.
    pub store_id: StoreId,
    /// What it is called, in files too; one of its kind in the store.
    pub name: TileName,
    /// Its hue, when it is a ceramic tile.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hue: Option<TileHue>,
    /// CIELAB of its certificate, D65, 10°.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub certified_lab: Option<LabD65>,
}

/// An edit of a tile; absent fields stay.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct TileEdit {
    /// New name.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name: Option<TileName>,
    /// Its hue.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hue: Option<TileHue>,
    /// Out of use, or back.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub retired: Option<bool>,
}

/// A reading of a tile to be kept.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewTileReading {
    /// Id made by the caller.
    pub id: TileReadingId,
    /// The tile.
    pub tile_id: TileId,
    /// The spectrum, in fractions.
    pub spectrum: SpectrumValues,
    /// Whether a missing end was extended by the end value, on request.
    #[serde(default)]
    pub ends_extended: bool,
    /// Specular mode, when known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub specular: Option<Specular>,
    /// Temperature in °C, when known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = -40.0, maximum = 80.0)]
    pub temperature_c: Option<f32>,
    /// When it was read.
    #[serde(with = "time::serde::rfc3339")]
    pub read_at: OffsetDateTime,
}

/// Control limits of a tile on an instrument, from the scatter of its baseline (ΔE00, D65, 10°).
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct TileLimits {
    /// Readings that they rest on.
    pub readings: usize,
    /// Mean color difference from the mean.
    pub mcdm: f64,
    /// Beyond this: read again.
    pub warning: f64,
    /// Beyond this: calibrate, or ask for service.
    pub action: f64,
}

/// What a difference in temperature does to a reading.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct TileWarmth {
    /// °C above (below: negative) the mean of the baseline.
    pub warmer_c: f64,
    /// ΔE76 to be expected from it.
    pub expected_de76: f64,
    /// ΔE00 from the mean as that is expected at this temperature.
    pub de2000_at_temperature: f64,
}

/// A reading against the tile's own history on the same instrument.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct TileDrift {
    /// CIEDE2000 from the mean of the baseline, D65, 10°; none for the first reading.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub de2000: Option<f64>,
    /// How it stands.
    pub standing: TileStanding,
    /// The limits, when there are any.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub limits: Option<TileLimits>,
    /// Why there are none yet.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub no_limits_yet: Option<String>,
    /// What temperature explains, when it is worth telling.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub warmth: Option<TileWarmth>,
}

impl From<color::instrument::Drift> for TileDrift {
    fn from(drift: color::instrument::Drift) -> Self {
        Self {
            de2000: drift.de2000,
            standing: drift.standing.into(),
            limits: drift.limits.map(|limits| TileLimits {
                readings: limits.readings,
                mcdm: limits.mcdm,
                warning: limits.warning,
                action: limits.action,
            }),
            no_limits_yet: drift.no_limits_yet.map(|why| why.to_string()),
            warmth: drift.warmth.map(|warmth| TileWarmth {
                warmer_c: warmth.warmer_c,
                expected_de76: warmth.expected_de76,
                de2000_at_temperature: warmth.de2000_at_temperature,
            }),
        }
    }
}

/// A reading of a tile as kept, judged against those before it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct TileReading {
    /// Its id.
    pub id: TileReadingId,
    /// The tile.
    pub tile: Named<TileId>,
    /// The instrument.
    pub instrument_id: InstrumentId,
    /// The spectrum.
    pub spectrum: SpectrumValues,
    /// Whether a missing end was extended by the end value.
    pub ends_extended: bool,
    /// Specular mode.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub specular: Option<Specular>,
    /// Temperature in °C.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub temperature_c: Option<f32>,
    /// When it was read.
    #[serde(with = "time::serde::rfc3339")]
    pub read_at: OffsetDateTime,
    /// Who read it.
    pub made_by: Named<PersonId>,
    /// CIELAB, D65, 10°.
    pub lab: LabD65,
    /// CIEDE2000 from the certificate's color, when there is one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub de2000_from_certificate: Option<f64>,
    /// Against the tile's own history.
    pub drift: TileDrift,
}
