//! Gloss levels against the limits that the Master Painters Institute publishes.

use color::gloss::{
    FIRST_SURFACE, GlossAnswer, GlossLevel, GlossReading, LimitBound, SpecularError, SpecularSign,
    Surface,
};
use color::{Ends, Spectrum};

fn of(at60: f64, at85: Option<f64>) -> GlossAnswer {
    GlossLevel::of(GlossReading::new(at60, at85).expect("a good reading"))
}

fn levels(answer: GlossAnswer) -> (Vec<GlossLevel>, bool) {
    match answer {
        GlossAnswer::Levels { levels, needs_85 } => (levels, needs_85),
        GlossAnswer::Between { .. } => panic!("{answer:?}"),
    }
}

#[test]
fn limits_and_names_are_the_published_ones() {
    let mut reader = csv::Reader::from_reader(include_str!("data/mpi_gloss_levels.csv").as_bytes());
    let mut seen = 0;
    for (row, level) in reader.records().zip(GlossLevel::ALL) {
        let row = row.unwrap();
        assert_eq!(&row[0], format!("{level:?}"));
        assert_eq!(&row[5], level.name());
        let published: Vec<f64> = (1..5)
            .filter_map(|column| row[column].parse().ok())
            .collect();
        let ours: Vec<f64> = level.limits().map(|limit| limit.units).collect();
        assert_eq!(ours, published, "{level:?}");
        seen += 1;
    }
    assert_eq!(seen, 7);
}

#[test]
fn readings_inside_one_level() {
    use GlossLevel::{G1, G2, G3, G4, G5, G6, G7};
    for (at60, at85, level) in [
        (3.0, 5.0, G1),
        (7.0, 20.0, G2),
        (15.0, 20.0, G3),
        (25.0, 50.0, G4),
        (50.0, 80.0, G5),
        (80.0, 90.0, G6),
        (95.0, 95.0, G7),
    ] {
        assert_eq!(
            levels(of(at60, Some(at85))),
            (vec![level], false),
            "{at60} {at85}"
        );
    }
}

#[test]
fn edges_belong_to_both_and_60_alone_may_not_decide() {
    use GlossLevel::{G1, G2, G3, G4, G5, G6, G7};
    assert_eq!(levels(of(10.0, Some(20.0))), (vec![G2, G3], false));
    assert_eq!(levels(of(22.0, Some(35.0))), (vec![G3, G4], false));
    assert_eq!(levels(of(85.0, Some(90.0))), (vec![G6, G7], false));
    assert_eq!(levels(of(4.0, None)), (vec![G1, G2], true));
    assert_eq!(levels(of(22.0, None)), (vec![G3, G4], true));
    assert_eq!(levels(of(50.0, None)), (vec![G5], false));
    assert_eq!(levels(of(0.0, Some(0.0))), (vec![G1], false));
}

#[test]
fn readings_between_levels_name_the_nearest_and_what_failed() {
    let between = |at60, at85| match of(at60, Some(at85)) {
        GlossAnswer::Between { nearest, failed } => (nearest, failed),
        answer => panic!("{answer:?}"),
    };
    let (nearest, failed) = between(8.0, 5.0);
    assert_eq!(nearest, GlossLevel::G1);
    assert_eq!(failed.len(), 1);
    assert_eq!(
        (failed[0].bound, failed[0].units),
        (LimitBound::AtMost, 5.0)
    );
    let (nearest, failed) = between(15.0, 50.0);
    assert_eq!(nearest, GlossLevel::G4);
    assert_eq!(
        failed.iter().map(ToString::to_string).collect::<Vec<_>>(),
        ["at least 20 at 60°"]
    );
    let said = of(8.0, Some(5.0)).to_string();
    assert!(said.contains("between levels; nearest G1") && said.contains("at most 5 at 60°"));
    let json = serde_json::to_value(of(8.0, Some(5.0))).unwrap();
    assert_eq!(json["answer"], "between");
    assert_eq!(json["failed"][0]["angle"], "60");
}

#[test]
fn readings_that_no_paint_has_are_refused() {
    for (at60, at85, angle) in [
        (-1.0, None, "60°"),
        (f64::NAN, None, "60°"),
        (50.0, Some(f64::INFINITY), "85°"),
        (50.0, Some(201.0), "85°"),
    ] {
        let error = GlossReading::new(at60, at85).unwrap_err().to_string();
        assert!(
            error.contains(angle) && error.contains("0 to 200"),
            "{error}"
        );
    }
}

fn gray(reflectance: f64) -> Spectrum {
    Spectrum::new(400, 10, vec![reflectance; 31], Ends::Refuse).expect("a spectrum")
}

/// Fresnel's ((n - 1)/(n + 1))² at perpendicular light; 0.04 with the 1.5 of a usual binder.
#[test]
fn the_first_surface_is_that_of_fresnel() {
    let n: f64 = 1.5;
    assert!((((n - 1.0) / (n + 1.0)).powi(2) - FIRST_SURFACE).abs() < 1e-15);
}

#[test]
fn specular_included_minus_excluded_is_a_rough_sign() {
    for (excluded, surface) in [
        (0.20, Surface::Matte),
        (0.195, Surface::Matte),
        (0.18, Surface::Between),
        (0.165, Surface::Glossy),
    ] {
        let sign = SpecularSign::between(&gray(0.2), &gray(excluded)).unwrap();
        assert_eq!(sign.surface, surface, "{excluded}");
        assert!((sign.difference - (0.2 - excluded)).abs() < 1e-12);
        assert!(sign.to_string().contains("rough sign only"), "{sign}");
    }
    let scatter = SpecularSign::between(&gray(0.2), &gray(0.203)).unwrap();
    assert_eq!(scatter.surface, Surface::Matte);
}

#[test]
fn a_swapped_or_unlike_pair_is_told() {
    let error = SpecularSign::between(&gray(0.2), &gray(0.24)).unwrap_err();
    assert!(matches!(error, SpecularError::Swapped { .. }), "{error}");
    assert!(error.to_string().contains("other way round"), "{error}");
    let other = Spectrum::new(400, 20, vec![0.2; 16], Ends::Refuse).expect("a spectrum");
    assert_eq!(
        SpecularSign::between(&gray(0.2), &other),
        Err(SpecularError::Wavelengths)
    );
}
