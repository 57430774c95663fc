//! `tint …`.

use formula::id::{BaseId, MatchId, TintId};
use formula::naming::{Lot, Note};
use formula::quantity::CanSize;
use formula::wire::v1::{
    Colorant, ColorantLot, FaultReason, NewTint, NewTintFault, Tint as RecordOfCan, TintShotLine,
};

use super::{ListOptions, Run, formula_input, match_view, reorder};
use crate::amounts::{TypedLot, TypedShot};
use crate::exit::{Exit, Failure};
use crate::output::{Screen, Table, time_text};
use crate::reference;
use crate::remote::{PathQuery, Remote, Write, fresh, now};
use crate::word::word;

/// `tint`.
#[derive(Debug, clap::Subcommand)]
pub(crate) enum Tint {
    /// Record a can really made, with what differs from the formula
    #[command(
        after_help = "Examples:\n  secondcan tint record --reorder 7K3QF-9XW2D-Q --base-lot L2417-3 --lot PY42=C88\n  \
        secondcan tint record 7K3QF-9XW2D-Q --size gallon --shot PY42=25@1/48 --shot PBk7=3@1/96"
    )]
    Record(Box<Record>),
    /// The cans made of a match, the latest first
    #[command(after_help = "Example:\n  secondcan tint list 7K3QF-9XW2D-Q")]
    List {
        /// Label code or id
        r#match: String,
        #[command(flatten)]
        list: ListOptions,
    },
    /// Mark a can as bad; the next reorder warns of it
    #[command(
        after_help = "Example:\n  secondcan tint mark-bad 019a2f3c-5b7e-7d41-9c02-6e1f8a4b3d57 --reason wrong-base --note \"deep instead of medium\""
    )]
    MarkBad {
        /// Id of the tint, as `tint list` shows it
        tint: TintId,
        /// What is wrong with it
        #[arg(long, value_parser = word::<FaultReason>())]
        reason: FaultReason,
        /// A remark
        #[arg(long)]
        note: Option<Note>,
    },
}

/// `tint record`.
#[derive(Debug, clap::Args)]
#[command(group = clap::ArgGroup::new("of").required(true).multiple(false).args(["match", "reorder"]))]
pub(crate) struct Record {
    /// Label code or id of the match, when there is no reorder
    r#match: Option<String>,
    /// The reorder it is made for: id, or label code with one open reorder
    #[arg(long, value_name = "REORDER")]
    reorder: Option<String>,
    /// Can size; the reorder's, else the formula's, when left out
    #[arg(long, value_parser = word::<CanSize>())]
    size: Option<CanSize>,
    /// Number of the revision; the current one when left out
    #[arg(long, value_name = "N")]
    revision: Option<i32>,
    /// The base used, when it is not the formula's
    #[arg(long, value_name = "BASE")]
    base: Option<String>,
    /// Lot of the base
    #[arg(long, value_name = "LOT")]
    base_lot: Option<Lot>,
    /// What really went in, all of it; as the formula says when left out
    #[arg(long = "shot", value_name = "SHOT")]
    shots: Vec<TypedShot>,
    /// Lot of a colorant, such as PY42=C88; repeat for more
    #[arg(long = "lot", value_name = "COLORANT=LOT")]
    lots: Vec<TypedLot>,
    /// A remark
    #[arg(long)]
    note: Option<Note>,
}

impl Tint {
    pub(super) const fn writes(&self) -> bool {
        !matches!(self, Self::List { .. })
    }

    pub(super) fn run(self, run: &Run) -> Result<Exit, Failure> {
        let remote = run.remote()?;
        match self {
            Self::Record(record) => record.run(run, &remote),
            Self::List { r#match, list } => {
                let id = reference::match_id(&remote, &r#match)?;
                let path = PathQuery::new("/tints").with("match_id", id);
                let page = list.page::<RecordOfCan>(&remote, path)?;
                run.listed(&page, "no tints yet", |items| {
                    let mut table = Table::new(&[
                        "tinted", "store", "by", "size", "base", "base lot", "state", "id",
                    ]);
                    for item in items {
                        table.row([
                            time_text(item.made_at),
                            item.store.name.clone(),
                            item.made_by.name.clone(),
                            item.size.human_name().to_owned(),
                            item.base.name.clone(),
                            item.base_lot
                                .as_ref()
                                .map_or(String::new(), ToString::to_string),
                            state_text(item),
                            item.id.to_string(),
                        ]);
                    }
                    table
                })
            }
            Self::MarkBad { tint, reason, note } => {
                let write = Write::new(
                    "mark a tint as bad",
                    "POST",
                    format!("/tints/{tint}/fault"),
                    Some(&NewTintFault { reason, note }),
                )?;
                let saved: RecordOfCan = remote.write(&write)?;
                run.saved(&saved, |screen| {
                    screen.line("marked as bad; the next reorder warns of it");
                    draw(screen, &saved);
                })
            }
        }
    }
}

/// What is wrong with a can, in words.
pub(super) const fn reason_text(reason: FaultReason) -> &'static str {
    match reason {
        FaultReason::WrongColor => "the color is off",
        FaultReason::WrongSheen => "the sheen is off",
        FaultReason::WrongBase => "another base was used",
        FaultReason::WrongAmount => "more or less colorant than meant",
        FaultReason::MachineFault => "the dispenser or the shaker failed",
        FaultReason::Contaminated => "something else got in",
        FaultReason::Other => "see the remark",
    }
}

/// How a can turned out.
pub(super) fn state_text(tint: &RecordOfCan) -> String {
    match &tint.fault {
        Some(fault) => format!("BAD: {}", reason_text(fault.reason)),
        None if tint.flags.is_empty() => "as the formula says".to_owned(),
        None => tint.flags.join("; "),
    }
}

impl Record {
    fn run(self, run: &Run, remote: &Remote) -> Result<Exit, Failure> {
        let reorder = self
            .reorder
            .as_deref()
            .map(|typed| reorder::open(remote, typed))
            .transpose()?;
        let match_id: MatchId = match (&reorder, &self.r#match) {
            (Some(reorder), _) => reorder.match_id,
            (None, Some(typed)) => reference::match_id(remote, typed)?,
            (None, None) => {
                return Err(Failure::bad(
                    "match",
                    "neither a match nor a reorder is named",
                ));
            }
        };
        let opened: formula::wire::v1::Match = remote.get(format!("/matches/{match_id}"))?;
        let asked_for = reorder.as_ref().and_then(|reorder| reorder.revision_id);
        let revision = match (self.revision, asked_for) {
            (None, Some(id)) => opened
                .revisions
                .iter()
                .find(|revision| revision.id == id)
                .ok_or_else(|| Failure::nothing("revision", "the reorder's revision is gone"))?,
            (number, _) => reference::revision(&opened, number)?,
        };
        let size = self
            .size
            .or_else(|| reorder.as_ref().map(|reorder| reorder.size))
            .unwrap_or(revision.size);
        let base_id: Option<BaseId> = self
            .base
            .as_deref()
            .map(|typed| reference::base(remote, typed, Some(opened.product.id)))
            .transpose()?
            .map(|base| base.id);
        let (shots, lots) = self.contents(remote)?;
        for warning in reorder.iter().flat_map(|reorder| &reorder.warnings) {
            run.output().say(warning);
        }
        let new = NewTint {
            id: fresh!(TintId),
            revision_id: revision.id,
            reorder_id: reorder.as_ref().map(|reorder| reorder.id),
            size,
            base_id,
            base_lot: self.base_lot,
            shots,
            lots,
            note: self.note,
            made_at: now(),
        };
        let write = Write::new(
            &format!("record a tint of {}", opened.label_code),
            "POST",
            "/tints",
            Some(&new),
        )?;
        // Before the write: what can still fail must not hide that it was saved.
        if match_view::is_solvent(remote, opened.product.id)? {
            run.output().say(match_view::SOLVENT_CAUTION);
        }
        run.output().say(match_view::CAUTION);
        let saved: RecordOfCan = remote.write(&write)?;
        run.saved(&saved, |screen| {
            screen.line(format!("tint of {} recorded", opened.label_code));
            draw(screen, &saved);
        })
    }

    /// What really went in, and the lots.
    fn contents(
        &self,
        remote: &Remote,
    ) -> Result<(Option<Vec<TintShotLine>>, Vec<ColorantLot>), Failure> {
        if self.shots.is_empty() && self.lots.is_empty() {
            return Ok((None, Vec::new()));
        }
        let known = remote.all::<Colorant>("/colorants")?;
        let mut lots = Vec::new();
        for typed in &self.lots {
            lots.push(ColorantLot {
                colorant_id: formula_input::colorant_id(&known, &typed.colorant)?,
                lot: typed.lot.clone(),
            });
        }
        if self.shots.is_empty() {
            return Ok((None, lots));
        }
        let mut lines = Vec::new();
        for shot in &self.shots {
            let colorant_id = formula_input::colorant_id(&known, &shot.colorant)?;
            let at = lots.iter().position(|lot| lot.colorant_id == colorant_id);
            lines.push(TintShotLine {
                colorant_id,
                count: shot.shots.count,
                unit: shot.shots.unit,
                lot: at.map(|at| lots.swap_remove(at).lot),
            });
        }
        match lots.is_empty() {
            true => Ok((Some(lines), lots)),
            false => Err(
                Failure::bad("lot", "a lot names a colorant that no shot names")
                    .remedy("give its shots too, or leave its lot out"),
            ),
        }
    }
}

fn draw(screen: &mut Screen, tint: &RecordOfCan) {
    if let Some(fault) = &tint.fault {
        screen.warn(format!("bad: {}", reason_text(fault.reason)));
        if let Some(note) = &fault.note {
            screen.pair("note", note);
        }
    }
    for flag in &tint.flags {
        screen.warn(flag);
    }
    screen.pair("size", tint.size.human_name());
    screen.pair(
        "base",
        format!(
            "{}{}",
            tint.base.name,
            tint.base_lot
                .as_ref()
                .map_or(String::new(), |lot| format!(", lot {lot}"))
        ),
    );
    match_view::shots(screen, &tint.shots);
    if let Some(note) = &tint.note {
        screen.pair("note", note);
    }
    screen.pair(
        "made",
        format!(
            "{} at {}, {}",
            tint.made_by.name,
            tint.store.name,
            time_text(tint.made_at)
        ),
    );
    screen.pair("id", tint.id.to_string());
}
