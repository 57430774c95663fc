//! What a spectrum accepts, what it says about it, and what it refuses.

use color::{Ends, Spectrum, SpectrumError, SpectrumWarning};

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
            matches!(error, SpectrumError::NotFinite { nm: 450, .. }),
            "{error}"
        );
    }
    assert_eq!(
        with(410, -0.0051).unwrap_err(),
        SpectrumError::Negative {
            nm: 410,
            value: -0.0051
        }
    );
    assert_eq!(
        with(700, 2.0001).unwrap_err(),
        SpectrumError::TooHigh {
            nm: 700,
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
            nm: 410,
            value: -0.005
        }]
    );
    let high = with(420, 2.0).unwrap();
    assert_eq!(high.values()[2], 2.0);
    assert_eq!(
        high.warnings(),
        [SpectrumWarning::AboveOne {
            nm: 420,
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
        make(400, 10, 10_000).unwrap_err(),
        SpectrumError::TooMany { count: 10_000 }
    );
    assert_eq!(
        make(400, 10, 100_000).unwrap_err(),
        SpectrumError::TooMany { count: 100_000 }
    );
    for step in [0, 1, 5, 15, 40] {
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
    assert!(make(360, 10, 43).is_ok());
    assert!(make(400, 20, 16).is_ok());
}

#[test]
fn missing_ends_are_refused_unless_asked_for() {
    let make = |start, n, ends| Spectrum::new(start, 10, vec![0.5; n], ends);
    assert_eq!(
        make(420, 27, Ends::Refuse).unwrap_err(),
        SpectrumError::MissingEnds {
            first_nm: 420,
            last_nm: 680
        }
    );
    let extended = make(420, 27, Ends::Extend).unwrap();
    assert!(extended.ends_extended());
    assert_eq!(extended.values().len(), 27, "no value is invented");
    assert_eq!(
        extended.warnings(),
        [SpectrumWarning::EndsExtended {
            first_nm: 420,
            last_nm: 680
        }]
    );
    assert!(!make(400, 31, Ends::Extend).unwrap().ends_extended());
    assert!(make(440, 23, Ends::Extend).is_ok());
    for ends in [Ends::Refuse, Ends::Extend] {
        assert_eq!(
            make(500, 11, ends).unwrap_err(),
            SpectrumError::TooFarToExtend {
                first_nm: 500,
                last_nm: 600
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
    let refused = json.replace(r#","ends":"extend""#, "");
    let error = serde_json::from_str::<Spectrum>(&refused)
        .unwrap_err()
        .to_string();
    assert!(error.contains("420 to 680 nm"), "{error}");
}
