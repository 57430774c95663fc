//! The demo as generated, and what the tests read from it.

use std::collections::HashMap;
use std::sync::LazyLock;

use color::spectrum::Ends;
use color::{Illuminant, Lab, Observer, Spectrum, Viewing, WeightTable};
use formula::id::{MatchId, RevisionId};
use formula::wire::v1::NewMeasurement;
use secondcan_server::demo::{Library, generate};
use secondcan_server::store::bulk::{DrawdownRow, RevisionRow};
use serde::Serialize;
use sha2::{Digest, Sha256};

pub(crate) static LIBRARY: LazyLock<Library> = LazyLock::new(|| generate().unwrap());

pub(crate) fn digest(library: &Library) -> String {
    let mut sha = Sha256::new();
    let mut add = |value: &dyn erased::Json| sha.update(value.json());
    for row in &library.stores {
        add(row);
    }
    for row in &library.persons {
        add(row);
    }
    for row in &library.colorants {
        add(row);
    }
    for row in &library.products {
        add(row);
    }
    for row in &library.bases {
        add(row);
    }
    for row in &library.instruments {
        add(&(
            &row.instrument,
            row.retired_at.map(|at| at.unix_timestamp()),
        ));
    }
    for row in &library.calibrations {
        add(&(row.instrument_id, &row.calibration, row.made_by));
    }
    for row in &library.customers {
        add(&(&row.customer, row.author.person, row.author.store));
    }
    for row in &library.links {
        add(&(row.id, row.person_id, row.customer_id, row.linked_by));
    }
    for row in &library.matches {
        add(&(&row.found, row.author.person, row.author.store, row.picked));
    }
    for row in &library.revisions {
        add(&(
            row.match_id,
            row.number,
            row.reused_from,
            &row.revision,
            row.author.person,
        ));
    }
    for row in &library.drawdowns {
        add(&(
            row.match_id,
            row.revision_id,
            &row.drawdown,
            row.author.person,
        ));
    }
    for row in &library.notes {
        add(&(row.id, row.about, row.about_id, &row.body, row.made_by));
    }
    for row in &library.reorders {
        add(&row.reorder);
        for step in &row.steps {
            add(&(step.to, step.made_by, step.at.unix_timestamp()));
        }
    }
    for row in &library.tints {
        add(&(row.match_id, row.base_id, &row.tint, row.author.person));
    }
    for row in &library.faults {
        add(&(row.id, row.tint_id, &row.fault, row.author.person));
    }
    sha.finalize()
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect()
}

mod erased {
    /// What can be written as JSON, behind a reference to any type.
    pub(super) trait Json {
        fn json(&self) -> Vec<u8>;
    }
    impl<T: super::Serialize> Json for T {
        fn json(&self) -> Vec<u8> {
            serde_json::to_vec(self).unwrap()
        }
    }
}

pub(crate) fn spectrum(read: &NewMeasurement) -> Spectrum {
    read.spectrum.checked(Ends::Refuse).unwrap()
}

pub(crate) fn lab(read: &NewMeasurement, light: Illuminant) -> Lab {
    let spectrum = spectrum(read);
    WeightTable::new(
        Viewing::new(light, Observer::TenDegree),
        spectrum.wavelengths(),
    )
    .lab(&spectrum)
    .unwrap()
}

/// Colors under D65, 10°, with the weights of the two grids made once.
pub(crate) fn daylight() -> impl FnMut(&NewMeasurement) -> Lab {
    let mut tables = HashMap::new();
    move |read| {
        let spectrum = spectrum(read);
        tables
            .entry(read.spectrum.step_nm)
            .or_insert_with(|| WeightTable::new(Viewing::default(), spectrum.wavelengths()))
            .lab(&spectrum)
            .unwrap()
    }
}

/// The revision of each match that counts: picked, else the latest.
pub(crate) fn current() -> HashMap<MatchId, &'static RevisionRow> {
    let mut current: HashMap<MatchId, &RevisionRow> = HashMap::new();
    for row in &LIBRARY.revisions {
        let latest = current.entry(row.match_id).or_insert(row);
        if row.number > latest.number {
            *latest = row;
        }
    }
    for found in &LIBRARY.matches {
        if let Some(picked) = found.picked {
            let row = LIBRARY
                .revisions
                .iter()
                .find(|row| row.revision.formula.id == picked)
                .unwrap();
            assert_eq!(row.match_id, found.found.id);
            current.insert(found.found.id, row);
        }
    }
    current
}

/// The latest dry drawdown of each revision.
pub(crate) fn proven() -> HashMap<RevisionId, &'static DrawdownRow> {
    let dry = LIBRARY.drawdowns.iter().filter(|row| row.drawdown.dry);
    dry.map(|row| (row.revision_id, row)).collect()
}

pub(crate) fn measurements() -> impl Iterator<Item = &'static NewMeasurement> {
    let samples = LIBRARY.matches.iter().map(|row| &row.found.sample);
    samples.chain(
        LIBRARY
            .drawdowns
            .iter()
            .map(|row| &row.drawdown.measurement),
    )
}
