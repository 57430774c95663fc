//! Reorders in every state, cans with their lots, and the one can that was marked bad.

use std::collections::HashMap;

use formula::id::{MatchId, PersonId, ReorderId, TintId};
use formula::quantity::ShotCount;
use formula::reorder::ReorderState;
use formula::wire::v1::{FaultReason, NewReorder, NewTint, NewTintFault, TintShotLine};
use time::{Duration, OffsetDateTime};

use super::catalog::{Branch, Catalog};
use super::customers::Clients;
use super::desk::{Book, Desk};
use super::story::Added;
use super::{Flaw, when};
use crate::store::bulk::{Author, FaultRow, ReorderRow, RevisionRow, StepRow, TintRow};

/// Reorders whose can was fetched or which were called off, and those of the last days that are still open.
const SETTLED: usize = 420;
const OPEN: usize = 60;
/// Cans tinted right after the match, without a reorder.
const FIRST_CANS: usize = 320;

#[derive(Default)]
pub(super) struct Orders {
    pub(super) reorders: Vec<ReorderRow>,
    pub(super) tints: Vec<TintRow>,
    pub(super) faults: Vec<FaultRow>,
}

pub(super) fn make(
    catalog: &Catalog,
    clients: &Clients,
    book: &mut Book,
    story: &Added,
) -> Result<Orders, Flaw> {
    let mut desk = Desk::new(catalog, "orders")?;
    let mut orders = Orders::default();
    // What each match counts as now, from before the reorder.
    let mut current: HashMap<MatchId, RevisionRow> = HashMap::new();
    for found in &book.matches {
        let row = book
            .current(found)
            .ok_or_else(|| Flaw("a match has no revision".to_owned()))?;
        current.insert(found.found.id, row.clone());
    }
    for _ in 0..FIRST_CANS {
        let found = desk.random.pick(&book.matches).clone();
        let revision = formula_of(&current, found.found.id)?;
        let at = when::days_later(&mut desk.random, revision.revision.made_at, 1.0, 6.0);
        tint(&mut desk, &mut orders, revision, None, found.author, at)?;
    }
    for number in 0..SETTLED + OPEN {
        let found = desk.random.pick(&book.matches).clone();
        let revision = formula_of(&current, found.found.id)?;
        let is_open = number >= SETTLED;
        let placed_at = if is_open {
            when::in_opening_hours(&mut desk.random, when::LAST_DAY - Duration::days(3))
        } else {
            when::days_later(&mut desk.random, revision.revision.made_at, 7.0, 420.0)
        };
        // Only what was there then can be ordered, and what is settled had a week for it.
        let latest = when::LAST_DAY - Duration::days(if is_open { 0 } else { 8 });
        if placed_at < revision.revision.made_at + Duration::days(5) || placed_at > latest {
            continue;
        }
        let end = match desk.random.unit() {
            draw if !is_open && draw < 0.08 => ReorderState::Cancelled,
            _ if !is_open => ReorderState::PickedUp,
            draw if draw < 0.4 => ReorderState::Placed,
            draw if draw < 0.7 => ReorderState::BeingTinted,
            _ => ReorderState::Ready,
        };
        let branch = *desk.random.pick(&Branch::ALL);
        let clerk = catalog.clerk(&mut desk.random, branch)?;
        let home = found.author.store;
        let at_home = desk.random.chance(0.6);
        let clerk = if at_home {
            let branch = Branch::ALL
                .into_iter()
                .find(|&branch| catalog.store(branch) == Ok(home));
            catalog.clerk(&mut desk.random, branch.unwrap_or(Branch::North))?
        } else {
            clerk
        };
        let placed_by = clients
            .contractor(found.found.customer_id)
            .unwrap_or(clerk.person);
        reorder(
            &mut desk,
            &mut orders,
            revision,
            (placed_by, clerk),
            placed_at,
            end,
        )?;
    }
    bad_can(&mut desk, &mut orders, book, clients, &current, story)?;
    Ok(orders)
}

fn formula_of(
    current: &HashMap<MatchId, RevisionRow>,
    found: MatchId,
) -> Result<&RevisionRow, Flaw> {
    current
        .get(&found)
        .ok_or_else(|| Flaw("a match has no revision".to_owned()))
}

/// A reorder, taken by ordinary steps to its end state, and its cans.
fn reorder(
    desk: &mut Desk<'_>,
    orders: &mut Orders,
    revision: &RevisionRow,
    (placed_by, clerk): (PersonId, Author),
    placed_at: OffsetDateTime,
    end: ReorderState,
) -> Result<ReorderId, Flaw> {
    let id = desk.ids.at(placed_at, ReorderId::from_parts);
    let cans = 1 + desk.random.below(3) as u16;
    let mut steps = vec![StepRow {
        to: ReorderState::Placed,
        made_by: placed_by,
        at: placed_at,
    }];
    let (mut state, mut at) = (ReorderState::Placed, placed_at);
    while state != end {
        let next = if end == ReorderState::Cancelled {
            end
        } else {
            state.ordinary_next().unwrap_or(end)
        };
        state = state.advance(next).map_err(Flaw::of)?;
        at += Duration::minutes(15 + desk.random.below(200) as i64);
        steps.push(StepRow {
            to: state,
            made_by: clerk.person,
            at,
        });
    }
    orders.reorders.push(ReorderRow {
        reorder: NewReorder {
            id,
            match_id: revision.match_id,
            revision_id: desk
                .random
                .chance(0.2)
                .then_some(revision.revision.formula.id),
            store_id: clerk.store,
            size: revision.revision.formula.size,
            cans,
            placed_at,
        },
        steps,
    });
    let made = match end {
        ReorderState::Ready | ReorderState::PickedUp => cans,
        // One of several may be done.
        ReorderState::BeingTinted => cans - 1,
        ReorderState::Placed | ReorderState::Cancelled => 0,
    };
    for can in 0..made {
        let made_at = placed_at + Duration::minutes(15 + 4 * i64::from(can));
        tint(desk, orders, revision, Some(id), clerk, made_at)?;
    }
    Ok(id)
}

/// A can by the formula, with the lots that were noted.
fn tint(
    desk: &mut Desk<'_>,
    orders: &mut Orders,
    revision: &RevisionRow,
    reorder_id: Option<ReorderId>,
    author: Author,
    made_at: OffsetDateTime,
) -> Result<TintId, Flaw> {
    let formula = &revision.revision.formula;
    let noted = desk.random.chance(0.8);
    let mut lot = |letter: char| {
        // A new lot comes in every month or so.
        let month = u8::from(made_at.month());
        let text = format!(
            "{letter}{:02}{month:02}-{}",
            made_at.year() % 100,
            1 + desk.random.below(3)
        );
        text.parse().map_err(Flaw::of)
    };
    let base_lot = if noted { Some(lot('B')?) } else { None };
    let shots = formula
        .shots
        .iter()
        .map(|shot| {
            Ok(TintShotLine {
                colorant_id: shot.colorant_id,
                count: shot.count,
                unit: shot.unit,
                lot: if noted { Some(lot('C')?) } else { None },
            })
        })
        .collect::<Result<Vec<_>, Flaw>>()?;
    let id = desk.ids.at(made_at, TintId::from_parts);
    orders.tints.push(TintRow {
        match_id: revision.match_id,
        base_id: formula.base_id,
        tint: NewTint {
            id,
            revision_id: formula.id,
            reorder_id,
            size: formula.size,
            base_id: None,
            base_lot,
            shots: Some(shots),
            lots: Vec::new(),
            note: None,
            made_at,
        },
        author,
    });
    Ok(id)
}

/// The painter's second order of the doors: one can got too little black, and was marked.
fn bad_can(
    desk: &mut Desk<'_>,
    orders: &mut Orders,
    book: &mut Book,
    clients: &Clients,
    current: &HashMap<MatchId, RevisionRow>,
    story: &Added,
) -> Result<(), Flaw> {
    let match_id = story.records.with_bad_tint;
    let revision = formula_of(current, match_id)?;
    let catalog = desk.catalog;
    let south = Author {
        person: catalog.person("clerk.south")?,
        store: story.records.south,
    };
    let placed_by = clients
        .contractor(story.records.painter)
        .unwrap_or(south.person);
    let placed_at = revision.revision.made_at + Duration::days(40);
    let order = reorder(
        desk,
        orders,
        revision,
        (placed_by, south),
        placed_at,
        ReorderState::PickedUp,
    )?;
    let made_at = placed_at + Duration::minutes(55);
    let tint_id = tint(desk, orders, revision, Some(order), south, made_at)?;
    let black = catalog.colorants[catalog.colorant("PBk7")?].new.id;
    let row = orders
        .tints
        .last_mut()
        .ok_or_else(|| Flaw("no can was made".to_owned()))?;
    for shot in row
        .tint
        .shots
        .iter_mut()
        .flatten()
        .filter(|shot| shot.colorant_id == black)
    {
        shot.count = ShotCount::new(shot.count.get() * 2 / 3).map_err(Flaw::of)?;
    }
    let marked_at = made_at + Duration::days(1);
    let fault = FaultRow {
        id: desk.ids.uuid_at(marked_at),
        tint_id,
        match_id,
        fault: NewTintFault {
            reason: FaultReason::MachineFault,
            note: None,
        },
        author: south,
        made_at: marked_at,
    };
    desk.remark(
        book,
        match_id,
        ("tint_fault", fault.id),
        "Black nozzle was clogged: a third of the carbon black is missing. Cleaned; can taken back.",
        south,
        marked_at,
    );
    orders.faults.push(fault);
    Ok(())
}
