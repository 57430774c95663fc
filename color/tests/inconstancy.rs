//! Color inconstancy against colour-science.

use std::collections::HashMap;

use color::inconstancy::{Inconstancy, corresponding};
use color::metamerism::TwoLights;
use color::{Ends, Illuminant, Observer, Spectrum, Viewing, Xyz, de76};

type Row = HashMap<String, String>;

fn rows(text: &str) -> Vec<Row> {
    csv::Reader::from_reader(text.as_bytes())
        .deserialize()
        .map(|row| row.expect("a readable row"))
        .collect()
}

fn number(row: &Row, column: &str) -> f64 {
    row[column].parse().expect("a number")
}

fn lights(test: Illuminant) -> TwoLights<Viewing> {
    let under = |light| Viewing::new(light, Observer::TenDegree);
    TwoLights {
        reference: under(Illuminant::D65),
        test: under(test),
    }
}

/// colour-science 0.4.7 by tests/generate/inconstancy.py, from the spectra on: its weights, its CAT16, its CIEDE2000.
/// 1e-9: the same method on the same tables, so that only rounding differs.
#[test]
fn thirty_eight_spectra_between_lights() {
    let spectra: HashMap<String, Spectrum> = rows(include_str!("data/xyz_reference.csv"))
        .iter()
        .map(|row| {
            let nms = (400..=700).step_by(10);
            let values = nms.map(|nm| number(row, &format!("R{nm}"))).collect();
            let spectrum = Spectrum::new(400, 10, values, Ends::Refuse).expect("a good spectrum");
            (row["id"].clone(), spectrum)
        })
        .collect();
    let rows = rows(include_str!("data/inconstancy.csv"));
    assert_eq!(rows.len(), 38 * 3);
    for row in &rows {
        let (spectrum, lights) = (&spectra[&row["id"]], lights(row["light"].parse().unwrap()));
        let from = lights.test.white();
        let to = lights.reference.white();
        let seen = corresponding(spectrum.xyz(lights.test), from, to);
        let found = Inconstancy::of(spectrum, lights);
        for (got, column) in [
            (seen.x, "X"),
            (seen.y, "Y"),
            (seen.z, "Z"),
            (found.de2000, "de2000"),
        ] {
            let want = number(row, column);
            assert!((got - want).abs() < 1e-9, "{row:?} {column}: {got}");
        }
    }
}

/// Adaptation takes white to white, changes nothing between equal whites, and is undone by the way back.
#[test]
fn adaptation_keeps_white_white() {
    let color = Xyz {
        x: 31.0,
        y: 24.0,
        z: 9.0,
    };
    let near = |one: Xyz, other: Xyz| {
        for (one, other) in <[f64; 3]>::from(one)
            .into_iter()
            .zip(<[f64; 3]>::from(other))
        {
            assert!((one - other).abs() < 1e-12, "{one} {other}");
        }
    };
    for light in Illuminant::ALL {
        let lights = lights(light);
        let (from, to) = (lights.test.white(), lights.reference.white());
        near(corresponding(from, from, to), to);
        near(corresponding(color, from, from), color);
        let there = corresponding(color, from, to);
        near(corresponding(there, to, from), color);
    }
}

/// A gray is gray in every light; a band filter is not what it was.
#[test]
fn a_gray_is_constant_and_a_band_is_not() {
    let gray = Spectrum::new(400, 10, vec![0.4; 31], Ends::Refuse).unwrap();
    let band = (0..31).map(|i| if (10..16).contains(&i) { 0.7 } else { 0.2 });
    let band = Spectrum::new(400, 10, band.collect(), Ends::Refuse).unwrap();
    for light in Illuminant::ALL {
        let still = Inconstancy::of(&gray, lights(light));
        assert!(still.de2000 < 1e-9, "{light}: {still:?}");
    }
    let moved = Inconstancy::of(&band, lights(Illuminant::A));
    assert!(moved.de2000 > 3.0, "{moved:?}");
    assert!(de76(moved.under_reference, moved.under_test) > 3.0);
    let same = Inconstancy::of(&band, lights(Illuminant::D65));
    assert!(same.de2000 < 1e-9, "{same:?}");
}
