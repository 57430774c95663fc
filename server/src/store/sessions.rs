//! Rows of `session` and `refresh_token`. Sessions are opened, refreshed and ended before there is a caller or
//! about somebody else, so none is asked for here; `app` has decided by then.

use std::time::Duration;

use formula::id::{PersonId, SessionId, StoreId};

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

/// Why a session ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ended {
    /// The person logged out.
    Logout,
    /// The login was suspended.
    Suspended,
    /// Roles or stores were changed.
    RolesChanged,
    /// The password was changed or reset.
    PasswordChanged,
    /// A refresh token came twice: one of the two had stolen it.
    RefreshReused,
}

impl Ended {
    fn stored(self) -> &'static str {
        match self {
            Self::Logout => "logout",
            Self::Suspended => "suspended",
            Self::RolesChanged => "roles-changed",
            Self::PasswordChanged => "password-changed",
            Self::RefreshReused => "refresh-reused",
        }
    }
}

/// Opens a session: what makes a caller, so it takes none.
///
/// # Errors
/// When the database refuses.
pub async fn open(
    conn: &mut Conn,
    session: SessionId,
    person: PersonId,
    store: Option<StoreId>,
    life: Duration,
) -> StoreResult<()> {
    sqlx::query!(
        "INSERT INTO session (id, person_id, store_id, expires_at)
         VALUES ($1, $2, $3, now() + make_interval(secs => $4))",
        session.as_uuid(),
        person.as_uuid(),
        store.map(StoreId::as_uuid),
        life.as_secs_f64()
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// Ends a session, unless it has ended. Takes no caller: a stolen refresh token ends one too, with nobody logged in.
///
/// # Errors
/// When the database refuses.
pub async fn end(conn: &mut Conn, session: SessionId, why: Ended) -> StoreResult<()> {
    sqlx::query!(
        "UPDATE session SET ended_at = now(), ended_reason = $2 WHERE id = $1 AND ended_at IS NULL",
        session.as_uuid(),
        why.stored()
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// Ends every session of a person, but for one. Takes no caller: a claimed password ends them with nobody logged in.
///
/// # Errors
/// When the database refuses.
pub async fn end_all(
    conn: &mut Conn,
    person: PersonId,
    but: Option<SessionId>,
    why: Ended,
) -> StoreResult<()> {
    sqlx::query!(
        "UPDATE session SET ended_at = now(), ended_reason = $3
         WHERE person_id = $1 AND ended_at IS NULL AND id IS DISTINCT FROM $2",
        person.as_uuid(),
        but.map(SessionId::as_uuid),
        why.stored()
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// Keeps a new refresh token of a session, which makes callers and takes none.
///
/// # Errors
/// When the database refuses.
pub async fn add_refresh(conn: &mut Conn, session: SessionId, hash: &[u8; 32]) -> StoreResult<()> {
    sqlx::query!(
        "INSERT INTO refresh_token (hash, session_id) VALUES ($1, $2)",
        &hash[..],
        session.as_uuid()
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// A refresh token as kept.
#[derive(Debug, Clone)]
pub struct Refresh {
    /// Its session.
    pub session: SessionId,
    /// Whose.
    pub person: PersonId,
    /// At which store's counter.
    pub store: Option<StoreId>,
    /// Whether the token was used before.
    pub used: bool,
    /// Whether the session goes on.
    pub open: bool,
}

/// A refresh token, held until the transaction ends and marked as used: of two that come at once, the second finds
/// it used. No caller yet: the token stands for one.
///
/// # Errors
/// When the database refuses.
pub async fn use_refresh(conn: &mut Conn, hash: &[u8; 32]) -> StoreResult<Option<Refresh>> {
    let before = sqlx::query!(
        r#"SELECT used_at IS NOT NULL AS "used!" FROM refresh_token WHERE hash = $1 FOR UPDATE"#,
        &hash[..]
    )
    .fetch_optional(&mut *conn)
    .await?;
    let Some(before) = before else {
        return Ok(None);
    };
    let row = sqlx::query!(
        r#"UPDATE refresh_token r SET used_at = coalesce(used_at, now())
           FROM session s JOIN person p ON p.id = s.person_id
           WHERE r.hash = $1 AND s.id = r.session_id
           RETURNING s.id, s.person_id, s.store_id,
                     (s.ended_at IS NULL AND s.expires_at > now() AND p.suspended_at IS NULL) AS "open!""#,
        &hash[..]
    )
    .fetch_one(conn)
    .await?;
    Ok(Some(Refresh {
        session: id(row.id)?,
        person: id(row.person_id)?,
        store: row.store_id.map(id).transpose()?,
        used: before.used,
        open: row.open,
    }))
}
