//! `instrument correct …`.

use formula::id::CorrectionId;
use formula::wire::v1::{InstrumentCorrection, NewCorrection};
use time::OffsetDateTime;

use super::{ListOptions, Run, pick};
use crate::conditions;
use crate::exit::{Exit, Failure};
use crate::output::{Screen, Table, time_text};
use crate::remote::{PathQuery, Remote, Write, fresh};

/// `instrument correct`.
#[derive(Debug, clap::Subcommand)]
pub(crate) enum Correct {
    /// Fit a correction on the tiles that both instruments have read, and put it in force
    #[command(
        after_help = "Example:\n  secondcan instrument correct fit \"Mill sphere\" --to \"Counter sphere 2\"\n\n\
        Color lead only. It is applied when readings are compared, never to what is stored; refused when it does \
        not help on tiles left out of the fit."
    )]
    Fit {
        /// The instrument whose readings are corrected: name, serial number or id
        instrument: String,
        /// The instrument that they are corrected to
        #[arg(long, value_name = "INSTRUMENT")]
        to: String,
        /// Leave out tile readings of before; the last 90 days count when left out
        #[arg(long, value_name = "TIME", value_parser = conditions::time)]
        since: Option<OffsetDateTime>,
    },
    /// Corrections from or to an instrument, retired ones too
    #[command(after_help = "Example:\n  secondcan instrument correct show \"Mill sphere\"")]
    Show {
        /// Name, serial number or id
        instrument: String,
        #[command(flatten)]
        list: ListOptions,
    },
    /// Take the correction between two instruments out of force
    #[command(
        after_help = "Example:\n  secondcan instrument correct retire \"Mill sphere\" --to \"Counter sphere 2\""
    )]
    Retire {
        /// The instrument whose readings are corrected
        instrument: String,
        /// The instrument that they are corrected to
        #[arg(long, value_name = "INSTRUMENT")]
        to: String,
    },
}

impl Correct {
    pub(super) fn run(self, run: &Run, remote: &Remote) -> Result<Exit, Failure> {
        match self {
            Self::Fit {
                instrument,
                to,
                since,
            } => {
                let new = NewCorrection {
                    id: fresh!(CorrectionId),
                    instrument_id: pick(remote, &instrument)?.id,
                    reference_id: pick(remote, &to)?.id,
                    read_since: since,
                };
                let write = Write::new("fit a correction", "POST", "/corrections", Some(&new))?;
                save(run, remote, &write)
            }
            Self::Show { instrument, list } => {
                let path = PathQuery::new("/corrections")
                    .with("instrument_id", pick(remote, &instrument)?.id);
                let page = list.page::<InstrumentCorrection>(remote, path)?;
                run.listed(&page, "no corrections yet", |items| {
                    let mut table = Table::new(&[
                        "from",
                        "to",
                        ">version",
                        ">tiles",
                        ">mean before",
                        ">after",
                        ">worst before",
                        ">after",
                        "fitted",
                        "state",
                    ]);
                    for item in items {
                        table.row([
                            item.instrument.name.clone(),
                            item.reference.name.clone(),
                            item.version.to_string(),
                            item.tiles.len().to_string(),
                            format!("{:.3}", item.before.mean),
                            format!("{:.3}", item.after.mean),
                            format!("{:.3}", item.before.max),
                            format!("{:.3}", item.after.max),
                            time_text(item.fitted_at),
                            item.retired_at.map_or("in force".to_owned(), |at| {
                                format!("retired {}", time_text(at))
                            }),
                        ]);
                    }
                    table
                })
            }
            Self::Retire { instrument, to } => {
                let (from, to) = (pick(remote, &instrument)?, pick(remote, &to)?);
                let path = PathQuery::new("/corrections").with("instrument_id", from.id);
                let in_force = remote
                    .all::<InstrumentCorrection>(path)?
                    .into_iter()
                    .find(|known| {
                        known.instrument.id == from.id
                            && known.reference.id == to.id
                            && known.retired_at.is_none()
                    })
                    .ok_or_else(|| {
                        Failure::nothing(
                            "correction",
                            format!("no correction of {} to {} is in force", from.name, to.name),
                        )
                    })?;
                let write = Write::new(
                    "take a correction out of force",
                    "POST",
                    format!("/corrections/{}/retire", in_force.id),
                    None::<&()>,
                )?;
                save(run, remote, &write)
            }
        }
    }
}

fn save(run: &Run, remote: &Remote, write: &Write) -> Result<Exit, Failure> {
    let saved: InstrumentCorrection = remote.write(write)?;
    run.saved(&saved, |screen| draw(screen, &saved))
}

fn draw(screen: &mut Screen, correction: &InstrumentCorrection) {
    screen.bold(format!(
        "{} to {}, version {}",
        correction.instrument.name, correction.reference.name, correction.version
    ));
    screen.pair(
        "state",
        correction.retired_at.map_or("in force".to_owned(), |at| {
            format!("retired {}", time_text(at))
        }),
    );
    screen.pair(
        "worth",
        format!(
            "mean ΔE00 between the two {:.3} to {:.3}, worst {:.3} to {:.3}, each tile left out of its own fit",
            correction.before.mean,
            correction.after.mean,
            correction.before.max,
            correction.after.max
        ),
    );
    screen.pair("shift found", format!("{:+.2} nm", correction.shift_nm));
    let mut table = Table::new(&["tile", ">before", ">after"]);
    for tile in &correction.tiles {
        table.row([
            tile.tile.clone(),
            format!("{:.3}", tile.before),
            format!("{:.3}", tile.after),
        ]);
    }
    screen.table(&table);
    screen.line("applied to comparisons only; what is stored stays as it was read");
}
