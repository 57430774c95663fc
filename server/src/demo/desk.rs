//! The desk at which matches, drawdowns and remarks are written down, and the book they go into.

use color::Illuminant;
use formula::id::{CustomerId, DrawdownId, JobId, MatchId, RevisionId};
use formula::quantity::{CanSize, ShotUnit};
use formula::wire::v1::{LabD65, NewDrawdown, NewFormula, NewMatch, Sheen, ShotLine};
use time::{Duration, OffsetDateTime};

use super::catalog::{Base, Branch, Catalog, Product};
use super::paint::{Eye, Film};
use super::sample::{self, Reading};
use super::seeded::Seeded;
use super::{Flaw, Ids};
use crate::store::bulk::{Author, DrawdownRow, MatchRow, NoteRow, RevisionRow};

/// What has been recorded so far.
#[derive(Default)]
pub(super) struct Book {
    pub(super) matches: Vec<MatchRow>,
    pub(super) revisions: Vec<RevisionRow>,
    pub(super) drawdowns: Vec<DrawdownRow>,
    pub(super) notes: Vec<NoteRow>,
}

impl Book {
    /// The revision of the match that counts: picked, else the latest.
    pub(super) fn current(&self, found: &MatchRow) -> Option<&RevisionRow> {
        let of_match = || {
            self.revisions
                .iter()
                .filter(|row| row.match_id == found.found.id)
        };
        match found.picked {
            Some(picked) => of_match().find(|row| row.revision.formula.id == picked),
            None => of_match().max_by_key(|row| row.number),
        }
    }
}

/// Whose a new match is, and what for.
pub(super) struct Wish {
    pub(super) customer: CustomerId,
    pub(super) job: Option<JobId>,
    pub(super) sheen: Sheen,
}

/// Where records are written.
pub(super) struct Desk<'a> {
    pub(super) catalog: &'a Catalog,
    pub(super) eye: Eye,
    pub(super) random: Seeded,
    pub(super) ids: Ids,
}

impl<'a> Desk<'a> {
    pub(super) fn new(catalog: &'a Catalog, purpose: &str) -> Result<Self, Flaw> {
        Ok(Self {
            catalog,
            eye: Eye::under(Illuminant::D65)?,
            random: Seeded::new(purpose),
            ids: Ids::of(purpose),
        })
    }

    /// The film that a formula gives.
    pub(super) fn film(&self, formula: &NewFormula) -> Result<Film, Flaw> {
        let base = self.catalog.base_of(formula.base_id)?;
        self.film_in(base, formula.size, &formula.shots)
    }

    pub(super) fn film_in(
        &self,
        base: &Base,
        size: CanSize,
        shots: &[ShotLine],
    ) -> Result<Film, Flaw> {
        let mut parts = vec![(
            f64::from(base.room(size)?.fill().get()) / 100.0,
            &base.optics,
        )];
        for shot in shots {
            parts.push((
                milliliters(shot),
                &self.catalog.colorant_of(shot.colorant_id)?.optics,
            ));
        }
        Film::mix(&parts)
    }

    /// A formula; `predicted` says whether its color was predicted.
    pub(super) fn formula(
        &mut self,
        at: OffsetDateTime,
        base: &Base,
        sheen: &Sheen,
        size: CanSize,
        shots: Vec<ShotLine>,
        predicted: bool,
    ) -> Result<NewFormula, Flaw> {
        let lab = self.film_in(base, size, &shots)?.lab(&self.eye)?;
        Ok(NewFormula {
            id: self.ids.at(at, RevisionId::from_parts),
            base_id: base.new.id,
            sheen_id: sheen.id,
            size,
            shots,
            predicted_lab: predicted.then_some(LabD65(rounded(lab)?)),
            note: None,
        })
    }

    /// Records a match whose sample is the film `wanted`.
    pub(super) fn record(
        &mut self,
        book: &mut Book,
        author: Author,
        at: OffsetDateTime,
        wish: &Wish,
        product: &Product,
        wanted: &Film,
    ) -> Result<MatchId, Flaw> {
        let gloss60 = (wish.sheen.gloss60_min, wish.sheen.gloss60_max);
        let reading = Reading {
            author,
            at: at - Duration::minutes(4),
            gloss60,
        };
        let found = NewMatch {
            id: self.ids.at(at, MatchId::from_parts),
            customer_id: wish.customer,
            job_id: wish.job,
            product_id: product.new.id,
            sheen_id: wish.sheen.id,
            sample: sample::read(
                &mut self.random,
                &mut self.ids,
                self.catalog,
                wanted,
                &reading,
            )?,
            formula: None,
            reuse: None,
            note: None,
            made_at: at,
            draft_id: None,
        };
        let id = found.id;
        book.matches.push(MatchRow {
            found,
            author,
            picked: None,
        });
        Ok(id)
    }

    /// Reads a drawdown of a revision, at about `distance` from what was predicted.
    #[expect(
        clippy::too_many_arguments,
        reason = "each is a field of the record, and none goes with another"
    )]
    pub(super) fn draw_down(
        &mut self,
        book: &mut Book,
        of: (MatchId, RevisionId),
        film: &Film,
        sheen: &Sheen,
        author: Author,
        at: OffsetDateTime,
        dry: bool,
        distance: f64,
    ) -> Result<(), Flaw> {
        let (match_id, revision_id) = of;
        let dried = film.near(&mut self.random, &self.eye, distance)?;
        // A waterborne film darkens as it dries: wet it shows some of its K/S only (common practice, no source).
        let shown = if dry { dried } else { dried.scaled(0.9) };
        let reading = Reading {
            author,
            at,
            gloss60: (sheen.gloss60_min, sheen.gloss60_max),
        };
        let measurement = sample::read(
            &mut self.random,
            &mut self.ids,
            self.catalog,
            &shown,
            &reading,
        )?;
        let made_at = at + Duration::minutes(2);
        book.drawdowns.push(DrawdownRow {
            match_id,
            revision_id,
            drawdown: NewDrawdown {
                id: self.ids.at(made_at, DrawdownId::from_parts),
                measurement,
                dry,
                note: None,
                made_at,
            },
            author,
        });
        Ok(())
    }

    pub(super) fn remark(
        &mut self,
        book: &mut Book,
        match_id: MatchId,
        about: (&'static str, uuid::Uuid),
        body: &str,
        author: Author,
        made_at: OffsetDateTime,
    ) {
        book.notes.push(NoteRow {
            id: self.ids.uuid_at(made_at),
            match_id,
            about: about.0,
            about_id: about.1,
            body: body.to_owned(),
            made_by: author.person,
            made_at,
        });
    }
}

/// To four decimals: a prediction says no more, and the last digits of a library function differ between machines.
fn rounded(lab: color::Lab) -> Result<color::Lab, Flaw> {
    let round = |value: f64| (value * 10_000.0).round() / 10_000.0;
    color::Lab::new(round(lab.l), round(lab.a), round(lab.b)).map_err(Flaw::of)
}

fn milliliters(shot: &ShotLine) -> f64 {
    shot_ml(shot.unit) * f64::from(shot.count.get())
}

/// Milliliters in a shot, for the optics only; formulas themselves stay exact.
pub(super) fn shot_ml(unit: ShotUnit) -> f64 {
    unit.volume().parts() as f64 / 1e17
}

/// The step of the dispenser that fills such a can there.
pub(super) fn step(branch: Branch, size: CanSize) -> ShotUnit {
    match (branch, size) {
        // Harbor's dispenser is metric.
        (Branch::Harbor, _) => ShotUnit::Centiml,
        (_, CanSize::HalfPintSample) => ShotUnit::FlOz384,
        (_, CanSize::Quart) => ShotUnit::FlOz192,
        (Branch::South, _) => ShotUnit::FlOz96,
        (Branch::North, _) => ShotUnit::FlOz48,
    }
}
