//! Rows of `measurement_acceptance`.

use formula::id::{MatchId, MeasurementId, StoreId};
use formula::wire::v1::NewAcceptance;

use super::read_back::id;
use super::{Conn, StoreResult};
use crate::app::Caller;

/// Where a measurement was made, and the match that it belongs to.
#[derive(Debug, Clone, Copy)]
pub struct Place {
    /// The match.
    pub of_match: MatchId,
    /// The store.
    pub store: StoreId,
}

/// Where a measurement was made, if the caller may see its match: a sample's own match, or the match of a drawdown.
///
/// # Errors
/// When the database can't be read.
pub async fn place_of(
    conn: &mut Conn,
    caller: &Caller,
    measurement: MeasurementId,
) -> StoreResult<Option<Place>> {
    let row = sqlx::query!(
        "SELECT x.id AS match_id, m.store_id FROM measurement m
         JOIN match x ON x.sample_id = m.id
             OR x.id IN (SELECT d.match_id FROM drawdown d WHERE d.measurement_id = m.id)
         WHERE m.id = $1
           AND ($2::uuid IS NULL OR EXISTS
                (SELECT FROM customer_link l WHERE l.person_id = $2 AND l.customer_id = x.customer_id))",
        measurement.as_uuid(),
        caller.contractor().map(|person| person.as_uuid())
    )
    .fetch_optional(conn)
    .await?;
    row.map(|row| {
        Ok(Place {
            of_match: id(row.match_id)?,
            store: id(row.store_id)?,
        })
    })
    .transpose()
}

/// Keeps that the caller accepts a measurement as it is.
///
/// # Errors
/// When the id is taken, or it was accepted already.
pub async fn insert(
    conn: &mut Conn,
    caller: &Caller,
    of_match: MatchId,
    measurement: MeasurementId,
    new: &NewAcceptance,
) -> StoreResult<()> {
    sqlx::query!(
        "INSERT INTO measurement_acceptance (id, measurement_id, match_id, accepted_by) VALUES ($1, $2, $3, $4)",
        new.id.as_uuid(),
        measurement.as_uuid(),
        of_match.as_uuid(),
        caller.person_id.as_uuid()
    )
    .execute(conn)
    .await?;
    Ok(())
}
