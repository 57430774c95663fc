use argon2::password_hash::PasswordHasher as _;
use argon2::password_hash::phc::PasswordHash;
use argon2::{Algorithm, Argon2, Params, Version};
use serde_json::json;

use crate::support::{PASSWORD, Server, new_id};

#[test]
fn everybody_can_log_in_and_is_who_they_are() {
    let server = Server::start();
    let store = server.store("Harbor Road");
    for (client, role, at_store) in [
        (server.admin(), "admin", false),
        (server.manager(&store), "manager", true),
        (server.clerk(&store), "clerk", true),
        (server.color_lead(), "color_lead", false),
        (server.contractor(), "contractor", false),
    ] {
        let me = client.get("/auth/me").is(200);
        assert_eq!(me.text("/person/login"), client.login);
        assert_eq!(me.text("/person/roles/0"), role);
        match at_store {
            true => assert_eq!(me.text("/store/name"), "Harbor Road"),
            false => assert!(me.body.get("store").is_none()),
        }
    }
    server
        .anybody()
        .get("/auth/me")
        .refused(401, "not-logged-in");
}

#[test]
fn whatever_is_wrong_with_a_login_the_answer_is_the_same() {
    let server = Server::start();
    let store = server.store("Harbor Road");
    let clerk = server.clerk(&store);
    let suspended = server.clerk(&store);
    let path = format!("/persons/{}", suspended.id);
    server
        .admin()
        .patch(&path, 1, json!({ "suspended": true }))
        .is(200);
    let unclaimed = json!({
        "id": new_id(), "login": "not.yet", "display_name": "Not Yet", "roles": ["clerk"], "stores": [store],
    });
    server.admin().post("/persons", unclaimed).is(201);

    let said: Vec<_> = [
        ("nobody.here", PASSWORD),
        ("no such\u{0}name", PASSWORD),
        ("ünknown", PASSWORD),
        (&clerk.login, "plum gutter seven violas"),
        (&suspended.login, PASSWORD),
        ("not.yet", PASSWORD),
    ]
    .into_iter()
    .map(|(login, password)| {
        let answer = server.anybody().log_in(login, password, None);
        answer.refused(401, "wrong-credentials").body
    })
    .collect();
    assert!(said.iter().all(|body| *body == said[0]), "{said:#?}");
    let noted = server.sql_text(
        "SELECT count(*) || ' ' || count(person_id) FROM access_log WHERE act = 'login-failed'",
    );
    assert_eq!(noted.as_deref(), Some("6 3"));
}

/// A wrong password costs one round of argon2 whether the name is known or not, so the time tells nothing.
#[test]
fn an_unknown_name_costs_as_much_as_a_known_one() {
    let server = Server::start();
    let store = server.store("Harbor Road");
    let known = server.clerk(&store).login;
    let rounds = |login: &str| {
        let before = server.app.passwords.rounds();
        server
            .anybody()
            .log_in(login, "plum gutter seven violas", None)
            .is(401);
        server.app.passwords.rounds() - before
    };
    assert_eq!(rounds(&known), 1);
    assert_eq!(rounds("nobody.at.all"), 1);
}

#[test]
fn a_login_name_is_read_in_any_case_and_a_password_in_any_normal_form() {
    let server = Server::start();
    server.admin();
    let mut client = server.anybody();
    client.log_in(" Root.ADMIN ", PASSWORD, None).is(200);

    let body = json!({ "current": PASSWORD, "new": "caf\u{e9} gutter seven violin" });
    client.post("/auth/password", body).is(204);
    let decomposed = "cafe\u{301} gutter seven violin";
    client.log_in("root.admin", decomposed, None).is(200);
    client
        .log_in("root.admin", "cafe gutter seven violin", None)
        .refused(401, "wrong-credentials");
}

#[test]
fn inputs_that_cannot_be_a_login_are_named() {
    let server = Server::start();
    let anybody = server.anybody();
    let cases = [
        (json!({ "login": "", "password": PASSWORD }), "login"),
        (
            json!({ "login": "x".repeat(201), "password": PASSWORD }),
            "login",
        ),
        (json!({ "login": "root.admin", "password": "" }), "password"),
        (
            json!({ "login": "root.admin", "password": "x".repeat(513) }),
            "password",
        ),
        (
            json!({ "login": "root.admin", "password": PASSWORD, "store_id": "7" }),
            "store_id",
        ),
        (json!({ "login": 7, "password": PASSWORD }), "login"),
    ];
    for (body, field) in cases {
        let answer = anybody
            .post("/auth/login", body)
            .refused(422, "invalid-value");
        assert_eq!(answer.text("/field"), field);
        assert!(!answer.body.to_string().contains(PASSWORD));
    }
    let extra = json!({ "login": "root.admin", "password": PASSWORD, "role": "admin" });
    anybody.post("/auth/login", extra).is(422);
    // As long as is taken, and nothing more: a wrong password like any other.
    let longest = json!({ "login": "root.admin", "password": "é".repeat(512) });
    anybody.post("/auth/login", longest).is(401);
    let nul = json!({ "login": "root.admin", "password": "plum gutter\u{0} seven violin" });
    anybody.post("/auth/login", nul).is(401);
}

#[test]
fn who_works_at_several_stores_says_at_which() {
    let server = Server::start();
    let (harbor, mill) = (server.store("Harbor Road"), server.store("Mill Lane"));
    let foreign = server.store("Quarry Hill");
    let clerk = server.person(&["clerk"], &[&harbor, &mill]);
    let mut client = server.anybody();

    // Without a word on where: to look around, and to read what the stores are called.
    client.log_in(&clerk.login, PASSWORD, None).is(200);
    assert!(client.get("/auth/me").body.get("store").is_none());
    client.get("/stores").is(200);
    let new = json!({ "id": new_id(), "kind": "person", "name": "Ragna Fell" });
    client
        .post("/customers", new)
        .refused(409, "state-conflict");

    for store in [&harbor, &mill] {
        client.log_in(&clerk.login, PASSWORD, Some(store)).is(200);
        assert_eq!(client.get("/auth/me").text("/store/id"), *store);
    }
    client
        .log_in(&clerk.login, PASSWORD, Some(&foreign))
        .refused(422, "invalid-value");
    client
        .log_in(&clerk.login, PASSWORD, Some(&new_id()))
        .refused(422, "invalid-value");
    // An admin stands wherever needed; a contractor nowhere.
    client.log_in("root.admin", PASSWORD, None);
    server.admin();
    client
        .log_in("root.admin", PASSWORD, Some(&foreign))
        .is(200);
    let contractor = server.contractor();
    client
        .log_in(&contractor.login, PASSWORD, Some(&harbor))
        .refused(422, "invalid-value");
}

#[test]
fn nobody_logs_in_at_a_closed_store() {
    let server = Server::start();
    let (harbor, mill) = (server.store("Harbor Road"), server.store("Mill Lane"));
    let one = server.clerk(&harbor);
    let two = server.person(&["clerk"], &[&harbor, &mill]);
    server
        .admin()
        .patch(&format!("/stores/{harbor}"), 1, json!({ "closed": true }))
        .is(200);
    let mut client = server.anybody();
    for store in [None, Some(harbor.as_str())] {
        let answer = client.log_in(&one.login, PASSWORD, store);
        assert!(
            answer
                .refused(409, "state-conflict")
                .text("/detail")
                .contains("Harbor Road")
        );
    }
    client.log_in(&two.login, PASSWORD, Some(&harbor)).is(409);
    client.log_in("root.admin", PASSWORD, Some(&harbor)).is(409);
    // The one that is left needs no naming.
    client.log_in(&two.login, PASSWORD, None).is(200);
    assert_eq!(client.get("/auth/me").text("/store/id"), mill);
}

#[test]
fn a_hash_of_lower_parameters_is_made_anew_at_the_next_login() {
    let server = Server::start();
    let mut admin = server.admin();
    let low = Params::new(8_192, 1, 1, None).unwrap();
    let old: PasswordHash = Argon2::new(Algorithm::Argon2id, Version::V0x13, low)
        .hash_password(PASSWORD.as_bytes())
        .unwrap();
    server.sql(&format!("UPDATE person SET password_hash = '{old}'"));
    let kept = || server.sql_text("SELECT password_hash FROM person").unwrap();
    admin
        .log_in("root.admin", "plum gutter seven violas", None)
        .is(401);
    assert_eq!(kept(), old.to_string());
    admin.log_in("root.admin", PASSWORD, None).is(200);
    assert!(kept().starts_with("$argon2id$v=19$m=19456,t=2,p=1$"));
    admin.log_in("root.admin", PASSWORD, None).is(200);
}
