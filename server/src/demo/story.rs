//! The records that examples and tests look for: the painter's match, the match with the bad can, and pairs that look
//! alike in daylight only.

use formula::base::BaseKind;
use formula::id::{MatchId, RevisionId};
use formula::quantity::{CanSize, ShotCount};
use formula::sheen::SheenWord;
use formula::wire::v1::{NewRevision, Sheen, ShotLine};
use time::macros::datetime;
use time::{Duration, OffsetDateTime};

use super::catalog::{Base, Branch, Catalog, Product};
use super::customers::{Clients, PAINTER, WALK_IN};
use super::desk::{Book, Desk, Wish, shot_ml, step};
use super::{Flaw, Story};
use crate::store::bulk::{Author, RevisionRow};

pub(super) struct Added {
    pub(super) records: Story,
    pub(super) twins: Vec<(MatchId, MatchId)>,
}

/// One formula of a twin pair: colorants with their amounts in shots of 1/48 fl oz a gallon.
type Plain = &'static [(&'static str, u32)];

/// Base, what the first of the pair holds, and the colorants that must give the same color in daylight.
const TWINS: [(BaseKind, Plain, [&str; 3]); 4] = [
    (
        BaseKind::Light,
        &[("PBk7", 14), ("PY42", 26), ("PR101", 5)],
        ["PY74", "PV19", "PG7"],
    ),
    (
        BaseKind::Medium,
        &[("PY42", 120), ("PBk11", 60), ("PG7", 10)],
        ["PB15:3", "PR254", "PY74"],
    ),
    (
        BaseKind::Medium,
        &[("PR101", 70), ("PBk7", 16), ("PY42", 90)],
        ["PY74", "PV19", "PG7"],
    ),
    (
        BaseKind::Light,
        &[("PB15:3", 9), ("PBk7", 11), ("PR101", 4)],
        ["PY74", "PV19", "PG7"],
    ),
];

/// Customers of the pairs, in order.
const TWIN_CUSTOMERS: [(&str, &str); 4] = [
    (
        "Pebbleworth Primary School",
        "Hollowbrook Theater Guild, Scene Shop",
    ),
    (
        "Marrowmere Parish Works",
        "Tamarack Spire Painting & Drywall, Inc.",
    ),
    ("Quillon Brothers Painting", "Third Lantern Coatings LLC"),
    ("St. Ethelwyn's Almshouse", "Applewhit Decorators Ltd"),
];

/// A twin's drawdown came out close: the pair must stay alike in daylight.
const CLOSE: f64 = 0.13;

pub(super) fn add(catalog: &Catalog, clients: &Clients, book: &mut Book) -> Result<Added, Flaw> {
    let mut desk = Desk::new(catalog, "story")?;
    let interior = product(catalog, 0)?;
    let trim = product(catalog, 2)?;
    let painter = clients.named(PAINTER)?;
    let north = Author {
        person: catalog.person("clerk.north")?,
        store: catalog.store(Branch::North)?,
    };

    let lobby = painter
        .customer
        .jobs
        .iter()
        .find(|job| job.label.as_str().starts_with("Lobby"));
    let lobby = lobby.ok_or_else(|| Flaw("the painter has no lobby".to_owned()))?;
    let wall = Plan {
        customer: PAINTER,
        job: Some(lobby.id),
        product: interior,
        sheen: sheen(interior, SheenWord::Eggshell)?,
        kind: BaseKind::Medium,
        author: north,
        at: datetime!(2025-01-21 15:32 UTC),
    };
    let shots = plain(catalog, &[("PB15:3", 38), ("PG7", 22), ("PY42", 64)])?;
    let made_at_north = verified(
        &mut desk,
        book,
        clients,
        &wall,
        CanSize::Gallon,
        shots,
        true,
    )?;
    desk.remark(
        book,
        made_at_north,
        ("match", made_at_north.as_uuid()),
        "Matched to the tile beside the elevator. First try was short of green, the second one is right.",
        north,
        wall.at,
    );

    let doors = Plan {
        product: trim,
        sheen: sheen(trim, SheenWord::HighGloss)?,
        job: None,
        kind: BaseKind::Deep,
        at: datetime!(2024-09-12 18:05 UTC),
        ..wall.clone()
    };
    let shots = plain(catalog, &[("PR101", 150), ("PBk7", 24), ("PV19", 30)])?;
    let with_bad_tint = verified(
        &mut desk,
        book,
        clients,
        &doors,
        CanSize::Gallon,
        shots,
        false,
    )?;

    let mut twins = Vec::new();
    for (number, (kind, first, others)) in TWINS.into_iter().enumerate() {
        let (one, other) = TWIN_CUSTOMERS[number];
        let at = datetime!(2024-04-09 14:20 UTC) + Duration::weeks(5 * number as i64);
        let here = Plan {
            customer: one,
            job: None,
            kind,
            at,
            ..wall.clone()
        };
        let shots = plain(catalog, first)?;
        let base = interior.base(kind)?;
        let target = desk
            .film_in(base, CanSize::Gallon, &shots)?
            .lab(&desk.eye)?;
        let like = alike(&desk, catalog, base, target, others)?;
        let first = verified(
            &mut desk,
            book,
            clients,
            &here,
            CanSize::Gallon,
            shots,
            false,
        )?;
        let harbor = Author {
            person: catalog.person("clerk.harbor")?,
            store: catalog.store(Branch::Harbor)?,
        };
        let there = Plan {
            customer: other,
            author: harbor,
            at: at + Duration::days(9),
            ..here
        };
        let second = verified(
            &mut desk,
            book,
            clients,
            &there,
            CanSize::Gallon,
            like,
            false,
        )?;
        twins.push((first, second));
    }

    Ok(Added {
        records: Story {
            north: north.store,
            south: catalog.store(Branch::South)?,
            painter: painter.customer.id,
            misspelled: "hestrle van",
            made_at_north,
            walk_in: clients.named(WALK_IN)?.customer.id,
            with_bad_tint,
        },
        twins,
    })
}

#[derive(Clone)]
struct Plan<'a> {
    customer: &'static str,
    job: Option<formula::id::JobId>,
    product: &'a Product,
    sheen: Sheen,
    kind: BaseKind,
    author: Author,
    at: OffsetDateTime,
}

fn product(catalog: &Catalog, number: usize) -> Result<&Product, Flaw> {
    catalog
        .products
        .get(number)
        .ok_or_else(|| Flaw(format!("no product {number}")))
}

fn sheen(product: &Product, word: SheenWord) -> Result<Sheen, Flaw> {
    let found = product.new.sheens.iter().find(|sheen| sheen.word == word);
    found
        .cloned()
        .ok_or_else(|| Flaw(format!("{} has no {word}", product.new.name)))
}

fn plain(catalog: &Catalog, amounts: &[(&str, u32)]) -> Result<Vec<ShotLine>, Flaw> {
    amounts
        .iter()
        .map(|&(colour_index, count)| {
            Ok(ShotLine {
                colorant_id: catalog.colorants[catalog.colorant(colour_index)?].new.id,
                count: ShotCount::new(count).map_err(Flaw::of)?,
                unit: step(Branch::North, CanSize::Gallon),
            })
        })
        .collect()
}

/// A match whose last revision was drawn down, measured dry and found right; with a first try that was short of one
/// colorant when asked for.
fn verified(
    desk: &mut Desk<'_>,
    book: &mut Book,
    clients: &Clients,
    plan: &Plan<'_>,
    size: CanSize,
    shots: Vec<ShotLine>,
    first_try: bool,
) -> Result<MatchId, Flaw> {
    let base = plan.product.base(plan.kind)?;
    let film = desk.film_in(base, size, &shots)?;
    let wanted = film.near(&mut desk.random, &desk.eye, 0.3)?;
    let customer = clients.named(plan.customer)?.customer.id;
    let wish = Wish {
        customer,
        job: plan.job,
        sheen: plan.sheen.clone(),
    };
    let match_id = desk.record(book, plan.author, plan.at, &wish, plan.product, &wanted)?;
    let mut parent: Option<RevisionId> = None;
    let mut tries = Vec::new();
    if first_try {
        let mut short = shots.clone();
        if let Some(shot) = short.get_mut(1) {
            shot.count = ShotCount::new(shot.count.get() * 3 / 4).map_err(Flaw::of)?;
        }
        tries.push(short);
    }
    tries.push(shots);
    let mut at = plan.at + Duration::minutes(9);
    for (number, amounts) in (1..).zip(tries) {
        let formula = desk.formula(at, base, &plan.sheen, size, amounts, true)?;
        let tried = desk.film(&formula)?;
        let revision_id = formula.id;
        book.revisions.push(RevisionRow {
            match_id,
            number,
            reused_from: None,
            revision: NewRevision {
                formula,
                parent_id: parent.replace(revision_id),
                made_at: at,
            },
            author: plan.author,
        });
        let seen_at = at + Duration::days(1);
        desk.draw_down(
            book,
            (match_id, revision_id),
            &tried,
            &plan.sheen,
            plan.author,
            seen_at,
            true,
            CLOSE,
        )?;
        at = seen_at + Duration::minutes(30);
    }
    Ok(match_id)
}

/// Whole shots of other colorants that give the same color in daylight: steps in all 26 directions, halved whenever
/// none of them comes nearer.
fn alike(
    desk: &Desk<'_>,
    catalog: &Catalog,
    base: &Base,
    target: color::Lab,
    colorants: [&str; 3],
) -> Result<Vec<ShotLine>, Flaw> {
    // Harbor's dispenser has the smallest step.
    let unit = step(Branch::Harbor, CanSize::Gallon);
    let room = base.room(CanSize::Gallon)?.room();
    let most = (f64::from(room.get()) / 100.0 / shot_ml(unit)).floor() as i64;
    let ids = [
        catalog.colorants[catalog.colorant(colorants[0])?].new.id,
        catalog.colorants[catalog.colorant(colorants[1])?].new.id,
        catalog.colorants[catalog.colorant(colorants[2])?].new.id,
    ];
    let shots = |counts: [i64; 3]| {
        ids.into_iter()
            .zip(counts)
            .map(|(colorant_id, count)| {
                Ok(ShotLine {
                    colorant_id,
                    count: ShotCount::new(count).map_err(Flaw::of)?,
                    unit,
                })
            })
            .collect::<Result<Vec<_>, Flaw>>()
    };
    let distance = |counts: [i64; 3]| {
        let lab = desk
            .film_in(base, CanSize::Gallon, &shots(counts)?)?
            .lab(&desk.eye)?;
        Ok::<f64, Flaw>(color::de2000(target, lab))
    };
    let mut best = [most / 12; 3];
    let mut nearest = distance(best)?;
    let mut stride = most / 16;
    while stride > 0 {
        let mut moved = None;
        for direction in 0..27_i64 {
            let turn = [direction % 3 - 1, direction / 3 % 3 - 1, direction / 9 - 1];
            let tried: [i64; 3] = std::array::from_fn(|at| best[at] + stride * turn[at]);
            if tried.iter().any(|&count| count < 1) || tried.iter().sum::<i64>() > most {
                continue;
            }
            let found = distance(tried)?;
            if found < nearest {
                (nearest, moved) = (found, Some(tried));
            }
        }
        match moved {
            Some(better) => best = better,
            None => stride /= 2,
        }
    }
    shots(best)
}
