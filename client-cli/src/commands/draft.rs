//! `match draft …`: half-made matches, kept at the server so that another terminal can go on.

use formula::id::DraftId;
use formula::naming::DraftTitle;
use formula::wire::v1::{Draft as Record, DraftEdit, DraftParts, NewDraft};

use super::match_record::{self, RecordOptions};
use super::{ListOptions, Run};
use crate::exit::{Exit, Failure};
use crate::output::{Screen, Table, time_text};
use crate::remote::{Remote, Write, fresh};

/// `match draft`.
#[derive(Debug, clap::Subcommand)]
pub(crate) enum Draft {
    /// Keep what there is so far, in a new draft or in one begun before
    #[command(
        after_help = "Examples:\n  secondcan match draft save --title \"Blue cushion\" --spectrum cushion.csv\n  \
        secondcan match draft save --draft 019a2f3c-5b7e-7d41-9c02-6e1f8a4b3d57 --customer \"Odile Tamm\""
    )]
    Save(Box<Save>),
    /// Your drafts
    #[command(after_help = "Example:\n  secondcan match draft list")]
    List {
        #[command(flatten)]
        list: ListOptions,
    },
    /// What a draft holds and lacks
    #[command(
        after_help = "Example:\n  secondcan match draft show 019a2f3c-5b7e-7d41-9c02-6e1f8a4b3d57"
    )]
    Show {
        /// Its id
        draft: DraftId,
    },
    /// Go on with a draft: add what it lacks and record the match
    #[command(
        after_help = "Example:\n  secondcan match draft resume 019a2f3c-5b7e-7d41-9c02-6e1f8a4b3d57 \\\n      \
        --product \"Interior wall\" --sheen eggshell"
    )]
    Resume(Box<Resume>),
    /// Throw a draft away
    #[command(
        after_help = "Example:\n  secondcan match draft discard 019a2f3c-5b7e-7d41-9c02-6e1f8a4b3d57"
    )]
    Discard {
        /// Its id
        draft: DraftId,
    },
}

/// `match draft save`.
#[derive(Debug, clap::Args)]
pub(crate) struct Save {
    /// The draft to put more into; a new one when left out
    #[arg(long, value_name = "ID")]
    draft: Option<DraftId>,
    /// What you want to see in the list
    #[arg(long)]
    title: Option<DraftTitle>,
    #[command(flatten)]
    parts: RecordOptions,
}

/// `match draft resume`.
#[derive(Debug, clap::Args)]
pub(crate) struct Resume {
    /// Its id
    draft: DraftId,
    #[command(flatten)]
    parts: RecordOptions,
}

impl Draft {
    pub(super) const fn writes(&self) -> bool {
        !matches!(self, Self::List { .. } | Self::Show { .. })
    }

    pub(super) fn run(self, run: &Run, remote: &Remote) -> Result<Exit, Failure> {
        match self {
            Self::Save(save) => save.run(run, remote),
            Self::List { list } => {
                let page = list.page::<Record>(remote, "/drafts")?;
                run.listed(&page, "no drafts", |items| {
                    let mut table = Table::new(&["title", "put down", "lacks", "id"]);
                    for item in items {
                        table.row([
                            item.title.to_string(),
                            time_text(item.updated_at),
                            lacks(&item.parts).join(", "),
                            item.id.to_string(),
                        ]);
                    }
                    table
                })
            }
            Self::Show { draft } => {
                let record: Record = remote.get(format!("/drafts/{draft}"))?;
                run.output().show(&record, |screen| draw(screen, &record))?;
                Ok(Exit::Done)
            }
            Self::Resume(resume) => {
                let record: Record = remote.get(format!("/drafts/{}", resume.draft))?;
                let parts = resume.parts.onto(record.parts, remote)?;
                match_record::record(run, remote, parts, None, Some(resume.draft))
            }
            Self::Discard { draft } => {
                let record: Record = remote.get(format!("/drafts/{draft}"))?;
                let write = Write::new(
                    "discard a draft",
                    "DELETE",
                    format!("/drafts/{draft}"),
                    None::<&()>,
                )?
                .on_version(record.version);
                remote.write_silent(&write)?;
                run.saved(&serde_json::json!({ "id": draft }), |screen| {
                    screen.line(format!("draft discarded: {}", record.title));
                })
            }
        }
    }
}

impl Save {
    fn run(self, run: &Run, remote: &Remote) -> Result<Exit, Failure> {
        let write = match self.draft {
            None => {
                let title = match self.title {
                    Some(title) => title,
                    None => title_of(self.parts.customer.as_deref())?,
                };
                let new = NewDraft {
                    id: fresh!(DraftId),
                    title,
                    parts: self.parts.onto(DraftParts::default(), remote)?,
                };
                Write::new("keep a draft", "POST", "/drafts", Some(&new))?
            }
            Some(id) => {
                let record: Record = remote.get(format!("/drafts/{id}"))?;
                let edit = DraftEdit {
                    title: self.title,
                    parts: Some(self.parts.onto(record.parts, remote)?),
                };
                Write::new(
                    "put more into a draft",
                    "PATCH",
                    format!("/drafts/{id}"),
                    Some(&edit),
                )?
                .on_version(record.version)
            }
        };
        let saved: Record = remote.write(&write)?;
        run.saved(&saved, |screen| {
            screen.line("draft kept");
            draw(screen, &saved);
        })
    }
}

fn title_of(customer: Option<&str>) -> Result<DraftTitle, Failure> {
    let text = customer.map_or_else(
        || "half-made match".to_owned(),
        |customer| format!("for {customer}"),
    );
    DraftTitle::try_from(text).map_err(|error| {
        Failure::bad("title", error.to_string()).remedy("give a title with --title")
    })
}

fn lacks(parts: &DraftParts) -> Vec<&'static str> {
    [
        (parts.customer_id.is_none(), "customer"),
        (parts.product_id.is_none(), "product"),
        (parts.sheen_id.is_none(), "sheen"),
        (parts.sample.is_none(), "spectrum"),
    ]
    .into_iter()
    .filter_map(|(lacking, name)| lacking.then_some(name))
    .collect()
}

fn draw(screen: &mut Screen, record: &Record) {
    screen.bold(&record.title);
    screen.pair("put down", time_text(record.updated_at));
    let lacking = lacks(&record.parts);
    screen.pair(
        "lacks",
        if lacking.is_empty() {
            "nothing: record it with `secondcan match draft resume`".to_owned()
        } else {
            lacking.join(", ")
        },
    );
    screen.pair(
        "formula",
        record
            .parts
            .formula
            .as_ref()
            .map_or("none yet".to_owned(), |formula| {
                format!(
                    "{} colorants, {}",
                    formula.shots.len(),
                    formula.size.human_name()
                )
            }),
    );
    if let Some(note) = &record.parts.note {
        screen.pair("note", note);
    }
    screen.pair("id", record.id.to_string());
}
