//! Rows of `instrument` and `calibration`.

use formula::id::{InstrumentId, StoreId};
use formula::instrument_care::{CALIBRATION_HOURS, WARM_UP_MINUTES};
use formula::wire::v1::{
    Calibration, Instrument, InstrumentEdit, InstrumentState, Named, NewCalibration, NewInstrument,
    Page, WhiteCertificate,
};
use time::{Date, OffsetDateTime};
use uuid::Uuid;

use super::instrument_care::states_now;
use super::read_back::{id, kept, small, vanished};
use super::write::PageAsk;
use super::{Conn, StoreResult};
use crate::app::Caller;

struct Row {
    id: Uuid,
    store_id: Uuid,
    name: String,
    model: String,
    serial: String,
    geometry: String,
    apertures_mm: Vec<f32>,
    white_serial: Option<String>,
    white_certified_on: Option<Date>,
    white_expires_on: Option<Date>,
    calibration_hours: i16,
    warm_up_minutes: i16,
    retired: bool,
    version: i32,
}

impl Row {
    fn shown(self, state: InstrumentState) -> StoreResult<Instrument> {
        let white_certificate = self
            .white_serial
            .map(|serial| {
                Ok::<_, super::StoreError>(WhiteCertificate {
                    serial: kept(&serial)?,
                    certified_on: self.white_certified_on,
                    expires_on: self.white_expires_on,
                })
            })
            .transpose()?;
        Ok(Instrument {
            id: id(self.id)?,
            store_id: id(self.store_id)?,
            name: kept(&self.name)?,
            model: kept(&self.model)?,
            serial: kept(&self.serial)?,
            geometry: kept(&self.geometry)?,
            apertures_mm: self.apertures_mm,
            white_certificate,
            calibration_hours: small(self.calibration_hours)?,
            warm_up_minutes: small(self.warm_up_minutes)?,
            state,
            retired: self.retired,
            version: self.version,
        })
    }
}

/// Instruments in order of id, retired ones too, of one store or of all. Staff see the whole chain's.
///
/// # Errors
/// When the database can't be read.
pub async fn list(
    conn: &mut Conn,
    _caller: &Caller,
    store: Option<StoreId>,
    ask: PageAsk,
) -> StoreResult<Page<Instrument>> {
    let rows = sqlx::query_as!(
        Row,
        r#"SELECT id, store_id, name, model, serial, geometry, apertures_mm, white_serial, white_certified_on,
                  white_expires_on, calibration_hours, warm_up_minutes, retired_at IS NOT NULL AS "retired!", version
           FROM instrument
           WHERE ($1::uuid IS NULL OR id > $1) AND ($3::uuid IS NULL OR store_id = $3)
           ORDER BY id LIMIT $2"#,
        ask.after,
        ask.fetch(),
        store.map(StoreId::as_uuid)
    )
    .fetch_all(&mut *conn)
    .await?;
    let ids: Vec<Uuid> = rows.iter().map(|row| row.id).collect();
    let mut states = states_now(conn, &ids).await?;
    let instruments = rows
        .into_iter()
        .map(|row| {
            let state = states.remove(&row.id).ok_or_else(vanished)?;
            row.shown(state)
        })
        .collect::<StoreResult<Vec<_>>>()?;
    Ok(ask.page(instruments, |instrument| instrument.id.as_uuid()))
}

/// One instrument. Staff see the whole chain's.
///
/// # Errors
/// When the database can't be read.
pub async fn find(
    conn: &mut Conn,
    _caller: &Caller,
    instrument: InstrumentId,
) -> StoreResult<Option<Instrument>> {
    let row = sqlx::query_as!(
        Row,
        r#"SELECT id, store_id, name, model, serial, geometry, apertures_mm, white_serial, white_certified_on,
                  white_expires_on, calibration_hours, warm_up_minutes, retired_at IS NOT NULL AS "retired!", version
           FROM instrument WHERE id = $1"#,
        instrument.as_uuid()
    )
    .fetch_optional(&mut *conn)
    .await?;
    with_state(conn, row).await
}

async fn with_state(conn: &mut Conn, row: Option<Row>) -> StoreResult<Option<Instrument>> {
    let Some(row) = row else { return Ok(None) };
    let mut states = states_now(conn, &[row.id]).await?;
    let state = states.remove(&row.id).ok_or_else(vanished)?;
    row.shown(state).map(Some)
}

/// One instrument of a store that the caller works at, held until the transaction ends.
///
/// # Errors
/// When the database can't be read.
pub async fn lock_own(
    conn: &mut Conn,
    caller: &Caller,
    instrument: InstrumentId,
) -> StoreResult<Option<Instrument>> {
    let row = sqlx::query_as!(
        Row,
        r#"SELECT id, store_id, name, model, serial, geometry, apertures_mm, white_serial, white_certified_on,
                  white_expires_on, calibration_hours, warm_up_minutes, retired_at IS NOT NULL AS "retired!", version
           FROM instrument WHERE id = $1 FOR UPDATE"#,
        instrument.as_uuid()
    )
    .fetch_optional(&mut *conn)
    .await?;
    let instrument = with_state(conn, row).await?;
    Ok(instrument.filter(|instrument| caller.works_at(instrument.store_id)))
}

/// Registers an instrument.
///
/// # Errors
/// When the id is taken, or the serial number of this model, or there is no such store.
pub async fn insert(
    conn: &mut Conn,
    caller: &Caller,
    new: NewInstrument,
) -> StoreResult<Instrument> {
    let certificate = new.white_certificate.as_ref();
    sqlx::query!(
        "INSERT INTO instrument (id, store_id, name, model, serial, geometry, apertures_mm, white_serial,
             white_certified_on, white_expires_on, calibration_hours, warm_up_minutes)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12)",
        new.id.as_uuid(),
        new.store_id.as_uuid(),
        new.name.as_str(),
        new.model.as_str(),
        new.serial.as_str(),
        new.geometry.as_str(),
        &new.apertures_mm,
        certificate.map(|white| white.serial.as_str()),
        certificate.and_then(|white| white.certified_on),
        certificate.and_then(|white| white.expires_on),
        small::<_, i16>(new.calibration_hours.unwrap_or(CALIBRATION_HOURS))?,
        small::<_, i16>(new.warm_up_minutes.unwrap_or(WARM_UP_MINUTES))?
    )
    .execute(&mut *conn)
    .await?;
    find(conn, caller, new.id).await?.ok_or_else(vanished)
}

/// Changes an instrument that is held, and raises its version.
///
/// # Errors
/// When there is no such store.
pub async fn update(
    conn: &mut Conn,
    caller: &Caller,
    now: Instrument,
    edit: InstrumentEdit,
) -> StoreResult<Instrument> {
    let next = Instrument {
        name: edit.name.unwrap_or(now.name),
        store_id: edit.store_id.unwrap_or(now.store_id),
        white_certificate: edit.white_certificate.or(now.white_certificate),
        calibration_hours: edit.calibration_hours.unwrap_or(now.calibration_hours),
        warm_up_minutes: edit.warm_up_minutes.unwrap_or(now.warm_up_minutes),
        retired: edit.retired.unwrap_or(now.retired),
        version: now.version + 1,
        ..now
    };
    let certificate = next.white_certificate.as_ref();
    sqlx::query!(
        "UPDATE instrument SET name = $2, store_id = $3, version = $4,
                retired_at = CASE WHEN $5 THEN coalesce(retired_at, now()) END, white_serial = $6,
                white_certified_on = $7, white_expires_on = $8, calibration_hours = $9, warm_up_minutes = $10
         WHERE id = $1",
        next.id.as_uuid(),
        next.name.as_str(),
        next.store_id.as_uuid(),
        next.version,
        next.retired,
        certificate.map(|white| white.serial.as_str()),
        certificate.and_then(|white| white.certified_on),
        certificate.and_then(|white| white.expires_on),
        small::<_, i16>(next.calibration_hours)?,
        small::<_, i16>(next.warm_up_minutes)?
    )
    .execute(&mut *conn)
    .await?;
    find(conn, caller, next.id).await?.ok_or_else(vanished)
}

struct CalibrationRow {
    id: Uuid,
    instrument_id: Uuid,
    made_by: Uuid,
    made_by_name: String,
    made_at: OffsetDateTime,
    white_read: bool,
    black_read: bool,
    temperature_c: Option<f32>,
}

impl CalibrationRow {
    fn shown(self) -> StoreResult<Calibration> {
        Ok(Calibration {
            id: id(self.id)?,
            instrument_id: id(self.instrument_id)?,
            made_by: Named {
                id: id(self.made_by)?,
                name: self.made_by_name,
            },
            made_at: self.made_at,
            white_read: self.white_read,
            black_read: self.black_read,
            temperature_c: self.temperature_c,
        })
    }
}

/// Calibrations of an instrument in order of id. Staff see the whole chain's.
///
/// # Errors
/// When the database can't be read.
pub async fn list_calibrations(
    conn: &mut Conn,
    _caller: &Caller,
    instrument: InstrumentId,
    ask: PageAsk,
) -> StoreResult<Page<Calibration>> {
    let rows = sqlx::query_as!(
        CalibrationRow,
        r#"SELECT c.id, c.instrument_id, c.made_by, p.display_name AS made_by_name, c.made_at,
                  c.white_read, c.black_read, c.temperature_c
           FROM calibration c JOIN person p ON p.id = c.made_by
           WHERE c.instrument_id = $1 AND ($2::uuid IS NULL OR c.id > $2) ORDER BY c.id LIMIT $3"#,
        instrument.as_uuid(),
        ask.after,
        ask.fetch()
    )
    .fetch_all(conn)
    .await?;
    let calibrations = rows
        .into_iter()
        .map(CalibrationRow::shown)
        .collect::<StoreResult<Vec<_>>>()?;
    Ok(ask.page(calibrations, |calibration| calibration.id.as_uuid()))
}

/// Records a calibration that the caller made.
///
/// # Errors
/// When the id is taken.
pub async fn insert_calibration(
    conn: &mut Conn,
    caller: &Caller,
    instrument: InstrumentId,
    new: &NewCalibration,
) -> StoreResult<Calibration> {
    sqlx::query_as!(
        CalibrationRow,
        r#"WITH made AS (
               INSERT INTO calibration (id, instrument_id, made_by, made_at, white_read, black_read, temperature_c)
               VALUES ($1, $2, $3, $4, $5, $6, $7) RETURNING *
           )
           SELECT m.id, m.instrument_id, m.made_by, p.display_name AS made_by_name, m.made_at,
                  m.white_read, m.black_read, m.temperature_c
           FROM made m JOIN person p ON p.id = m.made_by"#,
        new.id.as_uuid(),
        instrument.as_uuid(),
        caller.person_id.as_uuid(),
        new.made_at,
        new.white_read,
        new.black_read,
        new.temperature_c
    )
    .fetch_optional(conn)
    .await?
    .map(CalibrationRow::shown)
    .transpose()?
    .ok_or_else(vanished)
}
