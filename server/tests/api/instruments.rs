//! Instruments and their calibrations.

use serde_json::{Value, json};

use crate::support::{Server, new_id};

fn instrument(store: &str, serial: &str) -> Value {
    json!({
        "id": new_id(), "store_id": store, "name": "Counter sphere", "model": "Sphere, 31 bands",
        "serial": serial, "geometry": "d:8", "apertures_mm": [6.0, 12.0],
    })
}

fn calibration() -> Value {
    json!({
        "id": new_id(), "made_at": "2026-03-02T08:15:00Z",
        "white_read": true, "black_read": true, "temperature_c": 21.5,
    })
}

#[test]
fn a_manager_keeps_the_instruments_of_own_stores_only() {
    let server = Server::start();
    let (north, south) = (server.store("North Quay"), server.store("South Gate"));
    let manager = server.manager(&north);
    let own = instrument(&north, "S-1");
    let path = format!("/instruments/{}", own["id"].as_str().unwrap());
    let added = manager.post("/instruments", own.clone()).is(201);
    assert_eq!(added.body["apertures_mm"], json!([6.0, 12.0]));
    manager
        .post("/instruments", instrument(&north, "S-1"))
        .refused(409, "already-exists");
    manager
        .post("/instruments", instrument(&south, "S-2"))
        .refused(403, "not-allowed");
    manager
        .patch(&path, 1, json!({ "store_id": south }))
        .refused(403, "not-allowed");
    let edited = manager
        .patch(&path, 1, json!({ "name": "Old sphere", "retired": true }))
        .is(200);
    assert_eq!(edited.version(), 2);
    manager
        .patch(&path, 1, json!({ "retired": false }))
        .refused(412, "version-mismatch");

    let other = server.manager(&south);
    other
        .patch(&path, 2, json!({ "retired": false }))
        .refused(404, "not-found");
    other
        .patch(
            &format!("/instruments/{}", new_id()),
            2,
            json!({ "retired": false }),
        )
        .refused(404, "not-found");
    let seen = other.get("/instruments").is(200);
    assert_eq!(seen.items().len(), 1);
    assert_eq!(seen.items()[0]["retired"], true);
    let none = other.get(&format!("/instruments?store_id={south}")).is(200);
    assert!(none.items().is_empty());

    server
        .admin()
        .patch(&path, 2, json!({ "store_id": south }))
        .is(200);
    server
        .admin()
        .post("/instruments", instrument(&new_id(), "S-3"))
        .refused(422, "invalid-value");
    server
        .clerk(&north)
        .post("/instruments", instrument(&north, "S-4"))
        .refused(403, "not-allowed");
    let contractor = server.contractor();
    contractor.get("/instruments").refused(403, "not-allowed");
    contractor.get(&path).refused(403, "not-allowed");
}

#[test]
fn apertures_are_a_few_lengths() {
    let server = Server::start();
    let store = server.store("North Quay");
    let manager = server.manager(&store);
    for (apertures, field) in [
        (json!([]), "apertures_mm"),
        (json!(vec![8.0; 11]), "apertures_mm"),
        (json!([12.0, 0.0]), "apertures_mm[1]"),
        (json!([-8.0]), "apertures_mm[0]"),
        (json!([1e300]), "apertures_mm[0]"),
    ] {
        let mut bad = instrument(&store, "S-1");
        bad["apertures_mm"] = apertures;
        let refused = manager
            .post("/instruments", bad)
            .refused(422, "invalid-value");
        assert_eq!(refused.text("/field"), field);
    }
    let mut bad = instrument(&store, "S-1");
    bad["geometry"] = json!("0:45");
    let refused = manager
        .post("/instruments", bad)
        .refused(422, "invalid-value");
    assert!(refused.text("/detail").contains("45a:0"));
    assert!(manager.get("/instruments").is(200).items().is_empty());
}

#[test]
fn clerks_record_calibrations_of_their_own_stores_instruments() {
    let server = Server::start();
    let (north, south) = (server.store("North Quay"), server.store("South Gate"));
    let own = instrument(&north, "S-1");
    server
        .manager(&north)
        .post("/instruments", own.clone())
        .is(201);
    let path = format!("/instruments/{}/calibrations", own["id"].as_str().unwrap());
    let clerk = server.clerk(&north);
    let new = calibration();
    let made = clerk.post(&path, new.clone()).is(201);
    assert_eq!(made.text("/made_by/id"), clerk.id);
    assert_eq!(made.text("/made_at"), "2026-03-02T08:15:00Z");
    clerk.post(&path, new).refused(409, "already-exists");

    let mut unread = calibration();
    unread["white_read"] = json!(false);
    unread["black_read"] = json!(false);
    let mut hot = calibration();
    hot["temperature_c"] = json!(215);
    let mut undated = calibration();
    undated["made_at"] = json!("2 March");
    for (bad, field) in [
        (unread, "white_read"),
        (hot, "temperature_c"),
        (undated, "made_at"),
    ] {
        let refused = clerk.post(&path, bad).refused(422, "invalid-value");
        assert_eq!(refused.text("/field"), field);
    }

    let other = server.clerk(&south);
    other.post(&path, calibration()).refused(404, "not-found");
    assert_eq!(other.get(&path).is(200).items().len(), 1);
    let missing = format!("/instruments/{}/calibrations", new_id());
    other.get(&missing).refused(404, "not-found");
    other
        .post(&missing, calibration())
        .refused(404, "not-found");
    server
        .contractor()
        .post(&path, calibration())
        .refused(403, "not-allowed");
}
