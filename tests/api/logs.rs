//! Logs carry ids, never names, phones, passwords or tokens: a server's log of a busy hour, with
//! every kind of request that goes wrong, is searched for each of them.

use harness::chain::{Chain, MADE_AT, id_of, new_id};
use harness::cluster::{TestDatabase, psql};
use harness::process::ServerPlan;
use harness::proxy::{Line, Relay};
use serde_json::{Value, json};

/// What nobody but the people at the counter may read. All of it is invented; the phones are of
/// the ranges kept for fiction (555-0100 to 555-0199).
const PERSONAL: [&str; 8] = [
    "Quillfeather",
    "Ostrava-Brandt",
    "5550142",
    "555-0142",
    "+13035550187",
    "heron pond gate",
    "back porch trim",
    "pays in coins",
];

#[test]
fn a_log_tells_nothing_about_people() {
    for filter in ["info", "debug"] {
        let database = TestDatabase::create();
        let relay = Relay::to(&database.app_url());
        let plan = ServerPlan::on(&database)
            .with("DATABASE_URL", relay.url())
            .with("SECONDCAN_LOG", filter);
        let (server, chain) = Chain::found(&plan);
        let mut secrets: Vec<String> = PERSONAL.iter().map(|text| (*text).to_owned()).collect();
        for login in [
            &chain.admin,
            &chain.manager,
            &chain.clerk,
            &chain.contractor,
        ] {
            secrets.push(login.password.clone());
            secrets.push(login.refresh.clone());
            // Its signature: the head is the same for all.
            secrets.push(login.client.token().rsplit_once('.').unwrap().1.to_owned());
        }
        secrets.push("wrong password of somebody".to_owned());
        secrets.push("brush.co".to_owned());
        secrets.push("Oda Brush".to_owned());
        busy_hour(&chain, &relay);
        // A fault of the server itself, whose words come from the database.
        psql(
            &database.superuser_url(),
            &["ALTER TABLE customer_name RENAME TO gone"],
        );
        let new = json!({ "id": new_id(), "kind": "person", "name": "Ulla Quillfeather" });
        chain
            .clerk
            .client
            .post("/customers", &new)
            .problem(500, "internal");
        let find = chain.clerk.client.get("/customers/find?q=quillfeather");
        find.problem(500, "internal");

        let log = server.log();
        assert!(
            log.contains("/api/v1/customers/{id}"),
            "requests are logged by route: {log}"
        );
        assert!(log.contains("internal"), "the fault is in the log: {log}");
        let lower = log.to_lowercase();
        for secret in &secrets {
            assert!(
                !lower.contains(&secret.to_lowercase()),
                "{filter}: the log tells {secret:?}:\n{}",
                lines_with(&log, secret)
            );
        }
    }
}

fn lines_with(log: &str, text: &str) -> String {
    let text = text.to_lowercase();
    let lines = log
        .lines()
        .filter(|line| line.to_lowercase().contains(&text));
    lines.take(3).collect::<Vec<_>>().join("\n")
}

fn busy_hour(chain: &Chain, relay: &Relay) {
    let clerk = &chain.clerk.client;
    let customer: Value = json!({
        "id": new_id(), "kind": "person", "name": "Ulla Quillfeather", "note": "pays in coins",
        "phones": [{ "number": "(303) 555-0142", "label": "heron pond gate" }],
        "jobs": [{ "id": new_id(), "label": "back porch trim" }],
    });
    clerk.post("/customers", &customer).expect(201);
    let id = id_of(&customer);
    chain.link(id);
    let mut new_match = chain.new_match(id);
    new_match["note"] = json!("pays in coins");
    clerk.post("/matches", &new_match).expect(201);
    for question in [
        "quillfeather",
        "Ostrava-Brandt",
        "5550142",
        "%2B13035550187",
        "back%20porch%20trim",
    ] {
        clerk
            .get(&format!("/customers/find?q={question}"))
            .expect(200);
        chain
            .south_clerk
            .client
            .get(&format!("/matches/find?q={question}"))
            .expect(200);
    }
    chain
        .south_clerk
        .client
        .get(&format!("/customers/{id}"))
        .expect(200);
    chain
        .contractor
        .client
        .get(&format!("/customers/{id}"))
        .expect(200);
    let edit =
        json!({ "name": "Ulla Ostrava-Brandt", "phones": [{ "number": "+1 303 555 0187" }] });
    clerk
        .patch(&format!("/customers/{id}"), 1, &edit)
        .expect(200);
    // Each refused in its own way.
    clerk
        .patch(&format!("/customers/{id}"), 1, &edit)
        .problem(412, "version-mismatch");
    clerk
        .post("/customers", &customer)
        .problem(409, "already-exists");
    let twice = customer
        .to_string()
        .replace("\"kind\"", "\"name\":\"Quillfeather\",\"kind\"");
    clerk
        .ask("POST", "/customers")
        .fresh_key()
        .json_text(twice)
        .send()
        .problem(400, "malformed-body");
    let broken = "{\"name\":\"Ulla Quillfeather\",\"phones\":[\"303 555-0142\"],";
    clerk
        .ask("POST", "/customers")
        .fresh_key()
        .json_text(broken)
        .send()
        .problem(400, "malformed-body");
    let extra = json!({ "id": new_id(), "kind": "person", "name": "Ulla Quillfeather", "pays in coins": 1 });
    clerk
        .post("/customers", &extra)
        .problem(422, "invalid-value");
    let phones = json!({ "id": new_id(), "kind": "person", "name": "Ulla Quillfeather",
        "phones": [{ "number": "555-0142 heron pond gate" }] });
    clerk
        .post("/customers", &phones)
        .problem(422, "invalid-value");
    chain
        .contractor
        .client
        .post("/customers", &customer)
        .problem(403, "not-allowed");
    let _ = clerk.get("/customers/find?limit=99&q=quillfeather");
    let _ = clerk.get("/customers?name=quillfeather");
    let _ = clerk.get("/customers/Ulla%20Quillfeather");
    let stranger = clerk.stranger();
    for (login, password) in [
        (chain.clerk.name.as_str(), "wrong password of somebody"),
        ("brush.co", "heron pond gate"),
        ("Ulla Quillfeather", "back porch trim"),
        // Typed into the wrong field.
        (chain.clerk.password.as_str(), "x"),
    ] {
        let asked = json!({ "login": login, "password": password });
        assert_eq!(stranger.post("/auth/login", &asked).status, 401);
    }
    let claim = json!({ "token": "heron pond gate", "password": "wrong password of somebody" });
    assert!(stranger.post("/auth/claim", &claim).status >= 400);
    let refresh = json!({ "refresh_token": chain.contractor.refresh });
    stranger.post("/auth/refresh", &refresh).expect(200);
    let password = json!({ "current": "wrong password of somebody", "new": "heron pond gate" });
    assert!(
        clerk
            .ask("POST", "/auth/password")
            .json(&password)
            .send()
            .status
            >= 400
    );
    let drawdown = json!({ "id": new_id(), "measurement": "heron pond gate", "dry": true, "made_at": MADE_AT });
    clerk
        .post(&format!("/revisions/{}/drawdowns", new_id()), &drawdown)
        .problem(422, "invalid-value");
    // In the middle of an outage.
    relay.set(Line::Cut);
    clerk
        .post("/customers", &customer)
        .problem(503, "unavailable");
    clerk
        .get("/customers/find?q=quillfeather")
        .problem(503, "unavailable");
    relay.set(Line::Open);
    let deadline = std::time::Instant::now() + std::time::Duration::from_secs(20);
    while clerk.get("/stores").status == 503 {
        assert!(std::time::Instant::now() < deadline);
        std::thread::sleep(std::time::Duration::from_millis(100));
    }
}
