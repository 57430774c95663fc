use serde_json::json;

use crate::support::{Client, PASSWORD, Server, new_id};

/// Exchanges the refresh token and keeps the new pair.
fn refresh(client: &mut Client) {
    let token = client.keys.refresh.clone();
    let answer = client.post("/auth/refresh", json!({ "refresh_token": token }));
    client.take_keys(&answer.is(200));
}

fn ended(server: &Server, client: &Client) -> String {
    let query = format!(
        "SELECT string_agg(DISTINCT coalesce(ended_reason, 'open'), ' ') FROM session WHERE person_id = '{}'",
        client.id
    );
    server.sql_text(&query).unwrap()
}

#[test]
fn a_refresh_token_works_once_and_its_second_use_ends_the_session() {
    let server = Server::start();
    let store = server.store("Harbor Road");
    let mut clerk = server.clerk(&store);
    let first = clerk.clone();
    refresh(&mut clerk);
    assert_ne!(first.keys.access, clerk.keys.access);
    assert_ne!(first.keys.refresh, clerk.keys.refresh);
    refresh(&mut clerk);
    clerk.get("/auth/me").is(200);
    // Whoever still holds the first token is not the one who went on.
    first
        .post(
            "/auth/refresh",
            json!({ "refresh_token": first.keys.refresh }),
        )
        .refused(401, "not-logged-in");
    clerk.get("/auth/me").refused(401, "not-logged-in");
    clerk
        .post(
            "/auth/refresh",
            json!({ "refresh_token": clerk.keys.refresh }),
        )
        .refused(401, "not-logged-in");
    assert_eq!(ended(&server, &clerk), "refresh-reused");
    let noted =
        "SELECT count(*) FROM access_log WHERE act = 'login-failed' AND person_id IS NOT NULL";
    assert_eq!(server.sql_text(noted).as_deref(), Some("1"));
}

#[test]
fn of_two_refreshes_at_once_one_goes_through() {
    let server = Server::start();
    let admin = server.admin();
    let token = json!({ "refresh_token": admin.keys.refresh });
    let mut statuses: Vec<u16> = std::thread::scope(|scope| {
        let ask = || admin.post("/auth/refresh", token.clone()).status;
        let asked: Vec<_> = (0..4).map(|_| scope.spawn(ask)).collect();
        asked.into_iter().map(|one| one.join().unwrap()).collect()
    });
    statuses.sort_unstable();
    assert_eq!(statuses, [200, 401, 401, 401]);
    admin.get("/auth/me").is(401);
}

#[test]
fn a_refresh_token_that_is_none_of_ours_is_refused() {
    let server = Server::start();
    for token in ["", "x", "\u{0}", &"0".repeat(64), &"é".repeat(200)] {
        server
            .anybody()
            .post("/auth/refresh", json!({ "refresh_token": token }))
            .refused(401, "not-logged-in");
    }
    let too_long = "0".repeat(2 * 1024 * 1024);
    server
        .anybody()
        .post("/auth/refresh", json!({ "refresh_token": too_long }))
        .refused(413, "body-too-large");
}

#[test]
fn logout_ends_this_session_at_once_and_no_other() {
    let server = Server::start();
    let store = server.store("Harbor Road");
    let here = server.clerk(&store);
    let there = server.log_in(&here.login, None);
    here.post("/auth/logout", json!({})).is(204);
    here.get("/auth/me").refused(401, "not-logged-in");
    here.post("/auth/logout", json!({})).is(401);
    here.post(
        "/auth/refresh",
        json!({ "refresh_token": here.keys.refresh }),
    )
    .is(401);
    there.get("/auth/me").is(200);
}

#[test]
fn suspension_ends_all_sessions_at_once() {
    let server = Server::start();
    let store = server.store("Harbor Road");
    let (manager, clerk) = (server.manager(&store), server.clerk(&store));
    let again = server.log_in(&clerk.login, None);
    let path = format!("/persons/{}", clerk.id);
    let edited = manager
        .patch(&path, 1, json!({ "suspended": true }))
        .is(200);
    assert_eq!(edited.body["suspended"], true);
    for client in [&clerk, &again] {
        client.get("/auth/me").refused(401, "not-logged-in");
        client
            .post(
                "/auth/refresh",
                json!({ "refresh_token": client.keys.refresh }),
            )
            .is(401);
    }
    assert_eq!(ended(&server, &clerk), "suspended");
    // Let in again, it takes a new login.
    manager
        .patch(&path, edited.version(), json!({ "suspended": false }))
        .is(200);
    clerk.get("/auth/me").is(401);
    server.log_in(&clerk.login, None).get("/auth/me").is(200);
}

#[test]
fn a_change_of_roles_or_stores_ends_the_sessions_and_a_new_name_does_not() {
    let server = Server::start();
    let (harbor, mill) = (server.store("Harbor Road"), server.store("Mill Lane"));
    let clerk = server.clerk(&harbor);
    let path = format!("/persons/{}", clerk.id);
    let same = json!({ "display_name": "Otto Reed", "roles": ["clerk"], "stores": [harbor] });
    let edited = server.admin().patch(&path, 1, same).is(200);
    clerk.get("/auth/me").is(200);
    let edit = json!({ "roles": ["color_lead", "clerk"] });
    let edited = server.admin().patch(&path, edited.version(), edit).is(200);
    clerk.get("/auth/me").is(401);
    let again = server.log_in(&clerk.login, None);
    let edit = json!({ "stores": [mill] });
    server.admin().patch(&path, edited.version(), edit).is(200);
    again.get("/auth/me").is(401);
    assert_eq!(ended(&server, &clerk), "roles-changed");
}

#[test]
fn a_new_password_ends_all_other_sessions() {
    let server = Server::start();
    let store = server.store("Harbor Road");
    let clerk = server.clerk(&store);
    let other = server.log_in(&clerk.login, None);
    let change = |current: &str, new: &str| {
        clerk.post("/auth/password", json!({ "current": current, "new": new }))
    };
    let new = "nine lemon harps at dusk";
    for (current, new, field) in [
        ("plum gutter seven violas", new, "current"),
        (PASSWORD, PASSWORD, "new"),
        (PASSWORD, "too short", "new"),
        (PASSWORD, "passwordpassword", "new"),
        (PASSWORD, &format!("{}-2024", clerk.login), "new"),
        (PASSWORD, "nine lemon\u{0} harps at dusk", "new"),
    ] {
        let answer = change(current, new).refused(422, "invalid-value");
        assert_eq!(answer.text("/field"), field, "{new}");
    }
    other.get("/auth/me").is(200);
    change(PASSWORD, new).is(204);
    clerk.get("/auth/me").is(200);
    other.get("/auth/me").is(401);
    let mut client = server.anybody();
    client.log_in(&clerk.login, PASSWORD, None).is(401);
    client.log_in(&clerk.login, new, None).is(200);
}

#[test]
fn guessing_the_present_password_from_an_open_session_is_slowed_too() {
    let server = Server::start();
    let store = server.store("Harbor Road");
    let clerk = server.clerk(&store);
    let guess = json!({ "current": "plum gutter seven violas", "new": "nine lemon harps at dusk" });
    for _ in 0..5 {
        clerk.post("/auth/password", guess.clone()).is(422);
    }
    clerk
        .post("/auth/password", guess)
        .refused(429, "too-many-tries");
}

#[test]
fn a_session_lasts_a_shift_for_staff_and_thirty_days_for_contractors() {
    let server = Server::start();
    let store = server.store("Harbor Road");
    for (client, hours) in [(server.clerk(&store), "14"), (server.contractor(), "720")] {
        let query = format!(
            "SELECT round(extract(epoch FROM expires_at - started_at) / 3600) FROM session WHERE person_id = '{}'",
            client.id
        );
        assert_eq!(server.sql_text(&query).as_deref(), Some(hours));
        client.get("/auth/me").is(200);
        server.sql(&format!(
            "UPDATE session SET expires_at = now() WHERE person_id = '{}'",
            client.id
        ));
        client.get("/auth/me").refused(401, "not-logged-in");
        client
            .post(
                "/auth/refresh",
                json!({ "refresh_token": client.keys.refresh }),
            )
            .refused(401, "not-logged-in");
    }
}

#[test]
fn no_secret_is_kept_as_it_is() {
    let server = Server::start();
    let store = server.store("Harbor Road");
    let clerk = server.clerk(&store);
    let new = json!({
        "id": new_id(), "login": "kept.how", "display_name": "Kept How", "roles": ["clerk"], "stores": [store],
    });
    let claim = server.admin().post("/persons", new).text("/claim/token");
    let reset = server
        .admin()
        .post(&format!("/persons/{}/reset", clerk.id), json!({}))
        .text("/token");
    let rows = server
        .sql_text(
            "SELECT concat(
                (SELECT string_agg(to_jsonb(r)::text, ' ') FROM receipt r),
                (SELECT string_agg(to_jsonb(s)::text, ' ') FROM session s),
                (SELECT string_agg(to_jsonb(c)::text, ' ') FROM claim_token c),
                (SELECT string_agg(to_jsonb(t)::text, ' ') FROM refresh_token t),
                (SELECT string_agg(to_jsonb(p)::text, ' ') FROM person p))",
        )
        .unwrap();
    assert!(rows.contains("kept.how"));
    let access = clerk.keys.access.clone().unwrap();
    let refresh = clerk.keys.refresh.clone().unwrap();
    for secret in [PASSWORD, &claim, &reset, &access, &refresh] {
        assert!(!rows.contains(secret));
        assert!(!rows.contains(&secret.replace('-', "")));
    }
}
