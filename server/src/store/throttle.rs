//! Rows of `login_throttle`. No caller here: this runs before anybody is logged in.

use std::time::Duration;

use super::{Conn, StoreResult};

/// SHA-256 that names a gate.
pub type GateKey = [u8; 32];

/// What tries have to pass.
#[derive(Debug, Clone, Copy)]
pub struct Gate {
    /// Its name.
    pub key: GateKey,
    /// Failures that cost no delay.
    pub free: i32,
    /// The longest delay.
    pub longest: Duration,
}

/// Counts a try, or says how long the gate stays closed. Failures are forgotten after a quiet day.
///
/// # Errors
/// When the database refuses.
pub async fn pass(conn: &mut Conn, gate: &Gate) -> StoreResult<Option<Duration>> {
    // clock_timestamp: now() is the transaction's start, before it waited for the row.
    let passed = sqlx::query!(
        "INSERT INTO login_throttle AS gate (key, failures, open_again_at) VALUES ($1, 1, clock_timestamp())
         ON CONFLICT (key) DO UPDATE SET
             failures = CASE WHEN gate.open_again_at < clock_timestamp() - interval '1 day'
                             THEN 1 ELSE gate.failures + 1 END,
             open_again_at = clock_timestamp() + CASE
                 WHEN gate.failures < $2 OR gate.open_again_at < clock_timestamp() - interval '1 day'
                 THEN interval '0'
                 ELSE make_interval(secs => least($3, power(2, least(gate.failures - $2, 20)))) END
         WHERE gate.open_again_at <= clock_timestamp()",
        &gate.key[..],
        gate.free,
        gate.longest.as_secs_f64()
    )
    .execute(&mut *conn)
    .await?
    .rows_affected();
    if passed > 0 {
        return Ok(None);
    }
    let wait = sqlx::query_scalar!(
        r#"SELECT extract(epoch FROM open_again_at - clock_timestamp())::float8 AS "wait!"
           FROM login_throttle WHERE key = $1"#,
        &gate.key[..]
    )
    .fetch_optional(conn)
    .await?;
    // Rounded up: whoever comes back then finds it open.
    Ok(Some(Duration::from_secs_f64(
        wait.unwrap_or(1.0).max(0.0).ceil(),
    )))
}

/// Forgets the failures of some gates, and one of the shared gate.
///
/// # Errors
/// When the database refuses.
pub async fn open(conn: &mut Conn, keys: &[GateKey], shared: &GateKey) -> StoreResult<()> {
    let keys: Vec<Vec<u8>> = keys.iter().map(|key| key.to_vec()).collect();
    sqlx::query!("DELETE FROM login_throttle WHERE key = ANY($1)", &keys)
        .execute(&mut *conn)
        .await?;
    sqlx::query!(
        "UPDATE login_throttle SET failures = greatest(failures - 1, 0), open_again_at = clock_timestamp()
         WHERE key = $1",
        &shared[..]
    )
    .execute(&mut *conn)
    .await?;
    // A guesser makes rows; they go when nobody has come back for them.
    sqlx::query!(
        "DELETE FROM login_throttle WHERE key IN (
             SELECT key FROM login_throttle WHERE open_again_at < now() - interval '1 day' LIMIT 200
             FOR UPDATE SKIP LOCKED)"
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// Whether somebody has logged in under this name from this address lately.
///
/// # Errors
/// When the database can't be read.
pub async fn is_known(conn: &mut Conn, key: &GateKey) -> StoreResult<bool> {
    let known = sqlx::query_scalar!(
        r#"SELECT EXISTS (SELECT FROM login_throttle WHERE key = $1 AND open_again_at > now()) AS "known!""#,
        &key[..]
    )
    .fetch_one(conn)
    .await?;
    Ok(known)
}

/// Remembers that somebody has logged in under this name from this address. Such a row counts no failures; its time
/// is when it is forgotten.
///
/// # Errors
/// When the database refuses.
pub async fn make_known(conn: &mut Conn, key: &GateKey, lasting: Duration) -> StoreResult<()> {
    sqlx::query!(
        "INSERT INTO login_throttle (key, failures, open_again_at) VALUES ($1, 0, now() + make_interval(secs => $2))
         ON CONFLICT (key) DO UPDATE SET open_again_at = excluded.open_again_at",
        &key[..],
        lasting.as_secs_f64()
    )
    .execute(conn)
    .await?;
    Ok(())
}
