//! Rows of `draft`. Each belongs to one person: nobody else's exists for a caller.

use formula::id::{DraftId, StoreId};
use formula::wire::v1::{Draft, DraftEdit, DraftParts, NewDraft, Page};
use sqlx::types::Json;
use time::OffsetDateTime;
use uuid::Uuid;

use super::read_back::{id, kept};
use super::write::PageAsk;
use super::{Conn, StoreResult};
use crate::app::Caller;

struct Row {
    id: Uuid,
    title: String,
    parts: Json<DraftParts>,
    store_id: Uuid,
    version: i32,
    updated_at: OffsetDateTime,
}

impl Row {
    fn shown(self) -> StoreResult<Draft> {
        Ok(Draft {
            id: id(self.id)?,
            title: kept(&self.title)?,
            parts: self.parts.0,
            store_id: id(self.store_id)?,
            version: self.version,
            updated_at: self.updated_at,
        })
    }
}

/// The caller's drafts, in order of id.
///
/// # Errors
/// When the database can't be read.
pub async fn list(conn: &mut Conn, caller: &Caller, ask: PageAsk) -> StoreResult<Page<Draft>> {
    let drafts = sqlx::query_as!(
        Row,
        r#"SELECT id, title, body AS "parts: Json<DraftParts>", store_id, version, updated_at
           FROM draft WHERE person_id = $1 AND ($2::uuid IS NULL OR id > $2) ORDER BY id LIMIT $3"#,
        caller.person_id.as_uuid(),
        ask.after,
        ask.fetch()
    )
    .fetch_all(conn)
    .await?
    .into_iter()
    .map(Row::shown)
    .collect::<StoreResult<Vec<_>>>()?;
    Ok(ask.page(drafts, |draft| draft.id.as_uuid()))
}

/// One of the caller's drafts.
///
/// # Errors
/// When the database can't be read.
pub async fn find(conn: &mut Conn, caller: &Caller, id: DraftId) -> StoreResult<Option<Draft>> {
    sqlx::query_as!(
        Row,
        r#"SELECT id, title, body AS "parts: Json<DraftParts>", store_id, version, updated_at
           FROM draft WHERE id = $1 AND person_id = $2"#,
        id.as_uuid(),
        caller.person_id.as_uuid()
    )
    .fetch_optional(conn)
    .await?
    .map(Row::shown)
    .transpose()
}

/// One of the caller's drafts, held until the transaction ends.
///
/// # Errors
/// When the database can't be read.
pub async fn lock(conn: &mut Conn, caller: &Caller, id: DraftId) -> StoreResult<Option<Draft>> {
    sqlx::query_as!(
        Row,
        r#"SELECT id, title, body AS "parts: Json<DraftParts>", store_id, version, updated_at
           FROM draft WHERE id = $1 AND person_id = $2 FOR UPDATE"#,
        id.as_uuid(),
        caller.person_id.as_uuid()
    )
    .fetch_optional(conn)
    .await?
    .map(Row::shown)
    .transpose()
}

/// How many drafts the caller has. Holds the caller's row, so that two additions can't both find room for one.
///
/// # Errors
/// When the database can't be read.
pub async fn count(conn: &mut Conn, caller: &Caller) -> StoreResult<i64> {
    let person = caller.person_id.as_uuid();
    sqlx::query!("SELECT FROM person WHERE id = $1 FOR NO KEY UPDATE", person)
        .execute(&mut *conn)
        .await?;
    Ok(sqlx::query_scalar!(
        r#"SELECT count(*) AS "count!" FROM draft WHERE person_id = $1"#,
        person
    )
    .fetch_one(conn)
    .await?)
}

/// Adds a draft of the caller's.
///
/// # Errors
/// When the id is taken.
pub async fn insert(
    conn: &mut Conn,
    caller: &Caller,
    store: StoreId,
    new: &NewDraft,
) -> StoreResult<Draft> {
    sqlx::query_as!(
        Row,
        r#"INSERT INTO draft (id, person_id, store_id, title, body) VALUES ($1, $2, $3, $4, $5)
           RETURNING id, title, body AS "parts: Json<DraftParts>", store_id, version, updated_at"#,
        new.id.as_uuid(),
        caller.person_id.as_uuid(),
        store.as_uuid(),
        new.title.as_str(),
        Json(&new.parts) as _
    )
    .fetch_one(conn)
    .await?
    .shown()
}

/// Puts down anew a draft that is held, and raises its version.
///
/// # Errors
/// When the database can't be written.
pub async fn update(
    conn: &mut Conn,
    caller: &Caller,
    now: Draft,
    edit: DraftEdit,
) -> StoreResult<Draft> {
    let title = edit.title.unwrap_or(now.title);
    let parts = edit.parts.unwrap_or(now.parts);
    sqlx::query_as!(
        Row,
        r#"UPDATE draft SET title = $3, body = $4, version = version + 1, updated_at = now()
           WHERE id = $1 AND person_id = $2
           RETURNING id, title, body AS "parts: Json<DraftParts>", store_id, version, updated_at"#,
        now.id.as_uuid(),
        caller.person_id.as_uuid(),
        title.as_str(),
        Json(&parts) as _
    )
    .fetch_one(conn)
    .await?
    .shown()
}

/// Removes one of the caller's drafts; says whether there was one.
///
/// # Errors
/// When the database can't be written.
pub async fn delete(conn: &mut Conn, caller: &Caller, id: DraftId) -> StoreResult<bool> {
    let done = sqlx::query!(
        "DELETE FROM draft WHERE id = $1 AND person_id = $2",
        id.as_uuid(),
        caller.person_id.as_uuid()
    )
    .execute(conn)
    .await?;
    Ok(done.rows_affected() == 1)
}
