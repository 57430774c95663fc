//! Lights, metamerism, sheen, several readings, and charts.

use serde_json::Value;

use crate::desk::{Desk, flat, wavelengths};

type Reflectance = fn(f64) -> f64;

/// A wide file of samples, each a function of the wavelength.
fn samples(samples: &[(&str, Reflectance)]) -> String {
    let mut text = "name".to_owned();
    for nm in wavelengths() {
        text += &format!(",R{nm}");
    }
    for (name, value) in samples {
        text += &format!("\n{name}");
        for nm in wavelengths() {
            text += &format!(",{:.6}", value(f64::from(nm)));
        }
    }
    text + "\n"
}

fn wanted(nm: f64) -> f64 {
    0.35 + 0.15 * ((nm - 560.0) / 60.0).tanh()
}

/// Near the wanted color in daylight, with other pigments: it reflects more at the red end.
fn other_pigments(nm: f64) -> f64 {
    wanted(nm) + 0.03 * ((nm - 400.0) / 35.0).sin()
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value}"))
}

#[test]
fn lists_of_lights_give_a_reading_each() {
    let desk = Desk::new();
    desk.file("two.csv", flat(&[("light", 0.8), ("dark", 0.1)]));
    let run = desk.run(&[
        "color",
        "--spectrum",
        "two.csv",
        "--light",
        "D65,A,F11",
        "--light",
        "LED-B3",
        "--observer",
        "2,10",
        "--json",
    ]);
    assert_eq!(run.json()["readings"].as_array().unwrap().len(), 16);
    let run = desk.run(&["color", "--spectrum", "two.csv", "--light", "D65,X"]);
    assert_eq!(run.code, 2);
    assert!(run.err.contains("LED-B5"), "{}", run.err);
}

#[test]
fn metamerism_is_told_for_any_lights() {
    let desk = Desk::new();
    desk.file("standard.csv", samples(&[("chip", wanted)]));
    desk.file(
        "samples.csv",
        samples(&[("same", wanted), ("other", other_pigments)]),
    );
    let args = [
        "metamerism",
        "--standard",
        "standard.csv",
        "--sample",
        "samples.csv",
        "--reference",
        "D65",
        "--test",
        "A,F11",
        "--observer",
        "10",
    ];
    let document = desk.run(&[&args[..], &["--json"]].concat()).json();
    assert_eq!(document["standard"], "chip");
    assert_eq!(document["reference"], "D65");
    let results = document["results"].as_array().unwrap();
    assert_eq!(results.len(), 4);
    for of in results {
        let (multiplicative, additive) = (&of["multiplicative"], &of["additive"]);
        for index in [multiplicative, additive] {
            for formula in ["de2000", "de76"] {
                let value = number(&index[formula]);
                match of["sample"].as_str().unwrap() {
                    "same" => assert!(value < 1e-9, "{of}"),
                    _ => assert!(value > 0.1, "{of}"),
                }
            }
        }
        assert!(number(&of["inconstancy"]["standard"]) > 0.0, "{of}");
    }
    let screen = desk.run(&args).out;
    assert!(
        screen.contains("multiplicative") && screen.contains("F11"),
        "{screen}"
    );
}

#[test]
fn a_black_sample_has_no_multiplicative_index() {
    let desk = Desk::new();
    desk.file("standard.csv", flat(&[("gray", 0.5)]));
    desk.file("black.csv", flat(&[("black", 0.0)]));
    let run = desk.run(&[
        "metamerism",
        "--standard",
        "standard.csv",
        "--sample",
        "black.csv",
        "--scale",
        "fraction",
    ]);
    assert_eq!(run.code, 2);
    assert!(run.err.contains("above 0"), "{}", run.err);
}

/// Master Painters Institute levels, and the first surface of a paint (Fresnel, n = 1.5).
#[test]
fn sheen_names_levels_or_what_failed() {
    let desk = Desk::new();
    let document = desk.run(&["sheen", "--gloss60", "22", "--json"]).json();
    assert_eq!(document["levels"], serde_json::json!(["G3", "G4"]));
    assert_eq!(document["needs_85"], true);
    assert_eq!(document["names"][1], "satin-like");
    let document = desk
        .run(&["sheen", "--gloss60", "8", "--gloss85", "5", "--json"])
        .json();
    assert_eq!(document["answer"], "between");
    assert_eq!(document["nearest"], "G1");
    assert_eq!(document["failed"][0]["units"], 5.0);
    assert_eq!(desk.run(&["sheen", "--gloss60", "-3"]).code, 2);
    assert_eq!(desk.run(&["sheen"]).code, 2);
    assert_eq!(desk.run(&["sheen", "--gloss85", "3"]).code, 2);

    desk.file("sci.csv", flat(&[("in", 0.25)]));
    desk.file("sce.csv", flat(&[("out", 0.212)]));
    let run = desk.run(&["sheen", "--sci", "sci.csv", "--sce", "sce.csv", "--json"]);
    let document = run.json();
    assert_eq!(document["specular"]["rough"], true);
    assert_eq!(document["specular"]["surface"], "glossy");
    assert!(document.get("levels").is_none(), "{document}");
    let run = desk.run(&["sheen", "--sci", "sce.csv", "--sce", "sci.csv"]);
    assert_eq!(run.code, 2);
    assert!(run.err.contains("other way round"), "{}", run.err);
}

#[test]
fn readings_of_one_sample_are_averaged_and_their_outlier_named() {
    let desk = Desk::new();
    let readings = [
        ("first", 0.400),
        ("second", 0.401),
        ("third", 0.399),
        ("fourth", 0.440),
        ("fifth", 0.4005),
    ];
    desk.file("five.csv", flat(&readings));
    let run = desk.run(&["color", "--spectrum", "five.csv", "--average", "--json"]);
    let document = run.json();
    let all = document["readings"].as_array().unwrap();
    assert_eq!(all.len(), 1);
    // Averaged in reflectance: Y of a gray is its reflectance.
    assert!(
        (number(&all[0]["xyz"][1]) - 40.81).abs() < 1e-6,
        "{document}"
    );
    assert_eq!(all[0]["spread"]["readings"], 5);
    assert_eq!(all[0]["spread"]["outlier"]["at"], 3);
    let screen = desk
        .run(&["color", "--spectrum", "five.csv", "--average"])
        .out;
    assert!(screen.contains("! fourth lies"), "{screen}");
    assert!(screen.contains("MCDM"), "{screen}");

    desk.file("one.csv", flat(&readings[..1]));
    let screen = desk
        .run(&["color", "--spectrum", "one.csv", "--average"])
        .out;
    assert!(screen.contains("a single reading"), "{screen}");

    desk.file("standard.csv", flat(&[("standard", 0.38)]));
    let document = desk
        .run(&[
            "delta",
            "--spectrum",
            "standard.csv",
            "--spectrum",
            "five.csv",
            "--average",
            "--json",
        ])
        .json();
    assert_eq!(document["sample"], "average of 5 readings");
    assert_eq!(document["batch"]["sample"]["readings"], 5);
    // Grays differ in lightness alone: their colors lie on a line, which has no T².
    assert_eq!(document["batch"]["t2"], Value::Null);
}

#[test]
fn spectra_are_compared_under_many_lights_and_formulas() {
    let desk = Desk::new();
    desk.file("a.csv", samples(&[("chip", wanted)]));
    desk.file(
        "b.csv",
        samples(&[("same", wanted), ("other", other_pigments)]),
    );
    let document = desk
        .run(&[
            "delta",
            "--spectrum",
            "a.csv",
            "--spectrum",
            "b.csv",
            "--light",
            "D65,A",
            "--formula",
            "de2000,de94-textile,cmc-one",
            "--json",
        ])
        .json();
    let results = document["results"].as_array().unwrap();
    assert_eq!(results.len(), 4);
    assert_eq!(results[3]["sample"], "other");
    assert_eq!(results[3]["light"], "A");
    for name in ["de2000", "de94_textile", "cmc_one"] {
        assert!(number(&results[3]["delta"][name]) > 0.5, "{document}");
    }
}

#[test]
fn unlike_readings_are_told_wherever_two_are_compared() {
    let desk = Desk::new();
    let stated = |geometry: &str, text: String| format!("# geometry: {geometry}\n{text}");
    desk.file("a.csv", stated("d:8", samples(&[("chip", wanted)])));
    desk.file(
        "b.csv",
        stated("45:0", samples(&[("drawdown", other_pigments)])),
    );
    for (verb, first, second) in [
        ("delta", "--spectrum", "--spectrum"),
        ("metamerism", "--standard", "--sample"),
    ] {
        let args = [verb, first, "a.csv", second, "b.csv"];
        let screen = desk.run(&args).out;
        assert!(
            screen.contains("! ") && screen.contains("read at d:8 and at 45:0"),
            "{screen}"
        );
        let document = desk.run(&[&args[..], &["--json"]].concat()).json();
        let of = document
            .get("results")
            .map_or(&document, |results| &results[0]);
        assert!(
            of["warnings"][0].as_str().unwrap().contains("45:0"),
            "{document}"
        );
        let same = desk.run(&[verb, first, "a.csv", second, "a.csv"]);
        assert!(!same.out.contains("read at"), "{}", same.out);
    }
}

#[test]
fn charts_go_to_the_screen_and_into_files() {
    let desk = Desk::new();
    desk.file("a.csv", samples(&[("chip", wanted)]));
    desk.file("b.csv", samples(&[("drawdown", other_pigments)]));
    let args = ["delta", "--spectrum", "a.csv", "--spectrum", "b.csv"];
    let run = desk.run(&[&args[..], &["--plot", "--svg", "d.svg", "--png", "d.png"]].concat());
    for part in [
        "⠤⠤⠤  standard: chip",
        "o o  sample: drawdown",
        "wavelength (nm)",
        "reflectance (%)",
    ] {
        assert!(run.out.contains(part), "{part} in {}", run.out);
    }
    assert!(!run.out.contains('\u{1b}'), "no color into a pipe");
    let longest = run.out.lines().map(|line| line.chars().count()).max();
    assert!(longest <= Some(100), "COLUMNS is 100: {longest:?}");
    let svg = std::fs::read_to_string(desk.path().join("d.svg")).unwrap();
    assert!(svg.starts_with("<svg") && svg.contains("sample: drawdown"));
    let png = std::fs::read(desk.path().join("d.png")).unwrap();
    assert!(png.starts_with(b"\x89PNG\r\n\x1a\n"));

    let run = desk.run(&[&args[..], &["--plot", "--json"]].concat());
    assert!(number(&run.json()["delta"]["de2000"]) > 0.5);
    let run = desk.run(&[&args[..], &["--svg", "missing/d.svg"]].concat());
    assert_eq!(run.code, 2);
    let run = desk.run(&["delta", "--lab", "50,0,0", "--lab", "51,0,0", "--plot"]);
    assert_eq!(run.code, 2);
    assert!(run.err.contains("measured spectra"), "{}", run.err);
}
