//! `reorder …`.

use formula::id::ReorderId;
use formula::label::LabelCode;
use formula::quantity::CanSize;
use formula::reorder::ReorderState;
use formula::wire::v1::{NewReorder, Reorder as Record, ReorderAdvance};

use super::{ListOptions, Run, match_view, own_store};
use crate::exit::{Exit, Failure};
use crate::output::{Screen, Table, time_text};
use crate::reference;
use crate::remote::{PathQuery, Remote, Write, fresh, now};
use crate::word::word;

/// `reorder`.
#[derive(Debug, clap::Subcommand)]
pub(crate) enum Reorder {
    /// Order a match again
    #[command(
        after_help = "Example:\n  secondcan reorder place 7K3QF-9XW2D-Q --size gallon --cans 2 --store \"South Hill\""
    )]
    Place(Place),
    /// Reorders, the latest first
    #[command(
        after_help = "Example:\n  secondcan reorder list --state placed --store \"South Hill\""
    )]
    List(List),
    /// A reorder with all that happened so far
    #[command(after_help = "Example:\n  secondcan reorder show 7K3QF-9XW2D-Q")]
    Show {
        /// Its id, or the label code of a match with one open reorder
        reorder: String,
    },
    /// Go on with a reorder: being tinted, ready, picked up
    #[command(
        after_help = "Examples:\n  secondcan reorder advance 7K3QF-9XW2D-Q\n  \
        secondcan reorder advance 7K3QF-9XW2D-Q --to ready"
    )]
    Advance {
        /// Its id, or the label code of a match with one open reorder
        reorder: String,
        /// The state it goes to; the next one when left out
        #[arg(long, value_parser = word::<ReorderState>())]
        to: Option<ReorderState>,
    },
    /// Cancel a reorder
    #[command(after_help = "Example:\n  secondcan reorder cancel 7K3QF-9XW2D-Q")]
    Cancel {
        /// Its id, or the label code of a match with one open reorder
        reorder: String,
    },
}

/// `reorder place`.
#[derive(Debug, clap::Args)]
pub(crate) struct Place {
    /// Label code or id of the match
    r#match: String,
    /// Can size
    #[arg(long, value_parser = word::<CanSize>())]
    size: CanSize,
    /// How many cans
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = clap::value_parser!(u16).range(1..=500))]
    cans: u16,
    /// Where it will be picked up; your own store when left out
    #[arg(long, value_name = "STORE")]
    store: Option<String>,
    /// This revision and no other
    #[arg(long, value_name = "N")]
    revision: Option<i32>,
}

/// `reorder list`.
#[derive(Debug, clap::Args)]
pub(crate) struct List {
    /// Only to be picked up at this store
    #[arg(long, value_name = "STORE")]
    store: Option<String>,
    /// Only in this state
    #[arg(long, value_parser = word::<ReorderState>())]
    state: Option<ReorderState>,
    /// Only of this match: label code or id
    #[arg(long, value_name = "MATCH")]
    r#match: Option<String>,
    #[command(flatten)]
    list: ListOptions,
}

impl Reorder {
    pub(super) const fn writes(&self) -> bool {
        !matches!(self, Self::List(_) | Self::Show { .. })
    }

    pub(super) fn run(self, run: &Run) -> Result<Exit, Failure> {
        let remote = run.remote()?;
        match self {
            Self::Place(place) => place.run(run, &remote),
            Self::List(list) => list.run(run, &remote),
            Self::Show { reorder } => {
                let record = open(&remote, &reorder)?;
                run.output().show(&record, |screen| draw(screen, &record))?;
                Ok(Exit::Done)
            }
            Self::Advance { reorder, to } => {
                let record = open(&remote, &reorder)?;
                let to = match to {
                    Some(to) => to,
                    None => record.state.ordinary_next().ok_or_else(|| {
                        Failure::new(
                            Exit::Conflict,
                            "state-conflict",
                            format!(
                                "the reorder is {} and nothing follows",
                                record.state.human_name()
                            ),
                        )
                        .field("to")
                        .remedy("place a new reorder")
                    })?,
                };
                advance(run, &remote, &record, to)
            }
            Self::Cancel { reorder } => {
                let record = open(&remote, &reorder)?;
                advance(run, &remote, &record, ReorderState::Cancelled)
            }
        }
    }
}

/// The reorder that is meant, opened.
pub(super) fn open(remote: &Remote, typed: &str) -> Result<Record, Failure> {
    if let Ok(id) = typed.trim().parse::<ReorderId>() {
        return Ok(remote.get(format!("/reorders/{id}"))?);
    }
    if let Err(error) = typed.parse::<LabelCode>()
        && error.suggestions().is_empty()
    {
        return Err(Failure::bad(
            "reorder",
            "this is neither the id of a reorder nor a label code",
        )
        .value(typed)
        .remedy("look with `secondcan reorder list`"));
    }
    let match_id = reference::match_id(remote, typed)?;
    let all: Vec<Record> = remote.all(PathQuery::new("/reorders").with("match_id", match_id))?;
    let open: Vec<&Record> = all
        .iter()
        .filter(|reorder| !reorder.state.is_final())
        .collect();
    match open[..] {
        [one] => Ok(one.clone()),
        [] => Err(
            Failure::nothing("reorder", "this match has no open reorder")
                .value(typed)
                .remedy("place one with `secondcan reorder place`, or give the id of a closed one"),
        ),
        ref several => Err(Failure::bad(
            "reorder",
            format!("this match has {} open reorders", several.len()),
        )
        .value(typed)
        .remedy("give the id of the one that is meant")
        .candidates(
            several
                .iter()
                .map(|reorder| {
                    format!(
                        "{}  {} × {}, {}, {}",
                        reorder.id,
                        reorder.cans,
                        reorder.size.human_name(),
                        reorder.store.name,
                        reorder.state.human_name()
                    )
                })
                .collect(),
        )),
    }
}

impl Place {
    fn run(self, run: &Run, remote: &Remote) -> Result<Exit, Failure> {
        let (match_id, revision_id) = match self.revision {
            None => (reference::match_id(remote, &self.r#match)?, None),
            Some(number) => {
                let opened = reference::open_match(remote, &self.r#match)?;
                let revision = reference::revision(&opened, Some(number))?.id;
                (opened.id, Some(revision))
            }
        };
        let store = own_store(remote, self.store.as_deref())?;
        let new = NewReorder {
            id: fresh!(ReorderId),
            match_id,
            revision_id,
            store_id: store.id,
            size: self.size,
            cans: self.cans,
            placed_at: now(),
        };
        let write = Write::new("place a reorder", "POST", "/reorders", Some(&new))?;
        let saved: Record = remote.write(&write)?;
        run.saved(&saved, |screen| {
            screen.line("reorder placed");
            draw(screen, &saved);
        })
    }
}

impl List {
    fn run(self, run: &Run, remote: &Remote) -> Result<Exit, Failure> {
        let store = self
            .store
            .map(|typed| reference::store(remote, &typed))
            .transpose()?;
        let match_id = self
            .r#match
            .map(|typed| reference::match_id(remote, &typed))
            .transpose()?;
        let path = PathQuery::new("/reorders")
            .with_some("store_id", store.map(|store| store.id))
            .with_some("state", self.state)
            .with_some("match_id", match_id);
        let page = self.list.page::<Record>(remote, path)?;
        run.listed(&page, "no reorders", |items| {
            let mut table = Table::new(&[
                "label", "customer", "job", ">cans", "size", "store", "state", "placed", "id",
            ]);
            for item in items {
                let warned = if item.warnings.is_empty() { "" } else { "! " };
                table.row([
                    item.label_code.to_string(),
                    item.customer.name.clone(),
                    item.job.clone().unwrap_or_default(),
                    format!("{}/{}", item.tinted, item.cans),
                    item.size.human_name().to_owned(),
                    item.store.name.clone(),
                    format!("{warned}{}", item.state.human_name()),
                    time_text(item.placed_at),
                    item.id.to_string(),
                ]);
            }
            table
        })
    }
}

fn advance(run: &Run, remote: &Remote, record: &Record, to: ReorderState) -> Result<Exit, Failure> {
    let write = Write::new(
        &format!("reorder of {}: {}", record.label_code, to.human_name()),
        "POST",
        format!("/reorders/{}/advance", record.id),
        Some(&ReorderAdvance { to }),
    )?
    .on_version(record.version);
    // Before the write: what can still fail must not hide that it was saved.
    if to == ReorderState::BeingTinted {
        caution(run, remote, record.match_id)?;
    }
    let saved: Record = remote.write(&write)?;
    run.saved(&saved, |screen| draw(screen, &saved))
}

/// What everyone who mixes should hear first. On stderr, so that it is heard beside a document too.
fn caution(run: &Run, remote: &Remote, match_id: formula::id::MatchId) -> Result<(), Failure> {
    let opened: formula::wire::v1::Match = remote.get(format!("/matches/{match_id}"))?;
    if match_view::is_solvent(remote, opened.product.id)? {
        run.output().say(match_view::SOLVENT_CAUTION);
    }
    run.output().say(&format!(
        "{} Unplug mixing gear before reaching in.",
        match_view::CAUTION
    ));
    Ok(())
}

fn draw(screen: &mut Screen, record: &Record) {
    screen.bold(format!("{}   {}", record.label_code, record.customer.name));
    for warning in &record.warnings {
        screen.warn(warning);
    }
    if let Some(job) = &record.job {
        screen.pair("job", job);
    }
    screen.pair(
        "order",
        format!(
            "{} × {}, {} tinted",
            record.cans,
            record.size.human_name(),
            record.tinted
        ),
    );
    screen.pair("pick up at", &record.store.name);
    screen.pair("state", record.state.human_name());
    for step in &record.steps {
        screen.pair(
            "",
            format!(
                "{}  {} by {}",
                time_text(step.at),
                step.to.human_name(),
                step.made_by.name
            ),
        );
    }
    if !record.next_states.is_empty() {
        let next: Vec<&str> = record
            .next_states
            .iter()
            .map(|state| state.human_name())
            .collect();
        screen.pair("next", next.join(", or "));
    }
    screen.pair("placed", time_text(record.placed_at));
    screen.pair("id", record.id.to_string());
}
