//! Reorders, from placing one to the counter.

use std::sync::Barrier;

use serde_json::{Value, json};

use crate::chain::{Chain, advance, texts};
use crate::support::new_id;

const UNVERIFIED: &str =
    "this formula was never verified by a dry drawdown: make one from the first can";

#[test]
fn a_reorder_walks_to_the_counter_step_by_step() {
    let chain = Chain::open();
    let placed = chain.clerk.post("/reorders", chain.order()).is(201);
    let id = placed.text("/id");
    assert_eq!(placed.headers["etag"], "\"1\"");
    assert_eq!(placed.headers["location"], format!("/api/v1/reorders/{id}"));
    assert_eq!(placed.body["state"], "placed");
    assert_eq!(
        placed.body["next_states"],
        json!(["being_tinted", "cancelled"])
    );
    assert_eq!(placed.body["customer"]["name"], "Ivo Marsh");
    assert_eq!(placed.body["store"]["name"], "Alder Quay");
    assert_eq!(placed.body["tinted"], 0);
    assert_eq!(texts(&placed, "warnings"), [UNVERIFIED]);

    let skipped = advance(&chain.clerk, &id, 1, "ready").refused(409, "state-conflict");
    assert_eq!(
        skipped.text("/detail"),
        "reorder is placed and cannot become ready: possible is being tinted or cancelled"
    );
    for (version, to) in [(1, "being_tinted"), (2, "ready"), (3, "picked_up")] {
        let moved = advance(&chain.clerk, &id, version, to).is(200);
        assert_eq!(moved.body["state"], to);
        assert_eq!(moved.version(), version + 1);
    }
    let end = chain.clerk.get(&format!("/reorders/{id}")).is(200);
    assert_eq!(end.headers["etag"], "\"4\"");
    assert_eq!(end.body["next_states"], json!([]));
    assert_eq!(end.body["warnings"], json!([]));
    let steps: Vec<&Value> = end.body["steps"]
        .as_array()
        .unwrap()
        .iter()
        .map(|step| &step["to"])
        .collect();
    assert_eq!(steps, ["placed", "being_tinted", "ready", "picked_up"]);
    assert_eq!(end.body["steps"][0]["made_by"]["id"], chain.clerk.id);
    let over = advance(&chain.clerk, &id, 4, "cancelled").refused(409, "state-conflict");
    assert_eq!(over.text("/remedy"), "place a new reorder");
}

#[test]
fn a_cancelled_reorder_stays_cancelled() {
    let chain = Chain::open();
    let id = chain.placed(chain.order());
    advance(&chain.clerk, &id, 1, "being_tinted").is(200);
    let cancelled = advance(&chain.clerk, &id, 2, "cancelled").is(200);
    assert_eq!(cancelled.body["next_states"], json!([]));
    for to in ["placed", "being_tinted", "ready", "picked_up", "cancelled"] {
        advance(&chain.clerk, &id, 3, to).refused(409, "state-conflict");
    }
    let path = format!("/reorders/{id}");
    assert_eq!(chain.clerk.get(&path).is(200).version(), 3);
}

#[test]
fn of_two_clerks_who_move_it_at_once_one_is_told() {
    let chain = Chain::open();
    let second = chain.server.clerk(&chain.quay);
    for _ in 0..5 {
        let id = chain.placed(chain.order());
        let line = Barrier::new(2);
        let move_on = |client, to| {
            line.wait();
            advance(client, &id, 1, to)
        };
        let (one, two) = std::thread::scope(|scope| {
            let one = scope.spawn(|| move_on(&chain.clerk, "being_tinted"));
            let two = scope.spawn(|| move_on(&second, "cancelled"));
            (one.join().unwrap(), two.join().unwrap())
        });
        let (won, lost) = if one.status == 200 {
            (one, two)
        } else {
            (two, one)
        };
        won.is(200);
        lost.refused(412, "version-mismatch");
        let steps = format!("SELECT count(*) FROM reorder_step WHERE reorder_id = '{id}'");
        assert_eq!(chain.server.sql_text(&steps).as_deref(), Some("2"));
    }
}

#[test]
fn only_the_store_of_the_reorder_moves_it_on() {
    let chain = Chain::open();
    let id = chain.placed(chain.order());
    let refused = advance(&chain.miller, &id, 1, "being_tinted").refused(403, "not-allowed");
    assert!(
        refused
            .text("/detail")
            .contains("store where it is picked up"),
        "{:#}",
        refused.body
    );
    advance(&chain.miller, &id, 1, "cancelled").refused(403, "not-allowed");
    // An admin works everywhere.
    advance(&chain.server.admin(), &id, 1, "being_tinted").is(200);
    // Placed at the quay, picked up at the mill.
    let mut order = chain.order();
    order["store_id"] = json!(chain.mill);
    let id = chain.placed(order);
    advance(&chain.clerk, &id, 1, "being_tinted").refused(403, "not-allowed");
    advance(&chain.miller, &id, 1, "being_tinted").is(200);
}

#[test]
fn a_contractor_orders_for_linked_customers_and_sees_no_others() {
    let chain = Chain::open();
    let stranger = chain.add_customer("Odile Brandt", &new_id());
    let (foreign, _) = chain.record(&stranger, true);
    let foreign_order = {
        let mut order = chain.order();
        order["match_id"] = json!(foreign);
        order
    };
    let foreign_reorder = chain.placed(foreign_order.clone());
    let by_clerk = chain.placed(chain.order());
    let contractor = chain.contractor_of(&chain.customer);

    // Foreign and missing are answered alike.
    let mut order = foreign_order;
    order["id"] = json!(new_id());
    let hidden = contractor
        .post("/reorders", order.clone())
        .refused(404, "not-found");
    order["match_id"] = json!(new_id());
    let missing = contractor
        .post("/reorders", order)
        .refused(404, "not-found");
    assert_eq!(hidden.body, missing.body);
    let hidden = contractor
        .get(&format!("/reorders/{foreign_reorder}"))
        .refused(404, "not-found");
    let missing = contractor
        .get(&format!("/reorders/{}", new_id()))
        .refused(404, "not-found");
    assert_eq!(hidden.body, missing.body);
    advance(&contractor, &foreign_reorder, 1, "cancelled").refused(404, "not-found");

    let own = contractor
        .post("/reorders", chain.order())
        .is(201)
        .text("/id");
    let seen = contractor.get("/reorders").is(200);
    let seen: Vec<&Value> = seen.items().iter().map(|item| &item["id"]).collect();
    assert_eq!(seen, [&json!(by_clerk), &json!(own)]);
    let of_stranger = contractor
        .get(&format!("/reorders?customer_id={stranger}"))
        .is(200);
    assert!(of_stranger.items().is_empty());

    advance(&contractor, &own, 1, "being_tinted").refused(403, "not-allowed");
    advance(&contractor, &by_clerk, 1, "cancelled").refused(403, "not-allowed");
    advance(&contractor, &own, 1, "cancelled").is(200);
    let late = contractor
        .post("/reorders", chain.order())
        .is(201)
        .text("/id");
    advance(&chain.clerk, &late, 1, "being_tinted").is(200);
    let refused = advance(&contractor, &late, 2, "cancelled").refused(409, "state-conflict");
    assert!(refused.text("/remedy").contains("ask the store"));
}

#[test]
fn a_repeated_order_is_placed_once() {
    let chain = Chain::open();
    let (key, order) = (new_id(), chain.order());
    let first = chain
        .clerk
        .post_keyed("/reorders", &key, order.clone())
        .is(201);
    let again = chain
        .clerk
        .post_keyed("/reorders", &key, order.clone())
        .is(201);
    assert_eq!(first.body, again.body);
    assert_eq!(first.headers["etag"], again.headers["etag"]);
    let rows = chain.server.sql_text("SELECT count(*) FROM reorder");
    assert_eq!(rows.as_deref(), Some("1"));
    let mut other = order.clone();
    other["cans"] = json!(2);
    chain
        .clerk
        .post_keyed("/reorders", &key, other)
        .refused(422, "idempotency-key-reused");
    chain
        .clerk
        .post("/reorders", order)
        .refused(409, "already-exists");
}

#[test]
fn what_cannot_be_made_or_picked_up_is_not_ordered() {
    let chain = Chain::open();
    let with = |field: &str, value: Value| {
        let mut order = chain.order();
        order[field] = value;
        order
    };
    let refuse = |order: Value, field: &str| {
        let refused = chain
            .clerk
            .post("/reorders", order)
            .refused(422, "invalid-value");
        assert_eq!(refused.body["field"], field);
    };
    refuse(with("cans", json!(0)), "cans");
    refuse(with("cans", json!(501)), "cans");
    refuse(with("store_id", json!(new_id())), "store_id");
    refuse(with("revision_id", json!(new_id())), "revision_id");
    let (bare, other_revision) = chain.record(&chain.customer, true);
    refuse(with("revision_id", json!(other_revision)), "revision_id");
    let mut right = with("revision_id", json!(other_revision));
    right["match_id"] = json!(bare);
    chain.placed(right);
    let (unmade, _) = chain.record(&chain.customer, false);
    chain
        .clerk
        .post("/reorders", with("match_id", json!(unmade)))
        .refused(409, "state-conflict");
    let admin = chain.server.admin();
    let mill = format!("/stores/{}", chain.mill);
    admin.patch(&mill, 1, json!({ "closed": true })).is(200);
    refuse(with("store_id", json!(chain.mill)), "store_id");
}

#[test]
fn the_next_order_is_warned() {
    let chain = Chain::of("solvent");
    let can = chain.tinted(chain.can()).text("/id");
    let fault = json!({ "reason": "wrong_color", "note": "two shades too dark" });
    chain
        .clerk
        .post(&format!("/tints/{can}/fault"), fault)
        .is(201);
    let base = format!("/bases/{}", chain.light);
    chain
        .lead
        .patch(&base, 1, json!({ "retired": true }))
        .is(200);
    let colorant = format!("/colorants/{}", chain.black);
    chain
        .lead
        .patch(&colorant, 1, json!({ "retired": true }))
        .is(200);
    let mut order = chain.order();
    order["size"] = json!("pint");
    let placed = chain.clerk.post("/reorders", order).is(201);
    let today = chain
        .server
        .sql_text("SELECT to_char(made_at AT TIME ZONE 'UTC', 'YYYY-MM-DD') FROM tint_fault");
    let bad = format!(
        "a can of this formula, made at Alder Quay, was marked bad on {}: the color was off",
        today.unwrap()
    );
    let warnings = texts(&placed, "warnings");
    assert_eq!(
        warnings[..6],
        [
            bad.as_str(),
            UNVERIFIED,
            "the amounts are for the size quart, this order is for the size pint: work them out before tinting",
            "base pale does not come in the size pint",
            "base pale is retired: where none is left, a new formula is needed",
            "colorant PBk7 carbon black is retired: where none is left, a new formula is needed",
        ]
    );
    assert!(warnings[6].starts_with("solvent-borne product: vapor and ignition"));
    assert_eq!(warnings.len(), 7);
}

#[test]
fn a_dry_drawdown_takes_the_warning_away() {
    let chain = Chain::open();
    let id = chain.placed(chain.order());
    let values: Vec<f64> = vec![0.3; 31];
    let drawdown = |dry: bool| {
        json!({
            "id": new_id(), "dry": dry, "made_at": crate::chain::MADE_AT,
            "measurement": { "id": new_id(), "read_as": "fraction", "readings": 1,
                "spectrum": { "start_nm": 400, "step_nm": 10, "values": values } },
        })
    };
    let path = format!("/revisions/{}/drawdowns", chain.revision);
    let warnings = || {
        let shown = chain.clerk.get(&format!("/reorders/{id}")).is(200);
        texts(&shown, "warnings").len()
    };
    chain.clerk.post(&path, drawdown(false)).is(201);
    assert_eq!(warnings(), 1);
    chain.clerk.post(&path, drawdown(true)).is(201);
    assert_eq!(warnings(), 0);
}

#[test]
fn lists_are_narrowed_and_paged() {
    let chain = Chain::open();
    let here: Vec<String> = (0..3).map(|_| chain.placed(chain.order())).collect();
    let mut order = chain.order();
    order["store_id"] = json!(chain.mill);
    let there = chain.placed(order);
    let stranger = chain.add_customer("Odile Brandt", &new_id());
    let mut order = chain.order();
    order["match_id"] = json!(chain.record(&stranger, true).0);
    let foreign = chain.placed(order);
    advance(&chain.clerk, &here[1], 1, "being_tinted").is(200);

    let ask = |query: &str| -> Vec<String> {
        let page = chain.clerk.get(&format!("/reorders{query}")).is(200);
        page.items()
            .iter()
            .map(|item| item["id"].as_str().unwrap().to_owned())
            .collect()
    };
    assert_eq!(ask("").len(), 5);
    assert_eq!(ask(&format!("?store_id={}", chain.mill)), [there]);
    assert_eq!(ask("?state=being_tinted"), [here[1].clone()]);
    assert_eq!(ask(&format!("?customer_id={stranger}")), [foreign]);
    assert_eq!(ask(&format!("?match_id={}", chain.wanted)).len(), 4);
    let first = chain.clerk.get("/reorders?limit=2").is(200);
    assert_eq!(first.items()[1]["id"], here[1]);
    let next = first.text("/next");
    assert_eq!(ask(&format!("?limit=2&after={next}"))[0], here[2]);
    chain
        .clerk
        .get("/reorders?state=lost")
        .refused(400, "bad-request");
}
