//! `colorant …`.

use formula::colorant::ColourIndexName;
use formula::id::ColorantId;
use formula::naming::PigmentName;
use formula::wire::v1::{Colorant as Record, ColorantEdit, NewColorant};

use super::{InUse, ListOptions, Run, formula_input};
use crate::exit::{Exit, Failure};
use crate::output::{Screen, Table};
use crate::remote::{Remote, Write, fresh};

/// `colorant`.
#[derive(Debug, clap::Subcommand)]
pub(crate) enum Colorant {
    /// All colorants
    #[command(after_help = "Example:\n  secondcan colorant list")]
    List {
        #[command(flatten)]
        list: ListOptions,
    },
    /// Add a colorant by Colour Index name and pigment
    #[command(after_help = "Example:\n  secondcan colorant add PY42 \"yellow oxide\"")]
    Add {
        /// Colour Index generic name
        ci_name: ColourIndexName,
        /// Pigment in words
        pigment: PigmentName,
    },
    /// Change a colorant; what is not named stays
    #[command(after_help = "Example:\n  secondcan colorant edit PY42 --retire")]
    Edit {
        /// Colour Index name, pigment, or id
        colorant: String,
        /// New words for the pigment
        #[arg(long)]
        pigment: Option<PigmentName>,
        #[command(flatten)]
        in_use: InUse,
    },
}

impl Colorant {
    pub(super) fn run(self, run: &Run) -> Result<Exit, Failure> {
        let remote = run.remote()?;
        match self {
            Self::List { list } => {
                let page = list.page::<Record>(&remote, "/colorants")?;
                run.listed(&page, "no colorants yet", |items| {
                    let mut table = Table::new(&["Colour Index", "pigment", "state", "id"]);
                    for item in items {
                        table.row([
                            item.ci_name.to_string(),
                            item.pigment.to_string(),
                            if item.retired { "retired" } else { "in use" }.to_owned(),
                            item.id.to_string(),
                        ]);
                    }
                    table
                })
            }
            Self::Add { ci_name, pigment } => {
                let new = NewColorant {
                    id: fresh!(ColorantId),
                    ci_name,
                    pigment,
                };
                let write = Write::new("add a colorant", "POST", "/colorants", Some(&new))?;
                save(run, &remote, &write)
            }
            Self::Edit {
                colorant,
                pigment,
                in_use,
            } => {
                let known = remote.all::<Record>("/colorants")?;
                let record = formula_input::colorant(&known, &colorant)?;
                let change = ColorantEdit {
                    pigment,
                    retired: in_use.change(),
                };
                let write = Write::new(
                    "change a colorant",
                    "PATCH",
                    format!("/colorants/{}", record.id),
                    Some(&change),
                )?
                .on_version(record.version);
                save(run, &remote, &write)
            }
        }
    }
}

fn save(run: &Run, remote: &Remote, write: &Write) -> Result<Exit, Failure> {
    let saved: Record = remote.write(write)?;
    run.saved(&saved, |screen| draw(screen, &saved))
}

fn draw(screen: &mut Screen, colorant: &Record) {
    screen.bold(format!("{} {}", colorant.ci_name, colorant.pigment));
    screen.pair(
        "state",
        if colorant.retired {
            "retired"
        } else {
            "in use"
        },
    );
    screen.pair("id", colorant.id.to_string());
}
