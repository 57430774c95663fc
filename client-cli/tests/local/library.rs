//! Libraries of spectra on this machine.

use std::fs;

use crate::desk::{Desk, flat};

fn build(desk: &Desk) {
    desk.file(
        "grays.csv",
        flat(&[("dark", 0.2), ("middle", 0.4), ("light", 0.8)]),
    );
    desk.file("more.csv", flat(&[("twin", 0.4), ("李 middle", 0.41)]));
    let run = desk.run(&[
        "library",
        "build",
        "--spectra",
        "grays.csv",
        "more.csv",
        "--out",
        "chips",
        "--json",
    ]);
    assert_eq!(run.code, 0, "{}", run.err);
    assert_eq!(run.json()["count"], 5);
}

#[test]
fn a_library_is_built_and_searched_with_ties_in_its_order() {
    let desk = Desk::new();
    build(&desk);
    desk.file("query.csv", flat(&[("query", 0.4)]));
    let run = desk.run(&[
        "nearest",
        "--library",
        "chips",
        "--spectrum",
        "query.csv",
        "--limit",
        "3",
        "--json",
    ]);
    assert_eq!(run.code, 0, "{}", run.err);
    let answer = run.json();
    let names: Vec<&str> = answer["results"]
        .as_array()
        .unwrap()
        .iter()
        .map(|hit| hit["name"].as_str().unwrap())
        .collect();
    assert_eq!(names, ["middle", "twin", "李 middle"]);
    assert_eq!(answer["examined"], 5);
    assert_eq!(answer["results"][0]["de2000"], 0.0);
    assert_eq!(answer["results"][0]["verdict"], "indistinguishable");
    // Not rounded: the color of the library is the color that `color` gives.
    let color = desk
        .run(&["color", "--spectrum", "query.csv", "--json"])
        .json();
    assert_eq!(answer["results"][0]["lab"], color["readings"][0]["lab"]);
    assert_eq!(answer["query"]["lab"], color["readings"][0]["lab"]);

    desk.file("queries.csv", "name,L,a,b\none,69.5,0,0\ntwo,20,0,0\n");
    for queries in ["queries.csv", "grays.csv"] {
        let many = desk.run(&[
            "nearest",
            "--library",
            "chips",
            "--queries",
            queries,
            "--limit",
            "1",
            "--json",
        ]);
        assert_eq!(many.code, 0, "{}", many.err);
        let answers = many.json()["answers"].as_array().unwrap().clone();
        assert_eq!(answers.len(), if queries == "grays.csv" { 3 } else { 2 });
        assert!(
            answers
                .iter()
                .all(|answer| answer["results"].as_array().unwrap().len() == 1)
        );
    }
    insta::assert_snapshot!(
        desk.run(&[
            "nearest",
            "--library",
            "chips",
            "--lab",
            "69.5,0,0",
            "--limit",
            "3"
        ])
        .out
    );
}

/// Chips of one paint read at 10 nm, at ten nanometers in three and at uneven wavelengths lie together in one library.
#[test]
fn a_library_holds_readings_of_any_step() {
    let desk = Desk::new();
    let long = |nms: &[f64]| {
        let row = |nm: &f64| format!("{nm:.4},{:.4}\n", 0.3 + 0.2 * (nm / 60.0).sin());
        format!(
            "wavelength,chip\n{}",
            nms.iter().map(row).collect::<String>()
        )
    };
    let tens: Vec<f64> = (0..36).map(|i| 380.0 + 10.0 * f64::from(i)).collect();
    let thirds: Vec<f64> = (0..106)
        .map(|i| 380.0 + 10.0 / 3.0 * f64::from(i))
        .collect();
    let mut uneven = vec![380.0];
    while uneven[uneven.len() - 1] < 730.0 {
        let last = uneven[uneven.len() - 1];
        uneven.push(last + 2.0 + (last - 380.0) / 60.0);
    }
    desk.file("tens.csv", long(&tens));
    desk.file("thirds.csv", long(&thirds));
    desk.file("uneven.csv", long(&uneven));
    let run = desk.run(&[
        "library",
        "build",
        "--spectra",
        "tens.csv",
        "thirds.csv",
        "uneven.csv",
        "--out",
        "chips",
        "--json",
    ]);
    assert_eq!(run.code, 0, "{}", run.err);
    assert_eq!(run.json()["count"], 3);
    let run = desk.run(&[
        "nearest",
        "--library",
        "chips",
        "--spectrum",
        "thirds.csv",
        "--json",
    ]);
    assert_eq!(run.code, 0, "{}", run.err);
    let answer = run.json();
    let results = answer["results"].as_array().unwrap();
    assert_eq!(results.len(), 3);
    assert_eq!(results[0]["id"], "2");
    assert_eq!(results[0]["de2000"], 0.0);
    for hit in results {
        assert!(hit["de2000"].as_f64().unwrap() < 0.05, "{hit}");
    }
    // The spectra themselves stand in the library as they were read.
    let kept = fs::read_to_string(part(&desk, "spectra")).unwrap();
    let third = kept.lines().nth(1).unwrap();
    assert!(
        third.contains(r#""wavelengths_nm":[380.0,383.3333,386.6667"#),
        "{third}"
    );
    let told = desk.run(&["color", "--spectrum", "thirds.csv"]);
    assert_eq!(told.code, 0, "{}", told.err);
    assert!(told.err.contains("unevenly spaced"), "{}", told.err);
}

#[test]
fn a_library_is_not_replaced_unasked_and_a_replaced_one_leaves_nothing_behind() {
    let desk = Desk::new();
    build(&desk);
    let args = [
        "library",
        "build",
        "--spectra",
        "grays.csv",
        "--out",
        "chips",
    ];
    let run = desk.run(&args);
    assert_eq!(run.code, 2);
    assert!(run.err.contains("--replace"), "{}", run.err);
    assert_eq!(desk.run(&[&args[..], &["--replace"]].concat()).code, 0);
    assert_eq!(fs::read_dir(desk.path().join("chips")).unwrap().count(), 3);
    let answer = desk
        .run(&["nearest", "--library", "chips", "--lab", "50,0,0", "--json"])
        .json();
    assert_eq!(answer["examined"], 3);
    // A bad file leaves the old library as it is.
    desk.file("bad.csv", "name\n");
    let bad = [
        "library",
        "build",
        "--spectra",
        "bad.csv",
        "--out",
        "chips",
        "--replace",
    ];
    assert_eq!(desk.run(&bad).code, 2);
    assert_eq!(
        desk.run(&["nearest", "--library", "chips", "--lab", "50,0,0"])
            .code,
        0
    );
}

fn part(desk: &Desk, name: &str) -> std::path::PathBuf {
    fs::read_dir(desk.path().join("chips"))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .find(|path| {
            path.file_name()
                .unwrap()
                .to_string_lossy()
                .starts_with(name)
        })
        .unwrap()
}

/// Checksums follow from the colors to the last bit, which another machine may round otherwise.
fn without_checksums(text: &str) -> String {
    let mut masked = text.to_owned();
    while let Some(end) = masked.find(".ndjson") {
        masked.replace_range(end - 12..end + ".ndjson".len(), "[checksum]");
    }
    masked
}

#[test]
fn a_damaged_or_newer_library_is_refused() {
    let ask = ["nearest", "--library", "chips", "--lab", "50,0,0", "--json"];
    let desk = Desk::new();
    let run = desk.run(&ask);
    assert_eq!(run.code, 2, "{}", run.err);
    let mut told = run.err;
    type Spoil = fn(&Desk);
    let spoils: [(i32, Spoil); 6] = [
        (6, |desk| {
            let path = part(desk, "points");
            let text = fs::read_to_string(&path).unwrap();
            fs::write(&path, text.replacen("dark", "dork", 1)).unwrap();
        }),
        (6, |desk| {
            let path = part(desk, "spectra");
            let text = fs::read(&path).unwrap();
            fs::write(&path, &text[..text.len() - 1]).unwrap();
        }),
        (6, |desk| fs::remove_file(part(desk, "points")).unwrap()),
        (6, |desk| {
            fs::write(part(desk, "library.json"), "{").unwrap()
        }),
        (6, |desk| {
            let path = part(desk, "library.json");
            let text = fs::read_to_string(&path).unwrap();
            fs::write(&path, text.replacen("\"version\": 1", "\"version\": 2", 1)).unwrap();
        }),
        (6, |desk| {
            let path = part(desk, "library.json");
            let text = fs::read_to_string(&path).unwrap();
            fs::write(&path, text.replacen("\"points-", "\"../points-", 1)).unwrap();
        }),
    ];
    for (code, spoil) in spoils {
        let desk = Desk::new();
        build(&desk);
        spoil(&desk);
        let run = desk.run(&ask);
        assert_eq!(run.code, code, "{}", run.err);
        assert_eq!(run.json()["error"]["exit"], code);
        told += &run.err;
    }
    insta::assert_snapshot!(without_checksums(&told));
}
