//! Rows of `access_log`: who opened another store's customer or match, which logins failed, what was refused.

use formula::id::StoreId;
use formula::wire::v1::AccessAct;
use uuid::Uuid;

use super::{Conn, StoreResult};
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
    sqlx::query!(
        "INSERT INTO access_log (person_id, store_id, act, entity_id) VALUES ($1, $2, $3, $4)",
        caller.person_id.as_uuid(),
        caller.store_id.map(StoreId::as_uuid),
        stored(act),
        entity
    )
    .execute(conn)
    .await?;
    Ok(())
}
