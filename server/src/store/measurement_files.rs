//! Rows of `measurement_file`: what files held beside numbers, where erasure can remove it without touching a fact.

use std::collections::HashMap;

use formula::id::MeasurementId;
use formula::reading::FileText;
use formula::wire::v1::{FileTag, MeasurementFile};
use sqlx::types::Json;
use uuid::Uuid;

use super::read_back::kept;
use super::{Conn, StoreResult};
use crate::app::Caller;

/// Keeps what the file of a measurement held.
///
/// # Errors
/// When the database can't be written.
pub async fn insert(
    conn: &mut Conn,
    _caller: &Caller,
    of: MeasurementId,
    file: &MeasurementFile,
) -> StoreResult<()> {
    let assumed: Vec<String> = file.assumed.iter().map(ToString::to_string).collect();
    let word = |text: &Option<FileText>| text.as_ref().map(ToString::to_string);
    sqlx::query!(
        "INSERT INTO measurement_file (measurement_id, format, sample, maker, model, serial, date, tags, assumed)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)",
        of.as_uuid(),
        file.format.as_str(),
        file.sample.as_str(),
        word(&file.maker),
        word(&file.model),
        word(&file.serial),
        word(&file.date),
        Json(&file.tags) as _,
        &assumed
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// What the files of these measurements held; nothing of it for a contractor, since a tag may name another person.
///
/// # Errors
/// When the database can't be read.
pub async fn load(
    conn: &mut Conn,
    caller: &Caller,
    ids: &[Uuid],
) -> StoreResult<HashMap<Uuid, MeasurementFile>> {
    if caller.contractor().is_some() {
        return Ok(HashMap::new());
    }
    let rows = sqlx::query!(
        r#"SELECT measurement_id, format, sample, maker, model, serial, date, tags AS "tags: Json<Vec<FileTag>>", assumed
           FROM measurement_file WHERE measurement_id = ANY ($1)"#,
        ids
    )
    .fetch_all(conn)
    .await?;
    let word = |text: Option<String>| text.as_deref().map(kept::<FileText>).transpose();
    rows.into_iter()
        .map(|row| {
            let file = MeasurementFile {
                format: kept(&row.format)?,
                sample: kept(&row.sample)?,
                maker: word(row.maker)?,
                model: word(row.model)?,
                serial: word(row.serial)?,
                date: word(row.date)?,
                tags: row.tags.0,
                assumed: row
                    .assumed
                    .iter()
                    .map(|said| kept(said))
                    .collect::<StoreResult<_>>()?,
            };
            Ok((row.measurement_id, file))
        })
        .collect()
}
