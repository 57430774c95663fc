//! Customers and their jobs: who sees whom, and what is kept.

use serde_json::{Value, json};

use crate::support::{Client, Server, new_id};

fn person(name: &str) -> Value {
    json!({ "id": new_id(), "kind": "person", "name": name })
}

fn id_of(record: &Value) -> &str {
    record["id"].as_str().unwrap()
}

/// Adds a customer and gives its path.
fn added(client: &Client, new: &Value) -> String {
    client.post("/customers", new.clone()).is(201);
    format!("/customers/{}", id_of(new))
}

/// How many customers of other stores the access log says this person has opened.
fn opened(server: &Server, client: &Client) -> i64 {
    let person = &client.id;
    server
        .sql_text(&format!(
            "SELECT count(*) FROM access_log WHERE act = 'customer-opened' AND person_id = '{person}'"
        ))
        .unwrap()
        .parse()
        .unwrap()
}

#[test]
fn a_customer_is_added_opened_and_edited_and_what_it_said_is_kept() {
    let server = Server::start();
    let store = server.store("North Quay");
    let clerk = server.clerk(&store);
    // 555-0100 to 555-0199 are set aside for fiction in the North American Numbering Plan.
    let new = json!({
        "id": new_id(), "kind": "company", "name": "  Brannock & Daughters Painting ",
        "phones": [
            { "number": "(303) 555-0142", "label": "site office" },
            { "number": "+44 20 7946 0018" },
        ],
        "jobs": [{ "id": new_id(), "label": "Lobby, second coat" }],
        "note": "Pays by the month.",
    });
    let path = added(&clerk, &new);
    let shown = clerk.get(&path).is(200);
    assert_eq!(shown.headers["etag"], "\"1\"");
    assert_eq!(shown.text("/name"), "Brannock & Daughters Painting");
    assert_eq!(shown.text("/phones/0/number"), "+13035550142");
    assert_eq!(shown.text("/phones/0/label"), "site office");
    assert_eq!(shown.text("/phones/1/number"), "+442079460018");
    assert_eq!(shown.text("/jobs/0/label"), "Lobby, second coat");
    assert_eq!(shown.text("/store/name"), "North Quay");
    clerk.post("/customers", new).refused(409, "already-exists");

    let edit = json!({ "name": "Brannock Painting", "phones": [], "note": "" });
    let edited = clerk.patch(&path, 1, edit).is(200);
    assert_eq!(edited.version(), 2);
    assert_eq!(edited.body["phones"], json!([]));
    assert!(edited.body.get("note").is_none());
    assert_eq!(edited.text("/jobs/0/label"), "Lobby, second coat");
    clerk
        .patch(&path, 1, json!({ "kind": "person" }))
        .refused(412, "version-mismatch");
    let was = server
        .sql_text("SELECT was FROM customer_past WHERE version = 1")
        .unwrap();
    let was: Value = serde_json::from_str(&was).unwrap();
    assert_eq!(was["name"], "Brannock & Daughters Painting");
    assert_eq!(was["phones"][0]["number"], "+13035550142");
    assert_eq!(was["note"], "Pays by the month.");
}

#[test]
fn names_that_show_nothing_or_too_much_are_refused_and_nothing_is_kept() {
    let server = Server::start();
    let clerk = server.clerk(&server.store("North Quay"));
    for name in [
        "",
        "   ",
        "\u{200b}\u{feff}",
        &"n".repeat(10_000),
        &"n".repeat(201),
        "a\0b",
        "line\nbreak",
        "\u{202e}kconnarB",
    ] {
        let refused = clerk
            .post("/customers", person(name))
            .refused(422, "invalid-value");
        assert_eq!(refused.text("/field"), "name");
        assert!(!refused.text("/detail").contains("kconnarB"));
    }
    for escape in [r"\ud83c", r"\udf08", r"\ud83c\ud83c", r"\udf08\ud83c"] {
        let body = format!(
            r#"{{"id":"{}","kind":"person","name":"x{escape}"}}"#,
            new_id()
        );
        clerk
            .send_text("POST", "/customers", "application/json", &body)
            .refused(400, "malformed-body");
    }
    let twice = format!(
        r#"{{"id":"{}","kind":"person","name":"Odile","name":"Tamm"}}"#,
        new_id()
    );
    clerk
        .send_text("POST", "/customers", "application/json", &twice)
        .refused(400, "malformed-body");
    let mut unknown = person("Odile Tamm");
    unknown["nickname"] = json!("Odd");
    clerk
        .post("/customers", unknown)
        .refused(422, "invalid-value");
    assert!(clerk.get("/customers").is(200).items().is_empty());

    for name in [
        "יעל בן-דוד",
        "ليلى الحكيم",
        "田中 健",
        "Zoë Ångström",
        "O’Toole 🖌",
        &"n".repeat(200),
    ] {
        let path = added(&clerk, &person(name));
        assert_eq!(clerk.get(&path).is(200).text("/name"), name);
    }
}

#[test]
fn phones_are_real_numbers_each_once() {
    let server = Server::start();
    let clerk = server.clerk(&server.store("North Quay"));
    let with = |numbers: &[&str]| {
        let mut new = person("Odile Tamm");
        new["phones"] = numbers
            .iter()
            .map(|number| json!({ "number": number }))
            .collect();
        new
    };
    let eleven: Vec<String> = (0..11).map(|n| format!("303 555 01{n:02}")).collect();
    let eleven: Vec<&str> = eleven.iter().map(String::as_str).collect();
    for (numbers, field) in [
        (&["555-0142"][..], "phones[0].number"),
        (&["303 555 0142", "+1 (303) 555-0142"], "phones[1].number"),
        (&["303 555 0142", "call me"], "phones[1].number"),
        (&eleven, "phones"),
    ] {
        let refused = clerk
            .post("/customers", with(numbers))
            .refused(422, "invalid-value");
        assert_eq!(refused.text("/field"), field);
        assert!(!refused.text("/detail").contains("0142"));
    }
    assert!(clerk.get("/customers").is(200).items().is_empty());

    let path = added(&clerk, &with(&["303 555 0142"]));
    clerk
        .patch(&path, 1, json!({ "phones": [{ "number": "12" }] }))
        .refused(422, "invalid-value");
    let kept = clerk.get(&path).is(200);
    assert_eq!(
        (kept.version(), kept.text("/phones/0/number").as_str()),
        (1, "+13035550142")
    );
}

#[test]
fn jobs_are_added_and_relabeled() {
    let server = Server::start();
    let clerk = server.clerk(&server.store("North Quay"));
    let path = added(&clerk, &person("Odile Tamm"));
    let job = json!({ "id": new_id(), "label": "Porch" });
    let made = clerk.post(&format!("{path}/jobs"), job.clone()).is(201);
    assert_eq!(made.headers["etag"], "\"1\"");
    clerk
        .post(&format!("{path}/jobs"), job.clone())
        .refused(409, "already-exists");
    clerk
        .post(
            &format!("/customers/{}/jobs", new_id()),
            json!({ "id": new_id(), "label": "Porch" }),
        )
        .refused(404, "not-found");

    let job_path = format!("/jobs/{}", id_of(&job));
    let edit = json!({ "label": "Porch, north side" });
    assert_eq!(clerk.patch(&job_path, 1, edit.clone()).is(200).version(), 2);
    clerk
        .patch(&job_path, 1, edit.clone())
        .refused(412, "version-mismatch");
    clerk
        .patch(&job_path, 2, json!({ "label": "" }))
        .refused(422, "invalid-value");
    clerk
        .patch(&format!("/jobs/{}", new_id()), 1, edit)
        .refused(404, "not-found");
    assert_eq!(
        clerk.get(&path).is(200).text("/jobs/0/label"),
        "Porch, north side"
    );
}

#[test]
fn a_contractor_sees_linked_customers_and_no_others() {
    let server = Server::start();
    let store = server.store("North Quay");
    let clerk = server.clerk(&store);
    let own = person("Odile Tamm");
    let foreign = person("Rufus Ekdal");
    let own_path = added(&clerk, &own);
    let foreign_path = added(&clerk, &foreign);
    let contractor = server.contractor();
    let link = format!("/persons/{}/customers/{}", contractor.id, id_of(&own));
    server.admin().put(&link, None).is(200);

    assert_eq!(
        contractor.get(&own_path).is(200).text("/name"),
        "Odile Tamm"
    );
    let foreign_answer = contractor.get(&foreign_path).refused(404, "not-found");
    let missing = contractor
        .get(&format!("/customers/{}", new_id()))
        .refused(404, "not-found");
    assert_eq!(foreign_answer.body, missing.body);
    for path in ["/customers", &format!("/customers?store_id={store}")] {
        let listed = contractor.get(path).is(200);
        assert_eq!(listed.items().len(), 1);
        assert_eq!(listed.items()[0]["id"], own["id"]);
    }

    contractor
        .post("/customers", person("New One"))
        .refused(403, "not-allowed");
    for path in [&own_path, &foreign_path] {
        contractor
            .patch(path, 1, json!({ "name": "Mine" }))
            .refused(403, "not-allowed");
        contractor
            .post(
                &format!("{path}/jobs"),
                json!({ "id": new_id(), "label": "Porch" }),
            )
            .refused(403, "not-allowed");
    }
    contractor
        .get("/customers/find?q=tamm")
        .refused(403, "not-allowed");

    server.admin().delete(&link).is(204);
    contractor.get(&own_path).refused(404, "not-found");
    assert!(contractor.get("/customers").is(200).items().is_empty());
    assert_eq!(opened(&server, &contractor), 0);
}

#[test]
fn opening_another_stores_customer_is_noted() {
    let server = Server::start();
    let (north, south) = (server.store("North Quay"), server.store("South Gate"));
    let (northern, southern) = (server.clerk(&north), server.clerk(&south));
    let new = person("Odile Tamm");
    let path = added(&northern, &new);
    northern.get(&path).is(200);
    assert_eq!(opened(&server, &northern), 0);
    southern
        .get(&format!("/customers?store_id={north}"))
        .is(200);
    southern.get("/customers/find?q=tamm").is(200);
    southern
        .get(&format!("/customers/{}", new_id()))
        .refused(404, "not-found");
    assert_eq!(opened(&server, &southern), 0);

    southern.get(&path).is(200);
    assert_eq!(opened(&server, &southern), 1);
    // The answer to an edit shows the whole record too.
    southern
        .patch(&path, 1, json!({ "kind": "company" }))
        .is(200);
    assert_eq!(opened(&server, &southern), 2);
    southern
        .patch(&path, 1, json!({ "kind": "person" }))
        .refused(412, "version-mismatch");
    assert_eq!(opened(&server, &southern), 2);

    let log = server.admin().get("/access-log").is(200);
    let entry = log
        .items()
        .iter()
        .find(|entry| entry["act"] == "customer-opened")
        .unwrap();
    assert_eq!(entry["person_id"], southern.id);
    assert_eq!(entry["store_id"], south);
    assert_eq!(entry["entity_id"], new["id"]);
}

#[test]
fn staff_list_their_own_stores_customers_or_those_of_one_store() {
    let server = Server::start();
    let (north, south) = (server.store("North Quay"), server.store("South Gate"));
    let (northern, southern) = (server.clerk(&north), server.clerk(&south));
    for number in 1..=3 {
        added(&northern, &person(&format!("Northern {number}")));
    }
    let mut new = person("Southern 1");
    new["phones"] = json!([{ "number": "303 555 0142" }]);
    new["jobs"] = (1..=4)
        .map(|number| json!({ "id": new_id(), "label": format!("Job {number}") }))
        .collect();
    added(&southern, &new);

    assert_eq!(northern.get("/customers").is(200).items().len(), 3);
    assert_eq!(server.admin().get("/customers").is(200).items().len(), 4);
    let listed = northern
        .get(&format!("/customers?store_id={south}"))
        .is(200);
    assert_eq!(
        listed.items(),
        [json!({
            "id": new["id"], "kind": "person", "name": "Southern 1", "phone_ends": "0142",
            "jobs": ["Job 4", "Job 3", "Job 2"], "store": { "id": south, "name": "South Gate" }, "matches": 0,
        })]
    );
    let first = northern.get("/customers?limit=2").is(200);
    let rest = northern
        .get(&format!("/customers?limit=2&after={}", first.text("/next")))
        .is(200);
    assert_eq!((first.items().len(), rest.items().len()), (2, 1));
    assert!(rest.body.get("next").is_none());
}

#[test]
fn what_is_written_belongs_to_a_store() {
    let server = Server::start();
    let lead = server.color_lead();
    let refused = lead
        .post("/customers", person("Odile Tamm"))
        .refused(409, "state-conflict");
    assert!(refused.text("/remedy").contains("name the store"));
}
