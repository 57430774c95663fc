//! Rows of `instrument_correction`.

use color::instrument::{Check, Correction};
use formula::id::{CorrectionId, InstrumentId};
use formula::wire::v1::{
    CorrectedTile, CorrectionUsed, InstrumentCorrection, Named, NewCorrection, Page, Specular,
};
use sqlx::types::Json;
use time::OffsetDateTime;
use uuid::Uuid;

use super::measurements::{specular_read, specular_word};
use super::read_back::{id, vanished};
use super::write::PageAsk;
use super::{Conn, StoreError, StoreResult};
use crate::app::Caller;

/// A correction that is in force, ready to be applied.
#[derive(Debug, Clone)]
pub struct InForce {
    /// Which one.
    pub used: CorrectionUsed,
    /// The arithmetic.
    pub correction: Correction,
    /// Specular mode in which its tiles were read, when known.
    pub specular: Option<Specular>,
}

struct Row {
    id: Uuid,
    instrument_id: Uuid,
    instrument_name: String,
    reference_id: Uuid,
    reference_name: String,
    version: i32,
    coefficients: String,
    digest: String,
    figures: Json<Check>,
    person_id: Uuid,
    display_name: String,
    fitted_at: OffsetDateTime,
    retired_at: Option<OffsetDateTime>,
}

fn parsed(coefficients: &str) -> StoreResult<Correction> {
    serde_json::from_str(coefficients)
        .map_err(|_| StoreError::Fault("a stored correction can't be read".to_owned()))
}

impl Row {
    fn shown(self) -> StoreResult<InstrumentCorrection> {
        let correction = parsed(&self.coefficients)?;
        let Check {
            before,
            after,
            tiles,
        } = self.figures.0;
        Ok(InstrumentCorrection {
            id: id(self.id)?,
            instrument: Named {
                id: id(self.instrument_id)?,
                name: self.instrument_name,
            },
            reference: Named {
                id: id(self.reference_id)?,
                name: self.reference_name,
            },
            version: self.version,
            digest: self.digest,
            method: correction.method().to_owned(),
            shift_nm: correction.shift_nm(),
            before: before.into(),
            after: after.into(),
            tiles: tiles
                .into_iter()
                .map(|(tile, before, after)| CorrectedTile {
                    tile,
                    before,
                    after,
                })
                .collect(),
            fitted_by: Named {
                id: id(self.person_id)?,
                name: self.display_name,
            },
            fitted_at: self.fitted_at,
            retired_at: self.retired_at,
        })
    }
}

/// Corrections in order of id, retired ones too, from or to one instrument or all. Staff see the whole chain's.
///
/// # Errors
/// When the database can't be read.
pub async fn list(
    conn: &mut Conn,
    _caller: &Caller,
    instrument: Option<InstrumentId>,
    ask: PageAsk,
) -> StoreResult<Page<InstrumentCorrection>> {
    let rows = sqlx::query_as!(
        Row,
        r#"SELECT c.id, c.instrument_id, i.name AS instrument_name, c.reference_id, r.name AS reference_name, c.version,
                  c.coefficients, c.digest, c.figures AS "figures: Json<Check>", p.id AS person_id, p.display_name,
                  c.fitted_at, c.retired_at
           FROM instrument_correction c JOIN instrument i ON i.id = c.instrument_id
           JOIN instrument r ON r.id = c.reference_id JOIN person p ON p.id = c.fitted_by
           WHERE ($1::uuid IS NULL OR c.id > $1) AND ($3::uuid IS NULL OR $3 IN (c.instrument_id, c.reference_id))
           ORDER BY c.id LIMIT $2"#,
        ask.after,
        ask.fetch(),
        instrument.map(InstrumentId::as_uuid)
    )
    .fetch_all(conn)
    .await?;
    let corrections = rows
        .into_iter()
        .map(Row::shown)
        .collect::<StoreResult<Vec<_>>>()?;
    Ok(ask.page(corrections, |correction| correction.id.as_uuid()))
}

/// One correction. Staff see the whole chain's.
///
/// # Errors
/// When the database can't be read.
pub async fn find(
    conn: &mut Conn,
    _caller: &Caller,
    correction: CorrectionId,
) -> StoreResult<Option<InstrumentCorrection>> {
    sqlx::query_as!(
        Row,
        r#"SELECT c.id, c.instrument_id, i.name AS instrument_name, c.reference_id, r.name AS reference_name, c.version,
                  c.coefficients, c.digest, c.figures AS "figures: Json<Check>", p.id AS person_id, p.display_name,
                  c.fitted_at, c.retired_at
           FROM instrument_correction c JOIN instrument i ON i.id = c.instrument_id
           JOIN instrument r ON r.id = c.reference_id JOIN person p ON p.id = c.fitted_by
           WHERE c.id = $1"#,
        correction.as_uuid()
    )
    .fetch_optional(conn)
    .await?
    .map(Row::shown)
    .transpose()
}

/// The corrections in force from one of these instruments. No reading is shown by it, so any caller may have it.
///
/// # Errors
/// When the database can't be read.
pub async fn in_force(
    conn: &mut Conn,
    _caller: &Caller,
    instruments: &[Uuid],
) -> StoreResult<Vec<InForce>> {
    let rows = sqlx::query!(
        "SELECT c.id, c.version, c.coefficients, c.specular, i.id AS instrument_id, i.name AS instrument_name,
                r.id AS reference_id, r.name AS reference_name
         FROM instrument_correction c JOIN instrument i ON i.id = c.instrument_id
         JOIN instrument r ON r.id = c.reference_id
         WHERE c.instrument_id = ANY ($1) AND c.retired_at IS NULL ORDER BY c.id",
        instruments
    )
    .fetch_all(conn)
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(InForce {
                used: CorrectionUsed {
                    id: id(row.id)?,
                    version: row.version,
                    instrument: Named {
                        id: id(row.instrument_id)?,
                        name: row.instrument_name,
                    },
                    reference: Named {
                        id: id(row.reference_id)?,
                        name: row.reference_name,
                    },
                },
                correction: parsed(&row.coefficients)?,
                specular: row.specular.as_deref().map(specular_read),
            })
        })
        .collect()
}

/// A correction in its written form, and the digest of it.
#[derive(Debug, Clone)]
pub struct FittedCorrection {
    /// As [`Correction`] writes itself.
    pub coefficients: String,
    /// SHA-256 of that, in hexadecimal.
    pub digest: String,
    /// What leaving out each tile in turn gave.
    pub check: Check,
    /// Specular mode in which the tiles were read, when known.
    pub specular: Option<Specular>,
}

/// Puts a correction in force in place of the one that was.
///
/// # Errors
/// When the id is taken, or another was put in force at the same moment.
pub async fn put_in_force(
    conn: &mut Conn,
    caller: &Caller,
    new: &NewCorrection,
    fitted: &FittedCorrection,
) -> StoreResult<InstrumentCorrection> {
    sqlx::query!(
        "UPDATE instrument_correction SET retired_at = now(), retired_by = $3
         WHERE instrument_id = $1 AND reference_id = $2 AND retired_at IS NULL",
        new.instrument_id.as_uuid(),
        new.reference_id.as_uuid(),
        caller.person_id.as_uuid()
    )
    .execute(&mut *conn)
    .await?;
    sqlx::query!(
        "INSERT INTO instrument_correction
             (id, instrument_id, reference_id, version, coefficients, digest, figures, fitted_by, specular)
         SELECT $1, $2, $3, coalesce(max(c.version), 0) + 1, $4, $5, $6, $7, $8
         FROM instrument_correction c WHERE c.instrument_id = $2 AND c.reference_id = $3",
        new.id.as_uuid(),
        new.instrument_id.as_uuid(),
        new.reference_id.as_uuid(),
        fitted.coefficients,
        fitted.digest,
        Json(&fitted.check) as _,
        caller.person_id.as_uuid(),
        fitted.specular.map(specular_word)
    )
    .execute(&mut *conn)
    .await?;
    find(conn, caller, new.id).await?.ok_or_else(vanished)
}

/// Takes a correction out of force; whether it was in force.
///
/// # Errors
/// When the database can't be written.
pub async fn retire(
    conn: &mut Conn,
    caller: &Caller,
    correction: CorrectionId,
) -> StoreResult<bool> {
    let done = sqlx::query!(
        "UPDATE instrument_correction SET retired_at = now(), retired_by = $2 WHERE id = $1 AND retired_at IS NULL",
        correction.as_uuid(),
        caller.person_id.as_uuid()
    )
    .execute(conn)
    .await?;
    Ok(done.rows_affected() == 1)
}
