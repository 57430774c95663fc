//! Instruments and calibrations.

use serde::{Deserialize, Serialize};
use time::OffsetDateTime;
use utoipa::ToSchema;

use super::{Geometry, Named};
use crate::id::{CalibrationId, InstrumentId, PersonId, StoreId};
use crate::naming::{InstrumentModel, InstrumentName, SerialNumber};

/// A spectrophotometer of a store.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Instrument {
    /// Its id.
    pub id: InstrumentId,
    /// Where it stands.
    pub store_id: StoreId,
    /// What the store calls it.
    pub name: InstrumentName,
    /// Model, in the maker's words.
    pub model: InstrumentModel,
    /// Serial number; unique with the model.
    pub serial: SerialNumber,
    /// Geometry.
    pub geometry: Geometry,
    /// Apertures in mm.
    pub apertures_mm: Vec<f32>,
    /// Whether it is out of use.
    pub retired: bool,
    /// For `If-Match`.
    pub version: i32,
}

/// An instrument to be registered.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewInstrument {
    /// Id made by the caller.
    pub id: InstrumentId,
    /// Where it stands.
    pub store_id: StoreId,
    /// What the store calls it.
    pub name: InstrumentName,
    /// Model, in the maker's words.
    pub model: InstrumentModel,
    /// Serial number.
    pub serial: SerialNumber,
    /// Geometry.
    pub geometry: Geometry,
    /// Apertures in mm.
    #[schema(min_items = 1, max_items = 10)]
    pub apertures_mm: Vec<f32>,
}

/// An edit of an instrument; absent fields stay.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct InstrumentEdit {
    /// New name.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name: Option<InstrumentName>,
    /// New place.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub store_id: Option<StoreId>,
    /// Out of use, or back.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub retired: Option<bool>,
}

/// A calibration to be recorded: white, black, or both.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewCalibration {
    /// Id made by the caller.
    pub id: CalibrationId,
    /// When it was made.
    #[serde(with = "time::serde::rfc3339")]
    pub made_at: OffsetDateTime,
    /// Whether the white reference was read.
    pub white_read: bool,
    /// Whether black or zero was read.
    pub black_read: bool,
    /// Temperature in °C, when known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = -40.0, maximum = 80.0)]
    pub temperature_c: Option<f32>,
}

/// A calibration as kept.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Calibration {
    /// Its id.
    pub id: CalibrationId,
    /// The instrument.
    pub instrument_id: InstrumentId,
    /// Who made it.
    pub made_by: Named<PersonId>,
    /// When.
    #[serde(with = "time::serde::rfc3339")]
    pub made_at: OffsetDateTime,
    /// Whether the white reference was read.
    pub white_read: bool,
    /// Whether black or zero was read.
    pub black_read: bool,
    /// Temperature in °C.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub temperature_c: Option<f32>,
}
