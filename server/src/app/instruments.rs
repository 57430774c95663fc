//! Instruments and their calibrations.

use std::ops::RangeInclusive;

use formula::id::{InstrumentId, StoreId};
use formula::instrument_care::CALIBRATION_HOURS;
use formula::wire::v1::{
    Calibration, Instrument, InstrumentEdit, NewCalibration, NewInstrument, Page, WhiteCertificate,
};

use super::policy::{Act, require};
use super::{App, AppError, AppResult, Caller};
use crate::store::instruments;
use crate::store::write::{Begun, PageAsk, Reply, WriteKey, Written};

/// Apertures of an instrument at most.
const APERTURES: usize = 10;
/// Apertures that instruments have, in mm (common practice, no source: 2 to 30; the range leaves room).
const APERTURE_MM: RangeInclusive<f32> = 0.5..=100.0;
/// Hours from one calibration to the next.
const CALIBRATION: RangeInclusive<u16> = 1..=CALIBRATION_HOURS;
/// Minutes that an instrument may take to warm up.
const MOST_WARM_UP: u16 = 480;
/// Years of certificates; beyond them a digit was mistyped.
const YEARS: RangeInclusive<i32> = 1950..=2150;
/// Temperatures of a counter, in °C; beyond them a digit was mistyped.
pub(super) const TEMPERATURE_C: RangeInclusive<f32> = -40.0..=80.0;

impl App {
    /// Instruments in order of id, retired ones too, of one store or of all.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn list_instruments(
        &self,
        caller: &Caller,
        store: Option<StoreId>,
        ask: PageAsk,
    ) -> AppResult<Page<Instrument>> {
        require(caller, Act::SeeInstruments)?;
        let mut read = self.db.read().await?;
        Ok(instruments::list(&mut read, caller, store, ask).await?)
    }

    /// One instrument.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn show_instrument(
        &self,
        caller: &Caller,
        id: InstrumentId,
    ) -> AppResult<Instrument> {
        require(caller, Act::SeeInstruments)?;
        let mut read = self.db.read().await?;
        instruments::find(&mut read, caller, id)
            .await?
            .ok_or(AppError::NotFound("instrument"))
    }

    /// Registers an instrument of a store that the caller works at.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn add_instrument(
        &self,
        caller: &Caller,
        key: WriteKey,
        new: NewInstrument,
    ) -> AppResult<Reply> {
        require(caller, Act::EditInstruments)?;
        own_store(caller, new.store_id)?;
        AppError::unless_within("apertures_mm", new.apertures_mm.len(), 1..=APERTURES)?;
        for (index, aperture) in new.apertures_mm.iter().enumerate() {
            within(
                &format!("apertures_mm[{index}]"),
                *aperture,
                &APERTURE_MM,
                "mm",
            )?;
        }
        check_care(
            new.white_certificate.as_ref(),
            new.calibration_hours,
            new.warm_up_minutes,
        )?;
        let mut tx = match self.db.begin(caller, key).await? {
            Begun::Fresh(tx) => tx,
            Begun::Repeated(reply) => return Ok(reply),
        };
        let instrument = instruments::insert(tx.conn(), caller, new).await?;
        let written = Written::created(
            &instrument,
            format!("/api/v1/instruments/{}", instrument.id),
        )
        .at_version(instrument.version);
        Ok(tx.finish(written).await?)
    }

    /// Renames an instrument of a store that the caller works at, moves it to another such store, retires it or
    /// takes it back.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn edit_instrument(
        &self,
        caller: &Caller,
        key: WriteKey,
        id: InstrumentId,
        version: i32,
        edit: InstrumentEdit,
    ) -> AppResult<Reply> {
        require(caller, Act::EditInstruments)?;
        if let Some(store) = edit.store_id {
            own_store(caller, store)?;
        }
        check_care(
            edit.white_certificate.as_ref(),
            edit.calibration_hours,
            edit.warm_up_minutes,
        )?;
        let mut tx = match self.db.begin(caller, key).await? {
            Begun::Fresh(tx) => tx,
            Begun::Repeated(reply) => return Ok(reply),
        };
        let now = instruments::lock_own(tx.conn(), caller, id)
            .await?
            .ok_or(AppError::NotFound("instrument"))?;
        AppError::unless_version("instrument", now.version, version)?;
        let instrument = instruments::update(tx.conn(), caller, now, edit).await?;
        Ok(tx
            .finish(Written::changed(&instrument).at_version(instrument.version))
            .await?)
    }

    /// Calibrations of an instrument, in order of id.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn list_calibrations(
        &self,
        caller: &Caller,
        instrument: InstrumentId,
        ask: PageAsk,
    ) -> AppResult<Page<Calibration>> {
        require(caller, Act::SeeInstruments)?;
        let mut read = self.db.read().await?;
        instruments::find(&mut read, caller, instrument)
            .await?
            .ok_or(AppError::NotFound("instrument"))?;
        Ok(instruments::list_calibrations(&mut read, caller, instrument, ask).await?)
    }

    /// Records a calibration of an instrument of a store that the caller works at.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn record_calibration(
        &self,
        caller: &Caller,
        key: WriteKey,
        instrument: InstrumentId,
        new: NewCalibration,
    ) -> AppResult<Reply> {
        require(caller, Act::RecordCalibrations)?;
        if !(new.white_read || new.black_read) {
            return Err(AppError::invalid(
                "white_read",
                "neither the white reference nor black was read",
                "read one of them, better both: white, then black or zero",
            ));
        }
        if let Some(temperature) = new.temperature_c {
            within("temperature_c", temperature, &TEMPERATURE_C, "°C")?;
        }
        let mut tx = match self.db.begin(caller, key).await? {
            Begun::Fresh(tx) => tx,
            Begun::Repeated(reply) => return Ok(reply),
        };
        instruments::lock_own(tx.conn(), caller, instrument)
            .await?
            .ok_or(AppError::NotFound("instrument"))?;
        let calibration =
            instruments::insert_calibration(tx.conn(), caller, instrument, &new).await?;
        let written = Written::created(
            &calibration,
            format!("/api/v1/instruments/{instrument}/calibrations"),
        );
        Ok(tx.finish(written).await?)
    }
}

pub(super) fn own_store(caller: &Caller, store: StoreId) -> AppResult<()> {
    if caller.works_at(store) {
        return Ok(());
    }
    Err(AppError::NotAllowed(
        "instruments are registered and moved by managers of the store they stand at".to_owned(),
    ))
}

fn check_care(
    certificate: Option<&WhiteCertificate>,
    calibration_hours: Option<u16>,
    warm_up_minutes: Option<u16>,
) -> AppResult<()> {
    if let Some(white) = certificate {
        for (field, day) in [
            ("certified_on", white.certified_on),
            ("expires_on", white.expires_on),
        ] {
            if let Some(day) = day.filter(|day| !YEARS.contains(&day.year())) {
                return Err(AppError::invalid(
                    format!("white_certificate.{field}"),
                    format!("{day} is no day of {} to {}", YEARS.start(), YEARS.end()),
                    "give the day that the certificate says",
                ));
            }
        }
        if white
            .certified_on
            .zip(white.expires_on)
            .is_some_and(|(from, to)| to < from)
        {
            return Err(AppError::invalid(
                "white_certificate.expires_on",
                "comes before the day of the certificate",
                "give both days as the certificate says",
            ));
        }
    }
    if let Some(hours) = calibration_hours.filter(|hours| !CALIBRATION.contains(hours)) {
        return Err(AppError::invalid(
            "calibration_hours",
            format!(
                "{hours} is not {} to {} hours",
                CALIBRATION.start(),
                CALIBRATION.end()
            ),
            "give what the maker asks for, seven days at most",
        ));
    }
    if let Some(minutes) = warm_up_minutes.filter(|minutes| *minutes > MOST_WARM_UP) {
        return Err(AppError::invalid(
            "warm_up_minutes",
            format!("{minutes} is not 0 to {MOST_WARM_UP} minutes"),
            "give what the maker asks for",
        ));
    }
    Ok(())
}

/// Refuses what is no number of the range; an overlong JSON number arrives as infinity.
pub(super) fn within(
    field: &str,
    value: f32,
    range: &RangeInclusive<f32>,
    unit: &str,
) -> AppResult<()> {
    if range.contains(&value) {
        return Ok(());
    }
    Err(AppError::invalid(
        field,
        format!("{value} is not {} to {} {unit}", range.start(), range.end()),
        format!("give it in {unit}"),
    ))
}
