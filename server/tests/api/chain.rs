//! A small chain: two stores, a product with two bases, a customer with one match recorded at the first store.

use serde_json::{Value, json};

use crate::support::{Answer, Client, Server, new_id};

/// When everything here was made.
pub(crate) const MADE_AT: &str = "2026-03-04T15:16:17Z";

pub(crate) struct Chain {
    /// Store where the match was made.
    pub(crate) quay: String,
    /// Another one.
    pub(crate) mill: String,
    /// Clerk at the quay.
    pub(crate) clerk: Client,
    /// Clerk at the mill.
    pub(crate) miller: Client,
    /// Keeps the catalog.
    pub(crate) lead: Client,
    pub(crate) product: String,
    pub(crate) sheen: String,
    /// Base that comes as quart (59.14 ml of room) and gallon.
    pub(crate) light: String,
    /// Base that comes as quart only.
    pub(crate) deep: String,
    pub(crate) yellow: String,
    pub(crate) black: String,
    pub(crate) customer: String,
    pub(crate) job: String,
    /// A quart of light base with 24/48 fl oz of yellow and 3/96 of black.
    pub(crate) wanted: String,
    pub(crate) revision: String,
    pub(crate) server: Server,
}

impl Chain {
    pub(crate) fn open() -> Self {
        Self::of("water")
    }

    /// With a product of this carrier.
    pub(crate) fn of(carrier: &str) -> Self {
        let server = Server::start();
        let (quay, mill) = (server.store("Alder Quay"), server.store("Fen Mill"));
        let lead = server.color_lead();
        let ids: Vec<String> = (0..10).map(|_| new_id()).collect();
        let add = |path: &str, new: Value| lead.post(path, new).is(201);
        add(
            "/products",
            json!({ "id": ids[0], "name": "Lintel", "carrier": carrier,
                "sheens": [{ "id": ids[1], "word": "satin", "gloss60_min": 20, "gloss60_max": 35 }] }),
        );
        let quart = json!({ "size": "quart", "fill": 88_000, "room": 5914 });
        let gallon = json!({ "size": "gallon", "fill": 354_000, "room": 23_658 });
        add(
            "/bases",
            json!({ "id": ids[2], "product_id": ids[0], "name": "pale", "kind": "light", "rooms": [quart, gallon] }),
        );
        add(
            "/bases",
            json!({ "id": ids[3], "product_id": ids[0], "name": "dark", "kind": "deep", "rooms": [quart] }),
        );
        add(
            "/colorants",
            json!({ "id": ids[4], "ci_name": "PY42", "pigment": "yellow oxide" }),
        );
        add(
            "/colorants",
            json!({ "id": ids[5], "ci_name": "PBk7", "pigment": "carbon black" }),
        );
        let clerk = server.clerk(&quay);
        let miller = server.clerk(&mill);
        let mut chain = Self {
            quay,
            mill,
            clerk,
            miller,
            lead,
            product: ids[0].clone(),
            sheen: ids[1].clone(),
            light: ids[2].clone(),
            deep: ids[3].clone(),
            yellow: ids[4].clone(),
            black: ids[5].clone(),
            customer: String::new(),
            job: ids[6].clone(),
            wanted: String::new(),
            revision: String::new(),
            server,
        };
        chain.customer = chain.add_customer("Ivo Marsh", &chain.job);
        (chain.wanted, chain.revision) = chain.record(&chain.customer, true);
        chain
    }

    /// A customer of the quay with one job.
    pub(crate) fn add_customer(&self, name: &str, job: &str) -> String {
        let id = new_id();
        let new = json!({ "id": id, "kind": "person", "name": name,
            "jobs": [{ "id": job, "label": "stairwell, second coat" }] });
        self.clerk.post("/customers", new).is(201);
        id
    }

    /// A match of a customer with a formula or without; its id and the revision's.
    pub(crate) fn record(&self, customer: &str, with_formula: bool) -> (String, String) {
        let (wanted, revision) = (new_id(), new_id());
        let values: Vec<f64> = (0..31).map(|band| 0.2 + 0.01 * f64::from(band)).collect();
        let mut new = json!({
            "id": wanted, "customer_id": customer, "product_id": self.product, "sheen_id": self.sheen,
            "sample": { "id": new_id(), "spectrum": { "start_nm": 400, "step_nm": 10, "values": values },
                "read_as": "fraction", "readings": 3 },
            "made_at": MADE_AT,
        });
        if with_formula {
            new["formula"] = json!({
                "id": revision, "base_id": self.light, "sheen_id": self.sheen, "size": "quart",
                "shots": [
                    { "colorant_id": self.yellow, "count": 24, "unit": "1/48 fl oz" },
                    { "colorant_id": self.black, "count": 3, "unit": "1/96 fl oz" },
                ],
            });
        }
        self.clerk.post("/matches", new).is(201);
        (wanted, revision)
    }

    /// A contractor who is linked to the customer.
    pub(crate) fn contractor_of(&self, customer: &str) -> Client {
        let contractor = self.server.contractor();
        let path = format!("/persons/{}/customers/{customer}", contractor.id);
        self.server.admin().put(&path, None).is(200);
        contractor
    }

    /// What it takes to reorder a quart of the match at the quay.
    pub(crate) fn order(&self) -> Value {
        json!({ "id": new_id(), "match_id": self.wanted, "store_id": self.quay, "size": "quart", "cans": 1,
            "placed_at": MADE_AT })
    }

    /// A reorder placed by the clerk; its id.
    pub(crate) fn placed(&self, order: Value) -> String {
        self.clerk.post("/reorders", order).is(201).text("/id")
    }

    /// What it takes to record a can, just as the formula says.
    pub(crate) fn can(&self) -> Value {
        json!({ "id": new_id(), "revision_id": self.revision, "size": "quart", "made_at": MADE_AT })
    }

    /// A can recorded by the clerk.
    pub(crate) fn tinted(&self, can: Value) -> Answer {
        self.clerk.post("/tints", can).is(201)
    }
}

/// Moves a reorder on.
pub(crate) fn advance(client: &Client, reorder: &str, version: i64, to: &str) -> Answer {
    let path = format!("/reorders/{reorder}/advance");
    client.edit("POST", &path, version, json!({ "to": to }))
}

/// The texts of a list.
#[track_caller]
pub(crate) fn texts<'a>(answer: &'a Answer, field: &str) -> Vec<&'a str> {
    let list = answer.body[field].as_array().unwrap();
    list.iter().map(|text| text.as_str().unwrap()).collect()
}
