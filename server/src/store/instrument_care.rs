//! What is known of instruments up to a time: rows of `instrument_start`, and the facts that say what is due.

use std::collections::HashMap;

use formula::id::InstrumentId;
use formula::instrument_care::{FIRST_USE_HOURS, Known, TOLD_HOURS};
use formula::wire::v1::{
    InstrumentDue, InstrumentStart, InstrumentState, Named, NewInstrumentStart,
};
use time::OffsetDateTime;
use uuid::Uuid;

use super::read_back::{id, small, vanished};
use super::{Conn, StoreResult};
use crate::app::Caller;

/// What is due at these instruments now.
pub(super) async fn states_now(
    conn: &mut Conn,
    instruments: &[Uuid],
) -> StoreResult<HashMap<Uuid, InstrumentState>> {
    states(conn, instruments, None).await
}

/// What was due at an instrument at a time, now when none is given; nothing when there is no such instrument, which
/// the measurement's own reference says.
///
/// # Errors
/// When the database can't be read.
pub async fn due_at(
    conn: &mut Conn,
    _caller: &Caller,
    instrument: InstrumentId,
    at: Option<OffsetDateTime>,
) -> StoreResult<Vec<InstrumentDue>> {
    let mut states = states(conn, &[instrument.as_uuid()], at).await?;
    Ok(states
        .remove(&instrument.as_uuid())
        .map(|state| state.due)
        .unwrap_or_default())
}

async fn states(
    conn: &mut Conn,
    instruments: &[Uuid],
    at: Option<OffsetDateTime>,
) -> StoreResult<HashMap<Uuid, InstrumentState>> {
    // A branch's clock may run five minutes ahead of the server's.
    let rows = sqlx::query!(
        r#"SELECT i.id, t.at AS "at!", i.retired_at IS NOT NULL AS "retired!", i.calibration_hours, i.warm_up_minutes,
                  i.white_expires_on,
                  (SELECT max(c.made_at) FROM calibration c WHERE c.instrument_id = i.id AND c.white_read
                      AND c.made_at <= t.at + interval '5 minutes') AS white_read_at,
                  (SELECT max(c.made_at) FROM calibration c WHERE c.instrument_id = i.id AND c.black_read
                      AND c.made_at <= t.at + interval '5 minutes') AS black_read_at,
                  (SELECT s.switched_on_at FROM instrument_start s WHERE s.instrument_id = i.id
                      AND s.received_at > t.at - make_interval(hours => $3) AND s.switched_on_at <= t.at
                      ORDER BY s.received_at DESC LIMIT 1) AS told_on_at,
                  least(
                      (SELECT min(c.made_at) FROM calibration c WHERE c.instrument_id = i.id
                          AND c.made_at BETWEEN t.at - make_interval(hours => $4) AND t.at),
                      (SELECT min(r.read_at) FROM tile_reading r WHERE r.instrument_id = i.id
                          AND r.read_at BETWEEN t.at - make_interval(hours => $4) AND t.at),
                      (SELECT min(coalesce(m.measured_at, m.received_at)) FROM measurement m
                          WHERE m.instrument_id = i.id AND m.received_at >= t.at - make_interval(hours => $4)
                          AND coalesce(m.measured_at, m.received_at)
                              BETWEEN t.at - make_interval(hours => $4) AND t.at)
                  ) AS first_use_at
           FROM instrument i CROSS JOIN (SELECT coalesce($2::timestamptz, now()) AS at) t WHERE i.id = ANY ($1)"#,
        instruments,
        at,
        i32::try_from(TOLD_HOURS).unwrap_or(i32::MAX),
        i32::try_from(FIRST_USE_HOURS).unwrap_or(i32::MAX)
    )
    .fetch_all(conn)
    .await?;
    rows.into_iter()
        .map(|row| {
            let known = Known {
                at: row.at,
                retired: row.retired,
                calibration_hours: small(row.calibration_hours)?,
                warm_up_minutes: small(row.warm_up_minutes)?,
                certificate_expires_on: row.white_expires_on,
                white_read_at: row.white_read_at,
                black_read_at: row.black_read_at,
                told_on_at: row.told_on_at,
                first_use_at: row.first_use_at,
            };
            Ok((row.id, known.state()))
        })
        .collect()
}

/// Keeps when an instrument was switched on, as the caller says.
///
/// # Errors
/// When the id is taken.
pub async fn insert_start(
    conn: &mut Conn,
    caller: &Caller,
    instrument: InstrumentId,
    new: &NewInstrumentStart,
) -> StoreResult<InstrumentStart> {
    let row = sqlx::query!(
        r#"WITH told AS (
               INSERT INTO instrument_start (id, instrument_id, switched_on_at, made_by)
               VALUES ($1, $2, $3, $4) RETURNING *
           )
           SELECT t.switched_on_at, p.id AS person_id, p.display_name FROM told t JOIN person p ON p.id = t.made_by"#,
        new.id.as_uuid(),
        instrument.as_uuid(),
        new.switched_on_at,
        caller.person_id.as_uuid()
    )
    .fetch_optional(&mut *conn)
    .await?
    .ok_or_else(vanished)?;
    let mut states = states_now(conn, &[instrument.as_uuid()]).await?;
    Ok(InstrumentStart {
        id: new.id,
        instrument_id: instrument,
        switched_on_at: row.switched_on_at,
        made_by: Named {
            id: id(row.person_id)?,
            name: row.display_name,
        },
        state: states.remove(&instrument.as_uuid()).ok_or_else(vanished)?,
    })
}
