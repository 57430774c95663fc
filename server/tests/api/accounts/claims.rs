use serde_json::{Value, json};

use crate::support::{Answer, PASSWORD, Server, new_id};

fn claim(server: &Server, token: &str, password: &str) -> Answer {
    let body = json!({ "token": token, "password": password });
    server.anybody().post("/auth/claim", body)
}

fn claim_admin(server: &Server, token: &str, password: &str, login: &str) -> Answer {
    let body = json!({
        "token": token, "password": password, "login": login, "display_name": "Ada Quill",
    });
    server.anybody().post("/auth/claim", body)
}

/// A clerk without a password: id, login and token.
fn unclaimed(server: &Server, login: &str) -> (String, String) {
    let store = server.store(&format!("Store of {login}"));
    let id = new_id();
    let new = json!({
        "id": id, "login": login, "display_name": "Otto Reed", "roles": ["clerk"], "stores": [store],
    });
    let added = server.admin().post("/persons", new).is(201);
    assert_eq!(added.body["person"]["has_password"], Value::Bool(false));
    (id, added.text("/claim/token"))
}

#[track_caller]
fn refused_token(answer: Answer, word: &str) {
    let answer = answer.refused(422, "invalid-value");
    assert_eq!(answer.text("/field"), "token");
    assert!(answer.text("/detail").contains(word), "{:#}", answer.body);
}

#[test]
fn a_token_is_good_once_however_it_is_typed() {
    let server = Server::start();
    let (_, token) = unclaimed(&server, "otto.reed");
    let typed = token.to_lowercase().replace('-', " ");
    claim(&server, &typed, PASSWORD).is(204);
    server.log_in("otto.reed", None);
    refused_token(claim(&server, &token, "nine lemon harps at dusk"), "used");
    server.log_in("otto.reed", None);
}

#[test]
fn of_two_claims_at_once_one_goes_through() {
    let server = Server::start();
    let (_, token) = unclaimed(&server, "otto.reed");
    let mut statuses: Vec<u16> = std::thread::scope(|scope| {
        let ask = || claim(&server, &token, PASSWORD).status;
        let asked: Vec<_> = (0..4).map(|_| scope.spawn(ask)).collect();
        asked.into_iter().map(|one| one.join().unwrap()).collect()
    });
    statuses.sort_unstable();
    assert_eq!(statuses, [204, 422, 422, 422]);
}

#[test]
fn a_token_ends_after_its_time() {
    let server = Server::start();
    server.admin();
    let (_, token) = unclaimed(&server, "otto.reed");
    let init = server.wait_for(server.app.admin_init_token()).unwrap();
    let lives = server.sql_text(
        "SELECT string_agg(round(extract(epoch FROM expires_at - made_at) / 60)::text, ' ' ORDER BY made_at)
         FROM claim_token WHERE used_at IS NULL",
    );
    assert_eq!(lives.as_deref(), Some("4320 15"));
    server.sql("UPDATE claim_token SET expires_at = now()");
    refused_token(claim(&server, &token, PASSWORD), "run out");
    refused_token(
        claim_admin(&server, &init.token, PASSWORD, "second.admin"),
        "run out",
    );
}

#[test]
fn what_is_no_token_is_refused() {
    let server = Server::start();
    let (_, token) = unclaimed(&server, "otto.reed");
    for text in [
        "",
        "x",
        "\u{0}",
        "00000-00000-00000-00000-00000",
        &token[..28],
        &"0".repeat(5000),
    ] {
        refused_token(claim(&server, text, PASSWORD), "not a one-time token");
    }
}

#[test]
fn a_password_that_is_not_taken_leaves_the_token_good() {
    let server = Server::start();
    let (_, token) = unclaimed(&server, "otto.reed");
    for password in [
        "short",
        "fourteen chars",
        "passwordpassword",
        "123456789012345",
        "aaaaaaaaaaaaaaaaaaaa",
        "otto.reed-2024-2024",
        "secondcan secondcan",
        "nine lemon\u{0} harps at dusk",
        &"long ".repeat(26),
    ] {
        let answer = claim(&server, &token, password).refused(422, "invalid-value");
        assert_eq!(answer.text("/field"), "password");
        assert!(!answer.body.to_string().contains(password));
    }
    claim(&server, &token, PASSWORD).is(204);
}

#[test]
fn a_claim_ends_all_sessions_and_the_tokens_before_it() {
    let server = Server::start();
    let store = server.store("Harbor Road");
    let clerk = server.clerk(&store);
    let path = format!("/persons/{}/reset", clerk.id);
    let first = server.admin().post(&path, json!({})).is(200).text("/token");
    let second = server.admin().post(&path, json!({})).is(200).text("/token");
    clerk.get("/auth/me").is(401);
    // Until the claim the old password still holds.
    let again = server.log_in(&clerk.login, None);
    refused_token(claim(&server, &first, PASSWORD), "replaced");
    claim(&server, &second, "nine lemon harps at dusk").is(204);
    again.get("/auth/me").is(401);
    let mut client = server.anybody();
    client.log_in(&clerk.login, PASSWORD, None).is(401);
    client
        .log_in(&clerk.login, "nine lemon harps at dusk", None)
        .is(200);
    let reasons = format!(
        "SELECT string_agg(DISTINCT ended_reason, ' ') FROM session WHERE person_id = '{}' AND ended_at IS NOT NULL",
        clerk.id
    );
    assert_eq!(
        server.sql_text(&reasons).as_deref(),
        Some("password-changed")
    );
}

#[test]
fn a_suspended_login_claims_nothing() {
    let server = Server::start();
    let (id, token) = unclaimed(&server, "otto.reed");
    let path = format!("/persons/{id}");
    let edited = server.admin().patch(&path, 1, json!({ "suspended": true }));
    refused_token(claim(&server, &token, PASSWORD), "used");
    let version = edited.is(200).version();
    server
        .admin()
        .post(&format!("{path}/reset"), json!({}))
        .refused(409, "state-conflict");
    server
        .admin()
        .patch(&path, version, json!({ "suspended": false }))
        .is(200);
    refused_token(claim(&server, &token, PASSWORD), "used");
}

#[test]
fn admin_init_makes_an_admin_and_lets_a_locked_out_one_in_again() {
    let server = Server::start();
    let admin = server.admin();
    let store = server.store("Harbor Road");
    let clerk = server.clerk(&store);
    let init = || {
        server
            .wait_for(server.app.admin_init_token())
            .unwrap()
            .token
    };

    let token = init();
    let missing = claim(&server, &token, PASSWORD).refused(422, "invalid-value");
    assert_eq!(missing.text("/field"), "login");
    claim_admin(&server, &token, PASSWORD, &clerk.login).refused(409, "already-exists");
    claim_admin(&server, &token, PASSWORD, "A").is(422);
    let newer = init();
    refused_token(
        claim_admin(&server, &token, PASSWORD, "second.admin"),
        "replaced",
    );
    claim_admin(&server, &newer, PASSWORD, "second.admin").is(204);
    refused_token(
        claim_admin(&server, &newer, PASSWORD, "third.admin"),
        "used",
    );
    let second = server.log_in("second.admin", None);
    assert_eq!(second.get("/auth/me").text("/person/roles/0"), "admin");

    claim_admin(&server, &init(), "nine lemon harps at dusk", "root.admin").is(204);
    admin.get("/auth/me").is(401);
    server
        .anybody()
        .log_in("root.admin", PASSWORD, None)
        .is(401);
    server
        .anybody()
        .log_in("root.admin", "nine lemon harps at dusk", None)
        .is(200);
    assert_eq!(
        server
            .sql_text("SELECT count(*) FROM person WHERE 'admin' = ANY (roles)")
            .as_deref(),
        Some("2")
    );
}

#[test]
fn a_persons_token_names_nobody_anew() {
    let server = Server::start();
    let (_, token) = unclaimed(&server, "otto.reed");
    let body = json!({ "token": token, "password": PASSWORD, "display_name": "Otto the Great" });
    let answer = server.anybody().post("/auth/claim", body);
    assert_eq!(
        answer.refused(422, "invalid-value").text("/field"),
        "display_name"
    );
    claim_admin(&server, &token, PASSWORD, "otto.admin").is(422);
    claim(&server, &token, PASSWORD).is(204);
}
