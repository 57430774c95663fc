//! Colorants, products, bases, verdict limits; and what every write asks for, tried on colorants.

use serde_json::{Value, json};

use crate::support::{Client, Server, new_id};

fn colorant(ci_name: &str, pigment: &str) -> Value {
    json!({ "id": new_id(), "ci_name": ci_name, "pigment": pigment })
}

fn sheen(word: &str, min: u16, max: u16) -> Value {
    json!({ "id": new_id(), "word": word, "gloss60_min": min, "gloss60_max": max })
}

/// A product with two sheens; gives its id.
fn product(lead: &Client, name: &str) -> String {
    let id = new_id();
    let new = json!({
        "id": id, "name": name, "carrier": "water",
        "sheens": [sheen("satin", 20, 35), sheen("flat", 0, 5)],
    });
    lead.post("/products", new).is(201);
    id
}

fn path_of(collection: &str, record: &Value) -> String {
    format!("/{collection}/{}", record["id"].as_str().unwrap())
}

#[test]
fn a_colorant_is_added_renamed_retired_and_still_listed() {
    let server = Server::start();
    let lead = server.color_lead();
    let new = colorant("PY42", "yellow oxide");
    let added = lead.post("/colorants", new.clone()).is(201);
    let path = path_of("colorants", &new);
    assert_eq!(added.headers["location"], format!("/api/v1{path}"));
    assert_eq!(added.headers["etag"], "\"1\"");
    lead.post("/colorants", colorant("PY42", "yellow oxide"))
        .refused(409, "already-exists");
    lead.post("/colorants", new.clone())
        .refused(409, "already-exists");

    lead.patch(&path, 1, json!({ "pigment": "ocher" })).is(200);
    let retired = lead.patch(&path, 2, json!({ "retired": true })).is(200);
    assert_eq!(retired.version(), 3);
    lead.patch(&path, 2, json!({ "retired": false }))
        .refused(412, "version-mismatch");

    let contractor = server.contractor();
    let seen = contractor.get(&path).is(200);
    assert_eq!(seen.headers["etag"], "\"3\"");
    assert_eq!(
        (&seen.body["pigment"], &seen.body["retired"]),
        (&json!("ocher"), &json!(true))
    );
    assert_eq!(contractor.get("/colorants").is(200).items().len(), 1);
    lead.patch(&path, 3, json!({ "retired": false })).is(200);
    assert_eq!(lead.get(&path).is(200).body["retired"], false);
}

#[test]
fn only_a_color_lead_changes_the_catalog() {
    let server = Server::start();
    let store = server.store("Mill Lane");
    let lead = server.color_lead();
    let new = colorant("PR101", "red oxide");
    lead.post("/colorants", new.clone()).is(201);
    for client in [
        server.admin(),
        server.manager(&store),
        server.clerk(&store),
        server.contractor(),
    ] {
        client
            .post("/colorants", colorant("PBk7", "carbon black"))
            .refused(403, "not-allowed");
        client
            .patch(&path_of("colorants", &new), 1, json!({ "retired": true }))
            .refused(403, "not-allowed");
    }
    server
        .anybody()
        .get("/colorants")
        .refused(401, "not-logged-in");
    assert_eq!(lead.get("/colorants").is(200).items().len(), 1);
}

#[test]
fn a_colorant_goes_by_its_colour_index_name() {
    let server = Server::start();
    let lead = server.color_lead();
    for (bad, field) in [
        (colorant("Y42", "yellow oxide"), "ci_name"),
        (colorant("PY42", ""), "pigment"),
        (colorant("PY42", &"o".repeat(10_000)), "pigment"),
    ] {
        let refused = lead.post("/colorants", bad).refused(422, "invalid-value");
        assert_eq!(refused.text("/field"), field);
    }
    assert!(lead.get("/colorants").is(200).items().is_empty());
}

#[test]
fn a_product_gains_sheens_but_never_one_twice() {
    let server = Server::start();
    let lead = server.color_lead();
    let id = product(&lead, "Wall, waterborne");
    let path = format!("/products/{id}");
    let shown = lead.get(&path).is(200);
    let words: Vec<&Value> = shown.body["sheens"]
        .as_array()
        .unwrap()
        .iter()
        .map(|sheen| &sheen["word"])
        .collect();
    assert_eq!(words, ["flat", "satin"]);

    let add = json!({ "add_sheens": [sheen("gloss", 70, 85)], "name": "Wall and trim" });
    let edited = lead.patch(&path, 1, add).is(200);
    assert_eq!(edited.body["sheens"].as_array().unwrap().len(), 3);
    assert_eq!(edited.text("/name"), "Wall and trim");
    lead.patch(&path, 2, json!({ "add_sheens": [sheen("satin", 20, 35)] }))
        .refused(409, "already-exists");
    assert_eq!(lead.get(&path).is(200).version(), 2);

    let new = |sheens: Value| json!({ "id": new_id(), "name": "Porch", "carrier": "solvent", "sheens": sheens });
    for (sheens, field) in [
        (json!([]), "sheens"),
        (
            json!([sheen("satin", 20, 35), sheen("satin", 25, 35)]),
            "sheens[1].word",
        ),
        (json!([sheen("satin", 35, 20)]), "sheens[0].gloss60_min"),
        (json!([sheen("satin", 20, 101)]), "sheens[0].gloss60_max"),
        (json!([sheen("shiny", 20, 35)]), "sheens[0].word"),
    ] {
        let refused = lead
            .post("/products", new(sheens))
            .refused(422, "invalid-value");
        assert_eq!(refused.text("/field"), field);
    }
    let same = json!({ "id": new_id(), "name": "Wall and trim", "carrier": "water", "sheens": [sheen("flat", 0, 5)] });
    lead.post("/products", same).refused(409, "already-exists");
    assert_eq!(lead.get("/products").is(200).items().len(), 1);
}

#[test]
fn a_base_leaves_no_more_room_than_its_can_has() {
    let server = Server::start();
    let lead = server.color_lead();
    let wall = product(&lead, "Wall, waterborne");
    let trim = product(&lead, "Trim, waterborne");
    let base = |product: &str, name: &str, rooms: Value| json!({ "id": new_id(), "product_id": product, "name": name, "kind": "deep", "rooms": rooms });
    let quart = json!({ "size": "quart", "fill": 88_000, "room": 5_914 });
    let gallon = json!({ "size": "gallon", "fill": 354_000, "room": 23_000 });

    let deep = base(&wall, "deep", json!([gallon, quart]));
    let added = lead.post("/bases", deep.clone()).is(201);
    assert_eq!(added.body["rooms"], json!([quart, gallon]));
    lead.post("/bases", base(&trim, "deep", json!([quart])))
        .is(201);
    assert_eq!(lead.get("/bases").is(200).items().len(), 2);
    let of_wall = lead.get(&format!("/bases?product_id={wall}")).is(200);
    assert_eq!(of_wall.items().len(), 1);
    assert_eq!(of_wall.items()[0]["id"], deep["id"]);

    lead.post("/bases", base(&wall, "deep", json!([quart])))
        .refused(409, "already-exists");
    for (bad, field) in [
        (base(&wall, "clear", json!([])), "rooms"),
        (base(&wall, "clear", json!([quart, quart])), "rooms[1].size"),
        (base(&new_id(), "clear", json!([quart])), "product_id"),
    ] {
        let refused = lead.post("/bases", bad).refused(422, "invalid-value");
        assert_eq!(refused.text("/field"), field);
    }
    // A US quart is 946.352946 ml (NIST Handbook 44, appendix C).
    let overfull = json!({ "size": "quart", "fill": 88_000, "room": 6_636 });
    let refused = lead
        .post("/bases", base(&wall, "clear", json!([overfull])))
        .refused(422, "invalid-value");
    assert_eq!(refused.text("/field"), "rooms[0]");
    assert!(refused.text("/detail").contains("spills"));

    let path = path_of("bases", &deep);
    let edited = lead
        .patch(&path, 1, json!({ "rooms": [quart], "retired": true }))
        .is(200);
    assert_eq!(edited.body["rooms"], json!([quart]));
    assert_eq!(lead.get(&path).is(200).body["retired"], true);
    lead.get(&format!("/bases/{}", new_id()))
        .refused(404, "not-found");
    lead.get("/bases/deep").refused(404, "not-found");
}

#[test]
fn verdict_limits_rise_and_are_set_whole() {
    let server = Server::start();
    let lead = server.color_lead();
    let limits =
        |i: f64, a: f64, k: f64| json!({ "indistinguishable": i, "accepted": a, "ask": k });
    let in_force = server.contractor().get("/verdicts").is(200);
    assert_eq!(in_force.body["limits"], limits(0.5, 1.0, 2.0));
    assert_eq!(in_force.headers["etag"], "\"1\"");

    for bad in [
        limits(1.0, 1.0, 2.0),
        limits(0.5, 2.0, 1.0),
        limits(0.0, 1.0, 2.0),
        limits(0.5, 1.0, 21.0),
    ] {
        lead.edit("PUT", "/verdicts", 1, bad)
            .refused(422, "invalid-value");
    }
    let set = lead
        .edit("PUT", "/verdicts", 1, limits(0.4, 0.8, 1.5))
        .is(200);
    assert_eq!(set.body["limits"], limits(0.4, 0.8, 1.5));
    lead.edit("PUT", "/verdicts", 1, limits(0.5, 1.0, 2.0))
        .refused(412, "version-mismatch");
    lead.put("/verdicts", Some(limits(0.5, 1.0, 2.0)))
        .refused(428, "version-missing");
    server
        .admin()
        .edit("PUT", "/verdicts", 2, limits(0.5, 1.0, 2.0))
        .refused(403, "not-allowed");
    assert_eq!(lead.get("/verdicts").is(200).version(), 2);
}

#[test]
fn a_write_needs_a_key_and_a_repeated_one_gets_the_stored_answer() {
    let server = Server::start();
    let lead = server.color_lead();
    let new = colorant("PBk7", "carbon black");
    lead.send("POST", "/colorants", &[], Some(new.clone()))
        .refused(400, "idempotency-key-missing");
    for bad in ["", "7", "00000000-0000-0000-0000-000000000000"] {
        lead.post_keyed("/colorants", bad, new.clone())
            .refused(400, "bad-request");
    }

    let key = new_id();
    let first = lead.post_keyed("/colorants", &key, new.clone()).is(201);
    // Meanwhile changed: the repeated request still gets the answer of then.
    lead.patch(&path_of("colorants", &new), 1, json!({ "retired": true }))
        .is(200);
    let again = lead.post_keyed("/colorants", &key, new.clone()).is(201);
    assert_eq!(again.body, first.body);
    assert_eq!(again.headers["etag"], first.headers["etag"]);
    assert_eq!(again.headers["location"], first.headers["location"]);
    lead.post_keyed("/colorants", &key, colorant("PW6", "titanium white"))
        .refused(422, "idempotency-key-reused");
    // A key is its person's own.
    let other = server.color_lead();
    other
        .post_keyed("/colorants", &key, colorant("PW6", "titanium white"))
        .is(201);
    assert_eq!(lead.get("/colorants").is(200).items().len(), 2);
    assert_eq!(
        server.sql_text("SELECT count(*) FROM change_log WHERE kind = 'colorant'"),
        Some("3".to_owned())
    );
}

#[test]
fn a_refused_write_leaves_its_key_free() {
    let server = Server::start();
    let lead = server.color_lead();
    let key = new_id();
    let first = colorant("PG7", "phthalo green");
    lead.post("/colorants", first.clone()).is(201);
    lead.post_keyed("/colorants", &key, colorant("PG7", "phthalo green"))
        .refused(409, "already-exists");
    lead.post_keyed("/colorants", &key, colorant("PB15:3", "phthalo blue"))
        .is(201);
}

#[test]
fn bodies_that_are_not_what_the_route_takes_are_refused() {
    let server = Server::start();
    let lead = server.color_lead();
    let id = new_id();
    let good = format!(r#"{{"id":"{id}","ci_name":"PY42","pigment":"yellow oxide"}}"#);
    for content_type in ["text/plain", "application/xml", ""] {
        lead.send_text("POST", "/colorants", content_type, &good)
            .refused(415, "unsupported-media-type");
    }
    for (body, status, code) in [
        (String::new(), 400, "malformed-body"),
        (good[..20].to_owned(), 400, "malformed-body"),
        (format!("{good}{good}"), 400, "malformed-body"),
        (
            good.replace("}", r#","pigment":"ocher"}"#),
            400,
            "malformed-body",
        ),
        (
            good.replace("yellow oxide", r"\ud800"),
            400,
            "malformed-body",
        ),
        ("[".repeat(100_000), 400, "malformed-body"),
        (
            good.replace("}", r#","shade":"dark"}"#),
            422,
            "invalid-value",
        ),
        (
            good.replace("yellow oxide", r"\u0000"),
            422,
            "invalid-value",
        ),
        (r#"{"id":1}"#.to_owned(), 422, "invalid-value"),
        ("null".to_owned(), 422, "invalid-value"),
        (" ".repeat(1024 * 1024 + 1), 413, "body-too-large"),
    ] {
        lead.send_text("POST", "/colorants", "application/json", &body)
            .refused(status, code);
    }
    assert!(lead.get("/colorants").is(200).items().is_empty());
    lead.send_text(
        "POST",
        "/colorants",
        "application/json; charset=utf-8",
        &good,
    )
    .is(201);

    let path = format!("/colorants/{id}");
    lead.send_text("PATCH", &path, "application/json", r#"{"retired":true}"#)
        .refused(428, "version-missing");
    for bad in ["1", "*", "\"0\"", "\"one\"", "W/\"1\""] {
        let key = new_id();
        let headers = [("Idempotency-Key", key.as_str()), ("If-Match", bad)];
        lead.send("PATCH", &path, &headers, Some(json!({ "retired": true })))
            .refused(400, "bad-request");
    }
    let refused = lead.delete(&path).refused(405, "method-not-allowed");
    assert_eq!(refused.headers["allow"], "GET, PATCH");
}

#[test]
fn lists_come_in_pages() {
    let server = Server::start();
    let lead = server.color_lead();
    for number in 1..=5 {
        lead.post("/colorants", colorant(&format!("PR{number}"), "red"))
            .is(201);
    }
    let mut seen = Vec::new();
    let mut path = "/colorants?limit=2".to_owned();
    loop {
        let page = lead.get(&path).is(200);
        seen.extend(page.items().iter().map(|item| item["ci_name"].clone()));
        let Some(next) = page.body["next"].as_str() else {
            break;
        };
        path = format!("/colorants?limit=2&after={next}");
    }
    assert_eq!(seen, ["PR1", "PR2", "PR3", "PR4", "PR5"]);
    for bad in ["limit=0", "limit=201", "limit=x", "after=x", "color=red"] {
        lead.get(&format!("/colorants?{bad}"))
            .refused(400, "bad-request");
    }
}
