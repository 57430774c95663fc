//! Rows of `store`.

use formula::id::StoreId;
use formula::wire::v1::{Light, NewStore, Page, Store, StoreEdit};
use uuid::Uuid;

use super::read_back::{id, kept};
use super::write::PageAsk;
use super::{Conn, StoreResult};
use crate::app::Caller;

struct Row {
    id: Uuid,
    name: String,
    phone_region: String,
    closed: bool,
    lights: Vec<String>,
    version: i32,
}

impl Row {
    fn shown(self) -> StoreResult<Store> {
        Ok(Store {
            id: id(self.id)?,
            name: kept(&self.name)?,
            phone_region: kept(&self.phone_region)?,
            closed: self.closed,
            lights: lights(&self.lights)?,
            version: self.version,
        })
    }
}

fn lights(names: &[String]) -> StoreResult<Vec<Light>> {
    names
        .iter()
        .map(|name| kept::<color::Illuminant>(name).map(Light))
        .collect()
}

/// The lights that a store chose. Every login may see them.
///
/// # Errors
/// When the database can't be read.
pub async fn lights_of(
    conn: &mut Conn,
    _caller: &Caller,
    store: StoreId,
) -> StoreResult<Vec<Light>> {
    let chosen = sqlx::query_scalar!("SELECT lights FROM store WHERE id = $1", store.as_uuid())
        .fetch_optional(conn)
        .await?;
    lights(&chosen.unwrap_or_default())
}

/// Stores in order of id. Every login may see them, so the caller narrows nothing.
///
/// # Errors
/// When the database can't be read.
pub async fn list(conn: &mut Conn, _caller: &Caller, ask: PageAsk) -> StoreResult<Page<Store>> {
    let rows = sqlx::query_as!(
        Row,
        r#"SELECT id, name, phone_region, closed_at IS NOT NULL AS "closed!", lights, version
           FROM store WHERE ($1::uuid IS NULL OR id > $1) ORDER BY id LIMIT $2"#,
        ask.after,
        ask.fetch()
    )
    .fetch_all(conn)
    .await?;
    let stores = rows
        .into_iter()
        .map(Row::shown)
        .collect::<StoreResult<Vec<_>>>()?;
    Ok(ask.page(stores, |store| store.id.as_uuid()))
}

/// One store. Every login may see it.
///
/// # Errors
/// When the database can't be read.
pub async fn find(conn: &mut Conn, _caller: &Caller, id: StoreId) -> StoreResult<Option<Store>> {
    sqlx::query_as!(
        Row,
        r#"SELECT id, name, phone_region, closed_at IS NOT NULL AS "closed!", lights, version FROM store WHERE id = $1"#,
        id.as_uuid()
    )
    .fetch_optional(conn)
    .await?
    .map(Row::shown)
    .transpose()
}

/// One store, held until the transaction ends.
///
/// # Errors
/// When the database can't be read.
pub async fn lock(conn: &mut Conn, _caller: &Caller, id: StoreId) -> StoreResult<Option<Store>> {
    sqlx::query_as!(
        Row,
        r#"SELECT id, name, phone_region, closed_at IS NOT NULL AS "closed!", lights, version
           FROM store WHERE id = $1 FOR UPDATE"#,
        id.as_uuid()
    )
    .fetch_optional(conn)
    .await?
    .map(Row::shown)
    .transpose()
}

/// Adds a store.
///
/// # Errors
/// When the id or the name is taken.
pub async fn insert(conn: &mut Conn, _caller: &Caller, new: &NewStore) -> StoreResult<Store> {
    let chosen = sqlx::query_scalar!(
        "INSERT INTO store (id, name, phone_region) VALUES ($1, $2, $3) RETURNING lights",
        new.id.as_uuid(),
        new.name.as_str(),
        new.phone_region.as_str()
    )
    .fetch_one(conn)
    .await?;
    Ok(Store {
        id: new.id,
        name: new.name.clone(),
        phone_region: new.phone_region,
        closed: false,
        lights: lights(&chosen)?,
        version: 1,
    })
}

/// Changes a store that is held, and raises its version.
///
/// # Errors
/// When the name is taken.
pub async fn update(
    conn: &mut Conn,
    _caller: &Caller,
    now: Store,
    edit: StoreEdit,
) -> StoreResult<Store> {
    let next = Store {
        id: now.id,
        name: edit.name.unwrap_or(now.name),
        phone_region: edit.phone_region.unwrap_or(now.phone_region),
        closed: edit.closed.unwrap_or(now.closed),
        lights: edit.lights.unwrap_or(now.lights),
        version: now.version + 1,
    };
    sqlx::query!(
        "UPDATE store SET name = $2, phone_region = $3, version = $4,
                closed_at = CASE WHEN $5 THEN coalesce(closed_at, now()) END, lights = $6
         WHERE id = $1",
        next.id.as_uuid(),
        next.name.as_str(),
        next.phone_region.as_str(),
        next.version,
        next.closed,
        &next
            .lights
            .iter()
            .map(|light| light.0.name().to_owned())
            .collect::<Vec<_>>()
    )
    .execute(conn)
    .await?;
    Ok(next)
}
