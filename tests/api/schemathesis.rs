//! The server keeps to its own API description: schemathesis sends it what the description allows
//! and what it forbids, as two roles, with all its checks, and finds nothing.

#![expect(clippy::unwrap_used, reason = "a test stops at the first surprise")]

use std::fmt::Write as _;
use std::fs;
use std::process::Command;

use harness::chain::{Chain, Login, MADE_AT, id_of, new_id};
use harness::cluster::{TestDatabase, workspace};
use harness::process::ServerPlan;
use serde_json::json;

#[test]
#[ignore = "needs Python: tests/schemathesis.sh sets it up and runs this"]
fn the_server_keeps_to_its_description() {
    let program = std::env::var("SECONDCAN_SCHEMATHESIS")
        .expect("SECONDCAN_SCHEMATHESIS names the program; tests/schemathesis.sh sets it");
    let mut found = Vec::new();
    for (role, phases) in [
        (Role::Keeper, "examples,coverage,fuzzing,stateful"),
        // The coverage phase tries each header and method, and meets the same code for every role.
        (Role::Contractor, "examples,fuzzing,stateful"),
    ] {
        found.extend(runs(&program, role, phases));
    }
    assert!(
        found.is_empty(),
        "schemathesis found something, see above: {found:?}"
    );
}

#[derive(Debug, Clone, Copy)]
enum Role {
    /// Color lead and manager: sees nearly everything, changes most.
    Keeper,
    Contractor,
}

/// Both runs as a role, on a library of its own, since the first may suspend anybody; which found
/// something.
fn runs(program: &str, role: Role, phases: &str) -> Vec<String> {
    let database = TestDatabase::create();
    let (server, chain) = Chain::found(&ServerPlan::on(&database));
    let keeper = chain.hire("wren.keeper", &["color_lead", "manager"], Some(chain.north));
    let folder = tempfile::tempdir().unwrap();
    let config = folder.path().join("schemathesis.toml");
    let base = workspace().join("tests/schemathesis/schemathesis.toml");
    let text = fs::read_to_string(base).unwrap() + &known_records(&chain, &keeper);
    fs::write(&config, text).unwrap();
    let login = match role {
        Role::Keeper => &keeper,
        Role::Contractor => &chain.contractor,
    };
    let mut found = Vec::new();
    // A logout ends the session that all requests are made with, so it comes last.
    for selection in ["--exclude-path", "--include-path"] {
        // Else every request would be refused in the same way, and nothing tried.
        login.client.get("/auth/me").expect(200);
        let status = Command::new(program)
            .arg("--config-file")
            .arg(&config)
            .args(["run", "--checks", "all", "--workers", "2", "--seed", "17"])
            .args(["--max-examples", "6", "--request-timeout", "20"])
            .args(["--phases", phases, selection, "/api/v1/auth/logout"])
            .arg(format!("{}/api/openapi.json", server.url()))
            .env("SECONDCAN_TOKEN", login.client.token())
            .env("NO_COLOR", "1")
            .current_dir(folder.path())
            .status()
            .unwrap();
        let run = format!("{role:?} {selection} logout");
        if !status.success() {
            found.push(run);
        }
        if selection == "--exclude-path" {
            login.client.get("/auth/me").expect(200);
        }
    }
    assert!(server.is_ready());
    let log = server.log();
    assert!(!log.contains("panicked"), "{log}");
    found
}

/// Records that exist, as the configuration's parameters of each path.
fn known_records(chain: &Chain, keeper: &Login) -> String {
    let customer = chain.customer(&chain.clerk, "Nora Vale");
    chain.link(customer);
    let job = new_id();
    let new_job = json!({ "id": job, "label": "lobby" });
    chain
        .clerk
        .client
        .post(&format!("/customers/{customer}/jobs"), &new_job)
        .expect(201);
    let recorded = chain.record(&chain.clerk, customer);
    let revision = id_of(&recorded["revisions"][0]);
    let reorder = json!({ "id": new_id(), "match_id": recorded["id"], "store_id": chain.north,
        "size": "gallon", "cans": 2, "placed_at": MADE_AT });
    chain
        .contractor
        .client
        .post("/reorders", &reorder)
        .expect(201);
    let tint =
        json!({ "id": new_id(), "revision_id": revision, "size": "gallon", "made_at": MADE_AT });
    chain.clerk.client.post("/tints", &tint).expect(201);
    let draft = json!({ "id": new_id(), "title": "porch", "parts": {} });
    keeper.client.post("/drafts", &draft).expect(201);
    let instrument = json!({ "id": new_id(), "store_id": chain.north, "name": "counter",
        "model": "Sphere 8", "serial": "0017", "geometry": "d:8", "apertures_mm": [8.0] });
    chain
        .manager
        .client
        .post("/instruments", &instrument)
        .expect(201);
    let tile = json!({ "id": new_id(), "store_id": chain.north, "name": "brick", "hue": "red" });
    chain.manager.client.post("/tiles", &tile).expect(201);
    let mut text = String::new();
    let mut known = |path: &str, id: uuid::Uuid, more: &str| {
        writeln!(
            text,
            "\n[[operations]]\ninclude-path = \"/api/v1{path}\"\nparameters = {{ \"path.id\" = \"{id}\"{more} }}"
        )
        .unwrap();
    };
    let recorded = id_of(&recorded);
    known("/stores/{id}", chain.north, "");
    known("/persons/{id}", chain.clerk.id, "");
    known("/persons/{id}/customers", chain.contractor.id, "");
    let linked = format!(", \"path.customer_id\" = \"{customer}\"");
    known(
        "/persons/{id}/customers/{customer_id}",
        chain.contractor.id,
        &linked,
    );
    known("/colorants/{id}", chain.colorants[3], "");
    known("/products/{id}", chain.product, "");
    known("/bases/{id}", chain.deep_base, "");
    known("/customers/{id}", customer, "");
    known("/customers/{id}/jobs", customer, "");
    known("/jobs/{id}", job, "");
    known("/instruments/{id}", id_of(&instrument), "");
    known("/instruments/{id}/calibrations", id_of(&instrument), "");
    known("/instruments/{id}/starts", id_of(&instrument), "");
    known("/instruments/{id}/tile-readings", id_of(&instrument), "");
    known("/tiles/{id}", id_of(&tile), "");
    known("/matches/{id}", recorded, "");
    known("/matches/{id}/revisions", recorded, "");
    known("/matches/{id}/move", recorded, "");
    known("/matches/{id}/pick", recorded, "");
    known("/revisions/{id}/drawdowns", revision, "");
    known("/drafts/{id}", id_of(&draft), "");
    known("/reorders/{id}", id_of(&reorder), "");
    known("/reorders/{id}/advance", id_of(&reorder), "");
    known("/tints/{id}", id_of(&tint), "");
    known("/tints/{id}/fault", id_of(&tint), "");
    text
}
