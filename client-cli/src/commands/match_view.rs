//! A match as a clerk reads it at a glance: what could go wrong first, then color, formula, and how it went so far.

use color::{Direction, Lab, VerdictLimits, de2000};
use formula::label::LabelCode;
use formula::wire::v1::{
    Basis, Carrier, Match as Record, Measurement, Page, Product, Revision, ShotShown, Tint,
    VerdictsInForce,
};

use super::{Run, match_light};
use crate::exit::{Exit, Failure};
use crate::output::{Screen, Table, time_text};
use crate::plot::PlotOptions;
use crate::remote::{PathQuery, Remote, RemoteError};

/// Where color is mixed.
pub(super) const CAUTION: &str = "Follow the safety data sheet and local rules.";
/// Where the product is solvent-borne.
pub(super) const SOLVENT_CAUTION: &str =
    "Solvent-borne: vapor can harm and ignite. Air the room, keep flames and sparks away.";

/// What is shown beside the match itself.
struct Beside {
    solvent: bool,
    limits: VerdictLimits,
    tints: Vec<Tint>,
}

/// Shows an opened match.
///
/// # Errors
/// When stdout can't be written, or the server can't be asked for what stands beside it.
pub(super) fn show(
    run: &Run,
    remote: &Remote,
    opened: &Record,
    plot: &PlotOptions,
) -> Result<Exit, Failure> {
    let figures = if plot.wanted() {
        match_light::figures(opened)?
    } else {
        Vec::new()
    };
    plot.write(&figures)?;
    if run.output().is_json() {
        run.output().show(opened, |_| {})?;
        return Ok(Exit::Done);
    }
    let beside = beside(remote, opened)?;
    run.output().show(opened, |screen| {
        draw(screen, opened, &beside);
        plot.draw(screen, &figures);
    })?;
    Ok(Exit::Done)
}

/// What this login may not see is left out.
fn allowed<T>(answer: Result<T, RemoteError>) -> Result<Option<T>, Failure> {
    match answer.map_err(Failure::from) {
        Ok(value) => Ok(Some(value)),
        Err(failure) if matches!(failure.exit(), Exit::NotAllowed | Exit::NothingFound) => Ok(None),
        Err(failure) => Err(failure),
    }
}

fn beside(remote: &Remote, opened: &Record) -> Result<Beside, Failure> {
    let limits = match allowed(remote.get::<VerdictsInForce>("/verdicts"))? {
        Some(in_force) => VerdictLimits::new(
            in_force.limits.indistinguishable,
            in_force.limits.accepted,
            in_force.limits.ask,
        )
        .map_err(|error| {
            Failure::new(
                Exit::Internal,
                "unknown-answer",
                format!("the chain's verdict limits: {error}"),
            )
        })?,
        None => VerdictLimits::default(),
    };
    let tints = if opened.tints == 0 {
        Vec::new()
    } else {
        let path = PathQuery::new("/tints").with("match_id", opened.id);
        allowed(remote.page::<Tint>(path, 50, None))?
            .map_or_else(Vec::new, |page: Page<Tint>| page.items)
    };
    Ok(Beside {
        solvent: is_solvent(remote, opened.product.id)?,
        limits,
        tints,
    })
}

/// Whether vapor and ignition are to be warned of.
pub(super) fn is_solvent(
    remote: &Remote,
    product: formula::id::ProductId,
) -> Result<bool, Failure> {
    let product = allowed(remote.get::<Product>(format!("/products/{product}")))?;
    Ok(product.is_some_and(|product| product.carrier == Carrier::Solvent))
}

/// A label code as large as a line can make it.
pub(super) fn spaced(code: LabelCode) -> String {
    code.to_string()
        .chars()
        .map(String::from)
        .collect::<Vec<_>>()
        .join(" ")
}

fn draw(screen: &mut Screen, opened: &Record, beside: &Beside) {
    screen.bold(format!("{}   {}", opened.label_code, opened.customer.name));
    if opened.bad_tints > 0 {
        screen.warn(format!(
            "{} of {} tints of this match were marked bad: check before mixing",
            opened.bad_tints, opened.tints
        ));
        for tint in &beside.tints {
            if let Some(fault) = &tint.fault {
                let note = fault
                    .note
                    .as_ref()
                    .map_or(String::new(), |note| format!(": {note}"));
                screen.warn(format!(
                    "  {} at {}, {}{note}",
                    time_text(tint.made_at),
                    tint.store.name,
                    super::tint::reason_text(fault.reason)
                ));
            }
        }
    }
    if opened.forked && !opened.picked {
        screen
            .warn("two revisions correct the same one: compare them, then `secondcan match pick`");
    }
    if let Some(job) = &opened.job {
        screen.pair("job", &job.label);
    }
    screen.pair(
        "product",
        format!(
            "{}, {}",
            opened.product.name,
            opened.sheen.word.human_name()
        ),
    );
    match_light::warnings(screen, opened);
    let wanted = opened.sample.lab.0;
    screen.color("wanted", wanted, "");
    cautions(screen, "sample", &opened.sample);
    if let Some(current) = current(opened) {
        compare(screen, wanted, current, beside.limits);
        screen.gap();
        let tips = tips(opened);
        if opened.forked && tips.len() > 1 {
            side_by_side(screen, &tips, current);
        } else {
            revision(screen, current);
        }
    } else {
        screen.gap();
        screen.line("no formula yet: add it with `secondcan match revise`");
    }
    match_light::draw(screen, opened);
    drawdowns(screen, opened);
    tints(screen, opened, beside);
    if let Some(note) = &opened.note {
        screen.pair("note", note);
    }
    screen.gap();
    screen.pair(
        "made",
        format!(
            "{} at {}, {}",
            opened.made_by.name,
            opened.store.name,
            time_text(opened.made_at)
        ),
    );
    screen.pair("id", opened.id.to_string());
    screen.gap();
    if beside.solvent {
        screen.warn(SOLVENT_CAUTION);
    }
    screen.line(CAUTION);
}

fn current(opened: &Record) -> Option<&Revision> {
    let id = opened.current_revision_id?;
    opened.revisions.iter().find(|revision| revision.id == id)
}

/// The revisions that nobody corrected yet.
fn tips(opened: &Record) -> Vec<&Revision> {
    opened
        .revisions
        .iter()
        .filter(|revision| {
            !opened
                .revisions
                .iter()
                .any(|other| other.parent_id == Some(revision.id))
        })
        .collect()
}

const fn basis_text(basis: Basis) -> &'static str {
    match basis {
        Basis::Drawdown => "drawdown",
        Basis::Predicted => "predicted, not yet verified",
        Basis::Wanted => "wanted color, not yet verified",
    }
}

fn compare(screen: &mut Screen, wanted: Lab, current: &Revision, limits: VerdictLimits) {
    let produced = current.produced.lab.0;
    if current.produced.basis == Basis::Wanted {
        screen.pair("produced", "not yet verified: never drawn down");
        return;
    }
    let apart = de2000(wanted, produced);
    screen.color(
        "produced",
        produced,
        &format!("  ({})", basis_text(current.produced.basis)),
    );
    screen.pair(
        "difference",
        format!(
            "ΔE00 {apart:.2}, {}; {}",
            limits.judge(apart).phrase(),
            Direction::between(wanted, produced)
        ),
    );
}

/// Milliliters behind an amount.
fn amount(shot: &ShotShown) -> String {
    format!("{} × {}", shot.count.get(), shot.unit)
}

/// A revision with its shots.
pub(super) fn revision(screen: &mut Screen, revision: &Revision) {
    let reused = if revision.reused_from.is_some() {
        ", taken over from another match"
    } else {
        ""
    };
    screen.bold(format!(
        "revision {}{reused}: base {}, {}, {}",
        revision.number,
        revision.base.name,
        revision.sheen.word.human_name(),
        revision.size.human_name()
    ));
    shots(screen, &revision.shots);
    if let Some(note) = &revision.note {
        screen.pair("note", note);
    }
    screen.pair(
        "by",
        format!(
            "{} at {}, {}",
            revision.made_by.name,
            revision.store.name,
            time_text(revision.made_at)
        ),
    );
}

/// Shots, each with its milliliters.
pub(super) fn shots(screen: &mut Screen, shots: &[ShotShown]) {
    if shots.is_empty() {
        screen.line("untinted base");
        return;
    }
    let mut table = Table::new(&["colorant", ">shots", ">ml", "lot"]);
    for shot in shots {
        table.row([
            shot.colorant.clone(),
            amount(shot),
            shot.ml.clone(),
            shot.lot.clone().unwrap_or_default(),
        ]);
    }
    screen.table(&table);
}

fn side_by_side(screen: &mut Screen, tips: &[&Revision], current: &Revision) {
    let mut headings = vec!["".to_owned()];
    headings.extend(tips.iter().map(|revision| {
        let counts = if revision.id == current.id {
            " (counts)"
        } else {
            ""
        };
        format!("revision {}{counts}", revision.number)
    }));
    let mut table = Table::new(&headings);
    let mut row = |name: &str, cell: &dyn Fn(&Revision) -> String| {
        table.row(std::iter::once(name.to_owned()).chain(tips.iter().map(|tip| cell(tip))));
    };
    row("base", &|tip| tip.base.name.clone());
    row("size", &|tip| tip.size.human_name().to_owned());
    row("sheen", &|tip| tip.sheen.word.human_name().to_owned());
    let mut colorants: Vec<&ShotShown> = Vec::new();
    for shot in tips.iter().flat_map(|tip| &tip.shots) {
        if !colorants
            .iter()
            .any(|known| known.colorant_id == shot.colorant_id)
        {
            colorants.push(shot);
        }
    }
    for colorant in colorants {
        row(&colorant.colorant, &|tip| {
            tip.shots
                .iter()
                .find(|shot| shot.colorant_id == colorant.colorant_id)
                .map_or("none".to_owned(), |shot| {
                    format!("{} ({} ml)", amount(shot), shot.ml)
                })
        });
    }
    row("rests on", &|tip| basis_text(tip.produced.basis).to_owned());
    row("by", &|tip| {
        format!("{}, {}", tip.made_by.name, tip.store.name)
    });
    row("made", &|tip| time_text(tip.made_at));
    row("note", &|tip| {
        tip.note
            .as_ref()
            .map_or(String::new(), |note| note.to_string())
    });
    screen.table(&table);
}

fn drawdowns(screen: &mut Screen, opened: &Record) {
    let mut table = Table::new(&["drawdown of", "made", "store", "by", ">ΔE00", "state"]);
    for revision in &opened.revisions {
        for drawdown in &revision.drawdowns {
            table.row([
                format!("revision {}", revision.number),
                time_text(drawdown.made_at),
                drawdown.store.name.clone(),
                drawdown.made_by.name.clone(),
                format!("{:.2}", drawdown.de2000_from_wanted),
                if drawdown.dry {
                    "dry"
                } else {
                    "wet: proves nothing"
                }
                .to_owned(),
            ]);
        }
    }
    if table.is_empty() {
        return;
    }
    screen.gap();
    screen.table(&table);
    for revision in &opened.revisions {
        for drawdown in &revision.drawdowns {
            let what = format!(
                "drawdown of {} of revision {}",
                time_text(drawdown.made_at),
                revision.number
            );
            cautions(screen, &what, &drawdown.measurement);
            let Some(corrected) = &drawdown.corrected else {
                continue;
            };
            let rests_on: Vec<String> = corrected
                .rests_on
                .iter()
                .map(|used| {
                    format!(
                        "{} to {} (version {})",
                        used.instrument.name, used.reference.name, used.version
                    )
                })
                .collect();
            screen.line(format!(
                "{what}: ΔE00 {:.2} after correction of {}",
                corrected.de2000_from_wanted,
                rests_on.join(" and ")
            ));
            for caution in &corrected.cautions {
                screen.warn(caution);
            }
        }
    }
}

/// Whether a reading is marked, and who accepted it.
fn cautions(screen: &mut Screen, what: &str, read: &Measurement) {
    let due: Vec<&str> = read.instrument_due.iter().map(|due| due.words()).collect();
    if !read.cautions.is_empty() {
        screen.line(format!(
            "{what}: marked ({}) until somebody accepts it: secondcan instrument accept {}",
            due.join(", "),
            read.read.id
        ));
    }
    if let Some(accepted) = &read.accepted {
        screen.line(format!(
            "{what}: accepted by {} on {} though {}",
            accepted.by.name,
            time_text(accepted.at),
            due.join(", ")
        ));
    }
}

fn tints(screen: &mut Screen, opened: &Record, beside: &Beside) {
    if opened.tints == 0 {
        return;
    }
    screen.gap();
    let mut table = Table::new(&["tinted", "store", "by", "size", "base lot", "state"]);
    for tint in &beside.tints {
        table.row([
            time_text(tint.made_at),
            tint.store.name.clone(),
            tint.made_by.name.clone(),
            tint.size.human_name().to_owned(),
            tint.base_lot
                .as_ref()
                .map_or(String::new(), ToString::to_string),
            super::tint::state_text(tint),
        ]);
    }
    if table.is_empty() {
        screen.pair("tints", opened.tints.to_string());
    } else {
        screen.table(&table);
    }
}
