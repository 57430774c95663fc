//! Verification tiles, and corrections between two instruments fitted on them.

use serde_json::{Value, json};

use crate::chain::{Chain, MADE_AT};
use crate::instrument_care::{ago, instrument};
use crate::support::{Client, new_id};

/// A dozen tiles: levels, edges and bands, reflectance at a wavelength in nm.
const TILES: [(&str, [f64; 4]); 12] = [
    ("chalk", [0.86, 0.0, 500.0, 10.0]),
    ("ash", [0.42, 0.0, 500.0, 10.0]),
    ("slate", [0.17, 0.0, 500.0, 10.0]),
    ("soot", [0.04, 0.0, 500.0, 10.0]),
    ("straw", [0.07, 0.70, 505.0, 14.0]),
    ("amber", [0.05, 0.62, 560.0, 13.0]),
    ("brick", [0.04, 0.48, 612.0, 13.0]),
    ("plum", [0.06, 0.30, 640.0, 18.0]),
    ("reed", [0.10, 0.35, 480.0, 20.0]),
    ("dusk", [0.45, -0.38, 520.0, 20.0]),
    ("iris", [0.36, -0.30, 480.0, 16.0]),
    ("fern", [0.30, -0.22, 585.0, 16.0]),
];

/// What an instrument reads of it: its wavelengths lie `shift` nm off, its white is `white` off.
fn read([level, step, edge, wide]: [f64; 4], shift: f64, white: f64) -> Value {
    let values: Vec<f64> = (0..31)
        .map(|band| {
            let nm = 400.0 + 10.0 * f64::from(band) + shift;
            let value = level + step / (1.0 + ((edge - nm) / wide).exp());
            ((1.0 + white) * value * 1e6).round() / 1e6
        })
        .collect();
    json!({ "start_nm": 400, "step_nm": 10, "values": values })
}

fn tile(manager: &Client, store: &str, name: &str, hue: Option<&str>) -> String {
    let id = new_id();
    let mut new = json!({ "id": id, "store_id": store, "name": name });
    if let Some(hue) = hue {
        new["hue"] = json!(hue);
    }
    manager.post("/tiles", new).is(201);
    id
}

fn keep(
    clerk: &Client,
    instrument: &str,
    tile: &str,
    spectrum: &Value,
    minutes_ago: i64,
    celsius: f64,
) -> Value {
    let new = json!({ "id": new_id(), "tile_id": tile, "spectrum": spectrum, "temperature_c": celsius,
        "specular": "included", "read_at": ago(minutes_ago) });
    let path = format!("/instruments/{instrument}/tile-readings");
    clerk.post(&path, new).is(201).body
}

#[test]
fn a_tile_is_judged_against_its_own_history() {
    let chain = Chain::open();
    let manager = chain.server.manager(&chain.quay);
    let sphere = instrument(&manager, &chain.quay, "Counter sphere");
    let brick = tile(&manager, &chain.quay, "brick", Some("red"));
    let shape = TILES[6].1;
    let day = 24 * 60;
    for back in 1..=10 {
        let white = if back % 2 == 0 { 0.001 } else { -0.001 };
        let kept = keep(
            &chain.clerk,
            &sphere,
            &brick,
            &read(shape, 0.0, white),
            back * day,
            22.0,
        );
        // Read in the order of the calendar backwards: a reading is judged by those before it in time.
        assert_eq!(kept["drift"]["standing"], "not_known");
        assert!(kept["drift"].get("de2000").is_none(), "{kept}");
    }
    let sound = keep(
        &chain.clerk,
        &sphere,
        &brick,
        &read(shape, 0.0, 0.0),
        30,
        22.0,
    );
    assert_eq!(sound["drift"]["standing"], "within");
    assert_eq!(sound["drift"]["limits"]["readings"], 10);
    let off = keep(
        &chain.clerk,
        &sphere,
        &brick,
        &read(shape, 1.0, 0.0),
        20,
        28.0,
    );
    assert_eq!(off["drift"]["standing"], "action");
    // Six degrees warmer: 0.6 × 1.007 by the published table.
    let warmth = &off["drift"]["warmth"];
    assert!(
        (warmth["expected_de76"].as_f64().unwrap() - 0.604).abs() < 0.002,
        "{warmth}"
    );
    assert!((warmth["warmer_c"].as_f64().unwrap() - 6.0).abs() < 1e-6);

    let path = format!("/instruments/{sphere}/tile-readings");
    let listed = chain.miller.get(&format!("{path}?tile_id={brick}")).is(200);
    assert_eq!(listed.items().len(), 12);
    assert_eq!(listed.items()[11]["drift"], off["drift"]);
    // Earlier in time, later in the list: nine of ten were read before the first that was kept.
    assert_eq!(
        listed.items()[0]["drift"]["no_limits_yet"],
        "no limits yet: 9 of 10 readings, on 9 of 3 days"
    );
    let other = instrument(&manager, &chain.quay, "Bench sphere");
    let fresh = keep(
        &chain.clerk,
        &other,
        &brick,
        &read(shape, 1.0, 0.0),
        10,
        22.0,
    );
    assert!(
        fresh["drift"].get("de2000").is_none(),
        "each instrument has a history of its own"
    );
}

#[test]
fn tiles_belong_to_a_store_and_bad_readings_are_refused() {
    let chain = Chain::open();
    let manager = chain.server.manager(&chain.quay);
    let sphere = instrument(&manager, &chain.quay, "Counter sphere");
    let brick = tile(&manager, &chain.quay, "brick", Some("red"));
    let new = |store: &str| json!({ "id": new_id(), "store_id": store, "name": "brick" });
    manager
        .post("/tiles", new(&chain.quay))
        .refused(409, "already-exists");
    manager
        .post("/tiles", new(&chain.mill))
        .refused(403, "not-allowed");
    chain
        .clerk
        .post("/tiles", new(&chain.quay))
        .refused(403, "not-allowed");
    let mut crimson = new(&chain.quay);
    crimson["hue"] = json!("crimson");
    let refused = manager
        .post("/tiles", crimson)
        .refused(422, "invalid-value");
    assert_eq!(refused.text("/field"), "hue");
    let path = format!("/tiles/{brick}");
    manager
        .patch(&path, 1, json!({ "name": "old brick", "retired": true }))
        .is(200);
    manager
        .patch(&path, 1, json!({ "retired": false }))
        .refused(412, "version-mismatch");
    chain
        .server
        .manager(&chain.mill)
        .patch(&path, 2, json!({ "retired": false }))
        .refused(404, "not-found");
    assert_eq!(chain.miller.get(&path).is(200).body["retired"], true);

    let path = format!("/instruments/{sphere}/tile-readings");
    let good = |tile: &str| json!({ "id": new_id(), "tile_id": tile, "spectrum": read(TILES[0].1, 0.0, 0.0), "read_at": MADE_AT });
    let mut dark = good(&brick);
    dark["spectrum"]["values"][3] = json!(-0.2);
    let mut hot = good(&brick);
    hot["temperature_c"] = json!(99);
    let mut early = good(&brick);
    early["read_at"] = json!("2099-01-01T00:00:00Z");
    for (bad, field) in [
        (dark, "spectrum"),
        (hot, "temperature_c"),
        (early, "read_at"),
        (good(&new_id()), "tile_id"),
    ] {
        let refused = chain.clerk.post(&path, bad).refused(422, "invalid-value");
        assert_eq!(refused.text("/field"), field);
    }
    chain
        .miller
        .post(&path, good(&brick))
        .refused(404, "not-found");
    let contractor = chain.server.contractor();
    contractor
        .post(&path, good(&brick))
        .refused(403, "not-allowed");
    contractor.get(&path).refused(403, "not-allowed");
}

/// Two stores' instruments, the mill's 1 nm and 1 % off; all tiles read on both.
fn two_instruments(chain: &Chain, tiles: usize) -> (String, String) {
    let quay = chain.server.manager(&chain.quay);
    let here = instrument(&quay, &chain.quay, "Quay sphere");
    let there = instrument(
        &chain.server.manager(&chain.mill),
        &chain.mill,
        "Mill sphere",
    );
    for (name, shape) in &TILES[..tiles] {
        let tile = tile(&quay, &chain.quay, name, None);
        keep(
            &chain.clerk,
            &here,
            &tile,
            &read(*shape, 0.0, 0.0),
            60,
            22.0,
        );
        keep(
            &chain.miller,
            &there,
            &tile,
            &read(*shape, 1.0, 0.01),
            50,
            22.0,
        );
    }
    (here, there)
}

#[test]
fn a_correction_is_applied_to_comparisons_and_says_so() {
    let chain = Chain::open();
    let (here, there) = two_instruments(&chain, 12);
    let sample = |shape: [f64; 4], instrument: &str, shift: f64, white: f64| {
        json!({ "id": new_id(), "spectrum": read(shape, shift, white), "read_as": "fraction", "readings": 3,
            "specular": "included", "instrument_id": instrument })
    };
    // One color, wanted at the quay and drawn down at the mill: what differs is the instruments.
    let shape = [0.09, 0.55, 590.0, 15.0];
    let of_match = new_id();
    let revision = new_id();
    let new = json!({ "id": of_match, "customer_id": chain.customer, "product_id": chain.product,
        "sheen_id": chain.sheen, "sample": sample(shape, &here, 0.0, 0.0), "made_at": MADE_AT,
        "formula": { "id": revision, "base_id": chain.light, "sheen_id": chain.sheen, "size": "quart", "shots": [] } });
    chain.clerk.post("/matches", new).is(201);
    let drawdown = json!({ "id": new_id(), "measurement": sample(shape, &there, 1.0, 0.01), "dry": true,
        "made_at": MADE_AT });
    let path = format!("/revisions/{revision}/drawdowns");
    let before = chain.miller.post(&path, drawdown).is(201);
    let plain = before.body["de2000_from_wanted"].as_f64().unwrap();
    assert!(plain > 0.4, "{plain}");
    assert!(before.body.get("corrected").is_none());

    let fit = json!({ "id": new_id(), "instrument_id": there, "reference_id": here });
    for client in [
        &chain.clerk,
        &chain.server.manager(&chain.quay),
        &chain.server.admin(),
    ] {
        client
            .post("/corrections", fit.clone())
            .refused(403, "not-allowed");
    }
    let fitted = chain.lead.post("/corrections", fit.clone()).is(201);
    assert_eq!(fitted.version(), 1);
    assert_eq!(fitted.body["tiles"].as_array().unwrap().len(), 12);
    assert_eq!(fitted.text("/digest").len(), 64);
    let number = |pointer: &str| fitted.body.pointer(pointer).unwrap().as_f64().unwrap();
    assert!((number("/shift_nm") - 1.0).abs() < 0.05);
    assert!(number("/after/mean") < 0.2 * number("/before/mean"));

    let shown = chain.clerk.get(&format!("/matches/{of_match}")).is(200);
    let drawdown = &shown.body["revisions"][0]["drawdowns"][0];
    assert_eq!(
        drawdown["de2000_from_wanted"].as_f64(),
        Some(plain),
        "what is stored stays"
    );
    let corrected = &drawdown["corrected"];
    assert!(
        corrected["de2000_from_wanted"].as_f64().unwrap() < 0.2 * plain,
        "{corrected}"
    );
    assert_eq!(corrected["rests_on"][0]["version"], 1);
    assert_eq!(
        corrected["rests_on"][0]["instrument"]["name"],
        "Mill sphere"
    );
    assert_eq!(corrected["rests_on"][0]["reference"]["name"], "Quay sphere");

    // A second fit takes the first one's place; retired, none is applied.
    let again = json!({ "id": new_id(), "instrument_id": there, "reference_id": here });
    let second = chain.lead.post("/corrections", again).is(201);
    assert_eq!(second.version(), 2);
    assert_eq!(second.text("/digest"), fitted.text("/digest"));
    let first = chain
        .clerk
        .get(&format!("/corrections/{}", fitted.text("/id")))
        .is(200);
    assert!(first.body["retired_at"].is_string());
    let retire = format!("/corrections/{}/retire", second.text("/id"));
    chain
        .clerk
        .post(&retire, json!({}))
        .refused(403, "not-allowed");
    chain.lead.post(&retire, json!({})).is(200);
    chain
        .lead
        .post(&retire, json!({}))
        .refused(409, "state-conflict");
    chain
        .lead
        .post(&format!("/corrections/{}/retire", new_id()), json!({}))
        .refused(404, "not-found");
    let shown = chain.clerk.get(&format!("/matches/{of_match}")).is(200);
    assert!(
        shown.body["revisions"][0]["drawdowns"][0]
            .get("corrected")
            .is_none()
    );
    let listed = chain
        .miller
        .get(&format!("/corrections?instrument_id={here}"))
        .is(200);
    assert_eq!(listed.items().len(), 2);
    chain
        .server
        .contractor()
        .get("/corrections")
        .refused(403, "not-allowed");
}

#[test]
fn a_correction_without_tiles_or_without_use_is_refused() {
    let chain = Chain::open();
    let (here, there) = two_instruments(&chain, 7);
    let fit = |instrument: &str, reference: &str| json!({ "id": new_id(), "instrument_id": instrument, "reference_id": reference });
    let refused = chain
        .lead
        .post("/corrections", fit(&there, &here))
        .refused(409, "state-conflict");
    assert!(
        refused
            .text("/detail")
            .starts_with("7 tile(s) read on both"),
        "{}",
        refused.body
    );
    for (bad, field) in [
        (fit(&here, &here), "reference_id"),
        (fit(&new_id(), &here), "instrument_id"),
    ] {
        let refused = chain
            .lead
            .post("/corrections", bad)
            .refused(422, "invalid-value");
        assert_eq!(refused.text("/field"), field);
    }
    let mut stale = fit(&there, &here);
    stale["read_since"] = json!(ago(1));
    let refused = chain
        .lead
        .post("/corrections", stale)
        .refused(409, "state-conflict");
    assert!(refused.text("/detail").starts_with("0 tile(s)"));

    // The same instrument twice, so to speak: nothing to correct.
    let manager = chain.server.manager(&chain.quay);
    let twin = instrument(&manager, &chain.quay, "Twin sphere");
    let twin_too = instrument(&manager, &chain.quay, "Other twin");
    for (name, shape) in &TILES[..9] {
        let tile = tile(&manager, &chain.quay, &format!("{name} 2"), None);
        keep(
            &chain.clerk,
            &twin,
            &tile,
            &read(*shape, 0.0, 0.0),
            60,
            22.0,
        );
        keep(
            &chain.clerk,
            &twin_too,
            &tile,
            &read(*shape, 0.0, 0.0),
            50,
            22.0,
        );
    }
    let refused = chain
        .lead
        .post("/corrections", fit(&twin, &twin_too))
        .refused(409, "state-conflict");
    assert!(
        refused.text("/detail").contains("does not help"),
        "{}",
        refused.body
    );
    assert!(chain.lead.get("/corrections").is(200).items().is_empty());
}
