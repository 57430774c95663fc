//! Metamerism against the worked example of ISO 18314-4.

use color::metamerism::{Metamerism, NoLight, TwoLights, additive, multiplicative};
use color::{Ends, Illuminant, Lab, Observer, Spectrum, Viewing, Xyz, de76};

#[track_caller]
fn near(got: f64, want: f64, by: f64) {
    assert!((got - want).abs() <= by, "{got} for {want}");
}

fn labs(reference: [f64; 3], test: [f64; 3]) -> TwoLights<Lab> {
    let [reference, test] = [reference, test].map(|lab| Lab::try_from(lab).expect("a color"));
    TwoLights { reference, test }
}

fn xyzs(reference: [f64; 3], test: [f64; 3]) -> TwoLights<Xyz> {
    TwoLights {
        reference: reference.into(),
        test: test.into(),
    }
}

/// The standard's worked example (10°, D65 to A), its inputs as colour-science 0.4.7 carries
/// them; answers by colour-science.
#[test]
fn worked_example() {
    let standard = labs([39.0908, -21.3269, 22.6657], [38.17781, -17.4939, 21.0618]);
    let sample = labs([38.83253, -19.8787, 20.0453], [37.9013, -19.56327, 16.9346]);
    let index = additive(standard, sample);
    near(index.de76, 3.826_758, 1e-5);
    near(index.de2000, 2.465_420, 1e-5);

    let standard = xyzs([7.6576, 10.7116, 5.0731], [8.96442, 10.1878, 1.6663]);
    let sample = xyzs([7.6933, 10.5616, 5.54474], [8.56438, 10.0324, 1.9315]);
    let (x, y) = (0.45117, 0.40594);
    let white = Xyz {
        x: x / y * 100.0,
        y: 100.0,
        z: (1.0 - x - y) / y * 100.0,
    };
    let index = multiplicative(standard, sample, white).unwrap();
    near(index.de76, 3.790_699, 1e-5);
    near(index.de2000, 2.440_686, 1e-5);
    assert!((index.de76 - 3.98422).abs() > 0.1, "the trap below");
}

/// The trap: ratios taken on L*a*b* instead of XYZ give 3.98422 with the example's numbers.
#[test]
fn ratios_on_lab_are_another_number() {
    let ratio = |test: f64, standard: f64, sample: f64| test * standard / sample;
    let corrected = Lab {
        l: ratio(37.9013, 39.0908, 38.83253),
        a: ratio(-19.56327, -21.3269, -19.8787),
        b: ratio(16.9346, 22.6657, 20.0453),
    };
    let standard = Lab {
        l: 38.17781,
        a: -17.4939,
        b: 21.0618,
    };
    near(de76(standard, corrected), 3.98422, 1e-5);
}

fn spectrum(f: impl Fn(f64) -> f64) -> Spectrum {
    let values = (0..31).map(|i| f(f64::from(i) / 30.0)).collect();
    Spectrum::new(400, 10, values, Ends::Refuse).expect("a good spectrum")
}

fn lights(test: Illuminant) -> TwoLights<Viewing> {
    let under = |light| Viewing::new(light, Observer::TenDegree);
    TwoLights {
        reference: under(Illuminant::D65),
        test: under(test),
    }
}

#[test]
fn equal_spectra_never_part() {
    let gray = spectrum(|x| 0.2 + 0.5 * x);
    for light in Illuminant::ALL {
        let found = Metamerism::between(&gray, &gray, lights(light)).unwrap();
        for difference in [
            found.under_reference,
            found.under_test,
            found.multiplicative,
            found.additive,
        ] {
            assert_eq!((difference.de76, difference.de2000), (0.0, 0.0), "{light}");
        }
    }
}

/// A sample lighter by one factor at all wavelengths is no metamer: in XYZ the correction is
/// exact, and nothing is left.
#[test]
fn a_mere_lightness_difference_is_corrected_away() {
    let standard = spectrum(|x| 0.2 + 0.5 * x);
    let lighter = spectrum(|x| 1.2 * (0.2 + 0.5 * x));
    let found = Metamerism::between(&standard, &lighter, lights(Illuminant::A)).unwrap();
    assert!(found.under_test.de76 > 4.0);
    near(found.multiplicative.de76, 0.0, 1e-9);
}

#[test]
fn different_shapes_part_under_the_test_light() {
    let flat = spectrum(|_| 0.4);
    let waves = spectrum(|x| 0.4 + 0.15 * (x * 18.0).sin());
    let found = Metamerism::between(&flat, &waves, lights(Illuminant::F11)).unwrap();
    assert!(
        found.multiplicative.de2000 > 1.0 && found.additive.de2000 > 1.0,
        "{found:?}"
    );
}

#[test]
fn a_perfect_black_has_no_ratio() {
    let black = spectrum(|_| 0.0);
    let gray = spectrum(|_| 0.5);
    let error = Metamerism::between(&gray, &black, lights(Illuminant::A)).unwrap_err();
    assert_eq!(
        error,
        NoLight {
            field: "X",
            value: 0.0
        }
    );
    assert!(error.to_string().contains("additive"));
}
