//! Rows of `instrument` and `calibration`.

use formula::id::{InstrumentId, StoreId};
use formula::wire::v1::{
    Calibration, Instrument, InstrumentEdit, Named, NewCalibration, NewInstrument, Page,
};
use time::OffsetDateTime;
use uuid::Uuid;

use super::read_back::{id, kept, vanished};
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
    retired: bool,
    version: i32,
}

impl Row {
    fn shown(self) -> StoreResult<Instrument> {
        Ok(Instrument {
            id: id(self.id)?,
            store_id: id(self.store_id)?,
            name: kept(&self.name)?,
            model: kept(&self.model)?,
            serial: kept(&self.serial)?,
            geometry: kept(&self.geometry)?,
            apertures_mm: self.apertures_mm,
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
        r#"SELECT id, store_id, name, model, serial, geometry, apertures_mm,
                  retired_at IS NOT NULL AS "retired!", version
           FROM instrument
           WHERE ($1::uuid IS NULL OR id > $1) AND ($3::uuid IS NULL OR store_id = $3)
           ORDER BY id LIMIT $2"#,
        ask.after,
        ask.fetch(),
        store.map(StoreId::as_uuid)
    )
    .fetch_all(conn)
    .await?;
    let instruments = rows
        .into_iter()
        .map(Row::shown)
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
    sqlx::query_as!(
        Row,
        r#"SELECT id, store_id, name, model, serial, geometry, apertures_mm,
                  retired_at IS NOT NULL AS "retired!", version
           FROM instrument WHERE id = $1"#,
        instrument.as_uuid()
    )
    .fetch_optional(conn)
    .await?
    .map(Row::shown)
    .transpose()
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
    let instrument = sqlx::query_as!(
        Row,
        r#"SELECT id, store_id, name, model, serial, geometry, apertures_mm,
                  retired_at IS NOT NULL AS "retired!", version
           FROM instrument WHERE id = $1 FOR UPDATE"#,
        instrument.as_uuid()
    )
    .fetch_optional(conn)
    .await?
    .map(Row::shown)
    .transpose()?;
    Ok(instrument.filter(|instrument| caller.works_at(instrument.store_id)))
}

/// Registers an instrument.
///
/// # Errors
/// When the id is taken, or the serial number of this model, or there is no such store.
pub async fn insert(
    conn: &mut Conn,
    _caller: &Caller,
    new: NewInstrument,
) -> StoreResult<Instrument> {
    sqlx::query!(
        "INSERT INTO instrument (id, store_id, name, model, serial, geometry, apertures_mm)
         VALUES ($1, $2, $3, $4, $5, $6, $7)",
        new.id.as_uuid(),
        new.store_id.as_uuid(),
        new.name.as_str(),
        new.model.as_str(),
        new.serial.as_str(),
        new.geometry.as_str(),
        &new.apertures_mm
    )
    .execute(conn)
    .await?;
    Ok(Instrument {
        id: new.id,
        store_id: new.store_id,
        name: new.name,
        model: new.model,
        serial: new.serial,
        geometry: new.geometry,
        apertures_mm: new.apertures_mm,
        retired: false,
        version: 1,
    })
}

/// Changes an instrument that is held, and raises its version.
///
/// # Errors
/// When there is no such store.
pub async fn update(
    conn: &mut Conn,
    _caller: &Caller,
    now: Instrument,
    edit: InstrumentEdit,
) -> StoreResult<Instrument> {
    let next = Instrument {
        name: edit.name.unwrap_or(now.name),
        store_id: edit.store_id.unwrap_or(now.store_id),
        retired: edit.retired.unwrap_or(now.retired),
        version: now.version + 1,
        ..now
    };
    sqlx::query!(
        "UPDATE instrument SET name = $2, store_id = $3, version = $4,
                retired_at = CASE WHEN $5 THEN coalesce(retired_at, now()) END
         WHERE id = $1",
        next.id.as_uuid(),
        next.name.as_str(),
        next.store_id.as_uuid(),
        next.version,
        next.retired
    )
    .execute(conn)
    .await?;
    Ok(next)
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
