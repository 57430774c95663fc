//! A match under the lights of a store: wanted against produced, how far readings scatter, gloss, and the charts.

use color::{Ends, Spectrum};
use formula::wire::v1::{Drawdown, Match, Measurement};

use crate::averaging;
use crate::exit::{Exit, Failure};
use crate::output::{Screen, Table, lab_text};
use crate::plot::{self, Figure};

/// The latest dry drawdown of the revision that counts.
fn proof(opened: &Match) -> Option<&Drawdown> {
    let current = opened.current_revision_id?;
    let revision = opened
        .revisions
        .iter()
        .find(|revision| revision.id == current)?;
    revision.drawdowns.iter().find(|drawdown| drawdown.dry)
}

/// Why the figures that follow are to be taken with care.
pub(super) fn warnings(screen: &mut Screen, opened: &Match) {
    for warning in &opened.warnings {
        screen.warn(format!("sample and drawdown: {warning}"));
    }
}

/// Under each light of the store.
pub(super) fn draw(screen: &mut Screen, opened: &Match) {
    if !opened.lights.is_empty() {
        screen.gap();
        if proof(opened).is_some() {
            under_each(screen, opened);
        } else {
            let mut table = Table::new(&["light", "wanted"]);
            for seen in &opened.lights {
                table.row([seen.light.0.to_string(), lab_text(seen.wanted.0)]);
            }
            screen.table(&table);
            screen.line("no dry drawdown of this formula was measured: how it looks under other lights is not known");
        }
    }
    reading(screen, "sample", &opened.sample);
    if let Some(drawdown) = proof(opened) {
        reading(screen, "drawdown", &drawdown.measurement);
    }
}

fn under_each(screen: &mut Screen, opened: &Match) {
    let mut table = Table::new(&["light", "wanted", "produced", ">ΔE00", ">metamerism"]);
    for seen in &opened.lights {
        table.row([
            seen.light.0.to_string(),
            lab_text(seen.wanted.0),
            seen.produced.map_or(String::new(), |lab| lab_text(lab.0)),
            seen.de2000.map_or(String::new(), |de| format!("{de:.2}")),
            seen.metamerism.map_or(String::new(), |index| {
                format!("{:.2}", index.multiplicative_de2000)
            }),
        ]);
    }
    screen.table(&table);
    if let Some(first) = opened.lights.first() {
        screen.line(format!(
            "metamerism: ΔE00 that is left when the match under {} were perfect (ISO 18314-4, multiplicative)",
            first.light.0
        ));
    }
}

fn reading(screen: &mut Screen, of: &str, measurement: &Measurement) {
    if let Some(level) = &measurement.gloss_level {
        screen.pair("gloss", format!("{of}: {level}"));
    }
    if let Some(spread) = &measurement.spread {
        screen.line(format!("readings of the {of}:"));
        averaging::draw(screen, spread, |at| format!("reading {}", at + 1));
    } else if measurement.read.readings == 1 {
        screen.pair("readings", format!("{of}: a single one"));
    } else {
        screen.pair(
            "readings",
            format!(
                "{of}: {} averaged, not known one by one",
                measurement.read.readings
            ),
        );
    }
}

/// Wanted, produced when it was drawn down, and their difference.
///
/// # Errors
/// When a spectrum of the match can't be used, or the two have no wavelengths in common.
pub(super) fn figures(opened: &Match) -> Result<Vec<Figure>, Failure> {
    let wanted = spectrum(&opened.sample)?;
    let title = format!("{}   {}", opened.label_code, opened.customer.name);
    let mut curves = vec![("wanted: the sample".to_owned(), &wanted)];
    let Some(drawdown) = proof(opened) else {
        return Ok(vec![plot::reflectance(&title, &curves)?]);
    };
    let produced = spectrum(&drawdown.measurement)?;
    curves.push(("produced: the dry drawdown".to_owned(), &produced));
    Ok(vec![
        plot::reflectance(&title, &curves)?,
        plot::difference("Difference", ("wanted", &wanted), ("produced", &produced))?,
    ])
}

fn spectrum(measurement: &Measurement) -> Result<Spectrum, Failure> {
    let ends = if measurement.read.ends_extended {
        Ends::Extend
    } else {
        Ends::Refuse
    };
    measurement.read.spectrum.checked(ends).map_err(|error| {
        Failure::new(
            Exit::Internal,
            "unknown-answer",
            format!("a spectrum of the match: {error}"),
        )
    })
}
