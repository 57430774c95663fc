//! Rows of `claim_token`. No caller here: whoever holds the token is let in by it.

use std::time::Duration;

use formula::id::PersonId;
use time::OffsetDateTime;

use super::read_back::id;
use super::{Conn, StoreResult};

/// A one-time token as kept.
#[derive(Debug, Clone)]
pub struct Claim {
    /// Whose password it sets; none with the token of `admin init`.
    pub person: Option<PersonId>,
    /// Whether it was used, or replaced by a newer one.
    pub used: bool,
    /// Whether its time has run out.
    pub expired: bool,
}

/// Keeps a new token; those of the same person that were still open end. Returns when it ends.
///
/// # Errors
/// When the database refuses.
pub async fn insert(
    conn: &mut Conn,
    hash: &[u8; 32],
    person: Option<PersonId>,
    made_by: Option<PersonId>,
    life: Duration,
) -> StoreResult<OffsetDateTime> {
    end_open(conn, person).await?;
    let expires_at = sqlx::query_scalar!(
        "INSERT INTO claim_token (hash, person_id, made_by, expires_at)
         VALUES ($1, $2, $3, now() + make_interval(secs => $4)) RETURNING expires_at",
        &hash[..],
        person.map(PersonId::as_uuid),
        made_by.map(PersonId::as_uuid),
        life.as_secs_f64()
    )
    .fetch_one(conn)
    .await?;
    Ok(expires_at)
}

/// Ends the open tokens of a person, or those of `admin init`.
///
/// # Errors
/// When the database refuses.
pub async fn end_open(conn: &mut Conn, person: Option<PersonId>) -> StoreResult<()> {
    sqlx::query!(
        "UPDATE claim_token SET used_at = now() WHERE person_id IS NOT DISTINCT FROM $1 AND used_at IS NULL",
        person.map(PersonId::as_uuid)
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// A token, held until the transaction ends.
///
/// # Errors
/// When the database can't be read.
pub async fn lock(conn: &mut Conn, hash: &[u8; 32]) -> StoreResult<Option<Claim>> {
    let row = sqlx::query!(
        r#"SELECT person_id, used_at IS NOT NULL AS "used!", expires_at <= now() AS "expired!"
           FROM claim_token WHERE hash = $1 FOR UPDATE"#,
        &hash[..]
    )
    .fetch_optional(conn)
    .await?;
    let Some(row) = row else { return Ok(None) };
    Ok(Some(Claim {
        person: row.person_id.map(id).transpose()?,
        used: row.used,
        expired: row.expired,
    }))
}
