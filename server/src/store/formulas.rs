//! What reorders and tints need to know of a match and its formulas. A contractor finds only those of linked
//! customers.

use formula::id::{BaseId, ColorantId, MatchId, RevisionId, StoreId};
use formula::quantity::{CanSize, ShotCount};
use formula::revision::Amount;
use formula::wire::v1::Named;

use super::read_back::{id, kept};
use super::{Conn, StoreError, StoreResult};
use crate::app::Caller;

/// A match, as far as a reorder or a tint asks.
#[derive(Debug, Clone, Copy)]
pub struct Wanted {
    /// The store that recorded it.
    pub store_id: StoreId,
    /// The revision that counts: picked, else the latest; none without a formula.
    pub counts: Option<RevisionId>,
}

/// The formula of a revision.
#[derive(Debug, Clone)]
pub struct KeptFormula {
    /// The match it belongs to.
    pub match_id: MatchId,
    /// Its base.
    pub base: Named<BaseId>,
    /// The can size that the amounts are for.
    pub size: CanSize,
    /// The amounts, in order.
    pub amounts: Vec<Amount>,
}

/// A match that the caller may see.
///
/// # Errors
/// When the database can't be read.
pub async fn wanted(
    conn: &mut Conn,
    caller: &Caller,
    match_id: MatchId,
) -> StoreResult<Option<Wanted>> {
    let row = sqlx::query!(
        r#"SELECT m.store_id,
                  coalesce(m.picked_revision_id,
                      (SELECT v.id FROM revision v WHERE v.match_id = m.id ORDER BY v.number DESC LIMIT 1)) AS counts
           FROM match m
           WHERE m.id = $1 AND ($2::uuid IS NULL OR EXISTS
               (SELECT FROM customer_link l WHERE l.person_id = $2 AND l.customer_id = m.customer_id))"#,
        match_id.as_uuid(),
        caller.contractor().map(|person| person.as_uuid())
    )
    .fetch_optional(conn)
    .await?;
    row.map(|row| {
        Ok(Wanted {
            store_id: id(row.store_id)?,
            counts: row.counts.map(id).transpose()?,
        })
    })
    .transpose()
}

/// The formula of a revision that the caller may see.
///
/// # Errors
/// When the database can't be read.
pub async fn find(
    conn: &mut Conn,
    caller: &Caller,
    revision: RevisionId,
) -> StoreResult<Option<KeptFormula>> {
    let row = sqlx::query!(
        r#"SELECT v.match_id, v.base_id, b.name AS base, v.size
           FROM revision v JOIN match m ON m.id = v.match_id JOIN base b ON b.id = v.base_id
           WHERE v.id = $1 AND ($2::uuid IS NULL OR EXISTS
               (SELECT FROM customer_link l WHERE l.person_id = $2 AND l.customer_id = m.customer_id))"#,
        revision.as_uuid(),
        caller.contractor().map(|person| person.as_uuid())
    )
    .fetch_optional(&mut *conn)
    .await?;
    let Some(row) = row else { return Ok(None) };
    let amounts = sqlx::query!(
        "SELECT colorant_id, count, unit FROM revision_shot WHERE revision_id = $1 ORDER BY position",
        revision.as_uuid()
    )
    .fetch_all(conn)
    .await?
    .into_iter()
    .map(|shot| {
        Ok(Amount {
            colorant: id::<ColorantId>(shot.colorant_id)?,
            count: count(shot.count)?,
            unit: kept(&shot.unit)?,
        })
    })
    .collect::<StoreResult<_>>()?;
    Ok(Some(KeptFormula {
        match_id: id(row.match_id)?,
        base: Named {
            id: id(row.base_id)?,
            name: row.base,
        },
        size: kept(&row.size)?,
        amounts,
    }))
}

/// A count of shots as kept.
pub(super) fn count(column: i32) -> StoreResult<ShotCount> {
    ShotCount::new(column)
        .map_err(|_| StoreError::Fault("a stored value is no shot count".to_owned()))
}
