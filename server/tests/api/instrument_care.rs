//! What is due at an instrument, and what that does to the readings made on it.

use serde_json::{Value, json};
use time::format_description::well_known::Rfc3339;
use time::{Duration, OffsetDateTime};

use crate::chain::{Chain, MADE_AT};
use crate::support::{Answer, Client, new_id};

pub(crate) fn ago(minutes: i64) -> String {
    (OffsetDateTime::now_utc() - Duration::minutes(minutes))
        .format(&Rfc3339)
        .unwrap()
}

/// An instrument of a store with no certificate and everything else as by default.
pub(crate) fn instrument(manager: &Client, store: &str, name: &str) -> String {
    let id = new_id();
    let new = json!({ "id": id, "store_id": store, "name": name, "model": "Sphere, 31 bands",
        "serial": new_id(), "geometry": "d:8", "apertures_mm": [12.0] });
    manager.post("/instruments", new).is(201);
    id
}

fn calibrate(clerk: &Client, instrument: &str, made_at: &str, black_read: bool) {
    let new = json!({ "id": new_id(), "made_at": made_at, "white_read": true, "black_read": black_read,
        "temperature_c": 22.0 });
    clerk
        .post(&format!("/instruments/{instrument}/calibrations"), new)
        .is(201);
}

fn switched_on(clerk: &Client, instrument: &str, minutes_ago: i64) -> Answer {
    clerk.post(
        &format!("/instruments/{instrument}/starts"),
        json!({ "id": new_id(), "switched_on_at": ago(minutes_ago) }),
    )
}

/// A match whose sample was read on the instrument; the match as answered.
fn read_on(chain: &Chain, instrument: &str, measured_at: Option<&str>) -> Value {
    let values: Vec<f64> = (0..31).map(|band| 0.2 + 0.01 * f64::from(band)).collect();
    let mut sample = json!({ "id": new_id(), "spectrum": { "start_nm": 400, "step_nm": 10, "values": values },
        "read_as": "fraction", "readings": 3, "instrument_id": instrument });
    if let Some(at) = measured_at {
        sample["measured_at"] = json!(at);
    }
    let new = json!({ "id": new_id(), "customer_id": chain.customer, "product_id": chain.product,
        "sheen_id": chain.sheen, "sample": sample, "made_at": MADE_AT });
    chain.clerk.post("/matches", new).is(201).body
}

#[test]
fn what_is_due_is_told_and_stays_with_a_reading_until_it_is_accepted() {
    let chain = Chain::open();
    let manager = chain.server.manager(&chain.quay);
    let sphere = instrument(&manager, &chain.quay, "Counter sphere");
    let path = format!("/instruments/{sphere}");
    let due = |client: &Client| texts_of(&client.get(&path).is(200).body["state"]["due"]).join(" ");
    assert_eq!(
        due(&chain.clerk),
        "calibration_overdue black_not_read not_warmed_up"
    );
    let version = manager.get(&path).is(200).version();
    let expired = json!({ "white_certificate": { "serial": "W-77", "expires_on": "2020-06-30" } });
    manager.patch(&path, version, expired).is(200);
    assert!(due(&chain.miller).ends_with("certificate_expired"));

    let start = switched_on(&chain.clerk, &sphere, 40).is(201);
    assert_eq!(start.text("/state/switched_on_basis"), "told");
    assert_eq!(start.text("/made_by/id"), chain.clerk.id);
    calibrate(&chain.clerk, &sphere, &ago(2), false);
    assert_eq!(due(&chain.clerk), "black_not_read certificate_expired");

    let recorded = read_on(&chain, &sphere, None);
    let sample = &recorded["sample"];
    assert_eq!(
        sample["instrument_due"],
        json!(["black_not_read", "certificate_expired"])
    );
    let caution = sample["cautions"][0].as_str().unwrap();
    assert!(
        caution.contains("black not read in time, white tile's certificate expired"),
        "{caution}"
    );

    // What was due then stays due then.
    calibrate(&chain.clerk, &sphere, &ago(1), true);
    assert_eq!(due(&chain.clerk), "certificate_expired");
    let of_match = format!("/matches/{}", recorded["id"].as_str().unwrap());
    let shown = chain.clerk.get(&of_match).is(200);
    assert_eq!(shown.body["sample"], *sample);

    let accept = format!(
        "/measurements/{}/accept",
        sample["read"]["id"].as_str().unwrap()
    );
    let new = || json!({ "id": new_id(), "note": "checked against the old chip" });
    chain.clerk.post(&accept, new()).refused(403, "not-allowed");
    chain
        .contractor_of(&chain.customer)
        .post(&accept, new())
        .refused(403, "not-allowed");
    chain
        .server
        .manager(&chain.mill)
        .post(&accept, new())
        .refused(404, "not-found");
    let missing = format!("/measurements/{}/accept", new_id());
    manager.post(&missing, new()).refused(404, "not-found");
    let accepted = manager.post(&accept, new()).is(201);
    assert_eq!(accepted.text("/accepted/by/id"), manager.id);
    chain
        .lead
        .post(&accept, new())
        .refused(409, "already-exists");
    let shown = chain.clerk.get(&of_match).is(200);
    assert_eq!(
        shown.text("/sample/accepted/note"),
        "checked against the old chip"
    );
    assert!(shown.body["sample"].get("cautions").is_none());
    assert_eq!(
        shown.body["sample"]["instrument_due"],
        sample["instrument_due"]
    );
}

#[test]
fn the_color_lead_accepts_anywhere_and_nobody_what_is_sound() {
    let chain = Chain::open();
    let manager = chain.server.manager(&chain.quay);
    let sphere = instrument(&manager, &chain.quay, "Counter sphere");
    let marked = read_on(&chain, &sphere, None);
    let accept = |of: &Value| {
        format!(
            "/measurements/{}/accept",
            of["sample"]["read"]["id"].as_str().unwrap()
        )
    };
    chain
        .lead
        .post(&accept(&marked), json!({ "id": new_id() }))
        .is(201);

    switched_on(&chain.clerk, &sphere, 31).is(201);
    calibrate(&chain.clerk, &sphere, &ago(1), true);
    let sound = read_on(&chain, &sphere, None);
    assert!(sound["sample"].get("instrument_due").is_none(), "{sound}");
    assert!(sound["sample"].get("cautions").is_none());
    let refused = manager
        .post(&accept(&sound), json!({ "id": new_id() }))
        .refused(409, "state-conflict");
    assert!(refused.text("/detail").contains("nothing was due"));
}

/// A reading is judged by the time at which it was made, not by the time at which it was recorded.
#[test]
fn an_old_reading_is_judged_by_its_own_time() {
    let chain = Chain::open();
    let manager = chain.server.manager(&chain.quay);
    let sphere = instrument(&manager, &chain.quay, "Counter sphere");
    calibrate(&chain.clerk, &sphere, "2026-03-02T08:00:00Z", true);
    // The calibration at eight is the first use known of that day, until a reading of seven comes in.
    let all = json!(["calibration_overdue", "black_not_read", "not_warmed_up"]);
    for (at, due) in [
        ("2026-03-02T08:20:00Z", json!(["not_warmed_up"])),
        ("2026-03-02T09:00:00Z", json!(null)),
        ("2026-03-09T08:00:00Z", json!(["not_warmed_up"])),
        ("2026-03-09T08:00:01Z", all.clone()),
        ("2026-03-02T07:00:00Z", all),
        ("2026-03-02T08:20:00Z", json!(null)),
    ] {
        let recorded = read_on(&chain, &sphere, Some(at));
        assert_eq!(recorded["sample"]["instrument_due"], due, "{at}");
    }
}

#[test]
fn where_nobody_says_the_first_use_stands_for_switching_on() {
    let chain = Chain::open();
    let manager = chain.server.manager(&chain.quay);
    let sphere = instrument(&manager, &chain.quay, "Counter sphere");
    let state = || {
        chain
            .clerk
            .get(&format!("/instruments/{sphere}"))
            .is(200)
            .body["state"]
            .clone()
    };
    assert!(state().get("switched_on_at").is_none());
    read_on(&chain, &sphere, None);
    assert_eq!(state()["switched_on_basis"], "first_use");
    assert!(texts_of(&state()["due"]).contains(&"not_warmed_up".to_owned()));
    calibrate(&chain.clerk, &sphere, &ago(45), true);
    assert_eq!(state()["switched_on_basis"], "first_use");
    assert_eq!(state()["due"], json!([]));
    // A person's word counts more than what the machine saw.
    switched_on(&chain.clerk, &sphere, 10).is(201);
    assert_eq!(state()["due"], json!(["not_warmed_up"]));

    let path = format!("/instruments/{sphere}");
    let version = manager.get(&path).is(200).version();
    manager
        .patch(&path, version, json!({ "warm_up_minutes": 10 }))
        .is(200);
    assert_eq!(state()["due"], json!([]));
    manager
        .patch(&path, version + 1, json!({ "retired": true }))
        .is(200);
    chain
        .server
        .sql("UPDATE instrument SET calibration_hours = 1");
    assert_eq!(state()["due"], json!([]), "out of use");
}

fn texts_of(list: &Value) -> Vec<String> {
    let list = list.as_array().unwrap();
    list.iter()
        .map(|text| text.as_str().unwrap().to_owned())
        .collect()
}

#[test]
fn what_an_instrument_s_care_asks_for_has_limits() {
    let chain = Chain::open();
    let manager = chain.server.manager(&chain.quay);
    let sphere = instrument(&manager, &chain.quay, "Counter sphere");
    let path = format!("/instruments/{sphere}");
    let shown = manager.get(&path).is(200);
    assert_eq!(shown.body["calibration_hours"], 168);
    assert_eq!(shown.body["warm_up_minutes"], 30);
    for (edit, field) in [
        (json!({ "calibration_hours": 169 }), "calibration_hours"),
        (json!({ "calibration_hours": 0 }), "calibration_hours"),
        (json!({ "warm_up_minutes": 481 }), "warm_up_minutes"),
        (
            json!({ "white_certificate": { "serial": "W", "certified_on": "2026-05-01", "expires_on": "2026-04-30" } }),
            "white_certificate.expires_on",
        ),
        (
            json!({ "white_certificate": { "serial": "W", "certified_on": "0026-05-01" } }),
            "white_certificate.certified_on",
        ),
        (
            json!({ "white_certificate": { "serial": "W", "certified_on": "1 May" } }),
            "white_certificate.certified_on",
        ),
    ] {
        let refused = manager.patch(&path, 1, edit).refused(422, "invalid-value");
        assert_eq!(refused.text("/field"), field);
    }
    let certificate =
        json!({ "serial": "W-1", "certified_on": "2026-01-31", "expires_on": "2027-01-30" });
    let edit = json!({ "white_certificate": certificate, "calibration_hours": 24 });
    let edited = manager.patch(&path, 1, edit).is(200);
    assert_eq!(edited.body["white_certificate"], certificate);
    assert_eq!(edited.body["calibration_hours"], 24);

    let starts = format!("{path}/starts");
    let start = |at: &str| json!({ "id": new_id(), "switched_on_at": at });
    let refused = chain
        .clerk
        .post(&starts, start("2099-01-01T00:00:00Z"))
        .refused(422, "invalid-value");
    assert_eq!(refused.text("/field"), "switched_on_at");
    chain
        .miller
        .post(&starts, start(&ago(5)))
        .refused(404, "not-found");
}
