//! The remote layer against real sockets: a listener that answers as told, and keeps what it was asked.

use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::{TcpListener, TcpStream};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;

use formula::wire::v1::Page;
use serde_json::{Value, json};

use super::*;
use crate::exit::Exit;
use crate::unsent::{Unsent, Waiting};

/// What the listener does with one connection.
#[derive(Clone)]
enum Reply {
    /// Sends these bytes and closes.
    Bytes(Vec<u8>),
    /// Closes without a word.
    HangUp,
    /// Says nothing for longer than anyone waits.
    Silence,
}

fn http(status: &str, kind: &str, extra: &str, body: &str) -> Reply {
    Reply::Bytes(
        format!(
            "HTTP/1.1 {status}\r\nContent-Type: {kind}\r\nContent-Length: {}\r\nConnection: close\r\n{extra}\r\n{body}",
            body.len()
        )
        .into_bytes(),
    )
}

fn ok(body: &Value) -> Reply {
    http("200 OK", "application/json", "", &body.to_string())
}

fn problem(status: u16, code: &str, extra: &str) -> Reply {
    let body = json!({
        "type": format!("urn:secondcan:problem:{code}"), "title": "t", "status": status, "code": code,
        "detail": format!("it is {code}"), "remedy": "mend it",
    });
    http(
        &format!("{status} Said"),
        "application/problem+json",
        extra,
        &body.to_string(),
    )
}

fn read_request(stream: &TcpStream) -> String {
    let mut reader = BufReader::new(stream);
    let mut text = String::new();
    let mut length = 0;
    loop {
        let mut line = String::new();
        if reader.read_line(&mut line).unwrap_or(0) == 0 {
            return text;
        }
        if let Some(value) = line.to_ascii_lowercase().strip_prefix("content-length:") {
            length = value.trim().parse().unwrap();
        }
        let end = line == "\r\n";
        text.push_str(&line);
        if end {
            break;
        }
    }
    let mut body = vec![0; length];
    reader.read_exact(&mut body).unwrap();
    text + &String::from_utf8(body).unwrap()
}

struct Fake {
    url: String,
    asked: Arc<Mutex<Vec<String>>>,
    thread: JoinHandle<()>,
}

/// Answers one connection after another, then stops listening.
fn fake(replies: Vec<Reply>) -> Fake {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let url = format!("http://{}", listener.local_addr().unwrap());
    let asked = Arc::new(Mutex::new(Vec::new()));
    let seen = Arc::clone(&asked);
    let thread = std::thread::spawn(move || {
        for reply in replies {
            let (mut stream, _) = listener.accept().unwrap();
            let request = read_request(&stream);
            seen.lock().unwrap().push(request);
            match reply {
                Reply::Bytes(bytes) => stream.write_all(&bytes).unwrap(),
                Reply::HangUp => {}
                Reply::Silence => {
                    std::thread::sleep(Duration::from_millis(900));
                }
            }
        }
    });
    Fake { url, asked, thread }
}

impl Fake {
    /// What was asked, once all replies were given.
    fn asked(self) -> Vec<String> {
        self.thread.join().unwrap();
        self.asked.lock().unwrap().clone()
    }
}

fn patience() -> Patience {
    Patience {
        connect: Duration::from_millis(500),
        answer: Duration::from_millis(500),
    }
}

fn tokens(access: &str, refresh: &str) -> Value {
    json!({
        "access_token": access, "expires_in_s": 300, "refresh_token": refresh,
        "session_id": "019a2f3c-5b7e-7d41-9c02-6e1f8a4b3d57",
    })
}

/// A remote that is logged in.
fn remote(url: &str, home: &Path) -> Remote {
    let login = Login::new(
        url,
        "odile",
        serde_json::from_value(tokens("access-1", "refresh-1")).unwrap(),
    );
    LoginFile::in_home(home).write(&login).unwrap();
    fresh_remote(url, home)
}

fn fresh_remote(url: &str, home: &Path) -> Remote {
    Remote::new(Address::parse(url, false).unwrap(), home, patience()).unwrap()
}

fn get(remote: &Remote) -> Result<Page<Value>, Failure> {
    remote.get::<Page<Value>>("/stores").map_err(Failure::from)
}

fn empty_page() -> Reply {
    ok(&json!({ "items": [] }))
}

fn header<'a>(request: &'a str, name: &str) -> Option<&'a str> {
    request.lines().find_map(|line| {
        let (key, value) = line.split_once(':')?;
        key.eq_ignore_ascii_case(name).then(|| value.trim())
    })
}

#[test]
fn nobody_listening_is_not_now_with_a_clear_word() {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let url = format!("http://{}", listener.local_addr().unwrap());
    drop(listener);
    let home = tempfile::tempdir().unwrap();
    let failure = get(&remote(&url, home.path())).unwrap_err();
    assert_eq!(failure.exit(), Exit::NotNow);
    assert!(
        failure.to_string().contains("can't be reached"),
        "{failure}"
    );
}

#[test]
fn a_read_is_repeated_once_after_a_hiccup() {
    for hiccup in [
        Reply::HangUp,
        Reply::Silence,
        Reply::Bytes(b"HTTP/1.1 200 OK\r\nContent-Type: application/json\r\nContent-Length: 90\r\n\r\n{\"items\":[".to_vec()),
        Reply::Bytes(b"HTTP/1.1 200 OK\r\nContent-Type: application/json\r\nConnection: close\r\n\r\n{\"items\":[".to_vec()),
    ] {
        let home = tempfile::tempdir().unwrap();
        let server = fake(vec![hiccup.clone(), empty_page()]);
        get(&remote(&server.url, home.path())).unwrap();
        assert_eq!(server.asked().len(), 2);

        let server = fake(vec![hiccup.clone(), hiccup]);
        let failure = get(&remote(&server.url, home.path())).unwrap_err();
        assert_eq!(failure.exit(), Exit::NotNow, "{failure}");
        assert_eq!(server.asked().len(), 2);
    }
}

#[test]
fn a_short_retry_after_is_waited_for_and_a_long_one_is_not() {
    let home = tempfile::tempdir().unwrap();
    let server = fake(vec![
        problem(503, "unavailable", "Retry-After: 1\r\n"),
        empty_page(),
    ]);
    let start = std::time::Instant::now();
    get(&remote(&server.url, home.path())).unwrap();
    assert!(start.elapsed() >= Duration::from_secs(1));
    assert_eq!(server.asked().len(), 2);

    let server = fake(vec![problem(503, "unavailable", "Retry-After: 60\r\n")]);
    let failure = get(&remote(&server.url, home.path())).unwrap_err();
    assert_eq!(failure.exit(), Exit::NotNow);
    assert_eq!(server.asked().len(), 1);
}

#[test]
fn an_answer_of_something_in_between_is_not_now() {
    let page = "<html>Welcome to the guest network</html>";
    for status in ["200 OK", "302 Found", "403 Forbidden", "502 Bad Gateway"] {
        let home = tempfile::tempdir().unwrap();
        let server = fake(vec![http(
            status,
            "text/html",
            "Location: http://elsewhere.example/\r\n",
            page,
        )]);
        let failure = get(&remote(&server.url, home.path())).unwrap_err();
        assert_eq!(failure.exit(), Exit::NotNow, "{status}: {failure}");
        assert!(failure.to_string().contains("text/html"), "{failure}");
        server.asked();
    }
}

#[test]
fn json_of_another_shape_is_a_fault_and_says_what_to_update() {
    let home = tempfile::tempdir().unwrap();
    let server = fake(vec![ok(&json!({ "rows": [] }))]);
    let failure = get(&remote(&server.url, home.path())).unwrap_err();
    assert_eq!(failure.exit(), Exit::Internal);
    assert!(failure.to_string().contains("items"), "{failure}");
    server.asked();
}

#[test]
fn refusals_become_exit_codes_and_keep_code_remedy_and_request_id() {
    for (status, code, exit) in [
        (404, "not-found", Exit::NothingFound),
        (422, "invalid-value", Exit::BadInput),
        (422, "idempotency-key-reused", Exit::Conflict),
        (403, "not-allowed", Exit::NotAllowed),
        (401, "not-logged-in", Exit::NotAllowed),
        (429, "too-many-tries", Exit::NotNow),
        (412, "version-mismatch", Exit::Conflict),
        (500, "internal", Exit::Internal),
    ] {
        let home = tempfile::tempdir().unwrap();
        let server = fake(vec![problem(status, code, "X-Request-Id: 7f\r\n")]);
        let failure = get(&remote(&server.url, home.path())).unwrap_err();
        assert_eq!(failure.exit(), exit, "{code}");
        assert_eq!(failure.code(), code);
        assert!(
            failure.to_string().contains(&format!("it is {code}")),
            "{failure}"
        );
        if status != 401 {
            assert!(failure.to_string().contains("7f"), "{failure}");
        }
        server.asked();
    }
    let home = tempfile::tempdir().unwrap();
    let body = json!({ "status": 409, "code": "of-a-later-version", "detail": "they clash" });
    let server = fake(vec![http(
        "409 Conflict",
        "application/problem+json",
        "",
        &body.to_string(),
    )]);
    let failure = get(&remote(&server.url, home.path())).unwrap_err();
    assert_eq!(failure.exit(), Exit::Conflict);
    assert!(failure.to_string().contains("they clash"), "{failure}");
    server.asked();
}

#[test]
fn a_spent_access_token_is_renewed_once_and_kept() {
    let home = tempfile::tempdir().unwrap();
    let server = fake(vec![
        problem(401, "token-expired", ""),
        ok(&tokens("access-2", "refresh-2")),
        empty_page(),
    ]);
    let remote = remote(&server.url, home.path());
    get(&remote).unwrap();
    let asked = server.asked();
    assert_eq!(header(&asked[0], "authorization"), Some("Bearer access-1"));
    assert!(
        asked[1].starts_with("POST /api/v1/auth/refresh "),
        "{}",
        asked[1]
    );
    assert!(asked[1].contains("refresh-1"));
    assert_eq!(header(&asked[1], "authorization"), None);
    assert_eq!(header(&asked[2], "authorization"), Some("Bearer access-2"));
    let kept = LoginFile::in_home(home.path()).read().unwrap().unwrap();
    assert_eq!(kept.refresh_token, "refresh-2");
}

#[test]
fn a_refresh_token_that_another_process_spent_is_not_spent_again() {
    let home = tempfile::tempdir().unwrap();
    let server = fake(vec![problem(401, "token-expired", ""), empty_page()]);
    let remote = remote(&server.url, home.path());
    let newer = Login::new(
        &server.url,
        "odile",
        serde_json::from_value(tokens("access-9", "refresh-9")).unwrap(),
    );
    LoginFile::in_home(home.path()).write(&newer).unwrap();
    get(&remote).unwrap();
    let asked = server.asked();
    assert_eq!(header(&asked[1], "authorization"), Some("Bearer access-9"));
}

#[test]
fn two_renewals_at_once_spend_one_refresh_token() {
    let home = tempfile::tempdir().unwrap();
    // Whoever comes second finds the new token; a second refresh would be answered by nobody and fail.
    let server = fake(vec![
        problem(401, "token-expired", ""),
        problem(401, "token-expired", ""),
        ok(&tokens("access-2", "refresh-2")),
        empty_page(),
        empty_page(),
    ]);
    let url = server.url.clone();
    remote(&url, home.path());
    let ready = Arc::new(std::sync::Barrier::new(2));
    let both: Vec<_> = (0..2)
        .map(|_| {
            let (url, home, ready) = (url.clone(), home.path().to_owned(), Arc::clone(&ready));
            std::thread::spawn(move || {
                let remote = fresh_remote(&url, &home);
                // Both hold the spent token before either renews.
                let spent = remote
                    .caller
                    .send(&Ask::get("/stores"), Some("access-1"), false);
                assert!(spent.is_err());
                ready.wait();
                remote.renew("access-1").map_err(Failure::from)?;
                get(&remote).map(|_| ())
            })
        })
        .collect();
    for thread in both {
        thread.join().unwrap().unwrap();
    }
    let asked = server.asked();
    let refreshes = asked
        .iter()
        .filter(|request| request.contains("/auth/refresh"))
        .count();
    assert_eq!(refreshes, 1);
}

#[test]
fn an_ended_login_is_not_allowed_and_says_to_log_in_again() {
    let home = tempfile::tempdir().unwrap();
    let server = fake(vec![
        problem(401, "token-expired", ""),
        problem(401, "not-logged-in", ""),
    ]);
    let failure = get(&remote(&server.url, home.path())).unwrap_err();
    assert_eq!(failure.exit(), Exit::NotAllowed);
    assert!(failure.to_string().contains("secondcan login"), "{failure}");
    server.asked();
}

#[test]
fn tokens_go_to_their_own_server_only() {
    let home = tempfile::tempdir().unwrap();
    remote("http://127.0.0.1:9", home.path());
    let other = fresh_remote("http://127.0.0.1:10", home.path());
    let failure = get(&other).unwrap_err();
    assert_eq!(failure.exit(), Exit::NotAllowed);
}

fn add_store(remote: &Remote) -> Result<Value, Failure> {
    let write = Write::new(
        "add a store",
        "POST",
        "/stores",
        Some(&json!({ "name": "North Quay" })),
    )?
    .on_version(7);
    remote.write(&write)
}

#[test]
fn a_write_is_repeated_under_the_same_key() {
    let home = tempfile::tempdir().unwrap();
    let server = fake(vec![Reply::HangUp, ok(&json!({ "id": 1 }))]);
    add_store(&remote(&server.url, home.path())).unwrap();
    let asked = server.asked();
    let key = header(&asked[0], "idempotency-key").unwrap();
    assert_eq!(header(&asked[1], "idempotency-key"), Some(key));
    assert_eq!(header(&asked[1], "if-match"), Some("\"7\""));
    assert!(asked[1].ends_with("{\"name\":\"North Quay\"}"));
    assert!(Unsent::in_home(home.path()).all().unwrap().is_empty());
}

#[test]
fn a_write_without_an_answer_is_kept_and_sent_again_under_its_key() {
    let home = tempfile::tempdir().unwrap();
    let server = fake(vec![Reply::HangUp, Reply::HangUp]);
    let failure = add_store(&remote(&server.url, home.path())).unwrap_err();
    assert_eq!(failure.exit(), Exit::NotNow);
    let asked = server.asked();
    let key = header(&asked[0], "idempotency-key").unwrap();
    assert!(
        failure
            .to_string()
            .contains(&format!("secondcan unsent send {key}")),
        "{failure}"
    );

    let folder = Unsent::in_home(home.path());
    let mut all = folder.all().unwrap();
    let Some(Waiting::Request(kept)) = all.pop() else {
        panic!("a request was kept");
    };
    assert_eq!(kept.key.to_string(), key);
    assert_eq!(kept.login.as_deref(), Some("odile"));
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt as _;
        let path = home.path().join("unsent").join(format!("{key}.json"));
        let mode = std::fs::metadata(path).unwrap().permissions().mode();
        assert_eq!(mode & 0o777, 0o600);
    }

    let server = fake(vec![ok(&json!({ "id": 1 }))]);
    let answer = remote(&server.url, home.path())
        .send_again(&Write::again(kept))
        .map_err(Failure::from)
        .unwrap();
    assert_eq!(answer, json!({ "id": 1 }));
    let again = server.asked();
    assert_eq!(header(&again[0], "idempotency-key"), Some(key));
    assert!(again[0].ends_with("{\"name\":\"North Quay\"}"));
}

#[test]
fn a_refused_write_is_not_kept() {
    let home = tempfile::tempdir().unwrap();
    for (status, code) in [
        (422, "invalid-value"),
        (409, "already-exists"),
        (404, "not-found"),
    ] {
        let server = fake(vec![problem(status, code, "")]);
        add_store(&remote(&server.url, home.path())).unwrap_err();
        server.asked();
    }
    assert!(Unsent::in_home(home.path()).all().unwrap().is_empty());
}

#[test]
fn lists_are_followed_page_by_page_and_end() {
    let home = tempfile::tempdir().unwrap();
    let server = fake(vec![
        ok(&json!({ "items": [1, 2], "next": "a b" })),
        ok(&json!({ "items": [3] })),
    ]);
    let all: Vec<i32> = remote(&server.url, home.path()).all("/numbers").unwrap();
    assert_eq!(all, [1, 2, 3]);
    let asked = server.asked();
    assert!(
        asked[1].starts_with("GET /api/v1/numbers?limit=200&after=a%20b "),
        "{}",
        asked[1]
    );
}

#[test]
fn a_damaged_login_file_is_told_without_its_tokens() {
    let home = tempfile::tempdir().unwrap();
    for text in [
        "{\"version\":1,\"access_token\":\"sesame",
        "{\"version\":2,\"access_token\":\"sesame\"}",
    ] {
        std::fs::write(home.path().join("login.json"), text).unwrap();
        let failure = LoginFile::in_home(home.path()).read().err().unwrap();
        assert_eq!(failure.exit(), Exit::Internal);
        assert!(!failure.to_string().contains("sesame"), "{failure}");
    }
}
