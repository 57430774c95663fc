//! Rows of `tint`, `tint_shot` and `tint_fault`, all facts. A contractor finds only tints of linked customers.

use std::collections::HashSet;

use formula::id::{BaseId, ColorantId, MatchId, ReorderId, StoreId, TintId};
use formula::naming::{Lot, Note};
use formula::quantity::{CanSize, Centiml, Shots};
use formula::reorder::ReorderState;
use formula::revision::Amount;
use formula::wire::v1::{
    FaultReason, Named, NewTint, NewTintFault, Page, ShotShown, Tint, TintFault, TintShotLine,
};
use time::OffsetDateTime;
use uuid::Uuid;

use super::formulas::count;
use super::notes::{self, About};
use super::read_back::{id, kept};
use super::revisions::milliliters;
use super::write::PageAsk;
use super::{Conn, StoreError, StoreResult};
use crate::app::Caller;

/// A can with what its flags rest on; `tint.flags` is still empty.
#[derive(Debug, Clone)]
pub struct Kept {
    /// As shown.
    pub tint: Tint,
    /// The formula's base.
    pub formula_base: Named<BaseId>,
    /// The can size that the formula's amounts are for.
    pub formula_size: CanSize,
    /// The formula's amounts.
    pub formula_amounts: Vec<Amount>,
    /// What the base used takes in this can size; none when it does not come in it.
    pub room: Option<Centiml>,
    /// The reorder it was made for.
    pub reorder: Option<Purpose>,
    /// The store that recorded the match.
    pub match_store: StoreId,
}

/// A reorder as it stood when the can was recorded.
#[derive(Debug, Clone)]
pub struct Purpose {
    /// Where it stood.
    pub state: ReorderState,
    /// How many cans it asked for.
    pub cans: u16,
    /// How many cans it had already, those marked bad not counted.
    pub cans_before: i64,
    /// The can size it asked for.
    pub size: CanSize,
    /// Where it is picked up.
    pub store: Named<StoreId>,
    /// Whether it asked for another revision.
    pub other_revision: bool,
}

/// A can to be recorded, everything decided.
#[derive(Debug)]
pub struct Can<'a> {
    /// As asked.
    pub new: &'a NewTint,
    /// Its match.
    pub match_id: MatchId,
    /// The base used.
    pub base: BaseId,
    /// What went in.
    pub shots: &'a [TintShotLine],
    /// Where it was made.
    pub store: StoreId,
}

/// The cans of a match, in order of id.
///
/// # Errors
/// When the database can't be read.
pub async fn list(
    conn: &mut Conn,
    caller: &Caller,
    match_id: MatchId,
    ask: PageAsk,
) -> StoreResult<Page<Kept>> {
    let ids = sqlx::query_scalar!(
        "SELECT t.id FROM tint t JOIN match m ON m.id = t.match_id
         WHERE t.match_id = $1 AND ($2::uuid IS NULL OR t.id > $2)
           AND ($3::uuid IS NULL OR EXISTS
               (SELECT FROM customer_link l WHERE l.person_id = $3 AND l.customer_id = m.customer_id))
         ORDER BY t.id LIMIT $4",
        match_id.as_uuid(),
        ask.after,
        caller.contractor().map(|person| person.as_uuid()),
        ask.fetch()
    )
    .fetch_all(&mut *conn)
    .await?;
    let cans = load(conn, caller, &ids).await?;
    Ok(ask.page(cans, |kept| kept.tint.id.as_uuid()))
}

/// One can.
///
/// # Errors
/// When the database can't be read.
pub async fn find(conn: &mut Conn, caller: &Caller, id: TintId) -> StoreResult<Option<Kept>> {
    Ok(load(conn, caller, &[id.as_uuid()]).await?.pop())
}

/// A can just written in this transaction.
///
/// # Errors
/// When the database can't be read.
pub async fn written(conn: &mut Conn, caller: &Caller, id: TintId) -> StoreResult<Kept> {
    find(conn, caller, id)
        .await?
        .ok_or_else(|| StoreError::Fault("a tint just written can't be read".to_owned()))
}

struct Row {
    id: Uuid,
    match_id: Uuid,
    match_store: Uuid,
    revision_id: Uuid,
    size: String,
    base_id: Uuid,
    base: String,
    base_lot: Option<String>,
    note: Option<String>,
    made_by: Uuid,
    maker: String,
    store_id: Uuid,
    store: String,
    made_at: OffsetDateTime,
    formula_base_id: Uuid,
    formula_base: String,
    formula_size: String,
    room: Option<i32>,
    fault: Option<String>,
    fault_note: Option<String>,
    fault_by: Option<Uuid>,
    fault_maker: Option<String>,
    fault_at: Option<OffsetDateTime>,
    reorder_id: Option<Uuid>,
    reorder_state: Option<String>,
    reorder_cans: Option<i16>,
    cans_before: i64,
    reorder_size: Option<String>,
    reorder_store_id: Option<Uuid>,
    reorder_store: Option<String>,
    other_revision: bool,
}

async fn load(conn: &mut Conn, caller: &Caller, ids: &[Uuid]) -> StoreResult<Vec<Kept>> {
    let rows = sqlx::query_as!(
        Row,
        r#"SELECT t.id, t.match_id, m.store_id AS match_store, t.revision_id, t.size, t.base_id, b.name AS base,
                  t.base_lot, n.body AS "note?", t.made_by, p.display_name AS maker, t.store_id, s.name AS store,
                  t.made_at, v.base_id AS formula_base_id, w.name AS formula_base, v.size AS formula_size,
                  o.room_centiml AS "room?", f.reason AS "fault?", g.body AS "fault_note?",
                  f.made_by AS "fault_by?", q.display_name AS "fault_maker?", f.made_at AS "fault_at?",
                  t.reorder_id,
                  (SELECT u.to_state FROM reorder_step u
                   WHERE u.reorder_id = t.reorder_id AND u.at <= t.received_at
                   ORDER BY u.number DESC LIMIT 1) AS "reorder_state?",
                  r.cans AS "reorder_cans?",
                  (SELECT count(*) FROM tint e
                   WHERE e.reorder_id = t.reorder_id AND (e.received_at, e.id) < (t.received_at, t.id)
                     AND NOT EXISTS (SELECT FROM tint_fault x
                                     WHERE x.tint_id = e.id AND x.received_at <= t.received_at))
                      AS "cans_before!",
                  r.size AS "reorder_size?", r.store_id AS "reorder_store_id?", y.name AS "reorder_store?",
                  coalesce(r.revision_id <> t.revision_id, false) AS "other_revision!"
           FROM tint t
           JOIN match m ON m.id = t.match_id
           JOIN base b ON b.id = t.base_id
           JOIN person p ON p.id = t.made_by
           JOIN store s ON s.id = t.store_id
           JOIN revision v ON v.id = t.revision_id
           JOIN base w ON w.id = v.base_id
           LEFT JOIN base_room o ON o.base_id = t.base_id AND o.size = t.size
           LEFT JOIN note n ON n.about = 'tint' AND n.about_id = t.id
           LEFT JOIN tint_fault f ON f.tint_id = t.id
           LEFT JOIN note g ON g.about = 'tint_fault' AND g.about_id = f.id
           LEFT JOIN person q ON q.id = f.made_by
           LEFT JOIN reorder r ON r.id = t.reorder_id
           LEFT JOIN store y ON y.id = r.store_id
           WHERE t.id = ANY ($1) AND ($2::uuid IS NULL OR EXISTS
               (SELECT FROM customer_link l WHERE l.person_id = $2 AND l.customer_id = m.customer_id))
           ORDER BY t.id"#,
        ids,
        caller.contractor().map(|person| person.as_uuid())
    )
    .fetch_all(&mut *conn)
    .await?;
    let mut all = rows
        .into_iter()
        .map(Row::kept)
        .collect::<StoreResult<Vec<_>>>()?;
    add_shots(conn, &mut all).await?;
    add_formulas(conn, &mut all).await?;
    Ok(all)
}

impl Row {
    fn kept(self) -> StoreResult<Kept> {
        let fault = match (self.fault, self.fault_by, self.fault_maker, self.fault_at) {
            (Some(reason), Some(by), Some(name), Some(made_at)) => Some(TintFault {
                reason: fault_reason(&reason)?,
                note: self.fault_note.as_deref().map(kept).transpose()?,
                made_by: Named { id: id(by)?, name },
                made_at,
            }),
            _ => None,
        };
        let reorder = match (
            self.reorder_state,
            self.reorder_cans,
            self.reorder_size,
            self.reorder_store_id,
            self.reorder_store,
        ) {
            (Some(state), Some(cans), Some(size), Some(store), Some(name)) => Some(Purpose {
                state: kept(&state)?,
                cans: u16::try_from(cans)
                    .map_err(|_| StoreError::Fault("a stored value is no can count".to_owned()))?,
                cans_before: self.cans_before,
                size: kept(&size)?,
                store: Named {
                    id: id(store)?,
                    name,
                },
                other_revision: self.other_revision,
            }),
            _ => None,
        };
        Ok(Kept {
            tint: Tint {
                id: id(self.id)?,
                match_id: id(self.match_id)?,
                revision_id: id(self.revision_id)?,
                reorder_id: self.reorder_id.map(id::<ReorderId>).transpose()?,
                size: kept(&self.size)?,
                base: Named {
                    id: id(self.base_id)?,
                    name: self.base,
                },
                base_lot: self.base_lot.as_deref().map(kept::<Lot>).transpose()?,
                shots: Vec::new(),
                flags: Vec::new(),
                fault,
                note: self.note.as_deref().map(kept::<Note>).transpose()?,
                made_by: Named {
                    id: id(self.made_by)?,
                    name: self.maker,
                },
                store: Named {
                    id: id(self.store_id)?,
                    name: self.store,
                },
                made_at: self.made_at,
            },
            formula_base: Named {
                id: id(self.formula_base_id)?,
                name: self.formula_base,
            },
            formula_size: kept(&self.formula_size)?,
            formula_amounts: Vec::new(),
            room: self
                .room
                .map(|room| {
                    Centiml::new(room)
                        .map_err(|_| StoreError::Fault("a stored value is no room".to_owned()))
                })
                .transpose()?,
            reorder,
            match_store: id(self.match_store)?,
        })
    }
}

/// For rows that the caller was found to see.
async fn add_shots(conn: &mut Conn, all: &mut [Kept]) -> StoreResult<()> {
    let ids: Vec<Uuid> = all.iter().map(|kept| kept.tint.id.as_uuid()).collect();
    let shots = sqlx::query!(
        r#"SELECT z.tint_id, z.colorant_id, k.ci_name || ' ' || k.pigment AS "colorant!", z.count, z.unit, z.lot
           FROM tint_shot z JOIN colorant k ON k.id = z.colorant_id
           WHERE z.tint_id = ANY ($1) ORDER BY z.tint_id, z.position"#,
        &ids
    )
    .fetch_all(conn)
    .await?;
    for shot in shots {
        let tint: TintId = id(shot.tint_id)?;
        // Both are in order of the tint's id.
        if let Ok(place) = all.binary_search_by_key(&tint, |kept| kept.tint.id) {
            let shots = Shots {
                count: count(shot.count)?,
                unit: kept(&shot.unit)?,
            };
            all[place].tint.shots.push(ShotShown {
                colorant_id: id(shot.colorant_id)?,
                colorant: shot.colorant,
                count: shots.count,
                unit: shots.unit,
                ml: milliliters(shots),
                lot: shot.lot,
            });
        }
    }
    Ok(())
}

/// For rows that the caller was found to see.
async fn add_formulas(conn: &mut Conn, all: &mut [Kept]) -> StoreResult<()> {
    let ids: Vec<Uuid> = all
        .iter()
        .map(|kept| kept.tint.revision_id.as_uuid())
        .collect();
    let amounts = sqlx::query!(
        "SELECT revision_id, colorant_id, count, unit FROM revision_shot
         WHERE revision_id = ANY ($1) ORDER BY revision_id, position",
        &ids
    )
    .fetch_all(conn)
    .await?;
    for amount in amounts {
        let shots = Amount {
            colorant: id(amount.colorant_id)?,
            count: count(amount.count)?,
            unit: kept(&amount.unit)?,
        };
        for kept in all
            .iter_mut()
            .filter(|kept| kept.tint.revision_id.as_uuid() == amount.revision_id)
        {
            kept.formula_amounts.push(shots);
        }
    }
    Ok(())
}

/// Which of the colorants the chain has, retired ones too: a can that was made was made.
///
/// # Errors
/// When the database can't be read.
pub async fn known_colorants(
    conn: &mut Conn,
    _caller: &Caller,
    colorants: &[ColorantId],
) -> StoreResult<HashSet<ColorantId>> {
    let ids: Vec<Uuid> = colorants.iter().map(|id| id.as_uuid()).collect();
    sqlx::query_scalar!("SELECT id FROM colorant WHERE id = ANY ($1)", &ids)
        .fetch_all(conn)
        .await?
        .into_iter()
        .map(id)
        .collect()
}

/// Whether the chain has the base, retired or not.
///
/// # Errors
/// When the database can't be read.
pub async fn knows_base(conn: &mut Conn, _caller: &Caller, base: BaseId) -> StoreResult<bool> {
    Ok(sqlx::query_scalar!(
        r#"SELECT EXISTS (SELECT FROM base WHERE id = $1) AS "there!""#,
        base.as_uuid()
    )
    .fetch_one(conn)
    .await?)
}

/// Records a can. The clock is read while its reorder is held, so that steps and tints of it stand in the order in
/// which they came.
///
/// # Errors
/// When the id is taken.
pub async fn insert(conn: &mut Conn, caller: &Caller, can: &Can<'_>) -> StoreResult<()> {
    let tint = can.new.id.as_uuid();
    sqlx::query!(
        "INSERT INTO tint (id, match_id, revision_id, reorder_id, base_id, size, base_lot, made_by, store_id, made_at,
                           received_at)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, clock_timestamp())",
        tint,
        can.match_id.as_uuid(),
        can.new.revision_id.as_uuid(),
        can.new.reorder_id.map(|id| id.as_uuid()),
        can.base.as_uuid(),
        can.new.size.as_str(),
        can.new.base_lot.as_ref().map(Lot::as_str),
        caller.person_id.as_uuid(),
        can.store.as_uuid(),
        can.new.made_at
    )
    .execute(&mut *conn)
    .await?;
    for (position, shot) in (0_i16..).zip(can.shots) {
        sqlx::query!(
            "INSERT INTO tint_shot (tint_id, position, colorant_id, count, unit, lot)
             VALUES ($1, $2, $3, $4, $5, $6)",
            tint,
            position,
            shot.colorant_id.as_uuid(),
            i32::try_from(shot.count.get())
                .map_err(|_| StoreError::Fault("too many shots".to_owned()))?,
            shot.unit.as_str(),
            shot.lot.as_ref().map(Lot::as_str)
        )
        .execute(&mut *conn)
        .await?;
    }
    if let Some(note) = &can.new.note {
        notes::insert(conn, caller, can.match_id, About::Tint, tint, note).await?;
    }
    Ok(())
}

/// Marks a can bad, once.
///
/// # Errors
/// When it is marked already.
pub async fn mark_bad(
    conn: &mut Conn,
    caller: &Caller,
    tint: &Tint,
    store: StoreId,
    fault: &NewTintFault,
) -> StoreResult<()> {
    let mark = Uuid::now_v7();
    sqlx::query!(
        "INSERT INTO tint_fault (id, tint_id, match_id, reason, made_by, store_id, made_at, received_at)
         VALUES ($1, $2, $3, $4, $5, $6, now(), clock_timestamp())",
        mark,
        tint.id.as_uuid(),
        tint.match_id.as_uuid(),
        stored(fault.reason),
        caller.person_id.as_uuid(),
        store.as_uuid()
    )
    .execute(&mut *conn)
    .await?;
    if let Some(note) = &fault.note {
        notes::insert(conn, caller, tint.match_id, About::TintFault, mark, note).await?;
    }
    Ok(())
}

/// The reason as stored.
fn stored(reason: FaultReason) -> &'static str {
    match reason {
        FaultReason::WrongColor => "wrong_color",
        FaultReason::WrongSheen => "wrong_sheen",
        FaultReason::WrongBase => "wrong_base",
        FaultReason::WrongAmount => "wrong_amount",
        FaultReason::MachineFault => "machine_fault",
        FaultReason::Contaminated => "contaminated",
        FaultReason::Other => "other",
    }
}

/// The reason of a row.
pub(super) fn fault_reason(column: &str) -> StoreResult<FaultReason> {
    [
        FaultReason::WrongColor,
        FaultReason::WrongSheen,
        FaultReason::WrongBase,
        FaultReason::WrongAmount,
        FaultReason::MachineFault,
        FaultReason::Contaminated,
        FaultReason::Other,
    ]
    .into_iter()
    .find(|reason| stored(*reason) == column)
    .ok_or_else(|| StoreError::Fault("a stored value is no fault reason".to_owned()))
}
