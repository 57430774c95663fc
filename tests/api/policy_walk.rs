//! Who may do what, walked: every endpoint of the API description, by each role and by nobody, on
//! an own object, a foreign one and a missing one. The table below is the expectation, written out;
//! a route that stands in only one of table and description fails the walk.
//!
//! *Own* is of the north branch, where the staff of this test work, and linked to the contractor;
//! *foreign* is of the south branch and not linked. Drafts are their maker's own.

#![expect(clippy::unwrap_used, reason = "a test stops at the first surprise")]

#[path = "policy_walk/instrument_care.rs"]
mod instrument_care;

use std::collections::BTreeSet;

use harness::chain::{Chain, Login, MADE_AT, id_of, measurement, new_id, password};
use harness::cluster::TestDatabase;
use harness::http::{Answer, Client};
use harness::process::ServerPlan;
use serde_json::{Value, json};
use uuid::Uuid;

/// A column of three statuses: own, foreign, missing. One of two: own, missing, where nothing is
/// foreign. One of one: no object is named.
const TABLE: &str = "
route                                       | clerk       | contractor  | manager     | color lead  | admin       | nobody
GET /stores                                 | 200         | 200         | 200         | 200         | 200         | 401
POST /stores                                | 403         | 403         | 403         | 403         | 201         | 401
GET /stores/{id}                            | 200 404     | 200 404     | 200 404     | 200 404     | 200 404     | 401 401
PATCH /stores/{id}                          | 403 403     | 403 403     | 403 403     | 403 403     | 200 404     | 401 401
GET /persons                                | 403         | 403         | 200         | 403         | 200         | 401
POST /persons                               | 403         | 403         | 201         | 403         | 201         | 401
GET /persons/{id}                           | 403 403 403 | 403 403 403 | 200 404 404 | 403 403 403 | 200 200 404 | 401 401 401
PATCH /persons/{id}                         | 403 403 403 | 403 403 403 | 200 404 404 | 403 403 403 | 200 200 404 | 401 401 401
POST /persons/{id}/reset                    | 403 403 403 | 403 403 403 | 200 404 404 | 403 403 403 | 200 200 404 | 401 401 401
GET /persons/{id}/customers                 | 403 403     | 403 403     | 200 404     | 403 403     | 200 404     | 401 401
PUT /persons/{id}/customers/{customer_id}   | 403 403     | 403 403     | 200 404     | 403 403     | 200 404     | 401 401
DELETE /persons/{id}/customers/{customer_id}| 403 403     | 403 403     | 204 404     | 403 403     | 204 404     | 401 401
GET /access-log                             | 403         | 403         | 200         | 403         | 200         | 401
GET /colorants                              | 200         | 200         | 200         | 200         | 200         | 401
POST /colorants                             | 403         | 403         | 403         | 201         | 403         | 401
GET /colorants/{id}                         | 200 404     | 200 404     | 200 404     | 200 404     | 200 404     | 401 401
PATCH /colorants/{id}                       | 403 403     | 403 403     | 403 403     | 200 404     | 403 403     | 401 401
GET /products                               | 200         | 200         | 200         | 200         | 200         | 401
POST /products                              | 403         | 403         | 403         | 201         | 403         | 401
GET /products/{id}                          | 200 404     | 200 404     | 200 404     | 200 404     | 200 404     | 401 401
PATCH /products/{id}                        | 403 403     | 403 403     | 403 403     | 200 404     | 403 403     | 401 401
GET /bases                                  | 200         | 200         | 200         | 200         | 200         | 401
POST /bases                                 | 403         | 403         | 403         | 201         | 403         | 401
GET /bases/{id}                             | 200 404     | 200 404     | 200 404     | 200 404     | 200 404     | 401 401
PATCH /bases/{id}                           | 403 403     | 403 403     | 403 403     | 200 404     | 403 403     | 401 401
GET /verdicts                               | 200         | 200         | 200         | 200         | 200         | 401
PUT /verdicts                               | 403         | 403         | 403         | 200         | 403         | 401
GET /customers                              | 200         | 200         | 200         | 200         | 200         | 401
POST /customers                             | 201         | 403         | 201         | 201         | 201         | 401
GET /customers/find                         | 200         | 403         | 200         | 200         | 200         | 401
GET /customers/{id}                         | 200 200 404 | 200 404 404 | 200 200 404 | 200 200 404 | 200 200 404 | 401 401 401
PATCH /customers/{id}                       | 200 200 404 | 403 403 403 | 200 200 404 | 200 200 404 | 200 200 404 | 401 401 401
POST /customers/{id}/jobs                   | 201 201 404 | 403 403 403 | 201 201 404 | 201 201 404 | 201 201 404 | 401 401 401
PATCH /jobs/{id}                            | 200 200 404 | 403 403 403 | 200 200 404 | 200 200 404 | 200 200 404 | 401 401 401
GET /instruments                            | 200         | 403         | 200         | 200         | 200         | 401
POST /instruments                           | 403         | 403         | 201         | 403         | 201         | 401
GET /instruments/{id}                       | 200 200 404 | 403 403 403 | 200 200 404 | 200 200 404 | 200 200 404 | 401 401 401
PATCH /instruments/{id}                     | 403 403 403 | 403 403 403 | 200 404 404 | 403 403 403 | 200 200 404 | 401 401 401
GET /instruments/{id}/calibrations          | 200 200 404 | 403 403 403 | 200 200 404 | 200 200 404 | 200 200 404 | 401 401 401
POST /instruments/{id}/calibrations         | 201 404 404 | 403 403 403 | 201 404 404 | 201 404 404 | 201 201 404 | 401 401 401
POST /instruments/{id}/starts               | 201 404 404 | 403 403 403 | 201 404 404 | 201 404 404 | 201 201 404 | 401 401 401
GET /instruments/{id}/tile-readings         | 200 200 404 | 403 403 403 | 200 200 404 | 200 200 404 | 200 200 404 | 401 401 401
POST /instruments/{id}/tile-readings        | 201 404 404 | 403 403 403 | 201 404 404 | 201 404 404 | 201 201 404 | 401 401 401
GET /tiles                                  | 200         | 403         | 200         | 200         | 200         | 401
POST /tiles                                 | 403         | 403         | 201         | 403         | 201         | 401
GET /tiles/{id}                             | 200 200 404 | 403 403 403 | 200 200 404 | 200 200 404 | 200 200 404 | 401 401 401
PATCH /tiles/{id}                           | 403 403 403 | 403 403 403 | 200 404 404 | 403 403 403 | 200 200 404 | 401 401 401
GET /corrections                            | 200         | 403         | 200         | 200         | 200         | 401
POST /corrections                           | 403         | 403         | 403         | 201         | 403         | 401
GET /corrections/{id}                       | 200 404     | 403 403     | 200 404     | 200 404     | 200 404     | 401 401
POST /corrections/{id}/retire               | 403 403     | 403 403     | 403 403     | 200 404     | 403 403     | 401 401
POST /measurements/{id}/accept              | 403 403 403 | 403 403 403 | 201 404 404 | 201 201 404 | 201 201 404 | 401 401 401
GET /matches                                | 200         | 200         | 200         | 200         | 200         | 401
POST /matches                               | 201         | 403         | 201         | 201         | 201         | 401
GET /matches/find                           | 200         | 403         | 200         | 200         | 200         | 401
GET /matches/{id}                           | 200 200 404 | 200 404 404 | 200 200 404 | 200 200 404 | 200 200 404 | 401 401 401
POST /matches/{id}/revisions                | 201 201 404 | 403 403 403 | 201 201 404 | 201 201 404 | 201 201 404 | 401 401 401
POST /matches/{id}/move                     | 200 200 404 | 403 403 403 | 200 200 404 | 200 200 404 | 200 200 404 | 401 401 401
POST /matches/{id}/pick                     | 200 200 404 | 403 403 403 | 200 200 404 | 200 200 404 | 200 200 404 | 401 401 401
POST /revisions/{id}/drawdowns              | 201 201 404 | 403 403 403 | 201 201 404 | 201 201 404 | 201 201 404 | 401 401 401
GET /drafts                                 | 200         | 403         | 200         | 200         | 200         | 401
POST /drafts                                | 201         | 403         | 201         | 201         | 201         | 401
GET /drafts/{id}                            | 200 404 404 | 403 403 403 | 200 404 404 | 200 404 404 | 200 404 404 | 401 401 401
PATCH /drafts/{id}                          | 200 404 404 | 403 403 403 | 200 404 404 | 200 404 404 | 200 404 404 | 401 401 401
DELETE /drafts/{id}                         | 204 404 404 | 403 403 403 | 204 404 404 | 204 404 404 | 204 404 404 | 401 401 401
POST /nearest                               | 200         | 403         | 200         | 200         | 200         | 401
GET /reorders                               | 200         | 200         | 200         | 200         | 200         | 401
POST /reorders                              | 201 201 404 | 201 404 404 | 201 201 404 | 201 201 404 | 201 201 404 | 401 401 401
GET /reorders/{id}                          | 200 200 404 | 200 404 404 | 200 200 404 | 200 200 404 | 200 200 404 | 401 401 401
POST /reorders/{id}/advance                 | 200 403 404 | 403 403 403 | 200 403 404 | 200 403 404 | 200 200 404 | 401 401 401
POST /reorders/{id}/advance cancel          | 200 403 404 | 200 404 404 | 200 403 404 | 200 403 404 | 200 200 404 | 401 401 401
GET /tints                                  | 200 200 404 | 200 404 404 | 200 200 404 | 200 200 404 | 200 200 404 | 401 401 401
POST /tints                                 | 201 201 404 | 403 403 403 | 201 201 404 | 201 201 404 | 201 201 404 | 401 401 401
GET /tints/{id}                             | 200 200 404 | 200 404 404 | 200 200 404 | 200 200 404 | 200 200 404 | 401 401 401
POST /tints/{id}/fault                      | 201 201 404 | 403 403 403 | 201 201 404 | 201 201 404 | 201 201 404 | 401 401 401
GET /auth/me                                | 200         | 200         | 200         | 200         | 200         | 401
POST /auth/password                         | 204         | 204         | 204         | 204         | 204         | 401
POST /auth/logout                           | 204         | 204         | 204         | 204         | 204         | 401
POST /auth/login                            | 200         | 200         | 200         | 200         | 200         | 200
POST /auth/refresh                          | 200         | 200         | 200         | 200         | 200         | 200
POST /auth/claim                            | 204         | 204         | 204         | 204         | 204         | 204
";

/// The routes that need no login, and no others. The last three stand beside the API.
const OPEN: [&str; 6] = [
    "POST /auth/claim",
    "POST /auth/login",
    "POST /auth/refresh",
    "GET //health",
    "GET //ready",
    "GET //api/openapi.json",
];

/// Whose object is asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Whose {
    Own,
    Foreign,
    Missing,
}

#[test]
fn every_endpoint_keeps_the_policy_table() {
    let database = TestDatabase::create();
    let (server, chain) = Chain::found(&ServerPlan::on(&database));
    let rows: Vec<(&str, Vec<&str>)> = TABLE
        .trim()
        .lines()
        .skip(1)
        .map(|line| {
            let (route, cells) = line.split_once('|').unwrap();
            (route.trim(), cells.split('|').map(str::trim).collect())
        })
        .collect();
    let described = described_routes(&chain.admin.client);
    let walked: BTreeSet<String> = rows
        .iter()
        .map(|(route, _)| route.split(' ').take(2).collect::<Vec<_>>().join(" "))
        .collect();
    assert_eq!(
        described, walked,
        "the description and the table name different routes"
    );

    let walk = Walk {
        chain: &chain,
        stranger: chain.admin.client.stranger(),
    };
    let mut wrong = Vec::new();
    for (route, cells) in rows {
        let mut found = Vec::new();
        for (column, cell) in cells.iter().enumerate() {
            let whose: &[Whose] = match cell.split(' ').count() {
                1 => &[Whose::Own],
                2 => &[Whose::Own, Whose::Missing],
                _ => &[Whose::Own, Whose::Foreign, Whose::Missing],
            };
            let answers: Vec<Answer> = whose
                .iter()
                .map(|whose| walk.ask(route, column, *whose))
                .collect();
            found.push(statuses(&answers));
            for answer in answers.iter().filter(|answer| answer.status >= 400) {
                check_refusal(route, answer);
            }
            if let [_, foreign, missing] = &answers[..]
                && foreign.status == missing.status
                && foreign.status >= 400
            {
                let face = |answer: &Answer| {
                    let names: BTreeSet<_> = answer
                        .headers
                        .iter()
                        .map(|(name, _)| name.clone())
                        .collect();
                    (names, answer.text())
                };
                assert_eq!(
                    face(foreign),
                    face(missing),
                    "{route}: foreign and missing can be told apart"
                );
            }
        }
        if found != cells {
            wrong.push(format!(
                "{route}\n  table: {}\n  found: {}",
                cells.join(" | "),
                found.join(" | ")
            ));
        }
    }
    assert!(wrong.is_empty(), "{}\n{}", wrong.join("\n"), server.log());
}

fn statuses(answers: &[Answer]) -> String {
    let texts: Vec<String> = answers
        .iter()
        .map(|answer| answer.status.to_string())
        .collect();
    texts.join(" ")
}

fn check_refusal(route: &str, answer: &Answer) {
    let code = match answer.status {
        401 => "not-logged-in",
        403 => "not-allowed",
        404 => "not-found",
        other => panic!("{route}: {other} {}", answer.text()),
    };
    answer.clone().problem(answer.status, code);
}

/// Every route of the description; and what the description says about logins is true.
fn described_routes(client: &Client) -> BTreeSet<String> {
    let description = client.get("//api/openapi.json").expect(200);
    let text = description.to_string();
    for part in text.split("\"$ref\":\"#/components/schemas/").skip(1) {
        let name = part.split_once('"').unwrap().0;
        let schema = &description["components"]["schemas"][name];
        assert!(
            schema.is_object(),
            "the description refers to {name} and lacks it"
        );
    }
    let mut routes = BTreeSet::new();
    let mut open = BTreeSet::new();
    for (path, item) in description["paths"].as_object().unwrap() {
        for (method, operation) in item.as_object().unwrap() {
            let path = path.strip_prefix("/api/v1").unwrap();
            let route = format!("{} {path}", method.to_uppercase());
            if operation["security"].is_array() {
                open.insert(route.clone());
            }
            routes.insert(route);
        }
    }
    let expected: BTreeSet<String> = OPEN
        .iter()
        .filter(|route| !route.contains("//"))
        .map(|route| (*route).to_owned())
        .collect();
    assert_eq!(open, expected, "routes without a login");
    assert_eq!(description["security"], json!([{ "login": [] }]));
    for route in OPEN.iter().filter(|route| route.contains("//")) {
        client
            .stranger()
            .get(route.split_once(' ').unwrap().1)
            .expect(200);
    }
    routes
}

struct Walk<'a> {
    chain: &'a Chain,
    stranger: Client,
}

impl Walk<'_> {
    /// The roles in the order of the table's columns; none for nobody.
    fn login(&self, column: usize) -> Option<&Login> {
        let chain = self.chain;
        [
            &chain.clerk,
            &chain.contractor,
            &chain.manager,
            &chain.color_lead,
            &chain.admin,
        ]
        .get(column)
        .copied()
    }

    fn role(column: usize) -> &'static str {
        ["clerk", "contractor", "manager", "color_lead", "admin"][column]
    }

    /// Who works where the object is.
    fn clerk(&self, whose: Whose) -> &Login {
        if whose == Whose::Foreign {
            &self.chain.south_clerk
        } else {
            &self.chain.clerk
        }
    }

    fn store(&self, whose: Whose) -> Uuid {
        match whose {
            Whose::Own => self.chain.north,
            Whose::Foreign => self.chain.south,
            Whose::Missing => new_id(),
        }
    }

    fn customer(&self, whose: Whose) -> Uuid {
        if whose == Whose::Missing {
            return new_id();
        }
        let customer = self.chain.customer(self.clerk(whose), "Nora Vale");
        if whose == Whose::Own {
            self.chain.link(customer);
        }
        customer
    }

    /// A match as recorded; of a missing one only ids are there.
    fn recorded(&self, whose: Whose) -> Value {
        if whose == Whose::Missing {
            return json!({ "id": new_id(), "customer": { "id": new_id() }, "version": 1,
                "revisions": [{ "id": new_id() }] });
        }
        self.chain.record(self.clerk(whose), self.customer(whose))
    }

    fn reorder(&self, whose: Whose) -> Uuid {
        if whose == Whose::Missing {
            return new_id();
        }
        let recorded = self.recorded(whose);
        // A contractor calls off only what the same login placed.
        let by = if whose == Whose::Own {
            &self.chain.contractor
        } else {
            self.clerk(whose)
        };
        let new = self.new_reorder(&recorded, self.store(whose));
        id_of(&by.client.post("/reorders", &new).expect(201))
    }

    fn new_reorder(&self, recorded: &Value, store: Uuid) -> Value {
        json!({ "id": new_id(), "match_id": recorded["id"], "store_id": store, "size": "gallon",
            "cans": 2, "placed_at": MADE_AT })
    }

    fn new_tint(&self, recorded: &Value) -> Value {
        json!({ "id": new_id(), "revision_id": recorded["revisions"][0]["id"], "size": "gallon",
            "base_lot": "L-17", "made_at": MADE_AT })
    }

    fn tint(&self, whose: Whose) -> Uuid {
        if whose == Whose::Missing {
            return new_id();
        }
        let new = self.new_tint(&self.recorded(whose));
        id_of(&self.clerk(whose).client.post("/tints", &new).expect(201))
    }

    fn draft(&self, maker: Option<&Login>, whose: Whose) -> Uuid {
        let maker = match (whose, maker) {
            (Whose::Missing, _) => return new_id(),
            (Whose::Own, Some(maker)) if maker.store.is_some() => maker,
            _ => self.clerk(Whose::Foreign),
        };
        let new = json!({ "id": new_id(), "title": "porch, phone rang", "parts": {} });
        id_of(&maker.client.post("/drafts", &new).expect(201))
    }

    fn new_person(&self, store: Uuid) -> Value {
        let id = new_id();
        json!({ "id": id, "login": format!("n{}", id.simple()), "display_name": "Lio Brandt",
            "roles": ["clerk"], "stores": [store] })
    }

    fn person(&self, whose: Whose) -> Uuid {
        if whose == Whose::Missing {
            return new_id();
        }
        let new = self.new_person(self.store(whose));
        id_of(&self.chain.admin.client.post("/persons", &new).expect(201)["person"])
    }

    fn new_instrument(&self, store: Uuid) -> Value {
        json!({ "id": new_id(), "store_id": store, "name": "counter", "model": "Sphere 8",
            "serial": new_id().simple().to_string(), "geometry": "d:8", "apertures_mm": [8.0] })
    }

    fn instrument(&self, whose: Whose) -> Uuid {
        if whose == Whose::Missing {
            return new_id();
        }
        let new = self.new_instrument(self.store(whose));
        id_of(
            &self
                .chain
                .admin
                .client
                .post("/instruments", &new)
                .expect(201),
        )
    }

    fn new_colorant(&self) -> Value {
        let id = new_id().simple().to_string();
        json!({ "id": new_id(), "ci_name": "PY42", "pigment": format!("yellow {}", &id[20..]) })
    }

    fn new_product(&self) -> Value {
        let id = new_id().simple().to_string();
        json!({ "id": new_id(), "name": format!("Line {}", &id[20..]), "carrier": "solvent",
            "sheens": [{ "id": new_id(), "word": "gloss", "gloss60_min": 70, "gloss60_max": 90 }] })
    }

    fn new_base(&self) -> Value {
        let id = new_id().simple().to_string();
        json!({ "id": new_id(), "product_id": self.chain.product, "name": format!("Base {}", &id[20..]),
            "kind": "medium", "rooms": [{ "size": "quart", "fill": 80_000, "room": 9_000 }] })
    }

    /// Something of the catalog, or a missing id.
    fn of_catalog(&self, path: &str, new: &Value, whose: Whose) -> Uuid {
        if whose == Whose::Missing {
            return new_id();
        }
        id_of(&self.chain.color_lead.client.post(path, new).expect(201))
    }

    /// The version that `If-Match` must name, as an admin reads it.
    fn version(&self, path: &str, whose: Whose) -> i64 {
        if whose == Whose::Missing {
            return 1;
        }
        self.chain.admin.client.get(path).expect(200)["version"]
            .as_i64()
            .unwrap()
    }

    fn ask(&self, route: &str, column: usize, whose: Whose) -> Answer {
        let login = self.login(column);
        let client = login.map_or(&self.stranger, |login| &login.client);
        let (method, path) = route.split_once(' ').unwrap();
        let chain = self.chain;
        let post = |path: &str, body: Value| client.post(path, &body);
        let edit =
            |path: String, body: Value| client.patch(&path, self.version(&path, whose), &body);
        let get = |path: String| client.get(&path);
        match (method, path) {
            ("GET", "/customers/find" | "/matches/find") => get(format!("{path}?q=vale")),
            ("GET", "/tints") => get(format!("/tints?match_id={}", id_of(&self.recorded(whose)))),
            ("GET", path) if !path.contains('{') => client.get(path),
            ("POST", "/stores") => {
                let id = new_id();
                post(
                    path,
                    json!({ "id": id, "name": format!("Branch {}", id.simple()), "phone_region": "US" }),
                )
            }
            ("GET", "/stores/{id}") => get(format!("/stores/{}", self.store(whose))),
            ("PATCH", "/stores/{id}") => edit(
                format!("/stores/{}", self.store(whose)),
                json!({ "phone_region": "CA" }),
            ),
            ("POST", "/persons") => post(path, self.new_person(chain.north)),
            ("GET", "/persons/{id}") => get(format!("/persons/{}", self.person(whose))),
            ("PATCH", "/persons/{id}") => edit(
                format!("/persons/{}", self.person(whose)),
                json!({ "display_name": "Lio Stone" }),
            ),
            ("POST", "/persons/{id}/reset") => {
                let path = format!("/persons/{}/reset", self.person(whose));
                client.ask("POST", &path).fresh_key().send()
            }
            ("GET", "/persons/{id}/customers") => {
                let person = if whose == Whose::Missing {
                    new_id()
                } else {
                    chain.contractor.id
                };
                get(format!("/persons/{person}/customers"))
            }
            (method, "/persons/{id}/customers/{customer_id}") => {
                let person = if whose == Whose::Missing {
                    new_id()
                } else {
                    chain.contractor.id
                };
                let customer = self.customer(if whose == Whose::Missing {
                    Whose::Own
                } else {
                    whose
                });
                let path = format!("/persons/{person}/customers/{customer}");
                client.ask(method, &path).fresh_key().send()
            }
            ("POST", "/colorants") => post(path, self.new_colorant()),
            ("POST", "/products") => post(path, self.new_product()),
            ("POST", "/bases") => post(path, self.new_base()),
            (method, "/colorants/{id}" | "/products/{id}" | "/bases/{id}") => {
                let list = path.strip_suffix("/{id}").unwrap();
                let new = match list {
                    "/colorants" => self.new_colorant(),
                    "/products" => self.new_product(),
                    _ => self.new_base(),
                };
                let path = format!("{list}/{}", self.of_catalog(list, &new, whose));
                if method == "GET" {
                    get(path)
                } else {
                    edit(path, json!({ "retired": true }))
                }
            }
            ("PUT", "/verdicts") => {
                let limits = json!({ "indistinguishable": 0.6, "accepted": 1.1, "ask": 2.2 });
                let ask = client.ask("PUT", path).fresh_key().json(&limits);
                ask.if_match(self.version(path, whose)).send()
            }
            ("POST", "/customers") => post(
                path,
                json!({ "id": new_id(), "kind": "company", "name": "Vale Painting" }),
            ),
            ("GET", "/customers/{id}") => get(format!("/customers/{}", self.customer(whose))),
            ("PATCH", "/customers/{id}") => edit(
                format!("/customers/{}", self.customer(whose)),
                json!({ "name": "Nora Vale-Finch" }),
            ),
            ("POST", "/customers/{id}/jobs") => {
                let path = format!("/customers/{}/jobs", self.customer(whose));
                post(&path, json!({ "id": new_id(), "label": "lobby" }))
            }
            ("PATCH", "/jobs/{id}") => {
                let job = new_id();
                if whose != Whose::Missing {
                    let path = format!("/customers/{}/jobs", self.customer(whose));
                    let new = json!({ "id": job, "label": "lobby" });
                    self.clerk(whose).client.post(&path, &new).expect(201);
                }
                client.patch(
                    &format!("/jobs/{job}"),
                    1,
                    &json!({ "label": "lobby, second coat" }),
                )
            }
            ("POST", "/instruments") => post(path, self.new_instrument(chain.north)),
            ("GET", "/instruments/{id}") => get(format!("/instruments/{}", self.instrument(whose))),
            ("PATCH", "/instruments/{id}") => edit(
                format!("/instruments/{}", self.instrument(whose)),
                json!({ "name": "bench" }),
            ),
            ("GET", "/instruments/{id}/calibrations") => get(format!(
                "/instruments/{}/calibrations",
                self.instrument(whose)
            )),
            ("POST", "/instruments/{id}/calibrations") => {
                let path = format!("/instruments/{}/calibrations", self.instrument(whose));
                post(
                    &path,
                    json!({ "id": new_id(), "made_at": MADE_AT, "white_read": true, "black_read": true }),
                )
            }
            ("POST", "/matches") => post(path, chain.new_match(self.customer(whose))),
            ("GET", "/matches/{id}") => get(format!("/matches/{}", id_of(&self.recorded(whose)))),
            ("POST", "/matches/{id}/revisions") => {
                let recorded = self.recorded(whose);
                let parent = &recorded["revisions"][0]["id"];
                let body =
                    json!({ "formula": chain.formula(), "parent_id": parent, "made_at": MADE_AT });
                post(&format!("/matches/{}/revisions", id_of(&recorded)), body)
            }
            ("POST", "/matches/{id}/move" | "/matches/{id}/pick") => {
                let recorded = self.recorded(whose);
                let verb = path.rsplit_once('/').unwrap().1;
                let body = match verb {
                    "move" => json!({ "customer_id": self.customer(Whose::Own) }),
                    _ => json!({ "revision_id": recorded["revisions"][0]["id"] }),
                };
                let path = format!("/matches/{}/{verb}", id_of(&recorded));
                let ask = client.ask("POST", &path).fresh_key().json(&body);
                ask.if_match(recorded["version"].as_i64().unwrap()).send()
            }
            ("POST", "/revisions/{id}/drawdowns") => {
                let recorded = self.recorded(whose);
                let path = format!("/revisions/{}/drawdowns", id_of(&recorded["revisions"][0]));
                post(
                    &path,
                    json!({ "id": new_id(), "measurement": measurement(0.41), "dry": true, "made_at": MADE_AT }),
                )
            }
            ("POST", "/drafts") => post(
                path,
                json!({ "id": new_id(), "title": "porch", "parts": {} }),
            ),
            (method, "/drafts/{id}") => {
                let path = format!("/drafts/{}", self.draft(login, whose));
                let ask = client.ask(method, &path);
                match method {
                    "GET" => ask.send(),
                    "PATCH" => ask
                        .fresh_key()
                        .if_match(1)
                        .json(&json!({ "title": "porch, south side" }))
                        .send(),
                    _ => ask.fresh_key().if_match(1).send(),
                }
            }
            ("POST", "/nearest") => post(path, json!({ "lab": [60.0, 1.0, 2.0] })),
            ("POST", "/reorders") => {
                post(path, self.new_reorder(&self.recorded(whose), chain.north))
            }
            ("GET", "/reorders/{id}") => get(format!("/reorders/{}", self.reorder(whose))),
            ("POST", "/reorders/{id}/advance" | "/reorders/{id}/advance cancel") => {
                let to = if path.ends_with("cancel") {
                    "cancelled"
                } else {
                    "being_tinted"
                };
                let path = format!("/reorders/{}/advance", self.reorder(whose));
                client
                    .ask("POST", &path)
                    .fresh_key()
                    .if_match(1)
                    .json(&json!({ "to": to }))
                    .send()
            }
            ("POST", "/tints") => post(path, self.new_tint(&self.recorded(whose))),
            ("GET", "/tints/{id}") => get(format!("/tints/{}", self.tint(whose))),
            ("POST", "/tints/{id}/fault") => post(
                &format!("/tints/{}/fault", self.tint(whose)),
                json!({ "reason": "wrong_color" }),
            ),
            ("POST", path) if path.starts_with("/auth/") => self.auth(path, column),
            _ => self
                .instrument_care(client, method, path, whose)
                .unwrap_or_else(|| panic!("the table has a route that is not walked: {route}")),
        }
    }

    /// Routes that end or open sessions, with a login made for that alone.
    fn auth(&self, path: &str, column: usize) -> Answer {
        let role = if column < 5 {
            Self::role(column)
        } else {
            "clerk"
        };
        let store = (role != "contractor").then_some(self.chain.north);
        let login = format!("v{}", &new_id().simple().to_string()[16..]);
        if path == "/auth/claim" {
            let mut new = self.new_person(self.chain.north);
            new["login"] = json!(login);
            let added = self.chain.admin.client.post("/persons", &new).expect(201);
            let claim = json!({ "token": added["claim"]["token"], "password": password(&login) });
            let client = self
                .login(column)
                .map_or(&self.stranger, |login| &login.client);
            return client.ask("POST", path).json(&claim).send();
        }
        let person = self.chain.hire(&login, &[role], store);
        let client = if column < 5 {
            &person.client
        } else {
            &self.stranger
        };
        let ask = client.ask("POST", path);
        match path {
            "/auth/login" => {
                let mut body = json!({ "login": person.name, "password": person.password });
                if let Some(store) = store {
                    body["store_id"] = json!(store);
                }
                ask.json(&body).send()
            }
            "/auth/refresh" => ask.json(&json!({ "refresh_token": person.refresh })).send(),
            "/auth/password" => {
                let body = json!({ "current": person.password, "new": "linden shelf copper tide" });
                ask.json(&body).send()
            }
            _ => ask.send(),
        }
    }
}
