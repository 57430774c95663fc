//! Color arithmetic, and colors on the screen.

use crate::desk::{Desk, Run, flat};

/// CIE 15: the perfect diffuser is the white point, L* 100, under every light.
#[test]
fn the_perfect_diffuser_is_white_under_every_light() {
    let desk = Desk::new();
    desk.file("white.csv", flat(&[("white", 1.0)]));
    let run = desk.run(&[
        "color",
        "--spectrum",
        "white.csv",
        "--light",
        "D65",
        "--light",
        "A",
        "--light",
        "F11",
        "--observer",
        "2",
        "--observer",
        "10",
        "--json",
    ]);
    let document = run.json();
    let readings = document["readings"].as_array().unwrap();
    assert_eq!(readings.len(), 6);
    for reading in readings {
        let part = |at: usize| reading["lab"][at].as_f64().unwrap();
        assert!((part(0) - 100.0).abs() < 1e-6, "{reading}");
        assert!(part(1).abs() < 1e-6 && part(2).abs() < 1e-6, "{reading}");
        assert!((reading["xyz"][1].as_f64().unwrap() - 100.0).abs() < 1e-6);
    }
}

/// Sharma, Wu and Dalal, "The CIEDE2000 color-difference formula", Color Research & Application 30 (2005), table 1:
/// pairs 1, 7, 17 and 34 (from memory).
#[test]
fn differences_are_those_of_the_published_pairs() {
    let desk = Desk::new();
    desk.file(
        "pairs.csv",
        "L1,a1,b1,L2,a2,b2\n50,2.6772,-79.7751,50,0,-82.7485\n50,0,0,50,-1,2\n50,2.5,0,73,25,-18\n\
         2.0776,0.0795,-1.1350,0.9033,-0.0636,-0.5514\n",
    );
    let run = desk.run(&["delta", "--pairs", "pairs.csv", "--json"]);
    let document = run.json();
    let results = document["results"].as_array().unwrap();
    for (result, wanted) in results.iter().zip([2.0425, 2.3669, 27.1492, 0.9082]) {
        let found = result["delta"]["de2000"].as_f64().unwrap();
        assert!((found - wanted).abs() < 5e-5, "{result}");
    }
    assert_eq!(results.len(), 4);
    let one = desk.run(&[
        "delta",
        "--lab",
        "50,2.5,0",
        "--lab",
        "73,25,-18",
        "--formula",
        "de76",
        "--json",
    ]);
    let found = one.json()["delta"]["de76"].as_f64().unwrap();
    assert!((found - 36.868_0).abs() < 1e-3, "{found}");
    assert_eq!(one.json()["direction"]["lightness"], "lighter");
    for bad in ["50,0", "50,0,x"] {
        assert_eq!(
            desk.run(&["delta", "--lab", bad, "--lab", "50,0,0"]).code,
            2
        );
    }
    assert_eq!(desk.run(&["delta", "--lab", "50,0,0"]).code, 2);
    desk.file("pairs.csv", "L1,a1,b1,L2,a2\n50,0,0,50,0\n");
    let run = desk.run(&["delta", "--pairs", "pairs.csv"]);
    assert_eq!(run.code, 2);
    assert!(run.err.contains("b2"), "{}", run.err);
}

#[test]
fn colors_are_written_when_asked_for_and_never_into_json() {
    let desk = Desk::new();
    let ask = |args: &[&str]| {
        desk.run(&[&["delta", "--lab", "50,0,0", "--lab", "53,80,67"], args].concat())
            .out
    };
    assert!(!ask(&[]).contains('\u{1b}'), "a pipe is no terminal");
    assert!(ask(&["--color", "always"]).contains("\u{1b}[48;2;"));
    assert!(!ask(&["--color", "always", "--json"]).contains('\u{1b}'));
    let run = desk
        .command(&[
            "delta", "--lab", "50,0,0", "--lab", "53,80,67", "--color", "always",
        ])
        .env("NO_COLOR", "1")
        .output()
        .unwrap();
    assert!(
        Run::of(&run).out.contains('\u{1b}'),
        "the option outranks the surroundings"
    );
}
