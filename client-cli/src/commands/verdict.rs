//! `verdict …`: the chain's limits.

use formula::wire::v1::{Verdicts, VerdictsInForce};

use super::Run;
use crate::exit::{Exit, Failure};
use crate::output::Screen;
use crate::remote::Write;

/// `verdict`.
#[derive(Debug, clap::Subcommand)]
pub(crate) enum Verdict {
    /// The limits in force
    #[command(after_help = "Example:\n  secondcan verdict show")]
    Show,
    /// Set the limits: upper ends in CIEDE2000, rising
    #[command(
        after_help = "Example:\n  secondcan verdict set --indistinguishable 0.5 --accepted 1 --ask 2"
    )]
    Set {
        /// Up to here: indistinguishable side by side for most
        #[arg(long, value_name = "ΔE00")]
        indistinguishable: f64,
        /// Up to here: accepted by most
        #[arg(long, value_name = "ΔE00")]
        accepted: f64,
        /// Up to here: ask the customer with a drawdown; above, a new match
        #[arg(long, value_name = "ΔE00")]
        ask: f64,
    },
}

impl Verdict {
    pub(super) fn run(self, run: &Run) -> Result<Exit, Failure> {
        // Checked before anyone is asked.
        if let Self::Set {
            indistinguishable,
            accepted,
            ask,
        } = self
        {
            color::VerdictLimits::new(indistinguishable, accepted, ask)
                .map_err(|error| Failure::bad("verdict", error.to_string()))?;
        }
        let remote = run.remote()?;
        let in_force: VerdictsInForce = remote.get("/verdicts")?;
        match self {
            Self::Show => {
                run.output()
                    .show(&in_force, |screen| draw(screen, in_force.limits))?;
                Ok(Exit::Done)
            }
            Self::Set {
                indistinguishable,
                accepted,
                ask,
            } => {
                let limits = Verdicts {
                    indistinguishable,
                    accepted,
                    ask,
                };
                let write =
                    Write::new("set the verdict limits", "PUT", "/verdicts", Some(&limits))?
                        .on_version(in_force.version);
                let saved: VerdictsInForce = remote.write(&write)?;
                run.saved(&saved, |screen| draw(screen, saved.limits))
            }
        }
    }
}

fn draw(screen: &mut Screen, limits: Verdicts) {
    for (limit, verdict) in [
        (limits.indistinguishable, color::Verdict::Indistinguishable),
        (limits.accepted, color::Verdict::Accepted),
        (limits.ask, color::Verdict::AskCustomer),
    ] {
        screen.pair(&format!("up to {limit}"), verdict.phrase());
    }
    screen.pair("above", color::Verdict::NewMatch.phrase());
}
