//! Several readings of one sample, against scipy and colour-science.

use color::metamerism::Difference;
use color::spread::{MIN_FOR_T2, OUTLIER_FLOOR, OUTLIER_TIMES};
use color::{
    AverageError, Ends, HotellingT2, Lab, Spectrum, Spread, SpreadAdvice, Viewing, average,
};

#[track_caller]
fn near(got: f64, want: f64, relative: f64) {
    assert!(
        (got - want).abs() <= relative * want.abs().max(1e-300),
        "{got} for {want}"
    );
}

fn lab(text: &str) -> Lab {
    let numbers: Vec<f64> = text
        .split_whitespace()
        .map(|number| number.parse().expect("a number"))
        .collect();
    let [l, a, b] = numbers[..] else {
        panic!("three numbers in {text:?}")
    };
    Lab { l, a, b }
}

fn mean(readings: &[Lab]) -> Lab {
    let n = readings.len() as f64;
    let sum = |part: fn(&Lab) -> f64| readings.iter().map(part).sum::<f64>() / n;
    Lab {
        l: sum(|lab| lab.l),
        a: sum(|lab| lab.a),
        b: sum(|lab| lab.b),
    }
}

/// scipy 1.16.3 (F distribution, eigenvalues, linear solve) and colour-science 0.4.7 (ΔE00): tests/generate/spread.py.
#[test]
fn statistics_agree_with_scipy() {
    let mut reader = csv::Reader::from_reader(&include_bytes!("data/spread.csv")[..]);
    let mut sets = 0;
    for row in reader.records() {
        let row = row.unwrap();
        let readings: Vec<Lab> = row[0].split(';').map(lab).collect();
        let number = |at: usize| row[at].parse::<f64>().unwrap();
        let spread = Spread::around(mean(&readings), &readings);
        let mcdm = spread.mcdm.unwrap();
        near(mcdm.de76, number(2), 1e-9);
        near(mcdm.de2000, number(3), 1e-9);
        let t2 = HotellingT2::of_mean(&readings, lab(&row[1])).unwrap();
        near(t2.t2, number(4), 1e-8);
        near(t2.f, number(5), 1e-8);
        near(t2.p, number(6), 1e-7);
        assert_eq!(t2.degrees, (3, readings.len() - 3));
        let within = spread.mean_within.unwrap();
        near(within.f, number(7), 1e-8);
        near(within.de76, number(8), 1e-8);
        sets += 1;
    }
    assert_eq!(sets, 42);
}

fn gray(reflectance: f64) -> Spectrum {
    Spectrum::new(400, 10, vec![reflectance; 31], Ends::Refuse).expect("a spectrum")
}

/// The average is one of light: halfway between black and white it is 0.5, where halfway in L* would be 0.18.
#[test]
fn readings_are_averaged_in_reflectance() {
    let (black, white) = (gray(0.0), gray(1.0));
    let mean = average(&[&black, &white]).unwrap();
    assert!(
        mean.values()
            .iter()
            .all(|value| (value - 0.5).abs() < 1e-15)
    );
    assert!((mean.lab(Viewing::default()).l - 76.069).abs() < 1e-3);
}

#[test]
fn readings_of_other_wavelengths_are_not_averaged() {
    let one = gray(0.5);
    let other = Spectrum::new(400, 20, vec![0.5; 16], Ends::Refuse).unwrap();
    assert_eq!(
        average(&[&one, &one, &other]),
        Err(AverageError::Wavelengths { number: 3 })
    );
    assert_eq!(average(&[]), Err(AverageError::None));
}

#[test]
fn extended_ends_stay_marked() {
    let short = Spectrum::new(420, 10, vec![0.5; 27], Ends::Extend).unwrap();
    assert!(average(&[&short, &short]).unwrap().ends_extended());
}

#[test]
fn a_single_reading_is_taken_and_marked() {
    let one = gray(0.3);
    let (mean, spread) = Spread::of_spectra(&[&one], Viewing::default()).unwrap();
    assert_eq!(mean, one);
    assert_eq!(spread.mcdm, None);
    assert_eq!(spread.mean_within, None);
    assert_eq!(spread.advice, [SpreadAdvice::SingleReading]);
    assert!(spread.advice[0].to_string().contains("textured"));
}

fn readings(shifts: &[f64]) -> Vec<Lab> {
    shifts
        .iter()
        .enumerate()
        .map(|(at, shift)| Lab {
            l: 50.0 + shift,
            a: 10.0 + 0.01 * (at % 3) as f64,
            b: -5.0 + 0.01 * (at % 2) as f64,
        })
        .collect()
}

#[test]
fn the_outlier_is_named_from_four_readings_up() {
    let far = readings(&[0.0, 0.03, 1.4, 0.01]);
    let spread = Spread::around(mean(&far), &far);
    let outlier = spread.outlier.unwrap();
    assert_eq!(outlier.at, 2);
    assert!(outlier.from_others > OUTLIER_FLOOR);
    assert!(outlier.from_others > OUTLIER_TIMES * outlier.mcdm_of_others);

    let three = &far[..3];
    let spread = Spread::around(mean(three), three);
    assert_eq!(spread.outlier, None);
    assert!(spread.advice.contains(&SpreadAdvice::OutlierNotNamed));
}

#[test]
fn none_is_named_among_readings_that_all_scatter_or_all_agree() {
    for shifts in [
        [0.0, 0.6, 1.4, -0.5].as_slice(),
        &[0.0, 0.001, 0.02, 0.001],
        &[0.0; 6],
    ] {
        let even = readings(shifts);
        assert_eq!(
            Spread::around(mean(&even), &even).outlier,
            None,
            "{shifts:?}"
        );
    }
}

/// What the rule costs: sets without an outlier in which it names one. Scatter is even in L*a*b* near gray, from a
/// fixed generator (Knuth's MMIX constants).
#[test]
fn few_honest_sets_are_accused() {
    let mut state = 20_260_314_u64;
    let mut uniform = move || {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (state >> 11) as f64 / (1_u64 << 53) as f64
    };
    // Sum of twelve uniform numbers: near enough to normal.
    let mut normal = move || (0..12).map(|_| uniform()).sum::<f64>() - 6.0;
    for (n, at_most) in [(4, 0.02), (6, 0.005), (10, 0.001)] {
        let sets = 4000;
        let accused = (0..sets)
            .filter(|_| {
                let set: Vec<Lab> = (0..n)
                    .map(|_| Lab {
                        l: 50.0 + normal(),
                        a: normal(),
                        b: normal(),
                    })
                    .collect();
                Spread::around(mean(&set), &set).outlier.is_some()
            })
            .count();
        let share = accused as f64 / f64::from(sets);
        assert!(share <= at_most, "{share} of sets of {n}");
    }
}

#[test]
fn scattering_readings_ask_for_more() {
    let rough = readings(&[0.0, 1.2, -1.0, 0.4, -0.6]);
    let spread = Spread::around(mean(&rough), &rough);
    let Some(SpreadAdvice::TakeMore { needed }) = spread.advice.last() else {
        panic!("{:?}", spread.advice)
    };
    // n = (1.96 s/e)² with s the root of the sum of squares over n − 1 and e = 0.2 (ASTM E1345, from memory).
    let squares: f64 = spread.from_mean.iter().map(|d| d.de2000.powi(2)).sum();
    assert_eq!(
        *needed as f64,
        (1.96f64.powi(2) * squares / 4.0 / 0.04).ceil()
    );
    let smooth = readings(&[0.0, 0.02, 0.01, 0.03]);
    let advice = Spread::around(mean(&smooth), &smooth).advice;
    assert_eq!(advice, [SpreadAdvice::FewForT2]);
}

#[test]
fn readings_in_a_plane_have_no_region() {
    let flat = vec![
        Lab {
            l: 50.0,
            a: 0.0,
            b: 0.0
        };
        6
    ];
    assert_eq!(Spread::around(flat[0], &flat).mean_within, None);
    assert_eq!(HotellingT2::of_mean(&flat, flat[0]), None);
    let few = readings(&[0.0, 0.1, 0.2]);
    assert!(few.len() < MIN_FOR_T2);
    assert_eq!(HotellingT2::of_mean(&few, few[0]), None);
    assert_eq!(
        Spread::around(mean(&few), &few).mcdm.map(|d| d.de76 > 0.0),
        Some(true)
    );
    assert_eq!(Difference::between(flat[0], flat[1]).de2000, 0.0);
}
