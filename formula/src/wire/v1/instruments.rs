//! Instruments and calibrations.

use serde::{Deserialize, Serialize};
use time::{Date, OffsetDateTime};
use utoipa::ToSchema;

use super::{Geometry, Named};
use crate::id::{CalibrationId, InstrumentId, InstrumentStartId, PersonId, StoreId};
use crate::naming::{InstrumentModel, InstrumentName, SerialNumber};
use crate::wire_form::closed_enum;

time::serde::format_description!(day, Date, "[year]-[month]-[day]");

closed_enum! {
    /// What is due at an instrument before its readings are worth what they should be.
    pub enum InstrumentDue, what: "what is due" {
        /// The white reference was not read within the interval.
        CalibrationOverdue => "calibration_overdue",
        /// Black was not read within the interval.
        BlackNotRead => "black_not_read",
        /// It was not on for as long as it takes to warm up.
        NotWarmedUp => "not_warmed_up",
        /// The white tile's certificate has expired.
        CertificateExpired => "certificate_expired",
    }
}

closed_enum! {
    /// How it is known when an instrument was switched on.
    pub enum StartBasis, what: "how it is known" {
        /// A person said so.
        Told => "told",
        /// Nobody said; its first use of the day is taken.
        FirstUse => "first_use",
    }
}

/// The certificate of the white tile that an instrument is calibrated with.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct WhiteCertificate {
    /// Serial number of the tile.
    pub serial: SerialNumber,
    /// Day of the certificate.
    #[serde(default, skip_serializing_if = "Option::is_none", with = "day::option")]
    pub certified_on: Option<Date>,
    /// Last day on which it holds.
    #[serde(default, skip_serializing_if = "Option::is_none", with = "day::option")]
    pub expires_on: Option<Date>,
}

/// What is known of an instrument's readiness at a time, and what is due.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct InstrumentState {
    /// The time it is told for.
    #[serde(with = "time::serde::rfc3339")]
    pub at: OffsetDateTime,
    /// What is due; empty when all is well, or the instrument is out of use.
    pub due: Vec<InstrumentDue>,
    /// When white was read last.
    #[serde(
        default,
        skip_serializing_if = "Option::is_none",
        with = "time::serde::rfc3339::option"
    )]
    pub white_read_at: Option<OffsetDateTime>,
    /// When black was read last.
    #[serde(
        default,
        skip_serializing_if = "Option::is_none",
        with = "time::serde::rfc3339::option"
    )]
    pub black_read_at: Option<OffsetDateTime>,
    /// When calibration falls due.
    #[serde(
        default,
        skip_serializing_if = "Option::is_none",
        with = "time::serde::rfc3339::option"
    )]
    pub calibration_due_at: Option<OffsetDateTime>,
    /// Since when it is on, as far as known.
    #[serde(
        default,
        skip_serializing_if = "Option::is_none",
        with = "time::serde::rfc3339::option"
    )]
    pub switched_on_at: Option<OffsetDateTime>,
    /// How that is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub switched_on_basis: Option<StartBasis>,
    /// When it is warm.
    #[serde(
        default,
        skip_serializing_if = "Option::is_none",
        with = "time::serde::rfc3339::option"
    )]
    pub warm_at: Option<OffsetDateTime>,
}

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
    /// Certificate of its white tile.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub white_certificate: Option<WhiteCertificate>,
    /// Hours from one calibration to the next.
    pub calibration_hours: u16,
    /// Minutes that it takes to warm up.
    pub warm_up_minutes: u16,
    /// What is due now.
    pub state: InstrumentState,
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
    /// Certificate of its white tile.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub white_certificate: Option<WhiteCertificate>,
    /// Hours from one calibration to the next; 168 (seven days) when left out, less when its
    /// maker says so.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 168)]
    pub calibration_hours: Option<u16>,
    /// Minutes that it takes to warm up; 30 when left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 480)]
    pub warm_up_minutes: Option<u16>,
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
    /// The certificate of its white tile, anew.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub white_certificate: Option<WhiteCertificate>,
    /// Hours from one calibration to the next.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 168)]
    pub calibration_hours: Option<u16>,
    /// Minutes that it takes to warm up.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 480)]
    pub warm_up_minutes: Option<u16>,
    /// Out of use, or back.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub retired: Option<bool>,
}

/// When an instrument was switched on, as a person says.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewInstrumentStart {
    /// Id made by the caller.
    pub id: InstrumentStartId,
    /// When it was switched on.
    #[serde(with = "time::serde::rfc3339")]
    pub switched_on_at: OffsetDateTime,
}

/// When an instrument was switched on, as kept.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct InstrumentStart {
    /// Its id.
    pub id: InstrumentStartId,
    /// The instrument.
    pub instrument_id: InstrumentId,
    /// When it was switched on.
    #[serde(with = "time::serde::rfc3339")]
    pub switched_on_at: OffsetDateTime,
    /// Who said so.
    pub made_by: Named<PersonId>,
    /// What is due after that.
    pub state: InstrumentState,
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
