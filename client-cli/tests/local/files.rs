//! Spectrum files, good and bad.

use std::fs;

use crate::desk::{Desk, flat, wavelengths};

#[test]
fn bad_spectrum_files_are_refused_by_field_value_and_remedy() {
    let desk = Desk::new();
    let good = flat(&[("chip", 0.4)]);
    let with = |from: &str, to: &str| good.replacen(from, to, 1);
    let long = |rows: &str| format!("wavelength,reflectance\n{rows}");
    let every = |skip: u16| {
        wavelengths()
            .filter(|nm| *nm != skip)
            .map(|nm| format!("{nm},0.4\n"))
            .collect::<String>()
    };
    let mut many = "wavelength,reflectance\n".to_owned();
    for at in 0..10_000 {
        many += &format!("{},0.4\n", 400 + at);
    }
    let cases: Vec<(&str, Vec<u8>)> = vec![
        ("nan", with("chip,0.4", "chip,NaN").into()),
        ("infinite", with("chip,0.4", "chip,inf").into()),
        ("negative", with("chip,0.4", "chip,-0.3").into()),
        ("above two", with("chip,0.4", "chip,2.4").into()),
        ("text", with("chip,0.4", "chip,blue").into()),
        ("value missing", with("chip,0.4", "chip,").into()),
        (
            "two wavelengths missing",
            long(&every(550).replace("\n560,0.4", "")).into(),
        ),
        ("wavelength twice", long(&(every(0) + "700,0.4\n")).into()),
        (
            "wavelengths too close",
            long(&every(0).replace("\n410,", "\n400.5,")).into(),
        ),
        (
            "out of order",
            long(&("500,0.4\n".to_owned() + &every(500))).into(),
        ),
        ("one value", long("550,0.4\n").into()),
        ("ten thousand values", many.into()),
        (
            "ends missing",
            long("450,0.4\n460,0.4\n470,0.4\n480,0.4\n").into(),
        ),
        ("fraction or percent", flat(&[("chip", 0.1)]).into()),
        ("empty", Vec::new()),
        ("only headings", good.lines().next().unwrap().into()),
        ("binary", vec![0x89, b'P', b'N', b'G', 0, 0, 1, 2]),
        (
            "comma decimals, comma columns",
            "wavelength,reflectance\n400,0,4\n410,0,4\n".into(),
        ),
        (
            "several samples",
            flat(&[("chip", 0.4), ("door", 0.5)]).into(),
        ),
    ];
    let mut told = String::new();
    for (name, bytes) in &cases {
        desk.file("sample.csv", bytes);
        let run = if *name == "several samples" {
            desk.run(&[
                "delta",
                "--spectrum",
                "sample.csv",
                "--spectrum",
                "sample.csv",
            ])
        } else {
            desk.run(&["color", "--spectrum", "sample.csv"])
        };
        assert_eq!(run.code, 2, "{name}: {}{}", run.out, run.err);
        assert_eq!(run.out, "", "{name}");
        told += &format!("{name}\n{}\n", run.err);
    }
    insta::assert_snapshot!(told);
}

#[test]
fn files_written_in_other_ways_are_read_alike() {
    let desk = Desk::new();
    let good = flat(&[("chip", 0.4)]);
    desk.file("plain.csv", &good);
    let wanted = desk.run(&["color", "--spectrum", "plain.csv", "--json"]);
    assert_eq!(wanted.code, 0, "{}", wanted.err);
    let semicolons = good.replace(',', ";").replace('.', ",");
    for (name, bytes) in [
        ("bom.csv", [b"\xef\xbb\xbf", good.as_bytes()].concat()),
        ("cr.csv", good.replace('\n', "\r").into()),
        ("crlf.csv", good.replace('\n', "\r\n").into()),
        ("semicolons.csv", semicolons.into()),
        ("percent.csv", good.replace("0.4", "40").into()),
    ] {
        desk.file(name, bytes);
        let run = desk.run(&["color", "--spectrum", name, "--json"]);
        assert_eq!(run.code, 0, "{name}: {}", run.err);
        assert_eq!(run.json()["readings"], wanted.json()["readings"], "{name}");
    }
    let run = desk.run(&["color", "--spectrum", "percent.csv", "--json"]);
    assert!(
        run.err.contains("percent"),
        "assumptions are told: {}",
        run.err
    );
}

#[test]
fn a_huge_file_is_refused_without_reading_it() {
    let desk = Desk::new();
    let file = fs::File::create(desk.path().join("huge.csv")).unwrap();
    file.set_len(100 * 1024 * 1024).unwrap();
    let run = desk.run(&["color", "--spectrum", "huge.csv", "--json"]);
    assert_eq!(run.code, 2);
    let error = &run.json()["error"];
    assert!(
        error["message"].as_str().unwrap().contains("104857600"),
        "{error}"
    );
    assert_eq!(error["field"], "file");
}

#[test]
fn what_is_no_plain_file_is_refused_without_waiting() {
    let desk = Desk::new();
    fs::create_dir(desk.path().join("folder")).unwrap();
    for name in ["folder", "missing.csv"] {
        let run = desk.run(&["color", "--spectrum", name]);
        assert_eq!(run.code, 2, "{name}");
        assert!(run.err.contains(name), "{}", run.err);
    }
}
