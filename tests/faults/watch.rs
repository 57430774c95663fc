//! `measure watch` against what happens to it: files half written, renamed, rewritten, not readable; a crash at any moment,
//! two watchers at once, a server that is away.

#![expect(clippy::unwrap_used, reason = "a test stops at the first surprise")]

use std::fs;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Child, Stdio};
use std::thread;
use std::time::{Duration, Instant};

use harness::chain::{Chain, password};
use harness::cluster::TestDatabase;
use harness::process::{Cli, Server, ServerPlan};
use serde_json::Value;
use tempfile::TempDir;

const QUICK: [&str; 4] = ["--settle", "0.2", "--patience", "1.5"];

/// A gray of this reflectance as an instrument's program writes it.
fn file_of(level: f64) -> String {
    let head: Vec<String> = (400..=700).step_by(10).map(|nm| format!("R{nm}")).collect();
    let row = vec![format!("{level:.4}"); 31];
    format!(
        "name,{}\ncounter reading,{}\n",
        head.join(","),
        row.join(",")
    )
}

struct Counter {
    folder: TempDir,
    cli: Cli,
    plan: ServerPlan,
    server: Server,
    database: TestDatabase,
    login: String,
}

fn log_in(cli: &Cli, name: &str) {
    let login = [
        "login",
        "--login",
        name,
        "--store",
        "Harbor Lane",
        "--password-stdin",
    ];
    let said = cli.run_with_input(&login, format!("{}\n", password(name)).as_bytes());
    assert_eq!(said.code, Some(0), "{}", said.stderr);
}

impl Counter {
    fn open() -> Self {
        let database = TestDatabase::create();
        let plan = ServerPlan::on(&database);
        let (server, chain) = Chain::found(&plan);
        let cli = Cli::of(&server);
        let login = chain.clerk.name;
        log_in(&cli, &login);
        Self {
            folder: tempfile::tempdir().unwrap(),
            cli,
            plan,
            server,
            database,
            login,
        }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn drop_in(&self, name: &str, text: impl AsRef<[u8]>) -> PathBuf {
        let path = self.path(name);
        fs::write(&path, text).unwrap();
        path
    }

    fn arguments(&self, more: &[&str]) -> Vec<String> {
        let folder = self.folder.path().to_str().unwrap();
        ["measure", "watch", folder]
            .iter()
            .chain(&QUICK)
            .chain(more)
            .map(|word| (*word).to_owned())
            .collect()
    }

    /// What was done with the files, once; the exit code with it.
    fn once(&self, more: &[&str]) -> (i32, Vec<Value>) {
        let run = self
            .cli
            .run(&self.arguments(&[&["--once", "--json"], more].concat()));
        let document: Value = serde_json::from_str(&run.stdout)
            .unwrap_or_else(|error| panic!("{error}: {}{}", run.stdout, run.stderr));
        (
            run.code.unwrap(),
            document["files"].as_array().unwrap().clone(),
        )
    }

    fn watching(&self) -> Child {
        self.cli
            .command(&self.arguments(&["--json"]))
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap()
    }

    /// First values of the spectra in the drafts, with the titles.
    fn drafts(&self) -> Vec<(String, f64)> {
        let run = self
            .cli
            .run(&["match", "draft", "list", "--limit", "200", "--json"]);
        assert_eq!(run.code, Some(0), "{}", run.stderr);
        let page: Value = serde_json::from_str(&run.stdout).unwrap();
        let mut found: Vec<(String, f64)> = page["items"]
            .as_array()
            .unwrap()
            .iter()
            .filter_map(|draft| {
                let first = draft["parts"]["sample"]["spectrum"]["values"][0].as_f64()?;
                Some((draft["title"].as_str().unwrap().to_owned(), first))
            })
            .collect();
        found.sort_by(|one, other| one.1.total_cmp(&other.1));
        found
    }

    fn levels(&self) -> Vec<f64> {
        self.drafts().iter().map(|(_, level)| *level).collect()
    }

    #[track_caller]
    fn until(&self, what: &str, wanted: impl Fn(&Self) -> bool) {
        let deadline = Instant::now() + Duration::from_secs(40);
        while !wanted(self) {
            assert!(Instant::now() < deadline, "{what}: {:?}", self.drafts());
            thread::sleep(Duration::from_millis(100));
        }
    }
}

fn outcome(event: &Value) -> &str {
    event["outcome"].as_str().unwrap()
}

#[test]
fn a_file_goes_into_the_draft_in_hand_once_whatever_it_is_called() {
    let counter = Counter::open();
    let begun = counter
        .cli
        .run(&["match", "draft", "save", "--title", "porch door"]);
    assert_eq!(begun.code, Some(0), "{}", begun.stderr);
    let first = counter.drop_in("a.csv", file_of(0.41));
    let (code, events) = counter.once(&[]);
    assert_eq!((code, outcome(&events[0])), (0, "taken"), "{events:?}");
    assert_eq!(counter.drafts(), [("porch door".to_owned(), 0.41)]);

    // The same content, by another name or again: known. Another content by the old name: a new reading, which never
    // takes the place of the one in the draft.
    fs::rename(&first, counter.path("b.csv")).unwrap();
    fs::copy(counter.path("b.csv"), counter.path("copy.csv")).unwrap();
    assert!(counter.once(&[]).1.is_empty());
    counter.drop_in("b.csv", file_of(0.42));
    assert_eq!(counter.once(&[]).1.len(), 1);
    assert_eq!(counter.levels(), [0.41, 0.42]);
    assert_eq!(counter.drafts()[1].0, "measured: b.csv");
    assert!(counter.once(&[]).1.is_empty());
}

#[test]
fn a_half_written_file_is_waited_for_and_a_bad_one_is_told_once_and_left() {
    let counter = Counter::open();
    let mut watcher = counter.watching();
    let text = file_of(0.37);
    let mut growing = fs::File::create(counter.path("slow.csv")).unwrap();
    for part in text.as_bytes().chunks(60) {
        growing.write_all(part).unwrap();
        growing.sync_all().unwrap();
        thread::sleep(Duration::from_millis(350));
        assert!(counter.drafts().len() <= 1);
    }
    drop(growing);
    counter.until("the slow file", |counter| counter.levels() == [0.37]);
    watcher.kill().unwrap();
    watcher.wait().unwrap();

    counter.drop_in("bad.csv", "this is\nno measurement\n");
    counter.drop_in("good.csv", file_of(0.52));
    counter.drop_in(".hidden.csv", file_of(0.6));
    counter.drop_in("copying.csv.part", file_of(0.61));
    let (code, events) = counter.once(&[]);
    assert_eq!(code, 0);
    let bad: Vec<&Value> = events
        .iter()
        .filter(|event| outcome(event) == "refused")
        .collect();
    assert_eq!(bad.len(), 1, "{events:?}");
    assert!(bad[0]["path"].as_str().unwrap().ends_with("bad.csv"));
    assert!(counter.path("bad.csv").exists());
    assert_eq!(counter.levels(), [0.37, 0.52]);
    assert!(counter.once(&[]).1.is_empty(), "told once");
    // Mended, it is another content.
    counter.drop_in("bad.csv", file_of(0.9));
    assert_eq!(counter.once(&[]).1.len(), 1);
    assert_eq!(counter.levels(), [0.37, 0.52, 0.9]);
}

#[test]
fn kill_9_at_any_moment_neither_loses_nor_doubles() {
    let counter = Counter::open();
    let wanted: Vec<f64> = (0..12).map(|at| 0.30 + 0.01 * f64::from(at)).collect();
    let mut pause = 130;
    for (at, level) in wanted.iter().enumerate() {
        counter.drop_in(&format!("{at}.csv"), file_of(*level));
        let mut watcher = counter.watching();
        thread::sleep(Duration::from_millis(pause));
        watcher.kill().unwrap();
        watcher.wait().unwrap();
        // Another moment each time, from before the first look to after the answer.
        pause = 130 + (pause * 7) % 900;
    }
    let (code, _) = counter.once(&[]);
    assert_eq!(code, 0);
    let levels = counter.levels();
    let near = |one: &f64, other: &f64| (one - other).abs() < 1e-9;
    assert!(
        levels.len() == wanted.len() && levels.iter().zip(&wanted).all(|(x, y)| near(x, y)),
        "{levels:?}"
    );
    let unsent = counter.cli.run(&["unsent", "list", "--json"]);
    assert!(unsent.stdout.contains("\"items\":[]"), "{}", unsent.stdout);
}

#[test]
fn two_watchers_at_once_take_each_file_once() {
    let counter = Counter::open();
    let mut watchers = [counter.watching(), counter.watching()];
    for at in 0..8 {
        counter.drop_in(&format!("{at}.csv"), file_of(0.25 + 0.05 * f64::from(at)));
    }
    counter.until("eight drafts", |counter| counter.levels().len() >= 8);
    thread::sleep(Duration::from_secs(2));
    for watcher in &mut watchers {
        watcher.kill().unwrap();
        watcher.wait().unwrap();
    }
    assert_eq!(counter.levels().len(), 8, "{:?}", counter.drafts());
}

#[test]
fn without_the_server_the_request_waits_here_and_is_sent_later() {
    let counter = Counter::open();
    let Counter {
        folder,
        mut cli,
        plan,
        server,
        database,
        login,
    } = counter;
    assert!(server.interrupt().success());
    fs::write(folder.path().join("a.csv"), file_of(0.44)).unwrap();
    let arguments = |cli: &Cli| {
        let path = folder.path().to_str().unwrap().to_owned();
        let words = [
            &["measure", "watch", &path][..],
            &QUICK,
            &["--once", "--json"],
        ]
        .concat();
        cli.run(&words)
    };
    let run = arguments(&cli);
    assert_eq!(run.code, Some(4), "{}{}", run.stdout, run.stderr);
    assert!(
        run.stdout.contains("\"outcome\":\"kept\""),
        "{}",
        run.stdout
    );
    let unsent = cli.run(&["unsent", "list"]);
    assert!(unsent.stdout.contains("measured file"), "{}", unsent.stdout);
    // Still away: nothing new happens, and nothing is kept twice.
    let again = arguments(&cli);
    assert_eq!(again.code, Some(4), "{}", again.stderr);
    assert!(again.stdout.contains("\"files\":[]"), "{}", again.stdout);

    let server = plan.serve();
    // Another address for the same library: a new login, the same home.
    cli.move_to(&server);
    log_in(&cli, &login);
    let counter = Counter {
        folder,
        cli,
        plan,
        server,
        database,
        login,
    };
    let (code, events) = counter.once(&[]);
    assert_eq!((code, outcome(&events[0])), (0, "taken"), "{events:?}");
    assert_eq!(counter.levels(), [0.44]);
    assert!(counter.once(&[]).1.is_empty());
}

#[test]
fn a_folder_that_may_only_be_read_is_enough_and_a_missing_one_is_told() {
    use std::os::unix::fs::PermissionsExt as _;
    let counter = Counter::open();
    counter.drop_in("a.csv", file_of(0.33));
    let mode = |mode| fs::set_permissions(counter.folder.path(), fs::Permissions::from_mode(mode));
    mode(0o555).unwrap();
    let before = listed(counter.folder.path());
    assert_eq!(counter.once(&[]).1.len(), 1);
    assert_eq!(listed(counter.folder.path()), before);
    mode(0o755).unwrap();
    let run = counter
        .cli
        .run(&["measure", "watch", "/no/such/folder", "--once"]);
    assert_eq!(run.code, Some(2));
    assert!(run.stderr.contains("can't be read"), "{}", run.stderr);
    let draft = "019a2f3c-5b7e-7d41-9c02-6e1f8a4b3d57";
    let run = counter
        .cli
        .run(&counter.arguments(&["--once", "--draft", draft]));
    assert_eq!(run.code, Some(1), "{}", run.stderr);
}

fn listed(folder: &Path) -> Vec<PathBuf> {
    let entries = fs::read_dir(folder).unwrap();
    entries.map(|entry| entry.unwrap().path()).collect()
}

#[test]
fn readings_of_one_sample_in_a_file_are_averaged_when_asked_for() {
    let counter = Counter::open();
    let mut text = file_of(0.40);
    for level in ["0.4010", "0.3990"] {
        text += &format!("again,{}\n", vec![level; 31].join(","));
    }
    counter.drop_in("three.csv", text);
    let (_, events) = counter.once(&["--average"]);
    assert_eq!(outcome(&events[0]), "taken", "{events:?}");
    let run = counter.cli.run(&["match", "draft", "list", "--json"]);
    let page: Value = serde_json::from_str(&run.stdout).unwrap();
    let sample = &page["items"][0]["parts"]["sample"];
    assert_eq!(sample["readings"], 3);
    assert_eq!(sample["each"].as_array().unwrap().len(), 3);
}
