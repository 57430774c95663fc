//! What a spectrum accepts, what it says about it, and what it refuses.

use color::{Ends, Grid, Spectrum, SpectrumError, SpectrumWarning, Wavelengths};

fn with(nm: usize, value: f64) -> Result<Spectrum, SpectrumError> {
    let mut values = vec![0.5; 31];
    values[(nm - 400) / 10] = value;
    Spectrum::new(400, 10, values, Ends::Refuse)
}

#[test]
fn values_that_are_no_reflectance_are_refused_with_their_wavelength() {
    for value in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
        let error = with(450, value).unwrap_err();
        assert!(
            matches!(error, SpectrumError::NotFinite { nm: 450.0, .. }),
            "{error}"
        );
    }
    assert_eq!(
        with(410, -0.0051).unwrap_err(),
        SpectrumError::Negative {
            nm: 410.0,
            value: -0.0051
        }
    );
    assert_eq!(
        with(700, 2.0001).unwrap_err(),
        SpectrumError::TooHigh {
            nm: 700.0,
            value: 2.0001
        }
    );
    let words = with(410, -0.2).unwrap_err().to_string();
    assert!(words.contains("410 nm") && words.contains("-0.2") && words.contains("calibrate"));
}

#[test]
fn values_at_the_edge_are_kept_with_a_warning() {
    let clamped = with(410, -0.005).unwrap();
    assert_eq!(clamped.values()[1], 0.0);
    assert_eq!(
        clamped.warnings(),
        [SpectrumWarning::NegativeClamped {
            nm: 410.0,
            value: -0.005
        }]
    );
    let high = with(420, 2.0).unwrap();
    assert_eq!(high.values()[2], 2.0);
    assert_eq!(
        high.warnings(),
        [SpectrumWarning::AboveOne {
            nm: 420.0,
            value: 2.0
        }]
    );
    assert!(with(420, 1.0).unwrap().warnings().is_empty());
    assert!(with(420, 0.0).unwrap().warnings().is_empty());
}

#[test]
fn number_and_spacing_of_values() {
    let make = |start, step, n| Spectrum::new(start, step, vec![0.5; n], Ends::Refuse);
    assert_eq!(
        make(400, 10, 0).unwrap_err(),
        SpectrumError::TooFew { count: 0 }
    );
    assert_eq!(
        make(400, 10, 1).unwrap_err(),
        SpectrumError::TooFew { count: 1 }
    );
    assert_eq!(
        make(400, 1, 10_000).unwrap_err(),
        SpectrumError::TooMany { count: 10_000 }
    );
    assert_eq!(
        make(400, 10, 100_000).unwrap_err(),
        SpectrumError::TooMany { count: 100_000 }
    );
    for step in [0, 21, 40] {
        assert_eq!(
            make(400, step, 31).unwrap_err(),
            SpectrumError::Step { step_nm: step }
        );
    }
    assert!(matches!(
        make(190, 20, 40).unwrap_err(),
        SpectrumError::Range { .. }
    ));
    assert!(matches!(
        make(65_000, 20, 91).unwrap_err(),
        SpectrumError::Range { .. }
    ));
    for step in 1..=20 {
        let count = usize::from(300 / step + 1) + usize::from(300 % step != 0);
        assert!(make(400, step, count).is_ok(), "{step}");
    }
    assert!(make(200, 1, 901).is_ok());
    assert!(make(360, 10, 43).is_ok());
    assert!(make(400, 20, 16).is_ok());
}

fn at(nms: &[f64]) -> Result<Spectrum, SpectrumError> {
    Spectrum::at(Wavelengths::new(nms)?, vec![0.5; nms.len()], Ends::Refuse)
}

fn evenly(from: f64, step: f64, count: usize) -> Vec<f64> {
    (0..count).map(|i| from + step * i as f64).collect()
}

#[test]
fn wavelengths_of_any_step_from_1_to_20_nm() {
    let thirds = at(&evenly(380.0, 10.0 / 3.0, 106)).unwrap();
    assert_eq!(thirds.wavelengths().even(), None);
    assert_eq!(thirds.wavelengths().count(), 106);
    assert_eq!(thirds.wavelengths().first_nm(), 380.0);
    assert_eq!(
        thirds.wavelengths().to_string(),
        "380–730 nm at 106 wavelengths"
    );
    // However it was given, a grid is a grid.
    let listed = at(&evenly(400.0, 10.0, 31)).unwrap();
    let grid = Spectrum::new(400, 10, vec![0.5; 31], Ends::Refuse).unwrap();
    assert_eq!(listed, grid);
    assert!(at(&evenly(400.5, 1.0, 301)).is_err(), "400 is not reached");
    assert!(at(&evenly(399.5, 1.0, 302)).is_ok());
    // Wider data may have gaps where no color is computed.
    let mut wide = evenly(250.0, 50.0, 3);
    wide.extend(evenly(360.0, 10.0, 43));
    wide.push(900.0);
    assert!(at(&wide).is_ok());
}

#[test]
fn wavelengths_that_give_no_color() {
    let without = |low: f64, high: f64| {
        let mut nms = evenly(400.0, 10.0, 31);
        nms.retain(|nm| *nm <= low || *nm >= high);
        nms
    };
    assert!(at(&without(500.0, 520.0)).is_ok());
    let (from_nm, to_nm) = (500.0, 530.0);
    assert_eq!(
        at(&without(500.0, 530.0)).unwrap_err(),
        SpectrumError::Gap { from_nm, to_nm }
    );
    let with = |place: usize, nm: f64| {
        let mut nms = evenly(400.0, 10.0, 31);
        nms[place] = nm;
        at(&nms).unwrap_err()
    };
    let (from_nm, to_nm) = (410.0, 410.5);
    assert_eq!(with(2, 410.5), SpectrumError::TooClose { from_nm, to_nm });
    let (from_nm, to_nm) = (410.0, 405.0);
    assert_eq!(with(2, 405.0), SpectrumError::TooClose { from_nm, to_nm });
    for nm in [f64::NAN, f64::INFINITY, 0.42, -420.0] {
        assert!(matches!(with(2, nm), SpectrumError::Range { .. }), "{nm}");
    }
    assert_eq!(at(&[]).unwrap_err(), SpectrumError::TooFew { count: 0 });
    assert_eq!(
        at(&[400.0]).unwrap_err(),
        SpectrumError::TooFew { count: 1 }
    );
    let fine = evenly(300.0, 0.7, 1000);
    assert_eq!(
        at(&fine).unwrap_err(),
        SpectrumError::TooMany { count: 1000 }
    );
    let finer = evenly(390.0, 0.5, 700);
    assert!(
        at(&finer)
            .unwrap_err()
            .to_string()
            .contains("390.5 nm follows 390 nm")
    );
    let grid = Grid::new(400, 10, 31).unwrap();
    assert_eq!(
        Spectrum::at(grid, vec![0.5; 30], Ends::Refuse).unwrap_err(),
        SpectrumError::Unequal {
            wavelengths: 31,
            values: 30
        }
    );
    assert!(at(&evenly(420.5, 3.5, 80)).is_err());
}

#[test]
fn missing_ends_are_refused_unless_asked_for() {
    let make = |start, n, ends| Spectrum::new(start, 10, vec![0.5; n], ends);
    assert_eq!(
        make(420, 27, Ends::Refuse).unwrap_err(),
        SpectrumError::MissingEnds {
            first_nm: 420.0,
            last_nm: 680.0
        }
    );
    let extended = make(420, 27, Ends::Extend).unwrap();
    assert!(extended.ends_extended());
    assert_eq!(extended.values().len(), 27, "no value is invented");
    assert_eq!(
        extended.warnings(),
        [SpectrumWarning::EndsExtended {
            first_nm: 420.0,
            last_nm: 680.0
        }]
    );
    assert!(!make(400, 31, Ends::Extend).unwrap().ends_extended());
    assert!(make(440, 23, Ends::Extend).is_ok());
    for ends in [Ends::Refuse, Ends::Extend] {
        assert_eq!(
            make(500, 11, ends).unwrap_err(),
            SpectrumError::TooFarToExtend {
                first_nm: 500.0,
                last_nm: 600.0
            }
        );
    }
}

#[test]
fn reading_back_checks_again() {
    let spectrum = Spectrum::new(420, 20, vec![0.25; 14], Ends::Extend).unwrap();
    let json = serde_json::to_string(&spectrum).unwrap();
    assert!(
        json.starts_with(r#"{"start_nm":420,"step_nm":20,"values":[0.25,"#),
        "{json}"
    );
    assert_eq!(serde_json::from_str::<Spectrum>(&json).unwrap(), spectrum);
    let thirds = Wavelengths::new(&evenly(400.0, 10.0 / 3.0, 91)).unwrap();
    let uneven = Spectrum::at(thirds, vec![0.25; 91], Ends::Refuse).unwrap();
    let listed = serde_json::to_string(&uneven).unwrap();
    assert!(
        listed.starts_with(r#"{"wavelengths_nm":[400.0,403."#),
        "{listed}"
    );
    assert_eq!(serde_json::from_str::<Spectrum>(&listed).unwrap(), uneven);
    let both = listed.replacen('{', r#"{"step_nm":10,"#, 1);
    let error = serde_json::from_str::<Spectrum>(&both).unwrap_err();
    assert!(error.to_string().contains("not both"), "{error}");
    let refused = json.replace(r#","ends":"extend""#, "");
    let error = serde_json::from_str::<Spectrum>(&refused)
        .unwrap_err()
        .to_string();
    assert!(error.contains("420 to 680 nm"), "{error}");
}
