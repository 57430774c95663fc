//! Cans really made: recorded whatever they are like, flagged, marked bad once.

use serde_json::{Value, json};

use crate::chain::{Chain, advance, texts};
use crate::support::new_id;

#[test]
fn a_can_as_the_formula_says_needs_no_amounts() {
    let chain = Chain::open();
    let id = chain.placed(chain.order());
    advance(&chain.clerk, &id, 1, "being_tinted").is(200);
    let mut can = chain.can();
    can["reorder_id"] = json!(id);
    can["base_lot"] = json!("B-2291");
    can["lots"] = json!([{ "colorant_id": chain.black, "lot": "K77" }]);
    can["note"] = json!("shaken twice");
    let tint = chain.tinted(can);
    assert_eq!(tint.body["flags"], json!([]));
    assert_eq!(tint.body["base"]["name"], "pale");
    assert_eq!(tint.body["base_lot"], "B-2291");
    assert_eq!(tint.body["note"], "shaken twice");
    assert_eq!(tint.body["store"]["id"], chain.quay);
    // 24/48 US fl oz are 14.786 764 78 ml, 3/96 are 0.924 172 80 ml (NIST Handbook 44, appendix C).
    assert_eq!(
        tint.body["shots"],
        json!([
            { "colorant_id": chain.yellow, "colorant": "PY42 yellow oxide", "count": 24, "unit": "1/48 fl oz",
              "ml": "14.79" },
            { "colorant_id": chain.black, "colorant": "PBk7 carbon black", "count": 3, "unit": "1/96 fl oz",
              "ml": "0.92", "lot": "K77" },
        ])
    );
    let path = format!("/tints/{}", tint.text("/id"));
    assert_eq!(tint.headers["location"], format!("/api/v1{path}"));
    assert_eq!(chain.clerk.get(&path).is(200).body, tint.body);
    let listed = chain
        .clerk
        .get(&format!("/tints?match_id={}", chain.wanted));
    assert_eq!(listed.is(200).items(), [tint.body]);
    let reorder = chain.clerk.get(&format!("/reorders/{id}")).is(200);
    assert_eq!(reorder.body["tinted"], 1);
}

#[test]
fn the_same_volume_in_other_shots_is_the_formula() {
    let chain = Chain::open();
    let mut can = chain.can();
    can["shots"] = json!([
        { "colorant_id": chain.black, "count": 6, "unit": "1/192 fl oz", "lot": "K78" },
        { "colorant_id": chain.yellow, "count": 192, "unit": "1/384 fl oz" },
    ]);
    let tint = chain.tinted(can);
    assert_eq!(tint.body["flags"], json!([]));
    assert_eq!(tint.body["shots"][0]["lot"], "K78");
}

#[test]
fn what_stands_out_is_flagged_and_kept() {
    let chain = Chain::open();
    // Room is 59.14 ml; 97/48 fl oz of yellow are 59.763 174 32 ml.
    let mut can = chain.can();
    can["shots"] = json!([{ "colorant_id": chain.yellow, "count": 97, "unit": "1/48 fl oz" }]);
    can["base_id"] = json!(chain.deep);
    assert_eq!(
        texts(&chain.tinted(can), "flags"),
        [
            "over the base's room by 0.62 ml: an overfilled can spills",
            "amounts differ from the formula",
            "base differs from the formula: dark, not pale",
        ]
    );
    // Exactly the room is not over it: 5,914 hundredths.
    let mut can = chain.can();
    can["shots"] = json!([{ "colorant_id": chain.yellow, "count": 5914, "unit": "0.01 ml" }]);
    assert_eq!(
        texts(&chain.tinted(can), "flags"),
        ["amounts differ from the formula"]
    );
    let mut can = chain.can();
    can["size"] = json!("pint");
    can["shots"] = json!([{ "colorant_id": chain.yellow, "count": 1, "unit": "1/48 fl oz" }]);
    assert_eq!(
        texts(&chain.tinted(can), "flags"),
        [
            "base pale does not come in the size pint",
            "the formula's amounts are for the size quart: not compared",
        ]
    );
}

#[test]
fn a_can_for_a_reorder_is_held_against_it_as_it_stood() {
    let chain = Chain::open();
    let id = chain.placed(chain.order());
    let can_for = |reorder: &str| {
        let mut can = chain.can();
        can["reorder_id"] = json!(reorder);
        can
    };
    let early = chain.tinted(can_for(&id));
    assert_eq!(texts(&early, "flags"), ["reorder was not yet being tinted"]);
    advance(&chain.clerk, &id, 1, "being_tinted").is(200);
    // One can was wanted and one is there.
    let second = chain.tinted(can_for(&id));
    assert_eq!(
        texts(&second, "flags"),
        ["reorder had all its cans already (1 of 1)"]
    );
    // Bad ones don't count: with both marked, a third is needed.
    for tint in [&early, &second] {
        let path = format!("/tints/{}/fault", tint.text("/id"));
        chain
            .clerk
            .post(&path, json!({ "reason": "machine_fault" }))
            .is(201);
    }
    assert_eq!(chain.tinted(can_for(&id)).body["flags"], json!([]));
    advance(&chain.clerk, &id, 2, "cancelled").is(200);
    let late = chain.tinted(can_for(&id));
    assert_eq!(
        texts(&late, "flags"),
        [
            "reorder was cancelled",
            "reorder had all its cans already (1 of 1)"
        ]
    );
    // What came before keeps the flags of its day.
    let path = |tint: &str| format!("/tints/{tint}");
    let second = chain.clerk.get(&path(&second.text("/id"))).is(200);
    assert_eq!(
        texts(&second, "flags"),
        ["reorder had all its cans already (1 of 1)"]
    );
    let reorder = chain.clerk.get(&format!("/reorders/{id}")).is(200);
    assert_eq!(reorder.body["tinted"], 4);

    // Another store, size and revision than the reorder asked for.
    let correction = new_id();
    let formula = json!({ "id": correction, "base_id": chain.light, "sheen_id": chain.sheen, "size": "quart",
        "shots": [{ "colorant_id": chain.yellow, "count": 20, "unit": "1/48 fl oz" }] });
    let new = json!({ "formula": formula, "parent_id": chain.revision, "made_at": crate::chain::MADE_AT });
    chain
        .clerk
        .post(&format!("/matches/{}/revisions", chain.wanted), new)
        .is(201);
    let mut order = chain.order();
    order["revision_id"] = json!(chain.revision);
    order["size"] = json!("gallon");
    let id = chain.placed(order);
    advance(&chain.clerk, &id, 1, "being_tinted").is(200);
    let mut can = can_for(&id);
    can["revision_id"] = json!(correction);
    let elsewhere = chain.miller.post("/tints", can).is(201);
    assert_eq!(
        texts(&elsewhere, "flags"),
        [
            "reorder asked for the size gallon",
            "reorder asked for another revision",
            "reorder is picked up at another store: Alder Quay",
        ]
    );
}

#[test]
fn what_names_nothing_is_refused() {
    let chain = Chain::open();
    let shot =
        |colorant: &str| json!({ "colorant_id": colorant, "count": 1, "unit": "1/48 fl oz" });
    let lot = |colorant: &str| json!({ "colorant_id": colorant, "lot": "L1" });
    let refuse = |changes: Value, field: &str| {
        let mut can = chain.can();
        for (name, value) in changes.as_object().unwrap() {
            can[name] = value.clone();
        }
        let refused = chain
            .clerk
            .post("/tints", can)
            .refused(422, "invalid-value");
        assert_eq!(refused.body["field"], field, "{:#}", refused.body);
    };
    let nobody = new_id();
    refuse(json!({ "size": "gallon" }), "shots");
    refuse(json!({ "base_id": nobody }), "base_id");
    refuse(json!({ "reorder_id": nobody }), "reorder_id");
    refuse(
        json!({ "shots": [shot(&chain.yellow), shot(&nobody)] }),
        "shots[1].colorant_id",
    );
    refuse(
        json!({ "shots": [shot(&chain.yellow), shot(&chain.yellow)] }),
        "shots[1].colorant_id",
    );
    let many: Vec<Value> = (0..17).map(|_| shot(&new_id())).collect();
    refuse(json!({ "shots": many }), "shots");
    refuse(json!({ "lots": [lot(&nobody)] }), "lots[0].colorant_id");
    refuse(
        json!({ "lots": [lot(&chain.black), lot(&chain.black)] }),
        "lots[1].colorant_id",
    );
    refuse(
        json!({ "shots": [shot(&chain.yellow)], "lots": [lot(&chain.yellow)] }),
        "lots",
    );
    // A reorder of another match.
    let mut order = chain.order();
    order["match_id"] = json!(chain.record(&chain.customer, true).0);
    let other = chain.placed(order);
    refuse(json!({ "reorder_id": other }), "reorder_id");
    let mut can = chain.can();
    can["revision_id"] = json!(nobody);
    chain.clerk.post("/tints", can).refused(404, "not-found");
    let rows = chain.server.sql_text("SELECT count(*) FROM tint");
    assert_eq!(rows.as_deref(), Some("0"));
}

#[test]
fn a_can_is_marked_bad_once() {
    let chain = Chain::open();
    let id = chain.tinted(chain.can()).text("/id");
    let path = format!("/tints/{id}/fault");
    let fault = json!({ "reason": "contaminated", "note": "a hair in it" });
    let key = new_id();
    // Brought back at another store.
    let marked = chain.miller.post_keyed(&path, &key, fault.clone()).is(201);
    assert_eq!(marked.body["fault"]["reason"], "contaminated");
    assert_eq!(marked.body["fault"]["note"], "a hair in it");
    assert_eq!(marked.body["fault"]["made_by"]["id"], chain.miller.id);
    let again = chain.miller.post_keyed(&path, &key, fault.clone()).is(201);
    assert_eq!(again.body, marked.body);
    chain
        .clerk
        .post(&path, fault.clone())
        .refused(409, "already-exists");
    let nowhere = format!("/tints/{}/fault", new_id());
    chain.clerk.post(&nowhere, fault).refused(404, "not-found");
}

#[test]
fn a_can_is_recorded_at_a_counter() {
    let chain = Chain::open();
    // A color lead works at no store.
    let adrift = &chain.lead;
    let refused = adrift
        .post("/tints", chain.can())
        .refused(409, "state-conflict");
    assert!(refused.text("/remedy").contains("log in again"));
    let id = chain.tinted(chain.can()).text("/id");
    adrift
        .post(&format!("/tints/{id}/fault"), json!({ "reason": "other" }))
        .refused(409, "state-conflict");
}

#[test]
fn a_contractor_reads_cans_of_linked_customers_only() {
    let chain = Chain::open();
    let stranger = chain.add_customer("Odile Brandt", &new_id());
    let (foreign, revision) = chain.record(&stranger, true);
    let mut can = chain.can();
    can["revision_id"] = json!(revision);
    let hidden = chain.tinted(can).text("/id");
    let own = chain.tinted(chain.can()).text("/id");
    let contractor = chain.contractor_of(&chain.customer);
    contractor.get(&format!("/tints/{own}")).is(200);
    let listed = contractor.get(&format!("/tints?match_id={}", chain.wanted));
    assert_eq!(listed.is(200).items().len(), 1);
    let not_there = |path: String| contractor.get(&path).refused(404, "not-found").body;
    assert_eq!(
        not_there(format!("/tints/{hidden}")),
        not_there(format!("/tints/{}", new_id()))
    );
    assert_eq!(
        not_there(format!("/tints?match_id={foreign}")),
        not_there(format!("/tints?match_id={}", new_id()))
    );
    contractor
        .post("/tints", chain.can())
        .refused(403, "not-allowed");
    contractor
        .post(&format!("/tints/{own}/fault"), json!({ "reason": "other" }))
        .refused(403, "not-allowed");
    contractor.get("/tints").refused(400, "bad-request");
}

#[test]
fn reading_another_stores_cans_is_noted() {
    let chain = Chain::open();
    let id = chain.tinted(chain.can()).text("/id");
    let noted = || {
        let query = format!(
            "SELECT count(*) FROM access_log WHERE act = 'match-opened' AND entity_id = '{}'",
            chain.wanted
        );
        chain.server.sql_text(&query).unwrap()
    };
    chain.clerk.get(&format!("/tints/{id}")).is(200);
    assert_eq!(noted(), "0");
    chain.miller.get(&format!("/tints/{id}")).is(200);
    chain
        .miller
        .get(&format!("/tints?match_id={}", chain.wanted))
        .is(200);
    assert_eq!(noted(), "2");
}
