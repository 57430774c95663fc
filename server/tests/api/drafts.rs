//! Drafts: half-made matches, each its maker's alone.

use serde_json::{Value, json};

use crate::support::{Server, new_id};

fn draft(title: &str) -> Value {
    json!({ "id": new_id(), "title": title, "parts": {} })
}

#[test]
fn a_draft_survives_a_ringing_phone() {
    let server = Server::start();
    let store = server.store("Alder Quay");
    let clerk = server.clerk(&store);
    // What is half there is kept to the last digit: 1/3 has no short decimal.
    let parts = json!({
        "customer_id": new_id(),
        "sample": { "id": new_id(), "read_as": "percent", "readings": 2, "as_read": ["33,30", "1e-3"],
            "spectrum": { "start_nm": 400, "step_nm": 10, "values": [1.0 / 3.0, 0.1] }, "ends_extended": false },
        "note": "porch rail\nwaits for a second chip",
    });
    let kept = clerk
        .post(
            "/drafts",
            json!({ "id": new_id(), "title": "porch rail", "parts": parts }),
        )
        .is(201);
    assert_eq!(kept.headers["etag"], "\"1\"");
    assert_eq!(kept.body["parts"], parts);
    assert_eq!(kept.body["store_id"], store);
    let path = format!("/drafts/{}", kept.text("/id"));
    assert_eq!(clerk.get(&path).is(200).body, kept.body);
    let retitled = clerk
        .patch(&path, 1, json!({ "title": "porch rail, north" }))
        .is(200);
    assert_eq!(retitled.body["parts"], parts);
    assert_eq!(retitled.version(), 2);
    clerk
        .patch(&path, 1, json!({ "parts": {} }))
        .refused(412, "version-mismatch");
    let emptied = clerk.patch(&path, 2, json!({ "parts": {} })).is(200);
    assert_eq!(emptied.body["parts"], json!({}));
    assert_eq!(emptied.body["title"], "porch rail, north");
    let listed = clerk.get("/drafts").is(200);
    assert_eq!(listed.items(), [emptied.body]);
    assert_eq!(clerk.delete(&path).is(204).body, Value::Null);
    clerk.get(&path).refused(404, "not-found");
    clerk.delete(&path).refused(404, "not-found");
}

#[test]
fn nobody_elses_draft_exists() {
    let server = Server::start();
    let store = server.store("Alder Quay");
    let (clerk, colleague) = (server.clerk(&store), server.clerk(&store));
    let id = clerk.post("/drafts", draft("fence")).is(201).text("/id");
    let (path, missing) = (format!("/drafts/{id}"), format!("/drafts/{}", new_id()));
    for other in [&colleague, &server.manager(&store)] {
        assert!(other.get("/drafts").is(200).items().is_empty());
        assert_eq!(
            other.get(&path).refused(404, "not-found").body,
            other.get(&missing).refused(404, "not-found").body
        );
        other
            .patch(&path, 1, json!({ "title": "mine" }))
            .refused(404, "not-found");
        other.delete(&path).refused(404, "not-found");
    }
    assert_eq!(clerk.get(&path).is(200).body["title"], "fence");
    server
        .contractor()
        .get("/drafts")
        .refused(403, "not-allowed");
}

#[test]
fn drafts_are_kept_at_a_counter_and_a_hundred_at_most() {
    let server = Server::start();
    let store = server.store("Alder Quay");
    let clerk = server.clerk(&store);
    server
        .color_lead()
        .post("/drafts", draft("adrift"))
        .refused(409, "state-conflict");
    server.sql(&format!(
        "INSERT INTO draft (id, person_id, store_id, title, body)
         SELECT ('01900000-0000-7000-8000-' || lpad(n::text, 12, '0'))::uuid, '{}', '{store}', 'draft ' || n, '{{}}'
         FROM generate_series(1, 98) n",
        clerk.id
    ));
    // Of four at once, the two that there is room for are kept.
    let kept: usize = std::thread::scope(|scope| {
        let tries: Vec<_> = (0..4)
            .map(|_| scope.spawn(|| clerk.post("/drafts", draft("one more")).status))
            .collect();
        let answers: Vec<u16> = tries.into_iter().map(|one| one.join().unwrap()).collect();
        assert!(
            answers.iter().all(|status| [201, 409].contains(status)),
            "{answers:?}"
        );
        answers.iter().filter(|status| **status == 201).count()
    });
    assert_eq!(kept, 2);
    let refused = clerk
        .post("/drafts", draft("one too many"))
        .refused(409, "state-conflict");
    assert!(refused.text("/detail").contains("100"));
    let page = clerk.get("/drafts?limit=60").is(200);
    let rest = clerk.get(&format!("/drafts?limit=60&after={}", page.text("/next")));
    assert_eq!(page.items().len() + rest.is(200).items().len(), 100);
}
