//! Rows of `reorder` and `reorder_step`. A contractor finds only reorders of linked customers.

use formula::id::{CustomerId, MatchId, PersonId, ReorderId, RevisionId, StoreId};
use formula::label::LabelCode;
use formula::quantity::CanSize;
use formula::reorder::ReorderState;
use formula::wire::v1::{FaultReason, Named, NewReorder, Page, Reorder, ReorderStep};
use time::OffsetDateTime;
use uuid::Uuid;

use super::read_back::{id, kept};
use super::tints::fault_reason;
use super::write::PageAsk;
use super::{Conn, StoreError, StoreResult};
use crate::app::Caller;

/// Which reorders are wanted; absent narrows nothing.
#[derive(Debug, Clone, Copy, Default)]
pub struct Filter {
    /// Where they are picked up.
    pub store: Option<StoreId>,
    /// Where they stand.
    pub state: Option<ReorderState>,
    /// Of which match.
    pub match_id: Option<MatchId>,
    /// Whose.
    pub customer: Option<CustomerId>,
}

/// A reorder with what its warnings rest on; `reorder.warnings` is still empty.
#[derive(Debug, Clone)]
pub struct Kept {
    /// As shown.
    pub reorder: Reorder,
    /// The formula that the cans will be tinted by, as things stand.
    pub formula: Option<Standing>,
    /// Whether the product is solvent-borne.
    pub solvent: bool,
    /// Cans of the match that were marked bad, the latest first.
    pub bad_cans: Vec<BadCan>,
}

/// What is known of a formula beside its amounts.
#[derive(Debug, Clone)]
pub struct Standing {
    /// Its revision.
    pub revision_id: RevisionId,
    /// The can size that the amounts are for.
    pub size: CanSize,
    /// Name of its base.
    pub base: String,
    /// Whether the base is retired.
    pub base_retired: bool,
    /// Whether the base comes in the can size that the reorder asks for.
    pub base_offered: bool,
    /// Retired colorants in it.
    pub retired_colorants: Vec<String>,
    /// Whether a dry drawdown of it was measured.
    pub verified: bool,
}

/// A can that was marked bad.
#[derive(Debug, Clone)]
pub struct BadCan {
    /// The formula it was made by.
    pub revision_id: RevisionId,
    /// Why.
    pub reason: FaultReason,
    /// When it was marked.
    pub marked_at: OffsetDateTime,
    /// The store that made it.
    pub store: String,
}

/// A reorder that is held until the transaction ends.
#[derive(Debug, Clone, Copy)]
pub struct Held {
    /// Its id.
    pub id: ReorderId,
    /// Its match.
    pub match_id: MatchId,
    /// Where it is picked up.
    pub store_id: StoreId,
    /// Who placed it.
    pub placed_by: PersonId,
    /// Where it stands.
    pub state: ReorderState,
    /// Its version.
    pub version: i32,
}

/// Reorders in order of id.
///
/// # Errors
/// When the database can't be read.
pub async fn list(
    conn: &mut Conn,
    caller: &Caller,
    filter: Filter,
    ask: PageAsk,
) -> StoreResult<Page<Kept>> {
    let ids = sqlx::query_scalar!(
        "SELECT r.id FROM reorder r JOIN match m ON m.id = r.match_id
         WHERE ($1::uuid IS NULL OR r.store_id = $1)
           AND ($2::text IS NULL OR r.state = $2)
           AND ($3::uuid IS NULL OR r.match_id = $3)
           AND ($4::uuid IS NULL OR m.customer_id = $4)
           AND ($5::uuid IS NULL OR EXISTS
               (SELECT FROM customer_link l WHERE l.person_id = $5 AND l.customer_id = m.customer_id))
           AND ($6::uuid IS NULL OR r.id > $6)
         ORDER BY r.id LIMIT $7",
        filter.store.map(StoreId::as_uuid),
        filter.state.map(|state| state.as_str()),
        filter.match_id.map(|id| id.as_uuid()),
        filter.customer.map(|id| id.as_uuid()),
        caller.contractor().map(|person| person.as_uuid()),
        ask.after,
        ask.fetch()
    )
    .fetch_all(&mut *conn)
    .await?;
    let reorders = load(conn, caller, &ids).await?;
    Ok(ask.page(reorders, |kept| kept.reorder.id.as_uuid()))
}

/// One reorder.
///
/// # Errors
/// When the database can't be read.
pub async fn find(conn: &mut Conn, caller: &Caller, id: ReorderId) -> StoreResult<Option<Kept>> {
    Ok(load(conn, caller, &[id.as_uuid()]).await?.pop())
}

/// A reorder just written in this transaction.
///
/// # Errors
/// When the database can't be read.
pub async fn written(conn: &mut Conn, caller: &Caller, id: ReorderId) -> StoreResult<Kept> {
    find(conn, caller, id)
        .await?
        .ok_or_else(|| StoreError::Fault("a reorder just written can't be read".to_owned()))
}

async fn load(conn: &mut Conn, caller: &Caller, ids: &[Uuid]) -> StoreResult<Vec<Kept>> {
    let rows = sqlx::query!(
        r#"SELECT r.id, r.match_id, r.revision_id, r.store_id, s.name AS store, r.size, r.cans, r.state,
                  r.placed_at, r.version, m.customer_id, coalesce(c.name, 'erased') AS "customer!",
                  j.label AS "job?", p.carrier = 'solvent' AS "solvent!",
                  (SELECT count(*) FROM tint t WHERE t.reorder_id = r.id) AS "tinted!",
                  v.id AS "formula_id?", v.size AS "formula_size?", b.name AS "base?",
                  b.retired_at IS NOT NULL AS "base_retired!",
                  EXISTS (SELECT FROM base_room o WHERE o.base_id = v.base_id AND o.size = r.size)
                      AS "base_offered!",
                  ARRAY(SELECT k.ci_name || ' ' || k.pigment
                        FROM revision_shot q JOIN colorant k ON k.id = q.colorant_id
                        WHERE q.revision_id = v.id AND k.retired_at IS NOT NULL
                        ORDER BY q.position) AS "retired_colorants!",
                  EXISTS (SELECT FROM drawdown d WHERE d.revision_id = v.id AND d.dry) AS "verified!"
           FROM reorder r
           JOIN match m ON m.id = r.match_id
           JOIN customer c ON c.id = m.customer_id
           JOIN product p ON p.id = m.product_id
           JOIN store s ON s.id = r.store_id
           LEFT JOIN job j ON j.id = m.job_id
           LEFT JOIN revision v ON v.id = coalesce(r.revision_id, m.picked_revision_id,
               (SELECT n.id FROM revision n WHERE n.match_id = m.id ORDER BY n.number DESC LIMIT 1))
           LEFT JOIN base b ON b.id = v.base_id
           WHERE r.id = ANY ($1) AND ($2::uuid IS NULL OR EXISTS
               (SELECT FROM customer_link l WHERE l.person_id = $2 AND l.customer_id = m.customer_id))
           ORDER BY r.id"#,
        ids,
        caller.contractor().map(|person| person.as_uuid())
    )
    .fetch_all(&mut *conn)
    .await?;
    let mut all = Vec::with_capacity(rows.len());
    for row in rows {
        let match_id: MatchId = id(row.match_id)?;
        let state: ReorderState = kept(&row.state)?;
        let formula = match (row.formula_id, row.formula_size, row.base) {
            (Some(revision), Some(size), Some(base)) => Some(Standing {
                revision_id: id(revision)?,
                size: kept(&size)?,
                base,
                base_retired: row.base_retired,
                base_offered: row.base_offered,
                retired_colorants: row.retired_colorants,
                verified: row.verified,
            }),
            _ => None,
        };
        all.push(Kept {
            reorder: Reorder {
                id: id(row.id)?,
                match_id,
                label_code: LabelCode::from(match_id),
                customer: Named {
                    id: id(row.customer_id)?,
                    name: row.customer,
                },
                job: row.job,
                revision_id: row.revision_id.map(id).transpose()?,
                store: Named {
                    id: id(row.store_id)?,
                    name: row.store,
                },
                size: kept(&row.size)?,
                cans: u16::try_from(row.cans)
                    .map_err(|_| StoreError::Fault("a stored value is no can count".to_owned()))?,
                tinted: row.tinted,
                state,
                next_states: state.next_states().to_vec(),
                warnings: Vec::new(),
                steps: Vec::new(),
                placed_at: row.placed_at,
                version: row.version,
            },
            formula,
            solvent: row.solvent,
            bad_cans: Vec::new(),
        });
    }
    add_steps(conn, &mut all).await?;
    add_bad_cans(conn, &mut all).await?;
    Ok(all)
}

/// For rows that the caller was found to see.
async fn add_steps(conn: &mut Conn, all: &mut [Kept]) -> StoreResult<()> {
    let ids: Vec<Uuid> = all.iter().map(|kept| kept.reorder.id.as_uuid()).collect();
    let steps = sqlx::query!(
        "SELECT t.reorder_id, t.to_state, t.made_by, p.display_name, t.at
         FROM reorder_step t JOIN person p ON p.id = t.made_by
         WHERE t.reorder_id = ANY ($1) ORDER BY t.reorder_id, t.number",
        &ids
    )
    .fetch_all(conn)
    .await?;
    for step in steps {
        let reorder: ReorderId = id(step.reorder_id)?;
        // Both are in order of the reorder's id.
        if let Ok(place) = all.binary_search_by_key(&reorder, |kept| kept.reorder.id) {
            all[place].reorder.steps.push(ReorderStep {
                to: kept(&step.to_state)?,
                made_by: Named {
                    id: id(step.made_by)?,
                    name: step.display_name,
                },
                at: step.at,
            });
        }
    }
    Ok(())
}

/// For rows that the caller was found to see.
async fn add_bad_cans(conn: &mut Conn, all: &mut [Kept]) -> StoreResult<()> {
    let matches: Vec<Uuid> = all
        .iter()
        .map(|kept| kept.reorder.match_id.as_uuid())
        .collect();
    let bad = sqlx::query!(
        "SELECT f.match_id, t.revision_id, f.reason, f.made_at, s.name AS store
         FROM tint_fault f JOIN tint t ON t.id = f.tint_id JOIN store s ON s.id = t.store_id
         WHERE f.match_id = ANY ($1) ORDER BY f.received_at DESC, f.id DESC",
        &matches
    )
    .fetch_all(conn)
    .await?;
    for can in bad {
        let match_id: MatchId = id(can.match_id)?;
        let bad_can = BadCan {
            revision_id: id(can.revision_id)?,
            reason: fault_reason(&can.reason)?,
            marked_at: can.made_at,
            store: can.store,
        };
        for kept in all
            .iter_mut()
            .filter(|kept| kept.reorder.match_id == match_id)
        {
            kept.bad_cans.push(bad_can.clone());
        }
    }
    Ok(())
}

/// Holds one reorder until the transaction ends.
///
/// # Errors
/// When the database can't be read.
pub async fn lock(
    conn: &mut Conn,
    caller: &Caller,
    reorder: ReorderId,
) -> StoreResult<Option<Held>> {
    let row = sqlx::query!(
        "SELECT r.match_id, r.store_id, r.placed_by, r.state, r.version
         FROM reorder r JOIN match m ON m.id = r.match_id
         WHERE r.id = $1 AND ($2::uuid IS NULL OR EXISTS
             (SELECT FROM customer_link l WHERE l.person_id = $2 AND l.customer_id = m.customer_id))
         FOR NO KEY UPDATE OF r",
        reorder.as_uuid(),
        caller.contractor().map(|person| person.as_uuid())
    )
    .fetch_optional(conn)
    .await?;
    row.map(|row| {
        Ok(Held {
            id: reorder,
            match_id: id(row.match_id)?,
            store_id: id(row.store_id)?,
            placed_by: id(row.placed_by)?,
            state: kept(&row.state)?,
            version: row.version,
        })
    })
    .transpose()
}

/// Places a reorder.
///
/// # Errors
/// When the id is taken.
pub async fn insert(conn: &mut Conn, caller: &Caller, new: &NewReorder) -> StoreResult<()> {
    sqlx::query!(
        "INSERT INTO reorder (id, match_id, revision_id, store_id, size, cans, state, placed_by, placed_at)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)",
        new.id.as_uuid(),
        new.match_id.as_uuid(),
        new.revision_id.map(|id| id.as_uuid()),
        new.store_id.as_uuid(),
        new.size.as_str(),
        i16::try_from(new.cans).map_err(|_| StoreError::Fault("too many cans".to_owned()))?,
        ReorderState::Placed.as_str(),
        caller.person_id.as_uuid(),
        new.placed_at
    )
    .execute(&mut *conn)
    .await?;
    add_step(conn, caller, new.id, None, ReorderState::Placed).await
}

/// Moves a reorder that is held to its next state, and raises its version.
///
/// # Errors
/// When the database can't be written.
pub async fn advance(
    conn: &mut Conn,
    caller: &Caller,
    now: Held,
    to: ReorderState,
) -> StoreResult<()> {
    sqlx::query!(
        "UPDATE reorder SET state = $2, version = version + 1 WHERE id = $1",
        now.id.as_uuid(),
        to.as_str()
    )
    .execute(&mut *conn)
    .await?;
    add_step(conn, caller, now.id, Some(now.state), to).await
}

/// The clock is read while the reorder is held, so that steps and tints of it stand in the order in which they came.
async fn add_step(
    conn: &mut Conn,
    caller: &Caller,
    reorder: ReorderId,
    from: Option<ReorderState>,
    to: ReorderState,
) -> StoreResult<()> {
    sqlx::query!(
        "INSERT INTO reorder_step (reorder_id, number, from_state, to_state, made_by, at)
         SELECT $1, 1 + (SELECT count(*) FROM reorder_step WHERE reorder_id = $1)::integer, $2, $3, $4,
                clock_timestamp()",
        reorder.as_uuid(),
        from.map(|state| state.as_str()),
        to.as_str(),
        caller.person_id.as_uuid()
    )
    .execute(conn)
    .await?;
    Ok(())
}
