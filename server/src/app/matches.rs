//! Matches: recorded, corrected, drawn down, reused, moved. Revisions are only ever added.

use formula::id::{CustomerId, MatchId, RevisionId, SheenId, StoreId};
use formula::revision::{Amount, BaseOffer, Formula, FormulaError};
use formula::wire::v1::{
    AccessAct, Basis, Drawdown, FoundBy, Match, MatchHit, MatchMove, NewDrawdown, NewFormula,
    NewMatch, NewRevision, Page, Reuse, Revision, RevisionPick, ShotLine,
};

use super::policy::{Act, require};
use super::{App, AppError, AppResult, Caller, comparisons, light, measurements};
use crate::store::matches::{MatchRow, Wanted};
use crate::store::revisions::Place;
use crate::store::write::{Begun, PageAsk, Reply, WriteKey, WriteTx, Written};
use crate::store::{Conn, access, matches, notes, offer, revisions, stores};

impl App {
    /// Matches in order of id: of one customer, or all that the caller may see.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn list_matches(
        &self,
        caller: &Caller,
        customer: Option<CustomerId>,
        ask: PageAsk,
    ) -> AppResult<Page<MatchHit>> {
        require(caller, Act::OpenMatch)?;
        let mut read = self.db.read().await?;
        let hits = matches::hits(
            &mut read,
            caller,
            Wanted::Listed { customer, ask },
            FoundBy::Name,
        )
        .await?;
        Ok(ask.page(hits, |hit| hit.id.as_uuid()))
    }

    /// One match, opened; opening another store's is noted in the access log.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn open_match(&self, caller: &Caller, id: MatchId) -> AppResult<Match> {
        require(caller, Act::OpenMatch)?;
        let mut tx = self.db.plain().await?;
        let mut opened = comparisons::open_match(tx.conn(), caller, id)
            .await?
            .ok_or(AppError::NotFound("match"))?;
        // A contractor stands at no counter: the match's own store judges then.
        let at = caller.store_id.unwrap_or(opened.store.id);
        light::shine(
            &mut opened,
            &stores::lights_of(tx.conn(), caller, at).await?,
        )?;
        access::note_opened(
            tx.conn(),
            caller,
            AccessAct::MatchOpened,
            id.as_uuid(),
            opened.store.id,
        )
        .await?;
        tx.commit().await?;
        Ok(opened)
    }

    /// Records a match: the sample, and a formula, a reused one, or none yet.
    ///
    /// # Errors
    /// As [`AppError`] says; then nothing was recorded.
    pub async fn record_match(
        &self,
        caller: &Caller,
        key: WriteKey,
        new: NewMatch,
    ) -> AppResult<Reply> {
        require(caller, Act::RecordMatches)?;
        let counter = caller.counter()?;
        let lab = measurements::check("sample", &new.sample)?;
        if new.formula.is_some() && new.reuse.is_some() {
            return Err(AppError::invalid(
                "reuse",
                "stands beside `formula`",
                "send one of the two",
            ));
        }
        let mut tx = match self.db.begin(caller, key).await? {
            Begun::Fresh(tx) => tx,
            Begun::Repeated(reply) => return Ok(reply),
        };
        let conn = tx.conn();
        if !matches::customer_stands(conn, caller, new.customer_id).await? {
            return Err(AppError::invalid(
                "customer_id",
                "there is no such customer",
                "find or add the customer first",
            ));
        }
        check_job(conn, caller, &new).await?;
        let fit = offer::product_fit(conn, caller, new.product_id, new.sheen_id)
            .await?
            .ok_or_else(|| {
                AppError::invalid(
                    "product_id",
                    "there is no such product",
                    "choose one from the product list",
                )
            })?;
        if fit.retired {
            return Err(AppError::invalid(
                "product_id",
                "the product is retired",
                "choose a product in use",
            ));
        }
        if !fit.has_sheen {
            return Err(no_such_sheen("sheen_id"));
        }
        crate::store::measurements::insert(conn, caller, counter, &new.sample, lab).await?;
        matches::insert(conn, caller, counter, &new).await?;
        let place = Place {
            of_match: new.id,
            parent: None,
            reused_from: new.reuse.as_ref().map(|reuse| reuse.reused_from),
            store: counter,
            made_at: new.made_at,
        };
        let first = match (&new.formula, &new.reuse) {
            (Some(formula), _) => Some(formula.clone()),
            (None, Some(reuse)) => Some(reused(conn, caller, &new, reuse).await?),
            (None, None) => None,
        };
        if let Some(formula) = first {
            add_revision(conn, caller, place, &new_row(&new, counter), &formula).await?;
        }
        if let Some(note) = &new.note {
            notes::insert(
                conn,
                caller,
                new.id,
                notes::About::Match,
                new.id.as_uuid(),
                note,
            )
            .await?;
        }
        if let Some(draft) = new.draft_id {
            matches::drop_draft(conn, caller, draft).await?;
        }
        let recorded = reopened(conn, caller, new.id).await?;
        let written = Written::created(&recorded, format!("/api/v1/matches/{}", new.id))
            .at_version(recorded.version);
        Ok(tx.finish(written).await?)
    }

    /// Adds a formula to a match. Two clerks who correct the same revision both get theirs kept.
    ///
    /// # Errors
    /// As [`AppError`] says; then nothing was added.
    pub async fn revise_match(
        &self,
        caller: &Caller,
        key: WriteKey,
        id: MatchId,
        new: NewRevision,
    ) -> AppResult<Reply> {
        require(caller, Act::RecordMatches)?;
        let counter = caller.counter()?;
        let (mut tx, row) = match self.begin_on(caller, key, id).await? {
            Held::Fresh(tx, row) => (tx, row),
            Held::Repeated(reply) => return Ok(reply),
        };
        let conn = tx.conn();
        let before = reopened(conn, caller, id).await?;
        match new.parent_id {
            Some(parent)
                if !before
                    .revisions
                    .iter()
                    .any(|revision| revision.id == parent) =>
            {
                return Err(AppError::invalid(
                    "parent_id",
                    "is none of this match's revisions",
                    "name the revision that is corrected; `match show` lists them",
                ));
            }
            None if !before.revisions.is_empty() => {
                return Err(AppError::invalid(
                    "parent_id",
                    "is missing, and the match has formulas already",
                    "name the revision that is corrected; `match show` lists them",
                ));
            }
            _ => {}
        }
        let place = Place {
            of_match: id,
            parent: new.parent_id,
            reused_from: None,
            store: counter,
            made_at: new.made_at,
        };
        add_revision(conn, caller, place, &row, &new.formula).await?;
        let after = reopened(conn, caller, id).await?;
        let revision = find_revision(&after, new.formula.id)?;
        Ok(tx
            .finish(Written::created(revision, format!("/api/v1/matches/{id}")))
            .await?)
    }

    /// Records a measured drawdown of a revision.
    ///
    /// # Errors
    /// As [`AppError`] says; then nothing was recorded.
    pub async fn record_drawdown(
        &self,
        caller: &Caller,
        key: WriteKey,
        id: RevisionId,
        new: NewDrawdown,
    ) -> AppResult<Reply> {
        require(caller, Act::RecordMatches)?;
        let counter = caller.counter()?;
        let lab = measurements::check("measurement", &new.measurement)?;
        let mut tx = match self.db.begin(caller, key).await? {
            Begun::Fresh(tx) => tx,
            Begun::Repeated(reply) => return Ok(reply),
        };
        let conn = tx.conn();
        let (of_match, _) = revisions::place_of(conn, caller, id)
            .await?
            .ok_or(AppError::NotFound("revision"))?;
        crate::store::measurements::insert(conn, caller, counter, &new.measurement, lab).await?;
        revisions::insert_drawdown(conn, caller, of_match, id, counter, &new).await?;
        if let Some(note) = &new.note {
            notes::insert(
                conn,
                caller,
                of_match,
                notes::About::Drawdown,
                new.id.as_uuid(),
                note,
            )
            .await?;
        }
        let after = reopened(conn, caller, of_match).await?;
        let drawdown: &Drawdown = find_revision(&after, id)?
            .drawdowns
            .iter()
            .find(|drawdown| drawdown.id == new.id)
            .ok_or_else(|| {
                AppError::Internal("a drawdown just recorded is not there".to_owned())
            })?;
        Ok(tx
            .finish(Written::created(
                drawdown,
                format!("/api/v1/matches/{of_match}"),
            ))
            .await?)
    }

    /// Gives a match to another customer or job.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn move_match(
        &self,
        caller: &Caller,
        key: WriteKey,
        id: MatchId,
        version: i32,
        to: MatchMove,
    ) -> AppResult<Reply> {
        require(caller, Act::RecordMatches)?;
        let (mut tx, row) = match self.begin_on(caller, key, id).await? {
            Held::Fresh(tx, row) => (tx, row),
            Held::Repeated(reply) => return Ok(reply),
        };
        AppError::unless_version("match", row.version, version)?;
        let conn = tx.conn();
        if !matches::customer_stands(conn, caller, to.customer_id).await? {
            return Err(AppError::invalid(
                "customer_id",
                "there is no such customer",
                "find or add the customer first",
            ));
        }
        if let Some(job) = to.job_id
            && !matches::job_fits(conn, caller, job, to.customer_id).await?
        {
            return Err(foreign_job());
        }
        matches::give_to(conn, caller, id, to.customer_id, to.job_id).await?;
        let after = reopened(conn, caller, id).await?;
        Ok(tx
            .finish(Written::changed(&after).at_version(after.version))
            .await?)
    }

    /// Says which revision of a match counts.
    ///
    /// # Errors
    /// As [`AppError`] says.
    pub async fn pick_revision(
        &self,
        caller: &Caller,
        key: WriteKey,
        id: MatchId,
        version: i32,
        pick: RevisionPick,
    ) -> AppResult<Reply> {
        require(caller, Act::RecordMatches)?;
        let (mut tx, row) = match self.begin_on(caller, key, id).await? {
            Held::Fresh(tx, row) => (tx, row),
            Held::Repeated(reply) => return Ok(reply),
        };
        AppError::unless_version("match", row.version, version)?;
        let conn = tx.conn();
        if let Some(revision) = pick.revision_id {
            let place = revisions::place_of(conn, caller, revision).await?;
            if place.is_none_or(|(of_match, _)| of_match != id) {
                return Err(AppError::invalid(
                    "revision_id",
                    "is none of this match's revisions",
                    "choose one that `match show` lists",
                ));
            }
        }
        matches::pick(conn, caller, id, pick.revision_id).await?;
        let after = reopened(conn, caller, id).await?;
        Ok(tx
            .finish(Written::changed(&after).at_version(after.version))
            .await?)
    }

    /// Begins a write on a match, which is held until the end.
    async fn begin_on(&self, caller: &Caller, key: WriteKey, id: MatchId) -> AppResult<Held> {
        let mut tx = match self.db.begin(caller, key).await? {
            Begun::Fresh(tx) => tx,
            Begun::Repeated(reply) => return Ok(Held::Repeated(reply)),
        };
        let row = matches::lock(tx.conn(), caller, id)
            .await?
            .ok_or(AppError::NotFound("match"))?;
        Ok(Held::Fresh(tx, row))
    }
}

/// A write begun on a match.
enum Held {
    /// Go on.
    Fresh(WriteTx, MatchRow),
    /// Done before.
    Repeated(Reply),
}

fn new_row(new: &NewMatch, store_id: StoreId) -> MatchRow {
    MatchRow {
        id: new.id,
        customer_id: new.customer_id,
        product_id: new.product_id,
        store_id,
        version: 1,
    }
}

fn no_such_sheen(field: &str) -> AppError {
    AppError::invalid(
        field,
        "the product is not made in this sheen",
        "choose a sheen from the product's list",
    )
}

fn foreign_job() -> AppError {
    AppError::invalid(
        "job_id",
        "is none of this customer's jobs",
        "choose or add a job of the customer",
    )
}

async fn check_job(conn: &mut Conn, caller: &Caller, new: &NewMatch) -> AppResult<()> {
    match new.job_id {
        Some(job) if !matches::job_fits(conn, caller, job, new.customer_id).await? => {
            Err(foreign_job())
        }
        _ => Ok(()),
    }
}

/// The match as it stands inside the transaction.
async fn reopened(conn: &mut Conn, caller: &Caller, id: MatchId) -> AppResult<Match> {
    comparisons::open_match(conn, caller, id)
        .await?
        .ok_or_else(|| AppError::Internal("a match just written is not there".to_owned()))
}

fn find_revision(of: &Match, id: RevisionId) -> AppResult<&Revision> {
    of.revisions
        .iter()
        .find(|revision| revision.id == id)
        .ok_or_else(|| AppError::Internal("a revision just added is not there".to_owned()))
}

/// The formula that is taken over. What it was measured or predicted to give is the best prediction of what it will
/// give again; nothing personal comes with it.
async fn reused(
    conn: &mut Conn,
    caller: &Caller,
    new: &NewMatch,
    reuse: &Reuse,
) -> AppResult<NewFormula> {
    let missing = || {
        AppError::invalid(
            "reuse.reused_from",
            "there is no such revision",
            "choose one that `nearest` lists",
        )
    };
    let (of_match, product) = revisions::place_of(conn, caller, reuse.reused_from)
        .await?
        .ok_or_else(missing)?;
    if product != new.product_id {
        return Err(AppError::invalid(
            "reuse.reused_from",
            "is a formula of another product",
            "choose a formula of this product, or record the match in the formula's product",
        ));
    }
    let source = reopened(conn, caller, of_match).await?;
    let source = source
        .revisions
        .iter()
        .find(|revision| revision.id == reuse.reused_from)
        .ok_or_else(missing)?;
    Ok(NewFormula {
        id: reuse.id,
        base_id: source.base.id,
        sheen_id: new.sheen_id,
        size: source.size,
        shots: source
            .shots
            .iter()
            .map(|shot| ShotLine {
                colorant_id: shot.colorant_id,
                count: shot.count,
                unit: shot.unit,
            })
            .collect(),
        predicted_lab: (source.produced.basis != Basis::Wanted).then_some(source.produced.lab),
        note: None,
    })
}

/// Checks a formula against what the chain has, and adds it with its note.
async fn add_revision(
    conn: &mut Conn,
    caller: &Caller,
    place: Place,
    of: &MatchRow,
    new: &NewFormula,
) -> AppResult<()> {
    let field = "formula";
    check_formula(conn, caller, of, new, field).await?;
    revisions::insert(conn, caller, place, new).await?;
    if let Some(note) = &new.note {
        notes::insert(
            conn,
            caller,
            of.id,
            notes::About::Revision,
            new.id.as_uuid(),
            note,
        )
        .await?;
    }
    Ok(())
}

async fn check_formula(
    conn: &mut Conn,
    caller: &Caller,
    of: &MatchRow,
    new: &NewFormula,
    field: &str,
) -> AppResult<()> {
    check_sheen(conn, caller, of, new.sheen_id, field).await?;
    let bases = offer::bases_of(conn, caller, of.product_id).await?;
    let base = bases
        .iter()
        .find(|base| base.id == new.base_id)
        .ok_or_else(|| {
            AppError::invalid(
                format!("{field}.base_id"),
                "is none of the product's bases",
                "choose a base from the product's list",
            )
        })?;
    if base.retired {
        return Err(AppError::invalid(
            format!("{field}.base_id"),
            format!("base {} is retired", base.name),
            "choose a base in use",
        ));
    }
    let others: Vec<BaseOffer<'_>> = bases
        .iter()
        .filter(|other| other.id != base.id && !other.retired)
        .map(|other| BaseOffer {
            name: &other.name,
            rooms: &other.rooms,
        })
        .collect();
    let wanted: Vec<_> = new
        .shots
        .iter()
        .map(|shot| shot.colorant_id.as_uuid())
        .collect();
    let known = offer::colorants_in_use(conn, caller, &wanted).await?;
    let amounts = new
        .shots
        .iter()
        .map(|shot| Amount {
            colorant: shot.colorant_id,
            count: shot.count,
            unit: shot.unit,
        })
        .collect();
    Formula::new(new.base_id, new.sheen_id, new.size, amounts)
        .and_then(|formula| {
            formula.check(
                BaseOffer {
                    name: &base.name,
                    rooms: &base.rooms,
                },
                &others,
                |id| known.contains(&id),
            )
        })
        .map_err(|error| refused(field, &error))
}

async fn check_sheen(
    conn: &mut Conn,
    caller: &Caller,
    of: &MatchRow,
    sheen: SheenId,
    field: &str,
) -> AppResult<()> {
    match offer::product_fit(conn, caller, of.product_id, sheen).await? {
        Some(fit) if fit.has_sheen => Ok(()),
        _ => Err(no_such_sheen(&format!("{field}.sheen_id"))),
    }
}

/// A refused formula; its words end with the remedy, after the last colon.
fn refused(field: &str, error: &FormulaError) -> AppError {
    let said = error.to_string();
    let (problem, remedy) = said
        .rsplit_once(": ")
        .unwrap_or((&said, "mend the formula and send it again"));
    let part = match error {
        FormulaError::OverRoom(_) => {
            return AppError::OverBaseRoom {
                problem: problem.to_owned(),
                remedy: remedy.to_owned(),
            };
        }
        FormulaError::SameColorant { again: index, .. }
        | FormulaError::UnknownColorant { index, .. } => {
            format!("{field}.shots[{index}].colorant_id")
        }
        FormulaError::TooManyColorants { .. } => format!("{field}.shots"),
        FormulaError::SizeNotOffered { .. } => format!("{field}.size"),
    };
    AppError::invalid(part, problem, remedy)
}
