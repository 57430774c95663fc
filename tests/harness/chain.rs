//! A small invented chain, made through the API as its people would make it: two stores, a login of
//! each role, a product with two bases, four colorants. Every part has ids of its own.

use serde_json::{Value, json};
use uuid::Uuid;

use crate::http::Client;
use crate::process::{Server, ServerPlan};

/// A time before every test.
pub const MADE_AT: &str = "2026-03-02T09:30:00Z";

/// A new id: whoever makes a record makes its id.
#[must_use]
pub fn new_id() -> Uuid {
    Uuid::now_v7()
}

/// Somebody who can log in.
#[derive(Debug, Clone)]
pub struct Login {
    /// The person.
    pub id: Uuid,
    /// What is typed as name.
    pub name: String,
    /// The password.
    pub password: String,
    /// The store at whose counter the person stands.
    pub store: Option<Uuid>,
    /// Logged in.
    pub client: Client,
    /// The refresh token of that login.
    pub refresh: String,
}

/// The chain.
#[derive(Debug, Clone)]
pub struct Chain {
    /// Branch in the north.
    pub north: Uuid,
    /// Branch in the south.
    pub south: Uuid,
    /// Everywhere.
    pub admin: Login,
    /// Of the north.
    pub manager: Login,
    /// Of the north.
    pub color_lead: Login,
    /// Of the north.
    pub clerk: Login,
    /// Of the south.
    pub south_clerk: Login,
    /// Sees the customers linked to it.
    pub contractor: Login,
    /// The product.
    pub product: Uuid,
    /// Its satin.
    pub satin: Uuid,
    /// Its flat.
    pub flat: Uuid,
    /// Has room for 60 ml in a gallon.
    pub light_base: Uuid,
    /// Has room for 300 ml in a gallon.
    pub deep_base: Uuid,
    /// Four of them.
    pub colorants: [Uuid; 4],
}

/// The name of the base with more room.
pub const DEEP_BASE: &str = "Deep";

impl Chain {
    /// Starts a server on an empty library and founds the chain there.
    ///
    /// # Panics
    /// When any step is refused.
    #[must_use]
    pub fn found(plan: &ServerPlan) -> (Server, Self) {
        let token = admin_token(plan);
        let server = plan.serve();
        let chain = Self::at(server.url(), &token);
        (server, chain)
    }

    fn at(url: &str, admin_token: &str) -> Self {
        let stranger = Client::at(url);
        let claim = json!({
            "token": admin_token, "password": password("osprey"), "login": "osprey",
            "display_name": "Runa Osprey",
        });
        stranger.post("/auth/claim", &claim).expect(204);
        let admin = log_in(&stranger, Uuid::nil(), "osprey", None);
        let [north, south] = ["Harbor Lane", "Millrace Road"].map(|name| {
            let store = json!({ "id": new_id(), "name": name, "phone_region": "US" });
            created(&admin.client, "/stores", &store)
        });
        let hire = |login: &str, name: &str, role: &str, store| {
            hire(&admin.client, login, name, &[role], store)
        };
        let color_lead = hire("iris.hale", "Iris Hale", "color_lead", Some(north));
        let colorants = [
            ("PY42", "yellow oxide"),
            ("PR101", "red oxide"),
            ("PBk7", "carbon black"),
            ("PB15", "phthalo blue"),
        ]
        .map(|(ci_name, pigment)| {
            let colorant = json!({ "id": new_id(), "ci_name": ci_name, "pigment": pigment });
            created(&color_lead.client, "/colorants", &colorant)
        });
        let (satin, flat) = (new_id(), new_id());
        let product = json!({ "id": new_id(), "name": "Gable Interior", "carrier": "water", "sheens": [
            { "id": satin, "word": "satin", "gloss60_min": 20, "gloss60_max": 35 },
            { "id": flat, "word": "flat", "gloss60_min": 0, "gloss60_max": 5 },
        ] });
        let product = created(&color_lead.client, "/products", &product);
        let [light_base, deep_base] =
            [("Light", "light", 6_000), (DEEP_BASE, "deep", 30_000)].map(|(name, kind, room)| {
                let rooms = json!([
                    { "size": "gallon", "fill": 340_000, "room": room },
                    { "size": "quart", "fill": 85_000, "room": room / 4 },
                ]);
                let base = json!({
                    "id": new_id(), "product_id": product, "name": name, "kind": kind, "rooms": rooms,
                });
                created(&color_lead.client, "/bases", &base)
            });
        let chain = Self {
            manager: hire("tove.marsh", "Tove Marsh", "manager", Some(north)),
            clerk: hire("ned.alder", "Ned Alder", "clerk", Some(north)),
            south_clerk: hire("pia.lund", "Pia Lund", "clerk", Some(south)),
            contractor: hire("brush.co", "Oda Brush", "contractor", None),
            color_lead,
            admin,
            north,
            south,
            product,
            satin,
            flat,
            light_base,
            deep_base,
            colorants,
        };
        // Staff of the admin's rank stand at a counter only when they say so.
        Self {
            admin: log_in(&stranger, chain.admin.id, "osprey", Some(north)),
            ..chain
        }
    }

    /// Adds a login and logs it in.
    ///
    /// # Panics
    /// When any step is refused.
    #[must_use]
    pub fn hire(&self, login: &str, roles: &[&str], store: Option<Uuid>) -> Login {
        hire(&self.admin.client, login, "Somebody New", roles, store)
    }

    /// Adds a customer at the clerk's store.
    ///
    /// # Panics
    /// When it is refused.
    #[must_use]
    pub fn customer(&self, clerk: &Login, name: &str) -> Uuid {
        let customer = json!({ "id": new_id(), "kind": "person", "name": name });
        created(&clerk.client, "/customers", &customer)
    }

    /// Lets the contractor see the customer.
    ///
    /// # Panics
    /// When it is refused.
    pub fn link(&self, customer: Uuid) {
        let path = format!("/persons/{}/customers/{customer}", self.contractor.id);
        let linked = self.admin.client.ask("PUT", &path).fresh_key().send();
        linked.expect(200);
    }

    /// A match with a formula, to be recorded.
    #[must_use]
    pub fn new_match(&self, customer: Uuid) -> Value {
        json!({
            "id": new_id(), "customer_id": customer, "product_id": self.product,
            "sheen_id": self.satin, "sample": measurement(0.4), "formula": self.formula(),
            "made_at": MADE_AT,
        })
    }

    /// A formula that fits.
    #[must_use]
    pub fn formula(&self) -> Value {
        json!({
            "id": new_id(), "base_id": self.light_base, "sheen_id": self.satin, "size": "gallon",
            "shots": [
                { "colorant_id": self.colorants[0], "count": 24, "unit": "1/48 fl oz" },
                { "colorant_id": self.colorants[2], "count": 5, "unit": "1/96 fl oz" },
            ],
        })
    }

    /// Records a match with a formula; the answer.
    ///
    /// # Panics
    /// When it is refused.
    #[must_use]
    pub fn record(&self, clerk: &Login, customer: Uuid) -> Value {
        let new = self.new_match(customer);
        clerk.client.post("/matches", &new).expect(201)
    }
}

/// Runs `secondcan-server admin init` and returns the token it prints.
///
/// # Panics
/// When it fails or prints none.
#[must_use]
pub fn admin_token(plan: &ServerPlan) -> String {
    let output = plan.command(&["admin", "init"]).output().unwrap();
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    let errors = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "admin init: {said}{errors}");
    said.split_whitespace()
        .find(|word| word.len() == 29 && word.matches('-').count() == 4)
        .unwrap_or_else(|| panic!("admin init printed no token: {said}"))
        .to_owned()
}

/// The password of a login: long enough, and another for each.
#[must_use]
pub fn password(login: &str) -> String {
    let turned: String = login.chars().rev().collect();
    format!("umber {turned} kettle drift")
}

fn hire(admin: &Client, login: &str, name: &str, roles: &[&str], store: Option<Uuid>) -> Login {
    let stores: Vec<Uuid> = store.into_iter().collect();
    let person = json!({
        "id": new_id(), "login": login, "display_name": name, "roles": roles, "stores": stores,
    });
    let added = admin.post("/persons", &person).expect(201);
    let token = &added["claim"]["token"];
    let claim = json!({ "token": token, "password": password(login) });
    let stranger = admin.stranger();
    stranger.post("/auth/claim", &claim).expect(204);
    log_in(&stranger, id_of(&added["person"]), login, store)
}

/// Logs in.
///
/// # Panics
/// When it is refused.
#[must_use]
pub fn log_in(stranger: &Client, id: Uuid, name: &str, store: Option<Uuid>) -> Login {
    let mut asked = json!({ "login": name, "password": password(name) });
    if let Some(store) = store {
        asked["store_id"] = json!(store);
    }
    let tokens = stranger.post("/auth/login", &asked).expect(200);
    Login {
        id,
        name: name.to_owned(),
        password: password(name),
        store,
        client: stranger.with_token(tokens["access_token"].as_str().unwrap()),
        refresh: tokens["refresh_token"].as_str().unwrap().to_owned(),
    }
}

/// The id of a record.
///
/// # Panics
/// When it has none.
#[must_use]
pub fn id_of(record: &Value) -> Uuid {
    record["id"].as_str().unwrap().parse().unwrap()
}

/// Writes a new record and returns its id.
fn created(client: &Client, path: &str, record: &Value) -> Uuid {
    id_of(&client.post(path, record).expect(201))
}

/// A smooth, physically possible curve around this reflectance, 400 to 700 nm by 10.
#[must_use]
pub fn reflectance(level: f64) -> Vec<f64> {
    (0..31)
        .map(|i| level * (1.0 + 0.3 * (f64::from(i) / 5.0).sin()))
        .collect()
}

/// A measurement of such a curve.
#[must_use]
pub fn measurement(level: f64) -> Value {
    json!({
        "id": new_id(), "read_as": "fraction", "readings": 3,
        "spectrum": { "start_nm": 400, "step_nm": 10, "values": reflectance(level) },
    })
}
