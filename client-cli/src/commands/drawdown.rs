//! `drawdown record`.

use formula::id::DrawdownId;
use formula::naming::Note;
use formula::wire::v1::{Drawdown as Record, NewDrawdown};

use super::Run;
use crate::conditions::MeasurementOptions;
use crate::exit::{Exit, Failure};
use crate::reference;
use crate::remote::{Write, fresh, now};

/// `drawdown`.
#[derive(Debug, clap::Subcommand)]
pub(crate) enum Drawdown {
    /// Record what a drawdown of a revision measures
    #[command(
        after_help = "Example:\n  secondcan drawdown record 7K3QF-9XW2D-Q --dry --spectrum drawdown.csv --aperture 12\n\n\
        A wet drawdown proves nothing: paint changes as it dries."
    )]
    Record(Box<RecordDrawdown>),
}

/// `drawdown record`.
#[derive(Debug, clap::Args)]
#[command(group = clap::ArgGroup::new("state").required(true).multiple(false).args(["dry", "wet"]))]
pub(crate) struct RecordDrawdown {
    /// Label code or id
    r#match: String,
    /// Number of the revision; the current one when left out
    #[arg(long, value_name = "N")]
    revision: Option<i32>,
    /// It was dry when it was measured
    #[arg(long)]
    dry: bool,
    /// It was not dry yet
    #[arg(long)]
    wet: bool,
    /// A remark
    #[arg(long)]
    note: Option<Note>,
    #[command(flatten)]
    measurement: MeasurementOptions,
}

impl Drawdown {
    pub(super) fn run(self, run: &Run) -> Result<Exit, Failure> {
        let Self::Record(options) = self;
        let remote = run.remote()?;
        let measurement = options.measurement.require(&remote)?;
        let opened = reference::open_match(&remote, &options.r#match)?;
        let revision = reference::revision(&opened, options.revision)?;
        let new = NewDrawdown {
            id: fresh!(DrawdownId),
            measurement,
            dry: options.dry,
            note: options.note,
            made_at: now(),
        };
        let write = Write::new(
            &format!("record a drawdown of {}", opened.label_code),
            "POST",
            format!("/revisions/{}/drawdowns", revision.id),
            Some(&new),
        )?;
        let saved: Record = remote.write(&write)?;
        let wanted = opened.sample.lab.0;
        run.saved(&saved, |screen| {
            screen.line(format!(
                "drawdown of revision {} of {} saved",
                revision.number, opened.label_code
            ));
            screen.color("wanted", wanted, "");
            screen.color("measured", saved.measurement.lab.0, "");
            screen.pair(
                "difference",
                format!(
                    "ΔE00 {:.2}; {}",
                    saved.de2000_from_wanted,
                    color::Direction::between(wanted, saved.measurement.lab.0)
                ),
            );
            if !saved.dry {
                screen.warn("it was wet: let it dry and measure again before judging");
            }
        })
    }
}
