//! `match …`.

use formula::id::CustomerId;
use formula::naming::Note;
use formula::wire::v1::{
    DraftParts, Found, Match as Record, MatchHit, MatchMove, NewMeasurement, NewRevision, Product,
    Revision, RevisionPick,
};

use super::formula_input::{Around, FormulaOptions};
use super::match_record::{self, RecordOptions};
use super::{ListOptions, Run, customer, draft, match_view};
use crate::exit::{Exit, Failure};
use crate::output::{Table, lab_text, time_text};
use crate::plot::PlotOptions;
use crate::reference;
use crate::remote::{PathQuery, Remote, Write, fresh, now};

/// `match`.
#[derive(Debug, clap::Subcommand)]
pub(crate) enum Match {
    /// Record a match from a measured sample, with its formula when there is one
    #[command(
        after_help = "Example:\n  secondcan match record --customer \"Brannock & Daughters\" --job Lobby \\\n      \
        --product \"Interior wall\" --sheen eggshell --spectrum lobby-chip.csv \\\n      \
        --geometry d:8 --aperture 12 --base deep --size gallon --shot PY42=24@1/48 --shot \"PBk7 3 x 1/96 fl oz\""
    )]
    Record(Box<RecordOptions>),
    /// Half-made matches, kept until the phone stops ringing
    #[command(subcommand)]
    Draft(draft::Draft),
    /// Find matches by label code, customer, phone or job, at all stores
    #[command(
        after_help = "Examples:\n  secondcan match find branock lobby\n  secondcan match find 7K3QF-9XW2D-Q"
    )]
    Find(Find),
    /// Matches, the latest first
    #[command(after_help = "Example:\n  secondcan match list --customer \"Brannock & Daughters\"")]
    List {
        /// Only this customer's: name or id
        #[arg(long, value_name = "CUSTOMER")]
        customer: Option<String>,
        #[command(flatten)]
        list: ListOptions,
    },
    /// Open a match: color, formula, how near it came, drawdowns and tints
    #[command(
        after_help = "Examples:\n  secondcan match show 7K3QF-9XW2D-Q\n  secondcan match show 7K3QF-9XW2D-Q --plot --svg lobby.svg"
    )]
    Show {
        /// Label code or id
        r#match: String,
        #[command(flatten)]
        plot: PlotOptions,
    },
    /// Add a corrected formula; the earlier ones stay
    #[command(
        after_help = "Example:\n  secondcan match revise 7K3QF-9XW2D-Q --shot PY42=22@1/48 --shot PBk7=4@1/96 --note \"less yellow\""
    )]
    Revise(Box<Revise>),
    /// Take a formula over for another customer
    #[command(
        after_help = "Example:\n  secondcan match reuse 7K3QF-9XW2D-Q --customer \"Odile Tamm\" --spectrum cushion.csv"
    )]
    Reuse(Box<ReuseOptions>),
    /// Move a match to another customer or job
    #[command(
        after_help = "Example:\n  secondcan match move 7K3QF-9XW2D-Q --customer \"Odile Tamm\" --job Porch"
    )]
    Move(Move),
    /// Pick the revision that counts
    #[command(after_help = "Example:\n  secondcan match pick 7K3QF-9XW2D-Q --revision 2")]
    Pick(Pick),
}

/// `match find`.
#[derive(Debug, clap::Args)]
pub(crate) struct Find {
    /// Label code, name, phone or job
    #[arg(required = true)]
    words: Vec<String>,
    /// Rows at most
    #[arg(long, value_name = "N", default_value_t = 20, value_parser = clap::value_parser!(u16).range(1..=20))]
    limit: u16,
}

/// `match revise`.
#[derive(Debug, clap::Args)]
pub(crate) struct Revise {
    /// Label code or id
    r#match: String,
    /// Number of the revision that is corrected; the current one when left out
    #[arg(long, value_name = "N")]
    on: Option<i32>,
    /// A remark
    #[arg(long)]
    note: Option<Note>,
    #[command(flatten)]
    formula: FormulaOptions,
}

/// `match reuse`.
#[derive(Debug, clap::Args)]
pub(crate) struct ReuseOptions {
    /// Label code or id of the match whose formula is taken over
    r#match: String,
    /// Number of the revision; the current one when left out
    #[arg(long, value_name = "N")]
    revision: Option<i32>,
    #[command(flatten)]
    record: RecordOptions,
}

/// `match move`.
#[derive(Debug, clap::Args)]
pub(crate) struct Move {
    /// Label code or id
    r#match: String,
    /// Whose it is from now on: name or id
    #[arg(long, value_name = "CUSTOMER")]
    customer: String,
    /// What for: a job of that customer; no job when left out
    #[arg(long, value_name = "JOB")]
    job: Option<String>,
}

/// `match pick`.
#[derive(Debug, clap::Args)]
#[command(group = clap::ArgGroup::new("choice").required(true).multiple(false).args(["revision", "latest"]))]
pub(crate) struct Pick {
    /// Label code or id
    r#match: String,
    /// Number of the revision
    #[arg(long, value_name = "N")]
    revision: Option<i32>,
    /// The latest one again
    #[arg(long)]
    latest: bool,
}

impl Match {
    pub(super) const fn writes(&self) -> bool {
        match self {
            Self::Draft(command) => command.writes(),
            Self::Find(_) | Self::List { .. } | Self::Show { .. } => false,
            _ => true,
        }
    }

    pub(super) fn run(self, run: &Run) -> Result<Exit, Failure> {
        let remote = run.remote()?;
        match self {
            Self::Record(options) => {
                let parts = options.onto(DraftParts::default(), &remote)?;
                match_record::record(run, &remote, parts, None, None)
            }
            Self::Draft(command) => command.run(run, &remote),
            Self::Find(find) => find.run(run, &remote),
            Self::List { customer, list } => {
                let customer = customer
                    .map(|typed| reference::customer(&remote, &typed))
                    .transpose()?;
                let path = PathQuery::new("/matches").with_some("customer_id", customer);
                let page = list.page::<MatchHit>(&remote, path)?;
                run.listed(&page, "no matches yet", hit_table)
            }
            Self::Show { r#match, plot } => {
                let opened = reference::open_match(&remote, &r#match)?;
                match_view::show(run, &remote, &opened, &plot)
            }
            Self::Revise(revise) => revise.run(run, &remote),
            Self::Reuse(reuse) => reuse.run(run, &remote),
            Self::Move(to) => to.run(run, &remote),
            Self::Pick(pick) => pick.run(run, &remote),
        }
    }
}

fn hit_table(hits: &[MatchHit]) -> Table {
    let mut table = Table::new(&[
        "label", "customer", "job", "product", "sheen", "store", "made", "wanted", "state",
    ]);
    for hit in hits {
        let mut state = match (hit.current_revision_id.is_some(), hit.verified) {
            (false, _) => "no formula yet".to_owned(),
            (true, true) => "drawn down".to_owned(),
            (true, false) => "not yet verified".to_owned(),
        };
        if hit.bad_tints > 0 {
            state = format!("BAD TINT ({} of {}), {state}", hit.bad_tints, hit.tints);
        }
        table.row([
            hit.label_code.to_string(),
            hit.customer.name.clone(),
            hit.job.clone().unwrap_or_default(),
            hit.product.name.clone(),
            hit.sheen.human_name().to_owned(),
            hit.store.name.clone(),
            time_text(hit.made_at),
            lab_text(hit.wanted.0),
            state,
        ]);
    }
    table
}

impl Find {
    fn run(self, run: &Run, remote: &Remote) -> Result<Exit, Failure> {
        let found: Found<MatchHit> = remote.get(
            PathQuery::new("/matches/find")
                .with("q", self.words.join(" "))
                .with("limit", self.limit),
        )?;
        run.output().show(&found, |screen| {
            let table = hit_table(&found.items);
            if !table.is_empty() {
                screen.table(&table);
                if let [only] = &found.items[..] {
                    screen.line(format!(
                        "found by {}; open it with `secondcan match show {}`",
                        customer::found_by(only.found_by),
                        only.label_code
                    ));
                }
            } else if found.did_you_mean.is_empty() {
                screen.line(
                    "no match found; try a part of the name, the phone, the job, or the label code",
                );
            } else {
                screen
                    .line("no match of that label code: a character is wrong, or two are swapped");
            }
            for code in &found.did_you_mean {
                screen.line(format!("did you mean {code}"));
            }
        })?;
        Ok(if found.items.is_empty() {
            Exit::NothingFound
        } else {
            Exit::Done
        })
    }
}

impl Revise {
    fn run(self, run: &Run, remote: &Remote) -> Result<Exit, Failure> {
        if !self.formula.given() {
            return Err(Failure::bad("formula", "no formula was given")
                .remedy("give the shots with --shot, and base or size where they change"));
        }
        let opened = reference::open_match(remote, &self.r#match)?;
        let corrects = match (self.on, opened.revisions.is_empty()) {
            (None, true) => None,
            (number, _) => Some(reference::revision(&opened, number)?),
        };
        if self.on.is_none()
            && let Some(revision) = corrects
            && opened.forked
            && !opened.picked
        {
            run.output().say(&format!(
                "two revisions stand side by side; this corrects number {}, name another with --on",
                revision.number
            ));
        }
        let product: Product = remote.get(format!("/products/{}", opened.product.id))?;
        let around = Around {
            product: &product,
            sheen: &opened.sheen,
            corrects,
        };
        let new = NewRevision {
            formula: self.formula.read(remote, around, self.note)?,
            parent_id: corrects.map(|revision| revision.id),
            made_at: now(),
        };
        let write = Write::new(
            &format!("revise match {}", opened.label_code),
            "POST",
            format!("/matches/{}/revisions", opened.id),
            Some(&new),
        )?;
        let saved: Revision = remote.write(&write)?;
        run.saved(&saved, |screen| {
            screen.line(format!(
                "revision {} of {} saved",
                saved.number, opened.label_code
            ));
            match_view::revision(screen, &saved);
            screen.line("not yet verified: make a drawdown, let it dry, and record it");
        })
    }
}

impl ReuseOptions {
    fn run(self, run: &Run, remote: &Remote) -> Result<Exit, Failure> {
        if self.record.formula.given() {
            return Err(Failure::bad("formula", "a reused formula is taken over as it is")
                .remedy("leave base, size and shots out; correct it later with `secondcan match revise`"));
        }
        let sample = self.record.measurement.read(remote)?;
        let source = reference::open_match(remote, &self.r#match)?;
        let revision = reference::revision(&source, self.revision)?;
        let parts = DraftParts {
            product_id: Some(source.product.id),
            sheen_id: Some(source.sheen.id),
            sample: Some(match sample {
                Some(sample) => sample,
                None => {
                    run.output().say(&format!(
                        "no new sample was measured: the wanted color of {} is taken over",
                        source.label_code
                    ));
                    NewMeasurement {
                        id: fresh!(formula::id::MeasurementId),
                        // What that file says belongs to the customer it was read for.
                        file: None,
                        ..source.sample.read.clone()
                    }
                }
            }),
            ..DraftParts::default()
        };
        let mut options = self.record;
        // Read above already; a second reading from stdin would find it empty.
        options.measurement.sample.spectrum = None;
        let parts = options.onto(parts, remote)?;
        match_record::record(run, remote, parts, Some(revision.id), None)
    }
}

impl Move {
    fn run(self, run: &Run, remote: &Remote) -> Result<Exit, Failure> {
        let opened = reference::open_match(remote, &self.r#match)?;
        let (customer_id, job_id): (CustomerId, _) = match &self.job {
            None => (reference::customer(remote, &self.customer)?, None),
            Some(job) => {
                let customer = customer::open(remote, &self.customer)?;
                let job = reference::pick("job", job, &customer.jobs)?;
                (customer.id, Some(job.id))
            }
        };
        let write = Write::new(
            &format!("move match {}", opened.label_code),
            "POST",
            format!("/matches/{}/move", opened.id),
            Some(&MatchMove {
                customer_id,
                job_id,
            }),
        )?
        .on_version(opened.version);
        let saved: Record = remote.write(&write)?;
        run.saved(&saved, |screen| {
            let job = saved
                .job
                .as_ref()
                .map_or(String::new(), |job| format!(", {}", job.label));
            screen.line(format!(
                "{} now belongs to {}{job}",
                saved.label_code, saved.customer.name
            ));
        })
    }
}

impl Pick {
    fn run(self, run: &Run, remote: &Remote) -> Result<Exit, Failure> {
        let opened = reference::open_match(remote, &self.r#match)?;
        let revision_id = match self.revision {
            Some(number) => Some(reference::revision(&opened, Some(number))?.id),
            None => None,
        };
        let write = Write::new(
            &format!("pick a revision of {}", opened.label_code),
            "POST",
            format!("/matches/{}/pick", opened.id),
            Some(&RevisionPick { revision_id }),
        )?
        .on_version(opened.version);
        let saved: Record = remote.write(&write)?;
        run.saved(&saved, |screen| match reference::revision(&saved, None) {
            Ok(revision) => screen.line(format!(
                "revision {} of {} counts now",
                revision.number, saved.label_code
            )),
            Err(_) => screen.line(format!("{} has no formula yet", saved.label_code)),
        })
    }
}
