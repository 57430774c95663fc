//! The row of `verdict_limits`.

use formula::wire::v1::{Verdicts, VerdictsInForce};

use super::{Conn, StoreResult};
use crate::app::Caller;

/// The limits in force. Every login may see them.
///
/// # Errors
/// When the database can't be read.
pub async fn show(conn: &mut Conn, _caller: &Caller) -> StoreResult<VerdictsInForce> {
    let row = sqlx::query!("SELECT indistinguishable, accepted, ask, version FROM verdict_limits")
        .fetch_one(conn)
        .await?;
    Ok(VerdictsInForce {
        limits: Verdicts {
            indistinguishable: row.indistinguishable,
            accepted: row.accepted,
            ask: row.ask,
        },
        version: row.version,
    })
}

/// The version in force, held until the transaction ends.
///
/// # Errors
/// When the database can't be read.
pub async fn lock(conn: &mut Conn, _caller: &Caller) -> StoreResult<i32> {
    Ok(
        sqlx::query_scalar!("SELECT version FROM verdict_limits FOR UPDATE")
            .fetch_one(conn)
            .await?,
    )
}

/// Sets the limits, which are held, and raises their version.
///
/// # Errors
/// When the database refuses or can't be reached.
pub async fn set(
    conn: &mut Conn,
    _caller: &Caller,
    limits: Verdicts,
    version: i32,
) -> StoreResult<VerdictsInForce> {
    sqlx::query!(
        "UPDATE verdict_limits SET indistinguishable = $1, accepted = $2, ask = $3, version = $4",
        limits.indistinguishable,
        limits.accepted,
        limits.ask,
        version + 1
    )
    .execute(conn)
    .await?;
    Ok(VerdictsInForce {
        limits,
        version: version + 1,
    })
}
