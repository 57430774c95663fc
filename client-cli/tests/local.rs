//! The verbs that need no server, through the real program: what it prints, and how it exits.

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use serde_json::Value;
use tempfile::TempDir;

struct Desk {
    folder: TempDir,
}

impl Desk {
    fn new() -> Self {
        Self {
            folder: tempfile::tempdir().unwrap(),
        }
    }

    fn path(&self) -> &Path {
        self.folder.path()
    }

    fn file(&self, name: &str, bytes: impl AsRef<[u8]>) {
        fs::write(self.path().join(name), bytes).unwrap();
    }

    fn command(&self, args: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_secondcan"));
        command
            .args(args)
            .current_dir(self.path())
            .env_remove("SECONDCAN_URL")
            .env_remove("SECONDCAN_ALLOW_HTTP")
            .env_remove("NO_COLOR")
            .env("SECONDCAN_HOME", self.path().join("home"))
            .env("COLUMNS", "100");
        command
    }

    fn run(&self, args: &[&str]) -> Run {
        Run::of(&self.command(args).output().unwrap())
    }
}

struct Run {
    code: i32,
    out: String,
    err: String,
}

impl Run {
    fn of(output: &Output) -> Self {
        Self {
            code: output.status.code().unwrap(),
            out: String::from_utf8(output.stdout.clone()).unwrap(),
            err: String::from_utf8(output.stderr.clone()).unwrap(),
        }
    }

    /// The one document on stdout.
    fn json(&self) -> Value {
        serde_json::from_str(&self.out).unwrap_or_else(|error| panic!("{error}: {}", self.out))
    }
}

fn wavelengths() -> impl Iterator<Item = u16> {
    (400..=700).step_by(10)
}

/// A wide file of samples, each of one value throughout.
fn flat(samples: &[(&str, f64)]) -> String {
    let mut text = "name".to_owned();
    for nm in wavelengths() {
        text += &format!(",R{nm}");
    }
    text.push('\n');
    for (name, value) in samples {
        text += name;
        for _ in wavelengths() {
            text += &format!(",{value}");
        }
        text.push('\n');
    }
    text
}

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
        ("wavelength missing", long(&every(550)).into()),
        ("wavelength twice", long(&(every(0) + "700,0.4\n")).into()),
        ("uneven", long(&every(0).replace("\n410,", "\n413,")).into()),
        ("out of order", long(&("500,0.4\n".to_owned() + &every(500))).into()),
        ("one value", long("550,0.4\n").into()),
        ("ten thousand values", many.into()),
        ("ends missing", long("450,0.4\n460,0.4\n470,0.4\n480,0.4\n").into()),
        ("fraction or percent", flat(&[("chip", 0.1)]).into()),
        ("empty", Vec::new()),
        ("only headings", good.lines().next().unwrap().into()),
        ("binary", vec![0x89, b'P', b'N', b'G', 0, 0, 1, 2]),
        ("comma decimals, comma columns", "wavelength,reflectance\n400,0,4\n410,0,4\n".into()),
        ("several samples", flat(&[("chip", 0.4), ("door", 0.5)]).into()),
    ];
    let mut told = String::new();
    for (name, bytes) in &cases {
        desk.file("sample.csv", bytes);
        let run = desk.run(&["nearest", "--spectrum", "sample.csv", "--library", "none", "--json"]);
        // The library is missing too; a bad file must be told when it is the only thing wrong, so ask `color`.
        assert_eq!(run.code, 2, "{name}: {}", run.err);
        let run = if *name == "several samples" {
            desk.run(&["delta", "--spectrum", "sample.csv", "--spectrum", "sample.csv"])
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
    assert!(run.err.contains("percent"), "assumptions are told: {}", run.err);
}

#[test]
fn a_huge_file_is_refused_without_reading_it() {
    let desk = Desk::new();
    let file = fs::File::create(desk.path().join("huge.csv")).unwrap();
    file.set_len(100 * 1024 * 1024).unwrap();
    let run = desk.run(&["color", "--spectrum", "huge.csv", "--json"]);
    assert_eq!(run.code, 2);
    let error = &run.json()["error"];
    assert!(error["message"].as_str().unwrap().contains("104857600"), "{error}");
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

/// CIE 15: the perfect diffuser is the white point, L* 100, under every light.
#[test]
fn the_perfect_diffuser_is_white_under_every_light() {
    let desk = Desk::new();
    desk.file("white.csv", flat(&[("white", 1.0)]));
    let run = desk.run(&[
        "color", "--spectrum", "white.csv", "--light", "D65", "--light", "A", "--light", "F11", "--observer", "2",
        "--observer", "10", "--json",
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
    let one = desk.run(&["delta", "--lab", "50,2.5,0", "--lab", "73,25,-18", "--formula", "de76", "--json"]);
    let found = one.json()["delta"]["de76"].as_f64().unwrap();
    assert!((found - 36.868_0).abs() < 1e-3, "{found}");
    assert_eq!(one.json()["direction"]["lightness"], "lighter");
    for bad in ["50,0", "50,0,x"] {
        assert_eq!(desk.run(&["delta", "--lab", bad, "--lab", "50,0,0"]).code, 2);
    }
    assert_eq!(desk.run(&["delta", "--lab", "50,0,0"]).code, 2);
    desk.file("pairs.csv", "L1,a1,b1,L2,a2\n50,0,0,50,0\n");
    let run = desk.run(&["delta", "--pairs", "pairs.csv"]);
    assert_eq!(run.code, 2);
    assert!(run.err.contains("b2"), "{}", run.err);
}

fn build(desk: &Desk) {
    desk.file("grays.csv", flat(&[("dark", 0.2), ("middle", 0.4), ("light", 0.8)]));
    desk.file("more.csv", flat(&[("twin", 0.4), ("李 middle", 0.41)]));
    let run = desk.run(&["library", "build", "--spectra", "grays.csv", "more.csv", "--out", "chips", "--json"]);
    assert_eq!(run.code, 0, "{}", run.err);
    assert_eq!(run.json()["count"], 5);
}

#[test]
fn a_library_is_built_and_searched_with_ties_in_its_order() {
    let desk = Desk::new();
    build(&desk);
    desk.file("query.csv", flat(&[("query", 0.4)]));
    let run = desk.run(&["nearest", "--library", "chips", "--spectrum", "query.csv", "--limit", "3", "--json"]);
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
    let color = desk.run(&["color", "--spectrum", "query.csv", "--json"]).json();
    assert_eq!(answer["results"][0]["lab"], color["readings"][0]["lab"]);
    assert_eq!(answer["query"]["lab"], color["readings"][0]["lab"]);

    desk.file("queries.csv", "name,L,a,b\none,69.5,0,0\ntwo,20,0,0\n");
    for queries in ["queries.csv", "grays.csv"] {
        let many = desk.run(&["nearest", "--library", "chips", "--queries", queries, "--limit", "1", "--json"]);
        assert_eq!(many.code, 0, "{}", many.err);
        let answers = many.json()["answers"].as_array().unwrap().clone();
        assert_eq!(answers.len(), if queries == "grays.csv" { 3 } else { 2 });
        assert!(answers.iter().all(|answer| answer["results"].as_array().unwrap().len() == 1));
    }
    insta::assert_snapshot!(desk.run(&["nearest", "--library", "chips", "--lab", "69.5,0,0", "--limit", "3"]).out);
}

#[test]
fn a_library_is_not_replaced_unasked_and_a_replaced_one_leaves_nothing_behind() {
    let desk = Desk::new();
    build(&desk);
    let args = ["library", "build", "--spectra", "grays.csv", "--out", "chips"];
    let run = desk.run(&args);
    assert_eq!(run.code, 2);
    assert!(run.err.contains("--replace"), "{}", run.err);
    assert_eq!(desk.run(&[&args[..], &["--replace"]].concat()).code, 0);
    assert_eq!(fs::read_dir(desk.path().join("chips")).unwrap().count(), 3);
    let answer = desk.run(&["nearest", "--library", "chips", "--lab", "50,0,0", "--json"]).json();
    assert_eq!(answer["examined"], 3);
    // A bad file leaves the old library as it is.
    desk.file("bad.csv", "name\n");
    let bad = ["library", "build", "--spectra", "bad.csv", "--out", "chips", "--replace"];
    assert_eq!(desk.run(&bad).code, 2);
    assert_eq!(desk.run(&["nearest", "--library", "chips", "--lab", "50,0,0"]).code, 0);
}

fn part(desk: &Desk, name: &str) -> std::path::PathBuf {
    fs::read_dir(desk.path().join("chips"))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .find(|path| path.file_name().unwrap().to_string_lossy().starts_with(name))
        .unwrap()
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
        (6, |desk| fs::write(part(desk, "library.json"), "{").unwrap()),
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
    let mut settings = insta::Settings::clone_current();
    settings.add_filter("points-[0-9a-f]{12}", "points-[checksum]");
    settings.add_filter("spectra-[0-9a-f]{12}", "spectra-[checksum]");
    settings.bind(|| insta::assert_snapshot!(told));
}

#[test]
fn colors_are_written_when_asked_for_and_never_into_json() {
    let desk = Desk::new();
    let ask = |args: &[&str]| desk.run(&[&["delta", "--lab", "50,0,0", "--lab", "53,80,67"], args].concat()).out;
    assert!(!ask(&[]).contains('\u{1b}'), "a pipe is no terminal");
    assert!(ask(&["--color", "always"]).contains("\u{1b}[48;2;"));
    assert!(!ask(&["--color", "always", "--json"]).contains('\u{1b}'));
    let run = desk
        .command(&["delta", "--lab", "50,0,0", "--lab", "53,80,67", "--color", "always"])
        .env("NO_COLOR", "1")
        .output()
        .unwrap();
    assert!(Run::of(&run).out.contains('\u{1b}'), "the option outranks the surroundings");
}

#[test]
fn usage_errors_exit_2_with_a_document_when_json_is_wanted() {
    let desk = Desk::new();
    for args in [
        &["match", "shwo", "--json"][..],
        &["nearest", "--json"],
        &["nearest", "--lab", "50,0,0", "--spectrum", "x.csv", "--json"],
        &["match", "record", "--shot", "PY42=0@1/48", "--json"],
        &["drawdown", "record", "7K3QF-9XW2D-Q", "--spectrum", "x.csv", "--json"],
        &["customer", "add", "", "--json"],
        &["--json"],
    ] {
        let run = desk.run(args);
        assert_eq!(run.code, 2, "{args:?}: {}", run.err);
        assert_eq!(run.json()["error"]["exit"], 2, "{args:?}");
    }
    let shot = desk.run(&["match", "record", "--shot", "PY42=2.5@1/48", "--json"]).json();
    let told = shot["error"]["message"].as_str().unwrap().to_owned();
    assert!(told.contains("PY42=5@1/96"), "{told}");
}

#[test]
fn without_a_login_a_person_is_told_to_log_in() {
    let desk = Desk::new();
    let run = desk.run(&["whoami", "--json"]);
    assert_eq!(run.code, 3, "{}", run.err);
    assert!(run.err.contains("SECONDCAN_URL"), "{}", run.err);
    let run = desk.run(&["whoami", "--server", "http://127.0.0.1:9"]);
    assert_eq!(run.code, 3, "{}", run.err);
    let run = desk.run(&["whoami", "--server", "http://paint.example"]);
    assert_eq!(run.code, 2, "{}", run.err);
    let run = desk.run(&["login", "--server", "http://127.0.0.1:9"]);
    assert_eq!(run.code, 2, "no terminal to ask at: {}", run.err);
}

/// A login that was made before, at a server that is gone now.
fn gone(desk: &Desk) {
    let listener = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let url = format!("http://{}", listener.local_addr().unwrap());
    drop(listener);
    fs::create_dir_all(desk.path().join("home")).unwrap();
    let login = serde_json::json!({
        "version": 1, "server": url, "login": "odile", "access_token": "sesame-a", "refresh_token": "sesame-r",
    });
    desk.file("home/login.json", login.to_string());
}

#[test]
fn what_is_typed_while_the_server_is_gone_is_kept_and_can_be_sent_again() {
    let desk = Desk::new();
    gone(&desk);
    desk.file("chip.csv", flat(&[("chip", 0.4)]));
    let record = [
        "match", "record", "--customer", "Brannock", "--product", "Interior", "--sheen", "satin", "--spectrum",
        "chip.csv", "--json",
    ];
    let run = desk.run(&record);
    assert_eq!(run.code, 4, "{}", run.err);
    let error = run.json()["error"].clone();
    let id = error["kept_request"].as_str().unwrap().to_owned();
    assert!(run.err.contains(&format!("secondcan unsent send {id}")), "{}", run.err);

    // A single request, which needs no look-up, is kept as the request itself.
    let add = desk.run(&["customer", "add", "Odile Tamm", "--phone", "555-0142", "--json"]);
    assert_eq!(add.code, 4, "{}", add.err);

    let list = desk.run(&["unsent", "list", "--json"]).json();
    let items = list["items"].as_array().unwrap();
    assert_eq!(items.len(), 2);
    assert!(items.iter().any(|item| item["id"] == id.as_str()), "{list}");

    // Still gone: it stays, and nothing is kept twice.
    for args in [&["unsent", "send", &id, "--json"][..], &["unsent", "send"]] {
        let run = desk.run(args);
        assert_eq!(run.code, 4, "{}", run.err);
    }
    let kept = desk.run(&["unsent", "list", "--json"]).json();
    assert_eq!(kept["items"].as_array().unwrap().len(), 2);

    assert_eq!(desk.run(&["unsent", "drop", &id]).code, 0);
    assert_eq!(desk.run(&["unsent", "drop", &id]).code, 1);
    // A bad file is told at once, server or not, and a look-up has nothing to keep.
    desk.file("chip.csv", "");
    assert_eq!(desk.run(&record).code, 2);
    assert_eq!(desk.run(&["customer", "find", "bran"]).code, 4);
    let left = desk.run(&["unsent", "list", "--json"]).json();
    assert_eq!(left["items"].as_array().unwrap().len(), 1);
    assert!(!format!("{list}{kept}{}", run.err).contains("sesame"));
}

#[test]
fn completions_and_man_pages_are_made() {
    let desk = Desk::new();
    for shell in ["bash", "zsh", "fish", "powershell", "elvish"] {
        let run = desk.run(&["completions", shell]);
        assert_eq!(run.code, 0);
        assert!(run.out.contains("drawdown"), "{shell}");
    }
    assert!(desk.run(&["man"]).out.contains(".TH"));
    let run = desk.run(&["man", "--dir", "pages", "--json"]);
    assert_eq!(run.code, 0, "{}", run.err);
    let page = fs::read_to_string(desk.path().join("pages/secondcan-match-record.1")).unwrap();
    assert!(page.contains("secondcan\\-match\\-record"), "{page}");
}

#[test]
fn a_reader_that_closes_the_pipe_early_is_no_failure() {
    let desk = Desk::new();
    let mut child = desk
        .command(&["completions", "bash"])
        .stdout(std::process::Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    assert_eq!(child.wait().unwrap().code(), Some(0));
}

/// Help texts, so that a change of the command line is seen in review.
#[test]
fn help_texts() {
    let desk = Desk::new();
    let mut all = String::new();
    for verb in [
        &["--help"][..],
        &["login", "--help"],
        &["customer", "add", "--help"],
        &["match", "--help"],
        &["match", "record", "--help"],
        &["nearest", "--help"],
        &["reorder", "place", "--help"],
        &["tint", "record", "--help"],
        &["unsent", "send", "--help"],
    ] {
        let run = desk.run(verb);
        assert_eq!(run.code, 0);
        all += &format!("$ secondcan {}\n{}\n", verb.join(" "), run.out);
    }
    let mut settings = insta::Settings::clone_current();
    settings.add_filter(r"\[env: SECONDCAN_HOME=[^\]]*\]", "[env: SECONDCAN_HOME=]");
    settings.bind(|| insta::assert_snapshot!(all));
}
