//! Rows of `access_log`: who opened another store's customer or match, which logins failed, what was refused.

use formula::id::{PersonId, StoreId};
use formula::role::Role;
use formula::wire::v1::{AccessAct, AccessEntry, Page};
use uuid::Uuid;

use super::read_back::id;
use super::{Conn, StoreError, StoreResult};
use crate::app::Caller;

/// The act as stored.
fn stored(act: AccessAct) -> &'static str {
    match act {
        AccessAct::CustomerOpened => "customer-opened",
        AccessAct::MatchOpened => "match-opened",
        AccessAct::LoginFailed => "login-failed",
        AccessAct::Refused => "refused",
    }
}

fn read(act: &str) -> StoreResult<AccessAct> {
    [
        AccessAct::CustomerOpened,
        AccessAct::MatchOpened,
        AccessAct::LoginFailed,
        AccessAct::Refused,
    ]
    .into_iter()
    .find(|known| stored(*known) == act)
    .ok_or_else(|| StoreError::Fault("a stored value is not an act of the access log".to_owned()))
}

/// Notes that a caller of the staff opened a customer or match whose store is none of the caller's own; an admin's
/// look-ups are noted too. Contractors see only what is linked to them, so theirs are not. Reads run in read-only
/// transactions: open with [`Database::plain`](super::Database::plain) and commit.
///
/// # Errors
/// When the row can't be written.
pub async fn note_opened(
    conn: &mut Conn,
    caller: &Caller,
    act: AccessAct,
    entity: Uuid,
    its_store: StoreId,
) -> StoreResult<()> {
    if caller.contractor().is_some() || caller.stores.contains(&its_store) {
        return Ok(());
    }
    add(
        conn,
        Some(caller.person_id),
        caller.store_id,
        act,
        Some(entity),
    )
    .await
}

/// Notes that the caller asked for what the role does not allow.
///
/// # Errors
/// When the row can't be written.
pub async fn note_refused(conn: &mut Conn, caller: &Caller) -> StoreResult<()> {
    let (person, store) = (Some(caller.person_id), caller.store_id);
    add(conn, person, store, AccessAct::Refused, None).await
}

/// Notes a wrong login or a refresh token that came twice; the person where the name is one. No caller: that is what
/// failed.
///
/// # Errors
/// When the row can't be written.
pub async fn note_failed_login(
    conn: &mut Conn,
    person: Option<PersonId>,
    store: Option<StoreId>,
) -> StoreResult<()> {
    add(conn, person, store, AccessAct::LoginFailed, None).await
}

async fn add(
    conn: &mut Conn,
    person: Option<PersonId>,
    store: Option<StoreId>,
    act: AccessAct,
    entity: Option<Uuid>,
) -> StoreResult<()> {
    sqlx::query!(
        "INSERT INTO access_log (person_id, store_id, act, entity_id) VALUES ($1, $2, $3, $4)",
        person.map(PersonId::as_uuid),
        store.map(StoreId::as_uuid),
        stored(act),
        entity
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// The log, newest first, below a running number. An admin sees all of it; a manager what happened at the own stores'
/// counters or was done by the people who work there.
///
/// # Errors
/// When the database can't be read.
pub async fn list(
    conn: &mut Conn,
    caller: &Caller,
    limit: i64,
    below: Option<i64>,
) -> StoreResult<Page<AccessEntry>> {
    let own: Vec<Uuid> = caller.stores.iter().map(|store| store.as_uuid()).collect();
    let rows = sqlx::query!(
        "SELECT id, at, person_id, store_id, act, entity_id FROM access_log
         WHERE ($1::bigint IS NULL OR id < $1)
           AND ($2 OR store_id = ANY ($3)
                OR person_id IN (SELECT ps.person_id FROM person_store ps WHERE ps.store_id = ANY ($3)))
         ORDER BY id DESC LIMIT $4",
        below,
        caller.is(Role::Admin),
        &own,
        limit + 1
    )
    .fetch_all(conn)
    .await?;
    let mut items = rows
        .into_iter()
        .map(|row| {
            Ok(AccessEntry {
                id: row.id,
                at: row.at,
                person_id: row.person_id.map(id).transpose()?,
                store_id: row.store_id.map(id).transpose()?,
                act: read(&row.act)?,
                entity_id: row.entity_id,
            })
        })
        .collect::<StoreResult<Vec<_>>>()?;
    let whole = usize::try_from(limit).unwrap_or(usize::MAX);
    let next = (items.len() > whole).then(|| {
        items.truncate(whole);
        items.last().map(|last| last.id.to_string())
    });
    Ok(Page {
        items,
        next: next.flatten(),
    })
}
