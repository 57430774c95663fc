//! The demo's data: the same every time, possible in physics, right by the domain's rules.

#![expect(clippy::unwrap_used, reason = "a test stops at the first surprise")]

mod library;

use std::collections::{BTreeMap, HashMap, HashSet};

use color::{Illuminant, Viewing};
use formula::folding::{fold_company, fold_person};
use formula::id::{MatchId, MeasurementId, RevisionId};
use formula::label::LabelCode;
use formula::name_rank::NameQuery;
use formula::phone::PhoneRegion;
use formula::reorder::ReorderState;
use formula::revision::{Amount, BaseOffer, Formula};
use formula::role::Role;
use formula::wire::v1::{CustomerKind, FaultReason, NewFormula};
use secondcan_server::demo::{generate, new_chip_csv};
use secondcan_server::store::bulk::RevisionRow;

use library::{LIBRARY, current, daylight, digest, lab, measurements, proven, spectrum};

/// Changes whenever the demo's data change; then take the new one from the failing test.
const DIGEST: &str = "d5884d850b1bf8968894a6898a9c6929e0ea84c100b13c5e4fa81313908b0320";

#[test]
fn the_demo_is_the_same_every_time() {
    assert_eq!(digest(&generate().unwrap()), digest(&LIBRARY));
    assert_eq!(digest(&LIBRARY), DIGEST);
}

#[test]
fn ids_are_all_different() {
    let mut ids = HashSet::new();
    let library = &*LIBRARY;
    let all = library
        .stores
        .iter()
        .map(|row| row.id.as_uuid())
        .chain(library.persons.iter().map(|row| row.id.as_uuid()))
        .chain(
            library
                .customers
                .iter()
                .map(|row| row.customer.id.as_uuid()),
        )
        .chain(
            library
                .matches
                .iter()
                .flat_map(|row| [row.found.id.as_uuid(), row.found.sample.id.as_uuid()]),
        )
        .chain(
            library
                .revisions
                .iter()
                .map(|row| row.revision.formula.id.as_uuid()),
        )
        .chain(library.drawdowns.iter().flat_map(|row| {
            [
                row.drawdown.id.as_uuid(),
                row.drawdown.measurement.id.as_uuid(),
            ]
        }))
        .chain(library.reorders.iter().map(|row| row.reorder.id.as_uuid()))
        .chain(library.tints.iter().map(|row| row.tint.id.as_uuid()))
        .chain(library.notes.iter().map(|row| row.id));
    for id in all {
        assert!(ids.insert(id), "{id} twice");
    }
    let codes: HashSet<String> = library
        .matches
        .iter()
        .map(|row| LabelCode::from(row.found.id).compact())
        .collect();
    assert_eq!(codes.len(), library.matches.len(), "a label code twice");
}

#[test]
fn there_is_as_much_as_was_promised() {
    let library = &*LIBRARY;
    let share = |part: usize, whole: usize| part as f64 / whole as f64;
    assert_eq!(library.stores.len(), 3);
    assert_eq!(library.products.len(), 3);
    assert_eq!(library.colorants.len(), 12);
    assert!(
        library.customers.len() >= 60,
        "{} customers",
        library.customers.len()
    );
    assert!(
        library.matches.len() >= 2_000,
        "{} matches",
        library.matches.len()
    );
    for role in Role::ALL {
        assert!(
            library
                .persons
                .iter()
                .any(|person| person.roles.contains(role)),
            "no {role}"
        );
    }
    for store in &library.stores {
        let clerks = library
            .persons
            .iter()
            .filter(|person| person.roles == [Role::Clerk]);
        assert!(
            clerks
                .filter(|person| person.stores.contains(&store.id))
                .count()
                >= 2
        );
    }
    assert_eq!(
        library
            .persons
            .iter()
            .filter(|person| person.roles == [Role::Contractor])
            .count(),
        3
    );

    let reused = library
        .revisions
        .iter()
        .filter(|row| row.reused_from.is_some())
        .count();
    let reused = share(reused, library.matches.len());
    assert!(
        (0.10..0.20).contains(&reused),
        "{reused} of the matches are reuses"
    );
    let (current, proven) = (current(), proven());
    let verified = current
        .values()
        .filter(|row| proven.contains_key(&row.revision.formula.id))
        .count();
    let verified = share(verified, library.matches.len());
    assert!(
        (0.55..0.65).contains(&verified),
        "{verified} of the matches are verified"
    );
    let unproven = library
        .drawdowns
        .iter()
        .filter(|row| !row.drawdown.dry)
        .count();
    assert!(unproven > 100, "{unproven} wet drawdowns");
    let with_prediction_only = current
        .values()
        .filter(|row| !proven.contains_key(&row.revision.formula.id))
        .filter(|row| row.revision.formula.predicted_lab.is_some())
        .count();
    assert!(with_prediction_only > 100 && with_prediction_only < library.matches.len() / 2);
    assert_eq!(
        current.len(),
        library.matches.len(),
        "each match has a formula"
    );

    let mut states: BTreeMap<ReorderState, usize> = BTreeMap::new();
    for row in &library.reorders {
        *states.entry(row.steps.last().unwrap().to).or_default() += 1;
    }
    assert_eq!(states.len(), ReorderState::ALL.len(), "{states:?}");
    assert!(library.tints.len() >= 300, "{} tints", library.tints.len());
    let lots = library
        .tints
        .iter()
        .filter(|row| row.tint.base_lot.is_some())
        .count();
    assert!(
        lots > 200 && lots < library.tints.len(),
        "{lots} tints with a lot"
    );
    assert_eq!(library.faults.len(), 1);
    assert_eq!(library.faults[0].fault.reason, FaultReason::MachineFault);
    assert_eq!(library.faults[0].match_id, library.story.with_bad_tint);
    assert_eq!(
        library
            .instruments
            .iter()
            .filter(|row| row.retired_at.is_some())
            .count(),
        1
    );
}

#[test]
fn revisions_hang_together() {
    let by_id: HashMap<RevisionId, &RevisionRow> = LIBRARY
        .revisions
        .iter()
        .map(|row| (row.revision.formula.id, row))
        .collect();
    let (mut forked, mut numbers) = (HashSet::new(), HashMap::new());
    let mut children: HashMap<RevisionId, usize> = HashMap::new();
    for row in &LIBRARY.revisions {
        assert!(row.number == 1 || numbers.get(&row.match_id) == Some(&(row.number - 1)));
        numbers.insert(row.match_id, row.number);
        assert_eq!(row.number == 1, row.revision.parent_id.is_none());
        if let Some(parent) = row.revision.parent_id {
            assert_eq!(by_id[&parent].match_id, row.match_id);
            assert!(by_id[&parent].revision.made_at < row.revision.made_at);
            *children.entry(parent).or_default() += 1;
            if children[&parent] > 1 {
                forked.insert(row.match_id);
            }
        }
        if let Some(source) = row.reused_from {
            let source = by_id[&source];
            assert_ne!(source.match_id, row.match_id);
            assert!(source.revision.made_at < row.revision.made_at);
            let (from, to) = (&source.revision.formula, &row.revision.formula);
            assert_eq!(
                (from.base_id, &from.shots, from.size),
                (to.base_id, &to.shots, to.size)
            );
        }
    }
    assert!(forked.len() > 30, "{} forked", forked.len());
    assert!(
        LIBRARY
            .matches
            .iter()
            .filter(|row| row.picked.is_some())
            .count()
            > 10
    );
    assert!(numbers.values().all(|number| (1..=3).contains(number)));
}

#[test]
fn every_formula_passes_the_checks_of_a_recorded_one() {
    let known: HashSet<_> = LIBRARY
        .colorants
        .iter()
        .map(|colorant| colorant.id)
        .collect();
    for row in &LIBRARY.revisions {
        check(&row.revision.formula, &known);
    }
    for row in &LIBRARY.tints {
        let shots = row.tint.shots.as_ref().unwrap();
        let distinct: HashSet<_> = shots.iter().map(|shot| shot.colorant_id).collect();
        assert_eq!(distinct.len(), shots.len());
    }
}

fn check(new: &NewFormula, known: &HashSet<formula::id::ColorantId>) {
    let amounts = new
        .shots
        .iter()
        .map(|shot| Amount {
            colorant: shot.colorant_id,
            count: shot.count,
            unit: shot.unit,
        })
        .collect();
    let base = LIBRARY
        .bases
        .iter()
        .find(|base| base.id == new.base_id)
        .unwrap();
    Formula::new(new.base_id, new.sheen_id, new.size, amounts)
        .unwrap()
        .check(
            BaseOffer {
                name: &base.name,
                rooms: &base.rooms,
            },
            &[],
            |id| known.contains(&id),
        )
        .unwrap();
}

#[test]
fn formulas_stay_within_their_product() {
    let current: HashMap<MatchId, _> = LIBRARY
        .matches
        .iter()
        .map(|row| (row.found.id, &row.found))
        .collect();
    for row in &LIBRARY.revisions {
        let product = current[&row.match_id].product_id;
        let base = LIBRARY
            .bases
            .iter()
            .find(|base| base.id == row.revision.formula.base_id)
            .unwrap();
        assert_eq!(base.product_id, product);
        let sheens = &LIBRARY
            .products
            .iter()
            .find(|known| known.id == product)
            .unwrap()
            .sheens;
        assert!(
            sheens
                .iter()
                .any(|sheen| sheen.id == row.revision.formula.sheen_id)
        );
    }
}

/// A paint's reflectance lies between 0 and 1 and has no corners: its bands are some 50 nm wide (common practice, no
/// source). The bound on the second difference leaves room for the old instrument's noise and its wider steps.
#[test]
fn spectra_are_possible_and_smooth() {
    for read in measurements() {
        let values = &read.spectrum.values;
        assert_eq!(
            values.len(),
            if read.spectrum.step_nm == Some(10) {
                31
            } else {
                16
            }
        );
        assert!(
            values.iter().all(|&value| value > 0.0 && value < 1.0),
            "{read:?}"
        );
        let bend = values
            .windows(3)
            .map(|three| (three[0] - 2.0 * three[1] + three[2]).abs())
            .fold(0.0, f64::max);
        let most = if read.spectrum.step_nm == Some(10) {
            0.08
        } else {
            0.2
        };
        assert!(bend < most, "{} bends by {bend}", read.id);
        assert_eq!(read.as_read.len(), values.len());
        assert!(spectrum(read).warnings().is_empty());
    }
    let old = measurements()
        .filter(|read| read.spectrum.step_nm == Some(20))
        .count();
    assert!(old > 50, "{old} readings of the old instrument");
}

#[test]
fn drawdowns_scatter_as_real_ones_do() {
    let mut lab = daylight();
    let by_id: HashMap<RevisionId, _> = LIBRARY
        .revisions
        .iter()
        .map(|row| (row.revision.formula.id, &row.revision.formula))
        .collect();
    let mut seen = 0;
    for row in LIBRARY.drawdowns.iter().filter(|row| row.drawdown.dry) {
        let Some(predicted) = by_id[&row.revision_id].predicted_lab else {
            continue;
        };
        let distance = color::de2000(predicted.0, lab(&row.drawdown.measurement));
        // 20 nm weights and noise of the old instrument come on top.
        let (least, most) = if row.drawdown.measurement.spectrum.step_nm == Some(10) {
            (0.08, 0.82)
        } else {
            (0.0, 1.6)
        };
        assert!(
            (least..most).contains(&distance),
            "{} is off by {distance}",
            row.drawdown.id
        );
        seen += 1;
    }
    assert!(seen > 1_000, "{seen} drawdowns of predicted revisions");
}

/// The chip is never quite what the formula gives.
#[test]
fn wanted_colors_differ_from_the_produced() {
    let mut lab = daylight();
    let (current, proven) = (current(), proven());
    let mut distances: Vec<f64> = LIBRARY
        .matches
        .iter()
        .filter_map(|row| {
            let dry = proven.get(&current[&row.found.id].revision.formula.id)?;
            Some(color::de2000(
                lab(&row.found.sample),
                lab(&dry.drawdown.measurement),
            ))
        })
        .collect();
    distances.sort_by(f64::total_cmp);
    let median = distances[distances.len() / 2];
    assert!((0.4..1.4).contains(&median), "median {median}");
    // The few beyond are forks in which a person picked the try that was further off.
    let most = distances[distances.len() * 95 / 100];
    assert!(distances[0] > 0.0 && most < 3.0, "95 % within {most}");
}

#[test]
fn twins_are_alike_in_daylight_only() {
    let (current, proven) = (current(), proven());
    assert!(LIBRARY.twins.len() >= 3);
    for &(one, other) in &LIBRARY.twins {
        let of = |id: MatchId| current[&id].revision.formula.id;
        let read = |id| &proven[&of(id)].drawdown.measurement;
        let colorants = |id| -> HashSet<_> {
            current[&id]
                .revision
                .formula
                .shots
                .iter()
                .map(|shot| shot.colorant_id)
                .collect()
        };
        assert_ne!(colorants(one), colorants(other));
        let apart = |light| color::de2000(lab(read(one), light), lab(read(other), light));
        let daylight = apart(Illuminant::D65);
        assert!(daylight < 0.7, "{daylight} apart in daylight");
        let worst = [Illuminant::A, Illuminant::F11, Illuminant::LedB3].map(apart);
        let worst = worst.into_iter().fold(0.0, f64::max);
        assert!(worst > 2.0, "only {worst} apart in other light");
    }
}

#[test]
fn phones_are_of_the_range_kept_for_fiction() {
    let mut seen = HashSet::new();
    for row in &LIBRARY.customers {
        assert!(!row.customer.phones.is_empty());
        for phone in &row.customer.phones {
            let number = phone
                .number
                .normalize(PhoneRegion::UnitedStates)
                .unwrap()
                .to_string();
            assert!(
                number.starts_with("+1") && number[5..10] == *"55501",
                "{number}"
            );
            assert!(seen.insert(number.clone()), "{number} twice");
        }
    }
}

#[test]
fn the_misspelled_name_finds_the_painter_first() {
    let story = &LIBRARY.story;
    let query = NameQuery::new(fold_company(story.misspelled)).unwrap();
    let best = LIBRARY
        .customers
        .iter()
        .map(|row| {
            let name = row.customer.name.as_str();
            let folded = match row.customer.kind {
                CustomerKind::Person => fold_person(name),
                CustomerKind::Company => fold_company(name),
            };
            (query.find(&folded), row.customer.id)
        })
        .max_by(|a, b| a.0.cmp(&b.0))
        .unwrap();
    assert!(best.0.is_some());
    assert_eq!(best.1, story.painter);
}

/// Times in records never run ahead of what they build on, and nothing is dated after the demo's last day.
#[test]
fn times_are_in_order() {
    let last = time::macros::datetime!(2025-03-30 00:00 UTC);
    let made: HashMap<MatchId, _> = LIBRARY
        .matches
        .iter()
        .map(|row| (row.found.id, row.found.made_at))
        .collect();
    for row in &LIBRARY.revisions {
        assert!(row.revision.made_at > made[&row.match_id]);
    }
    let tried: HashMap<RevisionId, _> = LIBRARY
        .revisions
        .iter()
        .map(|row| (row.revision.formula.id, row.revision.made_at))
        .collect();
    for row in &LIBRARY.drawdowns {
        assert!(row.drawdown.made_at > tried[&row.revision_id] && row.drawdown.made_at < last);
    }
    for row in &LIBRARY.tints {
        assert!(row.tint.made_at > tried[&row.tint.revision_id] && row.tint.made_at < last);
    }
    for row in &LIBRARY.reorders {
        assert!(
            row.steps
                .windows(2)
                .all(|two| two[0].at < two[1].at && two[0].to.advance(two[1].to).is_ok())
        );
        assert!(row.steps.last().unwrap().at < last);
    }
}

/// No colorant goes by a letter code, no record names a color.
#[test]
fn colorants_go_by_pigment_and_colour_index() {
    let names: HashSet<String> = LIBRARY
        .colorants
        .iter()
        .map(|row| format!("{} {}", row.ci_name, row.pigment))
        .collect();
    assert_eq!(names.len(), 12);
    assert!(names.contains("PY42 yellow oxide") && names.contains("PBk7 carbon black"));
}

/// The file that the documents use is the one that the program makes, and it finds the match made at North.
#[test]
fn the_new_chip_finds_the_painters_match() {
    let text = new_chip_csv(&LIBRARY).unwrap();
    let kept =
        std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../docs/examples/new-chip.csv");
    assert_eq!(std::fs::read_to_string(kept).unwrap(), text);

    let options = color::exchange::ReadOptions::default();
    let file = color::exchange::read_spectra(text.as_bytes(), &options).unwrap();
    assert_eq!(file.readings.len(), 1);
    let chip = file.readings[0].spectrum.lab(Viewing::default());
    let mut lab = daylight();
    let (current, proven) = (current(), proven());
    let mut found: Vec<(f64, MatchId, bool)> = LIBRARY
        .matches
        .iter()
        .map(|row| {
            let formula = &current[&row.found.id].revision.formula;
            let dry = proven
                .get(&formula.id)
                .map(|row| lab(&row.drawdown.measurement));
            let produced = dry
                .or(formula.predicted_lab.map(|lab| lab.0))
                .unwrap_or_else(|| lab(&row.found.sample));
            (color::de2000(chip, produced), row.found.id, dry.is_some())
        })
        .collect();
    found.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (distance, nearest, verified) = found[0];
    assert_eq!(nearest, LIBRARY.story.made_at_north);
    assert!(verified && distance < 0.5, "{distance}");
    assert!(
        found[1].0 > 1.0,
        "another formula is as near as {}",
        found[1].0
    );
    let north = LIBRARY
        .matches
        .iter()
        .find(|row| row.found.id == nearest)
        .unwrap();
    assert_eq!(north.author.store, LIBRARY.story.north);
    assert_eq!(north.found.customer_id, LIBRARY.story.painter);
}

/// Measurements are shared by no two records.
#[test]
fn each_measurement_belongs_to_one_record() {
    let ids: HashSet<MeasurementId> = measurements().map(|read| read.id).collect();
    assert_eq!(ids.len(), LIBRARY.matches.len() + LIBRARY.drawdowns.len());
}
