use serde_json::{Value, json};

use crate::support::{Answer, Client, Server, new_id};

fn new(roles: &[&str], stores: &[&str]) -> Value {
    let id = new_id();
    let login = format!("n{}", id.replace('-', ""));
    json!({ "id": id, "login": login, "display_name": "Nell Ash", "roles": roles, "stores": stores })
}

fn path(client: &Client) -> String {
    format!("/persons/{}", client.id)
}

fn ids(page: &Answer) -> Vec<String> {
    let id = |item: &Value| item["id"].as_str().unwrap().to_owned();
    page.items().iter().map(id).collect()
}

#[test]
fn a_login_is_added_read_listed_and_edited() {
    let server = Server::start();
    let admin = server.admin();
    let store = server.store("Harbor Road");
    let wanted = new(&["manager", "clerk"], &[&store]);
    let added = admin.post("/persons", wanted.clone()).is(201);
    let id = wanted["id"].as_str().unwrap();
    assert_eq!(added.headers["location"], format!("/api/v1/persons/{id}"));
    assert_eq!(added.headers["etag"], "\"1\"");
    assert_eq!(added.body["person"]["roles"], json!(["clerk", "manager"]));
    let read = admin.get(&format!("/persons/{id}")).is(200);
    assert_eq!(read.body, added.body["person"]);
    assert_eq!(read.headers["etag"], "\"1\"");
    assert!(ids(&admin.get("/persons").is(200)).contains(&id.to_owned()));

    let path = format!("/persons/{id}");
    let edited = admin
        .patch(&path, 1, json!({ "display_name": "Nell Birch" }))
        .is(200);
    assert_eq!(edited.text("/display_name"), "Nell Birch");
    assert_eq!(edited.version(), 2);
    admin
        .patch(&path, 1, json!({ "display_name": "Nell Cedar" }))
        .refused(412, "version-mismatch");
    let key = new_id();
    let headers = [("Idempotency-Key", key.as_str())];
    admin
        .send("PATCH", &path, &headers, Some(json!({})))
        .refused(428, "version-missing");
    admin
        .send("POST", "/persons", &[], Some(new(&["admin"], &[])))
        .refused(400, "idempotency-key-missing");
    admin
        .get(&format!("/persons/{}", new_id()))
        .refused(404, "not-found");
    admin.get("/persons/7").refused(404, "not-found");
    let wrong = admin
        .send("DELETE", &path, &[], None)
        .refused(405, "method-not-allowed");
    assert_eq!(wrong.headers["allow"], "GET, PATCH");
}

#[test]
fn the_list_comes_in_pages() {
    let server = Server::start();
    let admin = server.admin();
    for _ in 0..4 {
        admin.post("/persons", new(&["color_lead"], &[])).is(201);
    }
    let (mut seen, mut after) = (Vec::new(), String::new());
    loop {
        let page = admin.get(&format!("/persons?limit=2{after}")).is(200);
        assert!(page.items().len() <= 2);
        seen.extend(ids(&page));
        match page.body["next"].as_str() {
            Some(next) => after = format!("&after={next}"),
            None => break,
        }
    }
    assert_eq!(seen, ids(&admin.get("/persons").is(200)));
    assert_eq!(seen.len(), 5);
    for query in [
        "limit=0",
        "limit=201",
        "limit=x",
        "after=x",
        "limit=1&limit=2",
        "role=admin",
    ] {
        admin
            .get(&format!("/persons?{query}"))
            .refused(400, "bad-request");
    }
}

#[test]
fn a_repeated_request_adds_nothing_and_does_not_show_the_token_again() {
    let server = Server::start();
    let admin = server.admin();
    let (key, wanted) = (new_id(), new(&["color_lead"], &[]));
    let first = admin.post_keyed("/persons", &key, wanted.clone()).is(201);
    let second = admin.post_keyed("/persons", &key, wanted.clone()).is(201);
    assert_eq!(first.body["person"], second.body["person"]);
    assert!(first.body["claim"]["token"].is_string());
    assert!(second.body.get("claim").is_none());
    admin
        .post_keyed("/persons", &key, new(&["color_lead"], &[]))
        .refused(422, "idempotency-key-reused");
    admin
        .post("/persons", wanted.clone())
        .refused(409, "already-exists");
    let mut same_login = new(&["color_lead"], &[]);
    same_login["login"] = json!(wanted["login"].as_str().unwrap().to_uppercase());
    let refused = admin
        .post("/persons", same_login)
        .refused(409, "already-exists");
    assert!(refused.text("/detail").contains("login"));
}

#[test]
fn roles_and_stores_have_to_fit_together() {
    let server = Server::start();
    let store = server.store("Harbor Road");
    let missing = new_id();
    let cases: [(&[&str], &[&str], &str); 9] = [
        (&[], &[], "roles"),
        (&["clerk", "clerk"], &[&store], "roles"),
        (&["contractor", "clerk"], &[&store], "roles"),
        (&["contractor"], &[&store], "stores"),
        (&["clerk"], &[], "stores"),
        (&["manager"], &[], "stores"),
        (&["clerk"], &[&store, &store], "stores"),
        (&["clerk"], &[&missing], "stores"),
        (&["janitor"], &[&store], "roles[0]"),
    ];
    for (roles, stores, field) in cases {
        let answer = server.admin().post("/persons", new(roles, stores));
        let answer = answer.refused(422, "invalid-value");
        assert_eq!(answer.text("/field"), field, "{roles:?} {:#}", answer.body);
    }
    for (field, value) in [
        ("display_name", json!("Nell\u{0}Ash")),
        ("display_name", json!("x".repeat(121))),
        ("login", json!("nell ash")),
        ("login", json!("n")),
        ("id", json!("3f2b8c1e-6a4d-4e0b-9f37-1c5d8e7a2b60")),
    ] {
        let mut wanted = new(&["clerk"], &[&store]);
        wanted[field] = value;
        let answer = server
            .admin()
            .post("/persons", wanted)
            .refused(422, "invalid-value");
        assert_eq!(answer.text("/field"), field);
    }
}

#[test]
fn a_manager_keeps_the_clerks_of_the_own_stores_and_contractors() {
    let server = Server::start();
    let (harbor, mill) = (server.store("Harbor Road"), server.store("Mill Lane"));
    let manager = server.manager(&harbor);
    let clerk = server.clerk(&harbor);
    let both = server.person(&["clerk"], &[&harbor, &mill]);
    let contractor = server.contractor();
    let foreign = server.clerk(&mill);
    let other_manager = server.manager(&harbor);
    let mixed = server.person(&["clerk", "color_lead"], &[&harbor]);
    let admin = server.admin();

    let mut seen = ids(&manager.get("/persons").is(200));
    let mut visible = [&manager, &clerk, &both, &contractor].map(|client| client.id.clone());
    seen.sort();
    visible.sort();
    assert_eq!(seen, visible);
    for hidden in [&foreign, &other_manager, &mixed, &admin] {
        manager.get(&path(hidden)).refused(404, "not-found");
        manager
            .patch(&path(hidden), 1, json!({ "suspended": true }))
            .refused(404, "not-found");
        manager
            .post(&format!("{}/reset", path(hidden)), json!({}))
            .refused(404, "not-found");
        hidden.get("/auth/me").is(200);
    }

    manager
        .post("/persons", new(&["clerk"], &[&harbor]))
        .is(201);
    manager.post("/persons", new(&["contractor"], &[])).is(201);
    for (roles, stores) in [
        (vec!["clerk"], vec![mill.as_str()]),
        (vec!["clerk"], vec![&harbor, &mill]),
        (vec!["manager"], vec![&harbor]),
        (vec!["admin"], vec![]),
        (vec!["color_lead"], vec![]),
        (vec!["clerk", "color_lead"], vec![&harbor]),
    ] {
        manager
            .post("/persons", new(&roles, &stores))
            .refused(403, "not-allowed");
    }
    for edit in [
        json!({ "roles": ["manager"] }),
        json!({ "roles": ["admin"], "stores": [] }),
        json!({ "stores": [harbor, mill] }),
        json!({ "stores": [mill] }),
    ] {
        manager
            .patch(&path(&clerk), 1, edit)
            .refused(403, "not-allowed");
    }
    // The foreign store of a clerk of both stays.
    manager
        .patch(&path(&both), 1, json!({ "stores": [harbor] }))
        .refused(403, "not-allowed");
    manager
        .patch(&path(&both), 1, json!({ "stores": [mill] }))
        .is(200);
    manager.get(&path(&both)).refused(404, "not-found");
    manager
        .patch(&path(&contractor), 1, json!({ "suspended": true }))
        .is(200);
    manager
        .post(&format!("{}/reset", path(&clerk)), json!({}))
        .is(200);
}

#[test]
fn nobody_changes_the_own_roles() {
    let server = Server::start();
    let store = server.store("Harbor Road");
    let manager = server.manager(&store);
    let admin = server.admin();
    let second = server.person(&["admin"], &[]);
    for (client, edit) in [
        (&manager, json!({ "roles": ["admin"] })),
        (&manager, json!({ "display_name": "Nell Birch" })),
        (&second, json!({ "roles": ["color_lead"] })),
        (&second, json!({ "roles": ["admin", "color_lead"] })),
        (&second, json!({ "stores": [store] })),
        (&second, json!({ "suspended": true })),
    ] {
        client
            .patch(&path(client), 1, edit)
            .refused(403, "not-allowed");
    }
    for client in [&manager, &second] {
        client
            .post(&format!("{}/reset", path(client)), json!({}))
            .refused(403, "not-allowed");
        client.get("/auth/me").is(200);
    }
    second
        .patch(&path(&second), 1, json!({ "display_name": "Nell Birch" }))
        .is(200);
    admin
        .patch(&path(&second), 2, json!({ "roles": ["color_lead"] }))
        .is(200);
}

#[test]
fn the_last_admin_stays() {
    let server = Server::start();
    let admin = server.admin();
    let path_of_admin = path(&admin);
    // Somebody who has not chosen a password yet can't stand in.
    admin.post("/persons", new(&["admin"], &[])).is(201);
    for edit in [
        json!({ "suspended": true }),
        json!({ "roles": ["color_lead"] }),
    ] {
        admin
            .patch(&path_of_admin, 1, edit)
            .refused(409, "state-conflict");
    }
    admin.get("/auth/me").is(200);
}

#[test]
fn two_admins_who_depose_each_other_at_once_leave_one() {
    let server = Server::start();
    for _ in 0..5 {
        let one = server.person(&["admin"], &[]);
        let two = server.person(&["admin"], &[]);
        let root = server.admin();
        // Only these two can log in meanwhile.
        server.sql(&format!(
            "UPDATE person SET suspended_at = now() WHERE id = '{}'",
            root.id
        ));
        let depose = |by: &Client, whom: &Client| {
            by.patch(&path(whom), 1, json!({ "roles": ["color_lead"] }))
                .status
        };
        let statuses = std::thread::scope(|scope| {
            let first = scope.spawn(|| depose(&one, &two));
            let second = scope.spawn(|| depose(&two, &one));
            [first.join().unwrap(), second.join().unwrap()]
        });
        let left = server.sql_text(
            "SELECT count(*) FROM person WHERE 'admin' = ANY (roles) AND suspended_at IS NULL",
        );
        assert_eq!(left.as_deref(), Some("1"), "{statuses:?}");
        server.sql("UPDATE person SET roles = ARRAY['color_lead'] WHERE login <> 'root.admin'");
        server.sql("UPDATE person SET suspended_at = NULL WHERE login = 'root.admin'");
    }
}

#[test]
fn only_managers_and_admins_see_logins() {
    let server = Server::start();
    let store = server.store("Harbor Road");
    let other = server.clerk(&store);
    for client in [
        server.clerk(&store),
        server.color_lead(),
        server.contractor(),
    ] {
        let reads = ["/persons", &path(&other), &path(&client), "/access-log"];
        for read in reads {
            client.get(read).refused(403, "not-allowed");
        }
        client
            .post("/persons", new(&["admin"], &[]))
            .refused(403, "not-allowed");
        client
            .patch(&path(&other), 1, json!({ "roles": ["admin"] }))
            .refused(403, "not-allowed");
        client
            .post(&format!("{}/reset", path(&other)), json!({}))
            .refused(403, "not-allowed");
        let noted = format!(
            "SELECT count(*) FROM access_log WHERE act = 'refused' AND person_id = '{}'",
            client.id
        );
        assert_eq!(server.sql_text(&noted).as_deref(), Some("7"));
    }
}

#[test]
fn a_reset_is_shown_once() {
    let server = Server::start();
    let store = server.store("Harbor Road");
    let clerk = server.clerk(&store);
    let (key, path) = (new_id(), format!("{}/reset", path(&clerk)));
    let first = server
        .manager(&store)
        .post_keyed(&path, &new_id(), json!({}));
    first.is(200);
    let admin = server.admin();
    let first = admin.post_keyed(&path, &key, json!({})).is(200);
    let second = admin.post_keyed(&path, &key, json!({}));
    let second = second.refused(409, "state-conflict");
    assert!(!second.body.to_string().contains(&first.text("/token")));
}
