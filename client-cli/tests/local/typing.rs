//! What is typed: usage, logins, requests without an answer, help.

use std::fs;

use crate::desk::{Desk, flat};

#[test]
fn usage_errors_exit_2_with_a_document_when_json_is_wanted() {
    let desk = Desk::new();
    for args in [
        &["match", "shwo", "--json"][..],
        &["nearest", "--json"],
        &[
            "nearest",
            "--lab",
            "50,0,0",
            "--spectrum",
            "x.csv",
            "--json",
        ],
        &["match", "record", "--shot", "PY42=0@1/48", "--json"],
        &[
            "drawdown",
            "record",
            "7K3QF-9XW2D-Q",
            "--spectrum",
            "x.csv",
            "--json",
        ],
        &["customer", "add", "", "--json"],
        &["--json"],
    ] {
        let run = desk.run(args);
        assert_eq!(run.code, 2, "{args:?}: {}", run.err);
        assert_eq!(run.json()["error"]["exit"], 2, "{args:?}");
    }
    let shot = desk
        .run(&["match", "record", "--shot", "PY42=2.5@1/48", "--json"])
        .json();
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
        "match",
        "record",
        "--customer",
        "Brannock",
        "--product",
        "Interior",
        "--sheen",
        "satin",
        "--spectrum",
        "chip.csv",
        "--json",
    ];
    let run = desk.run(&record);
    assert_eq!(run.code, 4, "{}", run.err);
    let error = run.json()["error"].clone();
    let id = error["kept_request"].as_str().unwrap().to_owned();
    assert!(
        run.err.contains(&format!("secondcan unsent send {id}")),
        "{}",
        run.err
    );

    // A single request, which needs no look-up, is kept as the request itself.
    let add = desk.run(&[
        "customer",
        "add",
        "Odile Tamm",
        "--phone",
        "555-0142",
        "--json",
    ]);
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
    insta::assert_snapshot!(all);
}
