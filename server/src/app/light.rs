//! Wanted and produced colors under the lights that a store chose, and whether readings compare at all.

use color::metamerism::{Metamerism, TwoLights};
use color::{Conditions, Observer, Spectrum, Verdict, VerdictLimits, Viewing, de2000};
use formula::wire::v1::{
    ApartUnder, Drawdown, LabSeen, Light, Match, Measurement, MetamerismIndex, SeenUnder, ShopLight,
};

use super::{AppResult, measurements};

/// The observer of every color here.
const OBSERVER: Observer = Observer::TenDegree;

fn viewing(light: Light) -> Viewing {
    Viewing::new(light.0, OBSERVER)
}

/// The spectrum of a measurement that was kept.
///
/// # Errors
/// When it is refused today; it was not when it was kept.
pub(super) fn spectrum(measurement: &Measurement) -> AppResult<Spectrum> {
    measurements::spectrum(
        "spectrum",
        &measurement.read.spectrum,
        measurement.read.ends_extended,
    )
}

/// The latest dry drawdown of the revision that counts.
fn proof(opened: &Match) -> Option<&Drawdown> {
    let current = opened.current_revision_id?;
    opened
        .revisions
        .iter()
        .find(|revision| revision.id == current)?
        .drawdowns
        .iter()
        .find(|drawdown| drawdown.dry)
}

/// Puts into an opened match how wanted and produced look under these lights, and why they may not compare: unlike
/// conditions, or something due at an instrument.
///
/// # Errors
/// When a spectrum that was kept is refused today.
pub(super) fn shine(opened: &mut Match, lights: &[Light]) -> AppResult<()> {
    let proof = proof(opened);
    let wanted = spectrum(&opened.sample)?;
    let produced = proof
        .map(|drawdown| spectrum(&drawdown.measurement))
        .transpose()?;
    let mut warnings = proof.map_or_else(Vec::new, |drawdown| {
        unlike(
            opened.sample.read.conditions(),
            drawdown.measurement.read.conditions(),
        )
    });
    let marked = |what: &'static str, read: &Measurement| {
        let cautions = measurements::cautions(read).into_iter();
        cautions.map(move |caution| format!("{what}: {caution}"))
    };
    warnings.extend(marked("sample", &opened.sample));
    warnings.extend(
        proof
            .into_iter()
            .flat_map(|proof| marked("drawdown", &proof.measurement)),
    );
    let Some(&first) = lights.first() else {
        return Ok(());
    };
    let seen = lights.iter().map(|&light| {
        let under = viewing(light);
        let wanted_lab = wanted.lab(under);
        let produced_lab = produced.as_ref().map(|produced| produced.lab(under));
        SeenUnder {
            light,
            wanted: LabSeen(wanted_lab),
            produced: produced_lab.map(LabSeen),
            de2000: produced_lab.map(|produced| de2000(wanted_lab, produced)),
            metamerism: produced
                .as_ref()
                .filter(|_| light != first)
                .and_then(|produced| index(&wanted, produced, first, light)),
        }
    });
    opened.lights = seen.collect();
    opened.warnings = warnings;
    Ok(())
}

/// `None` for a perfectly black drawdown, which no ratio can correct.
fn index(
    wanted: &Spectrum,
    produced: &Spectrum,
    reference: Light,
    test: Light,
) -> Option<MetamerismIndex> {
    let lights = TwoLights {
        reference: viewing(reference),
        test: viewing(test),
    };
    let index = Metamerism::between(wanted, produced, lights).ok()?;
    Some(MetamerismIndex {
        multiplicative_de2000: index.multiplicative.de2000,
        multiplicative_de76: index.multiplicative.de76,
        additive_de2000: index.additive.de2000,
        additive_de76: index.additive.de76,
    })
}

/// Why two readings do not compare like with like, as sentences.
pub(super) fn unlike(first: Conditions, second: Conditions) -> Vec<String> {
    first
        .unlike(&second)
        .iter()
        .map(ToString::to_string)
        .collect()
}

/// Whether a formula's drawdown parts from the color asked for under these lights, by the chain's limits.
pub(super) fn judge(
    asked: &Spectrum,
    drawdown: &Spectrum,
    lights: &[Light],
    at_d65: Verdict,
    limits: VerdictLimits,
) -> ShopLight {
    let lights: Vec<ApartUnder> = lights
        .iter()
        .map(|&light| {
            let under = viewing(light);
            ApartUnder {
                light,
                de2000: de2000(asked.lab(under), drawdown.lab(under)),
            }
        })
        .collect();
    let worst = lights
        .iter()
        .copied()
        .max_by(|one, other| one.de2000.total_cmp(&other.de2000));
    match worst {
        Some(worst) => {
            let verdict = limits.judge(worst.de2000);
            ShopLight::Judged {
                parts: verdict > at_d65,
                worst,
                verdict,
                lights,
            }
        }
        None => unjudged("the store chose no lights"),
    }
}

/// Not judged, and why.
pub(super) fn unjudged(why: &str) -> ShopLight {
    ShopLight::Unjudged {
        why: why.to_owned(),
    }
}
