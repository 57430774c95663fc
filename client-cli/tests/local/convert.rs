//! `convert`: from one format into another, through the real program.

use std::fs;

use crate::desk::{Desk, flat};

#[test]
fn a_file_goes_through_every_format_and_comes_back() {
    let desk = Desk::new();
    let chips = format!(
        "# unit: fraction\n# geometry: d:8\n# lot: 12\n{}",
        flat(&[("chip", 0.4), ("door", 0.1234)])
    );
    desk.file("chips.csv", &chips);
    let mut from = "chips.csv".to_owned();
    for (to, name) in [
        ("iso17972", "chips.cxf"),
        ("iso28178", "chips.txt"),
        ("csv", "again.csv"),
    ] {
        let run = desk.run(&["convert", &from, "--to", to, "--out", name]);
        assert_eq!(run.code, 0, "{}", run.err);
        assert!(run.out.contains("2 reading(s) written to"), "{}", run.out);
        assert!(run.out.contains("d:8"), "{}", run.out);
        from = name.to_owned();
    }
    let first = desk
        .run(&["convert", "chips.csv", "--to", "csv", "--json"])
        .json();
    let last = desk
        .run(&["convert", "again.csv", "--to", "csv", "--json"])
        .json();
    assert_eq!(first["written"]["text"], last["written"]["text"]);
    assert_eq!(last["read"]["readings"][1]["as_read"][0], "0.1234");
    assert_eq!(last["read"]["readings"][0]["conditions"]["geometry"], "d:8");
    assert_eq!(last["read"]["tags"][0]["value"], "12");
    assert_eq!(last["read"]["format"], "csv_wide");

    // To standard output, one sample of it, in pipes.
    let run = desk.run(&[
        "convert",
        "chips.cxf",
        "--to",
        "iso28178",
        "--sample",
        "door",
    ]);
    assert_eq!(run.code, 0, "{}", run.err);
    assert!(
        run.out.starts_with("ISO28178\n") && !run.out.contains("chip"),
        "{}",
        run.out
    );
}

#[test]
fn a_file_that_is_there_is_kept() {
    let desk = Desk::new();
    desk.file("chips.csv", flat(&[("chip", 0.4)]));
    desk.file("taken.cxf", "precious");
    let convert = |more: &[&str]| {
        let mut args = vec![
            "convert",
            "chips.csv",
            "--to",
            "iso17972",
            "--out",
            "taken.cxf",
        ];
        args.extend(more);
        desk.run(&args)
    };
    let run = convert(&[]);
    assert_eq!(run.code, 2);
    assert!(run.err.contains("--force"), "{}", run.err);
    assert_eq!(
        fs::read_to_string(desk.path().join("taken.cxf")).unwrap(),
        "precious"
    );
    assert_eq!(convert(&["--force"]).code, 0);
    let text = fs::read_to_string(desk.path().join("taken.cxf")).unwrap();
    assert!(text.contains("<CxF"), "{text}");
    assert_eq!(
        fs::read_dir(desk.path()).unwrap().count(),
        2,
        "no scratch file is left"
    );
    let run = desk.run(&["convert", "chips.csv", "--to", "pdf"]);
    assert_eq!(run.code, 2);
    assert!(run.err.contains("iso17972 (CxF3)"), "{}", run.err);
}

#[test]
fn a_table_is_chosen_where_there_are_several() {
    let desk = Desk::new();
    for (name, value) in [("chip", 0.4), ("door", 0.5)] {
        desk.file("one.csv", flat(&[(name, value)]));
        let out = format!("{name}.txt");
        assert_eq!(
            desk.run(&["convert", "one.csv", "--to", "iso28178", "--out", &out])
                .code,
            0
        );
    }
    let read = |name: &str| fs::read_to_string(desk.path().join(name)).unwrap();
    desk.file("both.txt", read("chip.txt") + &read("door.txt"));
    let run = desk.run(&["color", "--spectrum", "both.txt"]);
    assert_eq!(run.code, 2);
    assert!(run.err.contains("--table 1 to --table 2"), "{}", run.err);
    let run = desk.run(&["color", "--spectrum", "both.txt", "--table", "2"]);
    assert_eq!(run.code, 0, "{}", run.err);
    assert!(run.out.contains("door"), "{}", run.out);
}
