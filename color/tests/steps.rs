//! Spectra at every step from 1 to 20 nm, even and uneven, against independent computation.

use std::collections::HashMap;

use color::{
    Ends, Grid, Illuminant, METHOD, Observer, Spectrum, Viewing, Wavelengths, WeightTable,
};
use proptest::prelude::*;
use sha2::{Digest, Sha256};

type Row = HashMap<String, String>;

fn rows(text: &str) -> Vec<Row> {
    csv::Reader::from_reader(text.as_bytes())
        .deserialize()
        .map(|row| row.expect("a readable row"))
        .collect()
}

fn view(name: &str) -> Viewing {
    let (light, observer) = name.rsplit_once('_').expect("LIGHT_OBSERVER");
    Viewing::new(
        light.parse().expect("a known name"),
        observer.parse().expect("a known name"),
    )
}

/// colour-science 0.4.7 by tests/generate/steps.py: 24 charts at 5 nm (Ohta 1997), and invented curves at each step
/// from 1 to 20 nm, whole and from 400 to 700 nm.
///
/// 1e-10: the method and the CIE tables are the same, so that only rounding differs (1e-12 seen), and the file
/// carries twelve decimals.
#[test]
fn every_step_from_1_to_20_nm() {
    let rows = rows(include_str!("data/xyz_steps.csv"));
    assert_eq!(rows.len(), 48 + 20 * 6);
    for row in &rows {
        let values = row["values"].split(' ').map(|v| v.parse().unwrap());
        let (start, step) = (
            row["start_nm"].parse().unwrap(),
            row["step_nm"].parse().unwrap(),
        );
        let spectrum = Spectrum::new(start, step, values.collect(), Ends::Refuse).unwrap();
        for name in ["D65_10", "D65_2", "A_10", "F11_10", "LED-B3_2"] {
            let (xyz, lab) = (spectrum.xyz(view(name)), spectrum.lab(view(name)));
            for (got, column) in [
                (xyz.x, "X"),
                (xyz.y, "Y"),
                (xyz.z, "Z"),
                (lab.l, "L"),
                (lab.a, "a"),
                (lab.b, "b"),
            ] {
                let want: f64 = row[&format!("{name}_{column}")].parse().unwrap();
                assert!(
                    (got - want).abs() < 1e-10,
                    "{} by {step} nm {name} {column}: {got} for {want}",
                    row["id"]
                );
            }
        }
    }
}

/// A CIE table at 1 nm from 360 to 780, straight from its file.
fn table<const N: usize>(text: &str, columns: [&str; N]) -> Vec<[f64; N]> {
    let given: HashMap<u16, [f64; N]> = rows(text)
        .iter()
        .map(|row| {
            let values = columns.map(|column| row[column].parse().expect("a number"));
            (row["nm"].parse().expect("a wavelength"), values)
        })
        .collect();
    (360..=780)
        .map(|nm| given.get(&nm).copied().unwrap_or([0.0; N]))
        .collect()
}

fn one_nanometer(light: Illuminant, observer: Observer) -> (Vec<[f64; 1]>, Vec<[f64; 3]>) {
    let power = match light {
        Illuminant::A => include_str!("../tables/illuminant_a_1nm.csv"),
        Illuminant::D65 => include_str!("../tables/illuminant_d65_1nm.csv"),
        Illuminant::LedB3 => include_str!("../tables/illuminant_led_b3_1nm.csv"),
        other => panic!("{other} is not tabulated at 1 nm"),
    };
    let bars = match observer {
        Observer::TwoDegree => include_str!("../tables/observer_2deg_1nm.csv"),
        Observer::TenDegree => include_str!("../tables/observer_10deg_1nm.csv"),
    };
    (table(power, ["power"]), table(bars, ["x", "y", "z"]))
}

/// Neville's scheme: the value at `x` of the polynomial through all points.
fn polynomial(points: &[(f64, f64)], x: f64) -> f64 {
    let mut p: Vec<f64> = points.iter().map(|(_, y)| *y).collect();
    for order in 1..points.len() {
        for i in 0..points.len() - order {
            let (low, high) = (points[i].0, points[i + order].0);
            p[i] = ((x - high) * p[i] + (low - x) * p[i + 1]) / (low - high);
        }
    }
    p[0]
}

/// The long way, written without the crate's weights: reflectance interpolated to each nanometer (cubic inside,
/// quadratic in the first and last interval), times light and observer, summed, over Σ S·ȳ. Data that end early go on
/// with their end value, at the step of their end.
fn integrated(
    nms: &[f64],
    values: &[f64],
    (power, bars): &(Vec<[f64; 1]>, Vec<[f64; 3]>),
) -> [f64; 3] {
    let mut points: Vec<(f64, f64)> = nms.iter().copied().zip(values.iter().copied()).collect();
    points.retain(|(nm, _)| (360.0..=780.0).contains(nm));
    let ahead = points[1].0 - points[0].0;
    while points[0].0 - ahead >= 360.0 {
        points.insert(0, (points[0].0 - ahead, points[0].1));
    }
    let n = points.len();
    let behind = points[n - 1].0 - points[n - 2].0;
    while points[points.len() - 1].0 + behind <= 780.0 {
        let (nm, value) = points[points.len() - 1];
        points.push((nm + behind, value));
    }
    let last = points.len() - 1;
    let mut sums = [0.0; 3];
    let mut whole = 0.0;
    for (i, ([s], bar)) in power.iter().zip(bars).enumerate() {
        let nm = 360.0 + i as f64;
        let reflectance = if nm <= points[0].0 {
            points[0].1
        } else if nm >= points[last].0 {
            points[last].1
        } else {
            let after = points
                .iter()
                .position(|(node, _)| *node > nm)
                .expect("an interval");
            let near = if after == 1 {
                &points[..3]
            } else if after == last {
                &points[last - 2..]
            } else {
                &points[after - 2..after + 2]
            };
            polynomial(near, nm)
        };
        for (sum, value) in sums.iter_mut().zip(bar) {
            *sum += s * value * reflectance;
        }
        whole += s * bar[1];
    }
    sums.map(|sum| sum * 100.0 / whole)
}

#[track_caller]
fn agrees_with_integration(nms: &[f64], values: &[f64]) {
    let spectrum = Spectrum::at(
        Wavelengths::new(nms).expect("good wavelengths"),
        values.to_vec(),
        Ends::Extend,
    );
    let spectrum = spectrum.expect("a good spectrum");
    for light in [Illuminant::A, Illuminant::D65, Illuminant::LedB3] {
        for observer in Observer::ALL {
            let want = integrated(nms, values, &one_nanometer(light, observer));
            let got = <[f64; 3]>::from(spectrum.xyz(Viewing::new(light, observer)));
            for (got, want) in got.into_iter().zip(want) {
                assert!(
                    (got - want).abs() < 1e-9,
                    "{light} {observer}, {}: {got} for {want}",
                    spectrum.wavelengths()
                );
            }
        }
    }
}

fn evenly(from: f64, step: f64, to: f64) -> Vec<f64> {
    (0..)
        .map(|i| from + step * f64::from(i))
        .take_while(|nm| *nm <= to + 1e-9)
        .collect()
}

fn curve(nms: &[f64]) -> Vec<f64> {
    nms.iter()
        .map(|nm| 0.4 + 0.3 * (nm / 17.0).sin() + 0.2 / (1.0 + (-(nm - 590.0) / 6.0).exp()))
        .collect()
}

/// The gate: data at any step against integrating the same interpolation at 1 nm.
#[test]
fn weights_are_the_interpolation_integrated_at_1_nm() {
    for step in [1.0, 2.5, 3.0, 10.0 / 3.0, 3.33, 5.0, 6.9, 7.0, 10.0, 20.0] {
        for (from, to) in [
            (360.0, 780.0),
            (380.0, 730.0),
            (400.0, 700.0),
            (430.0, 685.0),
            (341.5, 1001.5),
        ] {
            let nms = evenly(from, step, if to == 700.0 { 700.0 + step } else { to });
            agrees_with_integration(&nms, &curve(&nms));
        }
    }
    // Fine in the blue, coarse in the red, as some arrays of diodes are.
    let mut nms = vec![380.0];
    while nms[nms.len() - 1] < 740.0 {
        let last = nms[nms.len() - 1];
        nms.push(last + 1.3 + (last - 380.0) / 40.0);
    }
    agrees_with_integration(&nms, &curve(&nms));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    #[test]
    fn any_wavelengths_are_integrated(
        start in 345.0..440.0f64,
        steps in prop::collection::vec(1.0..20.0f64, 400),
        end in 660.0..800.0f64,
        values in prop::collection::vec(0.0..1.0f64, 401),
    ) {
        let mut nms = vec![start];
        for step in steps {
            let last = nms[nms.len() - 1];
            if last >= end {
                break;
            }
            nms.push(last + step);
        }
        let values = &values[..nms.len()];
        agrees_with_integration(&nms, values);
    }
}

/// A list that misses being even by a millionth of a nanometer gives the color of the even one: the ways of both meet.
#[test]
fn even_and_uneven_wavelengths_meet() {
    for step in [1u16, 5, 7, 10, 20] {
        for (start, to) in [(360u16, 780u16), (400, 700), (363, 745), (420, 670)] {
            let grid = Grid::new(start, step, usize::from((to - start) / step + 1)).unwrap();
            let nms: Vec<f64> = grid.wavelengths().map(f64::from).collect();
            let values = curve(&nms);
            let mut moved = nms.clone();
            moved[nms.len() / 2] += 1e-7;
            let moved = Wavelengths::new(&moved).unwrap();
            assert!(moved.even().is_none());
            for light in Illuminant::ALL {
                let view = Viewing::new(light, Observer::TenDegree);
                let even = Spectrum::at(grid, values.clone(), Ends::Extend).unwrap();
                let uneven = Spectrum::at(&moved, values.clone(), Ends::Extend).unwrap();
                let apart = color::de76(even.lab(view), uneven.lab(view));
                assert!(apart < 1e-5, "{light} {grid}: {apart}");
            }
        }
    }
}

/// Stored colors carry METHOD's name. These are the weights' bits as that name first stood for, before other steps
/// came; a change of a single bit needs another name.
#[test]
fn a_method_keeps_its_name_only_with_its_bits() {
    let mut digest = Sha256::new();
    for (start, step, count) in [
        (400, 10, 31),
        (400, 20, 16),
        (360, 10, 43),
        (380, 10, 36),
        (380, 20, 18),
        (395, 10, 32),
        (340, 20, 21),
        (420, 10, 27),
    ] {
        let spectrum = Spectrum::new(start, step, vec![0.5; count], Ends::Extend).unwrap();
        for light in Illuminant::ALL {
            for observer in Observer::ALL {
                let view = Viewing::new(light, observer);
                let table = WeightTable::new(view, spectrum.wavelengths());
                for weight in table.weights().iter().flatten() {
                    digest.update(weight.to_le_bytes());
                }
                for weight in <[f64; 3]>::from(spectrum.xyz(view)) {
                    digest.update(weight.to_le_bytes());
                }
            }
        }
    }
    let hex: String = digest
        .finalize()
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect();
    assert_eq!(METHOD, "astm-e308-e2022/1");
    assert_eq!(
        hex,
        "82240b0f8ccee9c87a41b05986701ad9e783f70e1fa10d60cb12ba61fd392dd4"
    );
}
