//! Rows of `tile` and `tile_reading`.

use std::collections::HashMap;

use color::Lab;
use formula::id::{InstrumentId, StoreId, TileId, TileReadingId};
use formula::wire::v1::{
    LabD65, Named, NewTile, NewTileReading, Page, SpectrumValues, Specular, Tile, TileEdit, TileHue,
};
use time::OffsetDateTime;
use uuid::Uuid;

use super::measurements::{spectrum_back, specular_read, specular_word, start_nm, stored_digits};
use super::read_back::{id, kept, vanished};
use super::write::PageAsk;
use super::{Conn, StoreResult};
use crate::app::Caller;

struct Row {
    id: Uuid,
    store_id: Uuid,
    name: String,
    hue: Option<String>,
    certified_l: Option<f64>,
    certified_a: Option<f64>,
    certified_b: Option<f64>,
    retired: bool,
    version: i32,
}

fn lab(l: Option<f64>, a: Option<f64>, b: Option<f64>) -> Option<LabD65> {
    match (l, a, b) {
        (Some(l), Some(a), Some(b)) => Some(LabD65(Lab { l, a, b })),
        _ => None,
    }
}

impl Row {
    fn shown(self) -> StoreResult<Tile> {
        Ok(Tile {
            id: id(self.id)?,
            store_id: id(self.store_id)?,
            name: kept(&self.name)?,
            hue: self.hue.as_deref().map(kept::<TileHue>).transpose()?,
            certified_lab: lab(self.certified_l, self.certified_a, self.certified_b),
            retired: self.retired,
            version: self.version,
        })
    }
}

/// Tiles in order of id, retired ones too, of one store or of all. Staff see the whole chain's.
///
/// # Errors
/// When the database can't be read.
pub async fn list(
    conn: &mut Conn,
    _caller: &Caller,
    store: Option<StoreId>,
    ask: PageAsk,
) -> StoreResult<Page<Tile>> {
    let rows = sqlx::query_as!(
        Row,
        r#"SELECT id, store_id, name, hue, certified_l, certified_a, certified_b, retired_at IS NOT NULL AS "retired!",
                  version
           FROM tile
           WHERE ($1::uuid IS NULL OR id > $1) AND ($3::uuid IS NULL OR store_id = $3)
           ORDER BY id LIMIT $2"#,
        ask.after,
        ask.fetch(),
        store.map(StoreId::as_uuid)
    )
    .fetch_all(conn)
    .await?;
    let tiles = rows
        .into_iter()
        .map(Row::shown)
        .collect::<StoreResult<Vec<_>>>()?;
    Ok(ask.page(tiles, |tile| tile.id.as_uuid()))
}

/// One tile. Staff see the whole chain's.
///
/// # Errors
/// When the database can't be read.
pub async fn find(conn: &mut Conn, _caller: &Caller, tile: TileId) -> StoreResult<Option<Tile>> {
    sqlx::query_as!(
        Row,
        r#"SELECT id, store_id, name, hue, certified_l, certified_a, certified_b, retired_at IS NOT NULL AS "retired!",
                  version
           FROM tile WHERE id = $1"#,
        tile.as_uuid()
    )
    .fetch_optional(conn)
    .await?
    .map(Row::shown)
    .transpose()
}

/// One tile of a store that the caller works at, held until the transaction ends.
///
/// # Errors
/// When the database can't be read.
pub async fn lock_own(conn: &mut Conn, caller: &Caller, tile: TileId) -> StoreResult<Option<Tile>> {
    let tile = sqlx::query_as!(
        Row,
        r#"SELECT id, store_id, name, hue, certified_l, certified_a, certified_b, retired_at IS NOT NULL AS "retired!",
                  version
           FROM tile WHERE id = $1 FOR UPDATE"#,
        tile.as_uuid()
    )
    .fetch_optional(conn)
    .await?
    .map(Row::shown)
    .transpose()?;
    Ok(tile.filter(|tile| caller.works_at(tile.store_id)))
}

/// Adds a tile.
///
/// # Errors
/// When the id is taken, or the name at this store, or there is no such store.
pub async fn insert(conn: &mut Conn, caller: &Caller, new: &NewTile) -> StoreResult<Tile> {
    let certified = new.certified_lab.map(|lab| lab.0);
    sqlx::query!(
        "INSERT INTO tile (id, store_id, name, hue, certified_l, certified_a, certified_b)
         VALUES ($1, $2, $3, $4, $5, $6, $7)",
        new.id.as_uuid(),
        new.store_id.as_uuid(),
        new.name.as_str(),
        new.hue.map(TileHue::as_str),
        certified.map(|lab| lab.l),
        certified.map(|lab| lab.a),
        certified.map(|lab| lab.b)
    )
    .execute(&mut *conn)
    .await?;
    find(conn, caller, new.id).await?.ok_or_else(vanished)
}

/// Changes a tile that is held, and raises its version.
///
/// # Errors
/// When the name is taken at this store.
pub async fn update(
    conn: &mut Conn,
    caller: &Caller,
    now: Tile,
    edit: TileEdit,
) -> StoreResult<Tile> {
    let name = edit.name.unwrap_or(now.name);
    sqlx::query!(
        "UPDATE tile SET name = $2, hue = $3, version = version + 1,
                retired_at = CASE WHEN $4 THEN coalesce(retired_at, now()) END
         WHERE id = $1",
        now.id.as_uuid(),
        name.as_str(),
        edit.hue.or(now.hue).map(TileHue::as_str),
        edit.retired.unwrap_or(now.retired)
    )
    .execute(&mut *conn)
    .await?;
    find(conn, caller, now.id).await?.ok_or_else(vanished)
}

/// A reading of a tile as it stands in its row.
#[derive(Debug, Clone)]
pub struct KeptReading {
    /// Its id.
    pub id: TileReadingId,
    /// The tile.
    pub tile: Named<TileId>,
    /// The tile's hue.
    pub hue: Option<TileHue>,
    /// The color of its certificate.
    pub certified: Option<LabD65>,
    /// The instrument.
    pub instrument_id: InstrumentId,
    /// The spectrum.
    pub spectrum: SpectrumValues,
    /// Whether a missing end was extended.
    pub ends_extended: bool,
    /// Specular mode.
    pub specular: Option<Specular>,
    /// Temperature in °C.
    pub temperature_c: Option<f32>,
    /// When it was read.
    pub read_at: OffsetDateTime,
    /// Who read it.
    pub made_by: Named<formula::id::PersonId>,
}

struct ReadingRow {
    id: Uuid,
    tile_id: Uuid,
    tile_name: String,
    hue: Option<String>,
    certified_l: Option<f64>,
    certified_a: Option<f64>,
    certified_b: Option<f64>,
    instrument_id: Uuid,
    start_nm: f32,
    step_nm: Option<f32>,
    wavelengths_nm: Option<Vec<f64>>,
    reflectance: Vec<f32>,
    ends_extended: bool,
    specular: Option<String>,
    temperature_c: Option<f32>,
    read_at: OffsetDateTime,
    person_id: Uuid,
    display_name: String,
}

impl ReadingRow {
    fn shown(self) -> StoreResult<KeptReading> {
        Ok(KeptReading {
            id: id(self.id)?,
            tile: Named {
                id: id(self.tile_id)?,
                name: self.tile_name,
            },
            hue: self.hue.as_deref().map(kept::<TileHue>).transpose()?,
            certified: lab(self.certified_l, self.certified_a, self.certified_b),
            instrument_id: id(self.instrument_id)?,
            spectrum: spectrum_back(
                self.start_nm,
                self.step_nm,
                self.wavelengths_nm,
                &self.reflectance,
            )?,
            ends_extended: self.ends_extended,
            specular: self.specular.as_deref().map(specular_read),
            temperature_c: self.temperature_c,
            read_at: self.read_at,
            made_by: Named {
                id: id(self.person_id)?,
                name: self.display_name,
            },
        })
    }
}

/// Readings on an instrument in order of id, of one tile or of all. Staff see the whole chain's.
///
/// # Errors
/// When the database can't be read.
pub async fn list_readings(
    conn: &mut Conn,
    _caller: &Caller,
    instrument: InstrumentId,
    tile: Option<TileId>,
    ask: PageAsk,
) -> StoreResult<Page<KeptReading>> {
    let rows = sqlx::query_as!(
        ReadingRow,
        r#"SELECT r.id, r.tile_id, t.name AS tile_name, t.hue, t.certified_l, t.certified_a, t.certified_b,
                  r.instrument_id, r.start_nm, r.step_nm, r.wavelengths_nm, r.reflectance, r.ends_extended, r.specular, r.temperature_c,
                  r.read_at, p.id AS person_id, p.display_name
           FROM tile_reading r JOIN tile t ON t.id = r.tile_id JOIN person p ON p.id = r.made_by
           WHERE r.instrument_id = $1 AND ($2::uuid IS NULL OR r.id > $2) AND ($4::uuid IS NULL OR r.tile_id = $4)
           ORDER BY r.id LIMIT $3"#,
        instrument.as_uuid(),
        ask.after,
        ask.fetch(),
        tile.map(TileId::as_uuid)
    )
    .fetch_all(conn)
    .await?;
    let readings = rows
        .into_iter()
        .map(ReadingRow::shown)
        .collect::<StoreResult<Vec<_>>>()?;
    Ok(ask.page(readings, |reading| reading.id.as_uuid()))
}

/// The first readings of these tiles on an instrument, `each` of every tile, the oldest first. Staff see the whole
/// chain's.
///
/// # Errors
/// When the database can't be read.
pub async fn first_readings(
    conn: &mut Conn,
    _caller: &Caller,
    instrument: InstrumentId,
    tiles: &[Uuid],
    each: usize,
) -> StoreResult<HashMap<TileId, Vec<KeptReading>>> {
    let rows = sqlx::query_as!(
        ReadingRow,
        r#"SELECT r.id AS "id!", r.tile_id AS "tile_id!", t.name AS tile_name, t.hue, t.certified_l, t.certified_a,
                  t.certified_b, r.instrument_id AS "instrument_id!", r.start_nm AS "start_nm!",
                  r.step_nm, r.wavelengths_nm, r.reflectance AS "reflectance!", r.ends_extended AS "ends_extended!",
                  r.specular, r.temperature_c, r.read_at AS "read_at!", p.id AS person_id, p.display_name
           FROM tile t CROSS JOIN LATERAL
                (SELECT * FROM tile_reading x WHERE x.instrument_id = $1 AND x.tile_id = t.id
                 ORDER BY x.read_at, x.id LIMIT $3) r
           JOIN person p ON p.id = r.made_by
           WHERE t.id = ANY ($2) ORDER BY r.read_at, r.id"#,
        instrument.as_uuid(),
        tiles,
        i64::try_from(each).unwrap_or(i64::MAX)
    )
    .fetch_all(conn)
    .await?;
    let mut found: HashMap<TileId, Vec<KeptReading>> = HashMap::new();
    for row in rows {
        let reading = row.shown()?;
        found.entry(reading.tile.id).or_default().push(reading);
    }
    Ok(found)
}

/// The latest reading since a time of each tile on an instrument. Staff see the whole chain's.
///
/// # Errors
/// When the database can't be read.
pub async fn latest_readings(
    conn: &mut Conn,
    _caller: &Caller,
    instrument: InstrumentId,
    since: OffsetDateTime,
) -> StoreResult<HashMap<TileId, KeptReading>> {
    let rows = sqlx::query_as!(
        ReadingRow,
        r#"SELECT DISTINCT ON (r.tile_id) r.id, r.tile_id, t.name AS tile_name, t.hue, t.certified_l, t.certified_a,
                  t.certified_b, r.instrument_id, r.start_nm, r.step_nm, r.wavelengths_nm, r.reflectance, r.ends_extended, r.specular,
                  r.temperature_c, r.read_at, p.id AS person_id, p.display_name
           FROM tile_reading r JOIN tile t ON t.id = r.tile_id JOIN person p ON p.id = r.made_by
           WHERE r.instrument_id = $1 AND r.read_at >= $2
           ORDER BY r.tile_id, r.read_at DESC, r.id DESC"#,
        instrument.as_uuid(),
        since
    )
    .fetch_all(conn)
    .await?;
    rows.into_iter()
        .map(|row| {
            let reading = row.shown()?;
            Ok((reading.tile.id, reading))
        })
        .collect()
}

/// Keeps a reading of a tile that the caller made.
///
/// # Errors
/// When the id is taken, or there is no such tile.
pub async fn insert_reading(
    conn: &mut Conn,
    caller: &Caller,
    instrument: InstrumentId,
    new: &NewTileReading,
) -> StoreResult<KeptReading> {
    sqlx::query!(
        "INSERT INTO tile_reading (id, tile_id, instrument_id, start_nm, step_nm, wavelengths_nm, reflectance,
             ends_extended, specular, temperature_c, read_at, made_by)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12)",
        new.id.as_uuid(),
        new.tile_id.as_uuid(),
        instrument.as_uuid(),
        start_nm(&new.spectrum)?,
        new.spectrum.step_nm.map(f32::from),
        new.spectrum.wavelengths_nm.as_deref(),
        &stored_digits(&new.spectrum.values),
        new.ends_extended,
        new.specular.map(specular_word),
        new.temperature_c,
        new.read_at,
        caller.person_id.as_uuid()
    )
    .execute(&mut *conn)
    .await?;
    sqlx::query_as!(
        ReadingRow,
        r#"SELECT r.id, r.tile_id, t.name AS tile_name, t.hue, t.certified_l, t.certified_a, t.certified_b,
                  r.instrument_id, r.start_nm, r.step_nm, r.wavelengths_nm, r.reflectance, r.ends_extended, r.specular, r.temperature_c,
                  r.read_at, p.id AS person_id, p.display_name
           FROM tile_reading r JOIN tile t ON t.id = r.tile_id JOIN person p ON p.id = r.made_by WHERE r.id = $1"#,
        new.id.as_uuid()
    )
    .fetch_optional(conn)
    .await?
    .ok_or_else(vanished)?
    .shown()
}
