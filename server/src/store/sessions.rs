//! Rows of `session`.

use formula::id::{PersonId, SessionId};

use super::read_back::{id, kept};
use super::{Conn, StoreResult};
use crate::app::Caller;

/// The person behind an open session of somebody who is not suspended. There is no caller yet: this makes one.
///
/// # Errors
/// When the database can't be read.
pub async fn open_caller(
    conn: &mut Conn,
    person: PersonId,
    session: SessionId,
) -> StoreResult<Option<Caller>> {
    let row = sqlx::query!(
        r#"SELECT s.store_id, p.roles,
                  ARRAY(SELECT ps.store_id FROM person_store ps WHERE ps.person_id = p.id ORDER BY 1) AS "stores!"
           FROM session s JOIN person p ON p.id = s.person_id
           WHERE s.id = $1 AND p.id = $2 AND s.ended_at IS NULL AND s.expires_at > now() AND p.suspended_at IS NULL"#,
        session.as_uuid(),
        person.as_uuid()
    )
    .fetch_optional(conn)
    .await?;
    let Some(row) = row else { return Ok(None) };
    Ok(Some(Caller {
        person_id: person,
        session_id: session,
        store_id: row.store_id.map(id).transpose()?,
        roles: row
            .roles
            .iter()
            .map(|role| kept(role))
            .collect::<StoreResult<_>>()?,
        stores: row.stores.into_iter().map(id).collect::<StoreResult<_>>()?,
    }))
}
