//! Some two thousand matches at random: found in one to three tries, or taken over from another customer.

use formula::base::BaseKind;
use formula::id::{CustomerId, JobId, MatchId, RevisionId};
use formula::quantity::{CanSize, ShotCount};
use formula::wire::v1::{NewFormula, NewRevision, ShotLine};
use time::{Duration, OffsetDateTime};

use super::catalog::{Base, Branch, Catalog, Product};
use super::customers::{Clients, PAINTER, WALK_IN};
use super::desk::{Book, Desk, Wish, shot_ml, step};
use super::{Flaw, when};
use crate::store::bulk::{Author, RevisionRow};

/// Matches made at random; the story adds a few.
const MATCHES: usize = 2_390;
/// Part of the matches that take over another customer's formula.
const REUSED: f64 = 0.15;
/// A drawdown's distance from what was predicted, in CIEDE2000.
const SCATTER: (f64, f64) = (0.15, 0.74);

const REMARKS: [&str; 12] = [
    "Old chip, a little faded; customer agreed to match it as it is.",
    "Read on the back of the sample, the front is scratched.",
    "Wants it a touch warmer next time.",
    "Two coats over gray primer.",
    "Sample was textured: five readings, turned between them.",
    "Checked under the shop lamps together with the customer.",
    "Same color as the neighbor's, she says.",
    "House built before 1978: told about lead-safe work before sanding.",
    "Solvent product: told to keep windows open and flames away.",
    "Customer has half a gallon left from the last time.",
    "Dried overnight before it was read.",
    "Picked up by the foreman.",
];

/// Cumulative share, base, least and most of its room that is used, fewest and most colorants.
type Kind = (f64, BaseKind, (f64, f64), (usize, usize));

/// Which colors people want, in the shares in which paint is sold (common practice, no source): mostly pale, some
/// deep, a few saturated.
const KINDS: [Kind; 5] = [
    (0.30, BaseKind::White, (0.01, 0.6), (1, 3)),
    (0.54, BaseKind::Light, (0.03, 0.9), (2, 4)),
    (0.76, BaseKind::Medium, (0.10, 0.95), (2, 4)),
    (0.90, BaseKind::Deep, (0.25, 0.97), (2, 4)),
    (1.00, BaseKind::Clear, (0.35, 0.97), (1, 3)),
];

impl Desk<'_> {
    fn scatter(&mut self) -> f64 {
        self.random.between(SCATTER.0, SCATTER.1)
    }

    /// The shots changed as a first try differs from the last: one colorant by a tenth to a third.
    fn first_try(&mut self, last: &[ShotLine]) -> Result<Vec<ShotLine>, Flaw> {
        let mut shots = last.to_vec();
        if shots.is_empty() {
            return Ok(shots);
        }
        let changed = self.random.below(shots.len());
        let count = shots[changed].count.get();
        // Less, never more: the base's room stays enough.
        let less = (f64::from(count) * self.random.between(0.1, 0.33)).ceil() as u32;
        let count = count.saturating_sub(less).max(1);
        shots[changed].count = ShotCount::new(count).map_err(Flaw::of)?;
        Ok(shots)
    }

    /// Some colorants in some amounts that the base has the room for.
    fn recipe<'c>(
        &mut self,
        catalog: &'c Catalog,
        product: &'c Product,
        branch: Branch,
    ) -> Result<(&'c Base, CanSize, Vec<ShotLine>), Flaw> {
        let draw = self.random.unit();
        let kind = KINDS.iter().find(|kind| draw < kind.0).unwrap_or(&KINDS[0]);
        let &(_, kind, (least, most), (fewest, greatest)) = kind;
        let base = product.base(kind)?;
        let size = match self.random.below(10) {
            0 => CanSize::HalfPintSample,
            1 | 2 => CanSize::Quart,
            3 => CanSize::FiveGallon,
            _ => CanSize::Gallon,
        };
        let unit = step(branch, size);
        let room = base.room(size)?.room().volume().parts() as f64 / 1e17;
        // Squared: light tints are commoner than full ones.
        let used = least + (most - least) * self.random.unit().powi(2);
        let colorants = fewest + self.random.below(greatest - fewest + 1);
        let mut chosen: Vec<usize> = Vec::new();
        while chosen.len() < colorants {
            let colorant = self.random.below(catalog.colorants.len());
            // White in a white base does nothing, and in a clear one makes it another base.
            let is_white = catalog.colorants[colorant].new.ci_name.as_str() == "PW6";
            if !is_white && !chosen.contains(&colorant) {
                chosen.push(colorant);
            }
        }
        let parts: Vec<f64> = chosen
            .iter()
            .map(|_| self.random.between(0.08, 1.0))
            .collect();
        let whole: f64 = parts.iter().sum();
        let shots = chosen
            .iter()
            .zip(&parts)
            .map(|(&colorant, part)| {
                let count = (room * used * part / whole / shot_ml(unit))
                    .floor()
                    .max(1.0);
                Ok(ShotLine {
                    colorant_id: catalog.colorants[colorant].new.id,
                    count: ShotCount::new(count as u32).map_err(Flaw::of)?,
                    unit,
                })
            })
            .collect::<Result<Vec<_>, Flaw>>()?;
        Ok((base, size, shots))
    }
}

pub(super) fn make(catalog: &Catalog, clients: &Clients) -> Result<Book, Flaw> {
    let mut desk = Desk::new(catalog, "matches")?;
    let mut book = Book::default();
    // The last weeks are left to drawdowns and reorders.
    let days = (when::LAST_DAY - when::OPENED).whole_days() - 14;
    // The story's two customers get their matches from the story.
    let buyers: Vec<_> = clients
        .customers
        .iter()
        .filter(|row| !matches!(row.customer.name.as_str(), PAINTER | WALK_IN))
        .collect();
    for number in 0..MATCHES {
        let day = when::OPENED + Duration::days(1 + days * number as i64 / MATCHES as i64);
        let at = when::in_opening_hours(&mut desk.random, day) + Duration::minutes(10);
        let buyer = desk.random.pick(&buyers).customer.clone();
        let home = clients.named(buyer.name.as_str())?.author.store;
        let branch = if desk.random.chance(0.85) {
            Branch::ALL
                .into_iter()
                .find(|&branch| catalog.store(branch) == Ok(home))
                .unwrap_or(Branch::North)
        } else {
            *desk.random.pick(&Branch::ALL)
        };
        let author = catalog.clerk(&mut desk.random, branch)?;
        let job = if buyer.jobs.is_empty() || desk.random.chance(0.25) {
            None
        } else {
            Some(desk.random.pick(&buyer.jobs).id)
        };
        let reused = number > 60 && desk.random.chance(REUSED);
        let match_id = if reused {
            reuse(&mut desk, &mut book, (buyer.id, job), author, at)?
        } else {
            None
        };
        let match_id = match match_id {
            Some(match_id) => match_id,
            None => find(&mut desk, &mut book, (buyer.id, job), author, branch, at)?,
        };
        if desk.random.chance(0.12) {
            let body = desk.random.pick(&REMARKS);
            desk.remark(
                &mut book,
                match_id,
                ("match", match_id.as_uuid()),
                body,
                author,
                at,
            );
        }
    }
    Ok(book)
}

/// A new formula is found, in one to three tries.
fn find(
    desk: &mut Desk<'_>,
    book: &mut Book,
    (customer, job): (CustomerId, Option<JobId>),
    author: Author,
    branch: Branch,
    at: OffsetDateTime,
) -> Result<MatchId, Flaw> {
    let catalog = desk.catalog;
    let product = desk.random.pick(&catalog.products);
    let sheen = desk.random.pick(&product.new.sheens).clone();
    let (base, size, shots) = desk.recipe(catalog, product, branch)?;
    let last = desk.film_in(base, size, &shots)?;
    let off = desk.random.between(0.1, 1.7);
    // The chip was made with other pigments: what is wanted is not quite what is found.
    let wanted = last.near(&mut desk.random, &desk.eye, off)?;
    let wish = Wish {
        customer,
        job,
        sheen: sheen.clone(),
    };
    let match_id = desk.record(book, author, at, &wish, product, &wanted)?;

    let tries = match desk.random.unit() {
        draw if draw < 0.5 || shots.is_empty() => 1,
        draw if draw < 0.82 => 2,
        _ => 3,
    };
    // The second and third try of a fork both correct the first, at two branches.
    let is_forked = tries == 3 && desk.random.chance(0.3);
    let mut made: Vec<RevisionId> = Vec::new();
    let (mut when_tried, mut tried_by) = (at + Duration::minutes(12), author);
    for number in 1..=tries {
        let amounts = if number == tries {
            shots.clone()
        } else {
            desk.first_try(&shots)?
        };
        let predicted = desk.random.chance(0.75);
        let formula = desk.formula(when_tried, base, &sheen, size, amounts, predicted)?;
        let film = desk.film(&formula)?;
        let revision_id = formula.id;
        book.revisions.push(RevisionRow {
            match_id,
            number,
            reused_from: None,
            revision: NewRevision {
                formula,
                parent_id: if is_forked {
                    made.first().copied().filter(|_| number > 1)
                } else {
                    made.last().copied()
                },
                made_at: when_tried,
            },
            author: tried_by,
        });
        made.push(revision_id);
        let dries_at = when::days_later(&mut desk.random, when_tried, 1.0, 3.0);
        // A try that was corrected had been drawn down; whether the last one was is another matter.
        let fate = if number < tries {
            desk.random.unit() * 0.75
        } else {
            desk.random.unit()
        };
        let dry = fate < 0.66;
        if dry || fate > 0.88 {
            let seen_at = if dry {
                dries_at
            } else {
                when_tried + Duration::minutes(25)
            };
            let distance = desk.scatter();
            desk.draw_down(
                book,
                (match_id, revision_id),
                &film,
                &sheen,
                tried_by,
                seen_at,
                dry,
                distance,
            )?;
        }
        when_tried = dries_at + Duration::minutes(40);
        if is_forked {
            let elsewhere = Branch::ALL[(branch as usize + number as usize) % Branch::ALL.len()];
            tried_by = catalog.clerk(&mut desk.random, elsewhere)?;
        } else if number == 2 {
            // Two tries missed: the color lead makes the third.
            tried_by = catalog.lead(branch)?;
        }
    }
    if is_forked && desk.random.chance(0.5) {
        let picked = *desk.random.pick(&made[1..]);
        if let Some(row) = book.matches.last_mut() {
            row.picked = Some(picked);
        }
    }
    Ok(match_id)
}

/// Another customer's formula is taken over, when there is one that is old enough.
fn reuse(
    desk: &mut Desk<'_>,
    book: &mut Book,
    (customer, job): (CustomerId, Option<JobId>),
    author: Author,
    at: OffsetDateTime,
) -> Result<Option<MatchId>, Flaw> {
    let donor = &book.matches[desk.random.below(book.matches.len().saturating_sub(20))];
    if donor.found.customer_id == customer {
        return Ok(None);
    }
    let Some(source) = book
        .current(donor)
        .filter(|row| row.revision.made_at < at)
        .cloned()
    else {
        return Ok(None);
    };
    let product_id = donor.found.product_id;
    let catalog = desk.catalog;
    let product = catalog
        .products
        .iter()
        .find(|product| product.new.id == product_id);
    let product = product.ok_or_else(|| Flaw("a match has an unknown product".to_owned()))?;
    let sheen = product
        .new
        .sheens
        .iter()
        .find(|sheen| sheen.id == source.revision.formula.sheen_id);
    let sheen = sheen
        .ok_or_else(|| Flaw("a formula has an unknown sheen".to_owned()))?
        .clone();
    let film = desk.film(&source.revision.formula)?;
    let off = desk.random.between(0.1, 1.0);
    let wanted = film.near(&mut desk.random, &desk.eye, off)?;
    let wish = Wish {
        customer,
        job,
        sheen: sheen.clone(),
    };
    let match_id = desk.record(book, author, at, &wish, product, &wanted)?;
    let made_at = at + Duration::minutes(6);
    let formula = NewFormula {
        id: desk.ids.at(made_at, RevisionId::from_parts),
        ..source.revision.formula.clone()
    };
    let revision_id = formula.id;
    book.revisions.push(RevisionRow {
        match_id,
        number: 1,
        reused_from: Some(source.revision.formula.id),
        revision: NewRevision {
            formula,
            parent_id: None,
            made_at,
        },
        author,
    });
    if desk.random.chance(0.35) {
        let seen_at = when::days_later(&mut desk.random, made_at, 1.0, 4.0);
        let distance = desk.scatter();
        desk.draw_down(
            book,
            (match_id, revision_id),
            &film,
            &sheen,
            author,
            seen_at,
            true,
            distance,
        )?;
    }
    Ok(Some(match_id))
}
