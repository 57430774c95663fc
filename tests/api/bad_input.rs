//! Bad input over HTTP: each is refused in words that name the field, the value and the remedy,
//! as `application/problem+json`, and nothing is changed. One server for all of it.

#![expect(clippy::unwrap_used, reason = "a test stops at the first surprise")]

#[path = "bad_input/tokens.rs"]
mod tokens;

use std::io::{Read, Write};
use std::net::TcpStream;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::time::{Duration, Instant};

use harness::chain::{Chain, DEEP_BASE, MADE_AT, id_of, measurement, new_id, reflectance};
use harness::cluster::{TestDatabase, psql};
use harness::http::{Answer, Client};
use harness::process::{Server, ServerPlan};
use serde_json::{Value, json};

/// A refusal expected.
struct Refusal {
    what: String,
    answer: Box<dyn Fn() -> Answer>,
    status: u16,
    code: &'static str,
    /// What the problem must say, anywhere in it.
    says: Vec<String>,
}

fn refusal(
    what: impl Into<String>,
    answer: impl Fn() -> Answer + 'static,
    status: u16,
    code: &'static str,
    says: &[&str],
) -> Refusal {
    Refusal {
        what: what.into(),
        answer: Box::new(answer),
        status,
        code,
        says: says.iter().map(|part| (*part).to_owned()).collect(),
    }
}

/// Everything that a write could have left behind.
fn state_of(database: &TestDatabase) -> String {
    let counts = [
        "change_log",
        "receipt",
        "draft",
        "person",
        "store",
        "customer",
        "customer_phone",
        "customer_name",
        "measurement",
        "match",
        "revision",
        "revision_shot",
        "drawdown",
        "note",
        "reorder",
        "reorder_step",
        "tint",
        "tint_fault",
        "session",
    ]
    .map(|table| format!("(SELECT count(*) FROM {table})"));
    psql(
        &database.superuser_url(),
        &[&format!("SELECT {}", counts.join(", "))],
    )
}

#[test]
fn bad_input_is_refused_in_clear_words_and_changes_nothing() {
    let database = TestDatabase::create();
    let plan = ServerPlan::on(&database);
    let (server, chain) = Chain::found(&plan);
    let customer = chain.customer(&chain.clerk, "Marta Quill");
    let recorded = chain.record(&chain.clerk, customer);
    let cases: Vec<Refusal> = [
        spectra(&chain, customer, &recorded),
        conditions(&chain, customer),
        shots(&chain, &recorded),
        strangers_matches(&chain, &recorded),
        names(&chain, customer),
        json_shapes(&chain),
        headers(&chain, customer),
        queries(&chain),
        tokens::cases(&chain, &plan.data()),
    ]
    .into_iter()
    .flatten()
    .collect();
    let mut wrong = Vec::new();
    let mut before = state_of(&database);
    for case in &cases {
        let checked = catch_unwind(AssertUnwindSafe(|| {
            let problem = (case.answer)().problem(case.status, case.code).to_string();
            for part in &case.says {
                assert!(problem.contains(part), "does not say {part:?}: {problem}");
            }
        }));
        if let Err(panic) = checked {
            let text = panic.downcast_ref::<String>().cloned().unwrap_or_default();
            wrong.push(format!("{}: {text}", case.what));
        }
        let after = state_of(&database);
        if after != before {
            before = after;
            wrong.push(format!("{}: something was changed", case.what));
        }
    }
    assert!(
        wrong.is_empty(),
        "{} of {} cases:\n{}\n{}",
        wrong.len(),
        cases.len(),
        wrong.join("\n"),
        server.log()
    );
    assert!(cases.len() > 120, "only {} cases", cases.len());

    raw_connections(&server, &chain, &database);
    label_codes(&chain, &recorded);
    two_clerks_at_once(&chain, &recorded);
    names_that_are_taken(&chain);
    assert!(server.is_ready());
}

/// Bad spectra, at each route that takes one.
fn spectra(chain: &Chain, customer: uuid::Uuid, recorded: &Value) -> Vec<Refusal> {
    // A mark in place of one value, filled in as text: JSON numbers that serde can't hold, too.
    let with_value = |text: &str| {
        let mut values: Vec<String> = reflectance(0.4).iter().map(f64::to_string).collect();
        values[7] = text.to_owned();
        format!(
            "{{\"start_nm\":400,\"step_nm\":10,\"values\":[{}]}}",
            values.join(",")
        )
    };
    let grid = |start: &str, step: &str, count: usize| {
        let values = vec!["0.4"; count].join(",");
        format!("{{\"start_nm\":{start},\"step_nm\":{step},\"values\":[{values}]}}")
    };
    let listed = |nms: &[f64], values: usize, more: &str| {
        let values = vec!["0.4"; values].join(",");
        format!("{{\"wavelengths_nm\":{nms:?},{more}\"values\":[{values}]}}")
    };
    let thirds: Vec<f64> = (0..91).map(|i| 400.0 + 10.0 / 3.0 * f64::from(i)).collect();
    let mut with_gap = thirds.clone();
    with_gap.drain(30..37);
    let falling: Vec<f64> = thirds.iter().rev().copied().collect();
    let cases: [(&str, String, u16, &str, &[&str]); 28] = [
        (
            "NaN",
            with_value("NaN"),
            400,
            "malformed-body",
            &["values[7]"],
        ),
        (
            "infinity",
            with_value("Infinity"),
            400,
            "malformed-body",
            &["values[7]"],
        ),
        (
            "out of a double's range",
            with_value("1e999"),
            400,
            "malformed-body",
            &["values[7]", "out of range"],
        ),
        (
            "out of range below",
            with_value("-1e999"),
            400,
            "malformed-body",
            &["values[7]", "out of range"],
        ),
        (
            "text NaN",
            with_value("\"NaN\""),
            422,
            "invalid-value",
            &["values[7]"],
        ),
        (
            "text",
            with_value("\"0.4\""),
            422,
            "invalid-value",
            &["values[7]"],
        ),
        (
            "null",
            with_value("null"),
            422,
            "invalid-value",
            &["values[7]"],
        ),
        (
            "negative",
            with_value("-0.2"),
            422,
            "invalid-value",
            &["-0.2", "470 nm"],
        ),
        (
            "percent",
            with_value("41.5"),
            422,
            "invalid-value",
            &["41.5", "470 nm"],
        ),
        (
            "above 2",
            with_value("2.0001"),
            422,
            "invalid-value",
            &["2.0001", "470 nm"],
        ),
        (
            "largest double",
            with_value("1.7e308"),
            422,
            "invalid-value",
            &["470 nm"],
        ),
        (
            "no value",
            grid("400", "10", 0),
            422,
            "invalid-value",
            &["spectrum", "0 value"],
        ),
        (
            "one value",
            grid("400", "10", 1),
            422,
            "invalid-value",
            &["spectrum", "1 value"],
        ),
        (
            "10,000 values",
            grid("400", "10", 10_000),
            422,
            "invalid-value",
            &["spectrum", "10000 values"],
        ),
        (
            "step 25",
            grid("400", "25", 13),
            422,
            "invalid-value",
            &["step 25 nm", "1 to 20 nm"],
        ),
        (
            "no wavelengths",
            "{\"values\":[0.4,0.4]}".to_owned(),
            422,
            "invalid-value",
            &["start_nm and step_nm, or wavelengths_nm"],
        ),
        (
            "wavelengths told twice",
            listed(&thirds, 91, "\"start_nm\":400,\"step_nm\":10,"),
            422,
            "invalid-value",
            &["not both"],
        ),
        (
            "a value less than wavelengths",
            listed(&thirds, 90, ""),
            422,
            "invalid-value",
            &["90 values", "91 wavelengths"],
        ),
        (
            "a gap",
            listed(&with_gap, with_gap.len(), ""),
            422,
            "invalid-value",
            &["nothing was measured between", "20 nm"],
        ),
        (
            "wavelengths that fall",
            listed(&falling, 91, ""),
            422,
            "invalid-value",
            &["must rise"],
        ),
        (
            "micrometers",
            listed(&[0.4, 0.5, 0.6, 0.7], 4, ""),
            422,
            "invalid-value",
            &["nanometers"],
        ),
        (
            "step 0",
            grid("400", "0", 31),
            422,
            "invalid-value",
            &["step 0 nm"],
        ),
        (
            "falling",
            grid("700", "-10", 31),
            422,
            "invalid-value",
            &["step_nm"],
        ),
        (
            "fraction of a step",
            grid("400", "2.5", 121),
            422,
            "invalid-value",
            &["step_nm"],
        ),
        (
            "start is text",
            grid("\"400\"", "10", 31),
            422,
            "invalid-value",
            &["start_nm"],
        ),
        (
            "red end missing",
            grid("400", "10", 26),
            422,
            "invalid-value",
            &["400 to 650 nm", "700 nm"],
        ),
        (
            "violet end missing",
            grid("450", "10", 26),
            422,
            "invalid-value",
            &["450 to 700 nm", "400"],
        ),
        (
            "nowhere near light",
            grid("2000", "10", 31),
            422,
            "invalid-value",
            &["2000"],
        ),
    ];
    let revision = recorded["revisions"][0]["id"].as_str().unwrap();
    let mark = json!("the spectrum");
    let mut sample = measurement(0.4);
    sample["spectrum"] = mark.clone();
    let mut new_match = chain.new_match(customer);
    new_match["sample"] = sample.clone();
    let drawdown =
        json!({ "id": new_id(), "measurement": sample, "dry": true, "made_at": MADE_AT });
    let nearest = json!({ "spectrum": mark });
    let routes = [
        ("/matches".to_owned(), new_match),
        (format!("/revisions/{revision}/drawdowns"), drawdown),
        ("/nearest".to_owned(), nearest),
    ];
    let mut refusals = Vec::new();
    for (path, body) in routes {
        for (what, spectrum, status, code, says) in &cases {
            let (client, path) = (chain.clerk.client.clone(), path.clone());
            let text = body.to_string().replace(&mark.to_string(), spectrum);
            let answer = move || {
                client
                    .ask("POST", &path)
                    .fresh_key()
                    .json_text(text.clone())
                    .send()
            };
            let what = format!("spectrum: {what}");
            refusals.push(refusal(what, answer, *status, code, says));
        }
    }
    refusals
}

/// What stands around a spectrum, and colors given as numbers.
fn conditions(chain: &Chain, customer: uuid::Uuid) -> Vec<Refusal> {
    let edits: [(&str, Value, &str); 12] = [
        ("/sample/readings", json!(0), "readings"),
        ("/sample/readings", json!(70_000), "readings"),
        ("/sample/aperture_mm", json!(-4), "aperture_mm"),
        ("/sample/gloss60", json!(900), "gloss60"),
        ("/sample/temperature_c", json!(300), "temperature_c"),
        ("/sample/geometry", json!("sideways"), "geometry"),
        ("/sample/as_read", json!(["0.4"]), "as_read"),
        ("/sample/measured_at", json!("yesterday"), "measured_at"),
        ("/made_at", json!("2026-02-30T00:00:00Z"), "made_at"),
        (
            "/id",
            json!("6ba7b810-9dad-41d1-80b4-00c04fd430c8"),
            "version 7",
        ),
        ("/formula/predicted_lab", json!([50, 1]), "predicted_lab"),
        ("/formula/size", json!("bucket"), "size"),
    ];
    let mut refusals: Vec<Refusal> = edits
        .into_iter()
        .map(|(pointer, value, says)| {
            let mut body = chain.new_match(customer);
            set(&mut body, pointer, value);
            let client = chain.clerk.client.clone();
            let answer = move || client.post("/matches", &body);
            refusal(
                format!("match {pointer}"),
                answer,
                422,
                "invalid-value",
                &[says],
            )
        })
        .collect();
    for (what, body) in [
        ("neither", json!({})),
        (
            "both",
            json!({ "lab": [50, 0, 0], "spectrum": measurement(0.4)["spectrum"] }),
        ),
        ("lightness 400", json!({ "lab": [400, 0, 0] })),
        ("no result wanted", json!({ "lab": [50, 0, 0], "limit": 0 })),
        (
            "too many wanted",
            json!({ "lab": [50, 0, 0], "limit": 201 }),
        ),
    ] {
        let client = chain.clerk.client.clone();
        let answer = move || client.post("/nearest", &body);
        refusals.push(refusal(
            format!("nearest {what}"),
            answer,
            422,
            "invalid-value",
            &[],
        ));
    }
    refusals
}

/// Puts a value into a body, the field made where it is missing.
fn set(body: &mut Value, pointer: &str, value: Value) {
    let (parent, key) = pointer.rsplit_once('/').unwrap();
    body.pointer_mut(parent).unwrap()[key] = value;
}

/// Formulas that can't be tinted, in a new match and in a revision.
fn shots(chain: &Chain, recorded: &Value) -> Vec<Refusal> {
    let count = |count: &str| format!("[{}]", shot(chain, 0, count));
    let two = |one: &str, other: &str| format!("[{one},{other}]");
    let stranger = format!(
        "[{{\"colorant_id\":\"{}\",\"count\":1,\"unit\":\"1/48 fl oz\"}}]",
        new_id()
    );
    let sixteen = vec![shot(chain, 0, "1"); 17].join(",");
    let invalid = "invalid-value";
    let cases: Vec<(&str, String, &'static str, Vec<&str>)> = vec![
        ("zero", count("0"), invalid, vec!["shots[0].count", "0"]),
        (
            "negative",
            count("-3"),
            invalid,
            vec!["shots[0].count", "-3"],
        ),
        (
            "huge",
            count("1000001"),
            invalid,
            vec!["shots[0].count", "1000001", "1000000"],
        ),
        (
            "beyond any integer",
            count("99999999999999999999999"),
            invalid,
            vec!["shots[0].count"],
        ),
        (
            "a fraction",
            count("0.5"),
            invalid,
            vec!["shots[0].count", "0.5"],
        ),
        ("text", count("\"24\""), invalid, vec!["shots[0].count"]),
        (
            "unknown unit",
            count("1").replace("1/48", "1/50"),
            invalid,
            vec!["unit", "1/50"],
        ),
        (
            "unknown colorant",
            stranger,
            invalid,
            vec!["shots[0].colorant_id"],
        ),
        (
            "same colorant twice",
            two(&shot(chain, 0, "1"), &shot(chain, 0, "2")),
            invalid,
            vec!["shots[1].colorant_id"],
        ),
        ("too many", format!("[{sixteen}]"), invalid, vec!["shots"]),
        // 200 × 1/48 fl oz are 123 ml: more than the light base takes, less than the deep one.
        (
            "above the room",
            count("200"),
            "over-base-room",
            vec!["Light", DEEP_BASE],
        ),
        (
            "above every room",
            count("20000"),
            "over-base-room",
            vec!["Light"],
        ),
    ];
    let mut refusals = Vec::new();
    let mark = json!("the shots");
    let mut formula = chain.formula();
    formula["shots"] = mark.clone();
    let mut new_match = chain.new_match(id_of(&recorded["customer"]));
    new_match["formula"] = formula.clone();
    let parent = &recorded["revisions"][0]["id"];
    let revision = json!({ "formula": formula, "parent_id": parent, "made_at": MADE_AT });
    let revisions = format!("/matches/{}/revisions", id_of(recorded));
    for (path, body) in [("/matches".to_owned(), new_match), (revisions, revision)] {
        for (what, shots, code, says) in &cases {
            let (client, path) = (chain.clerk.client.clone(), path.clone());
            let text = body.to_string().replace(&mark.to_string(), shots);
            let answer = move || {
                client
                    .ask("POST", &path)
                    .fresh_key()
                    .json_text(text.clone())
                    .send()
            };
            refusals.push(refusal(format!("shots: {what}"), answer, 422, code, says));
        }
    }
    refusals
}

fn shot(chain: &Chain, colorant: usize, count: &str) -> String {
    let colorant = chain.colorants[colorant];
    format!("{{\"colorant_id\":\"{colorant}\",\"count\":{count},\"unit\":\"1/48 fl oz\"}}")
}

/// Matches that are not there, and those that are not the caller's.
fn strangers_matches(chain: &Chain, recorded: &Value) -> Vec<Refusal> {
    let revision = json!({ "formula": chain.formula(), "made_at": MADE_AT });
    let post = |client: &Client, path: String, body: Value| {
        let client = client.clone();
        move || client.post(&path, &body)
    };
    let missing = format!("/matches/{}/revisions", new_id());
    let foreign = format!("/matches/{}/revisions", id_of(recorded));
    let clerk = &chain.clerk.client;
    let contractor = &chain.contractor.client;
    let mut of_other = revision.clone();
    of_other["parent_id"] = json!(new_id());
    let mut second_root = revision.clone();
    second_root["formula"]["id"] = json!(new_id());
    let reading = {
        let (client, path) = (contractor.clone(), format!("/matches/{}", id_of(recorded)));
        move || client.get(&path)
    };
    let mut foreign_customer = chain.new_match(new_id());
    foreign_customer["id"] = json!(new_id());
    vec![
        refusal(
            "revision of a missing match",
            post(clerk, missing.clone(), revision.clone()),
            404,
            "not-found",
            &["match"],
        ),
        refusal(
            "contractor revises a missing one",
            post(contractor, missing, revision.clone()),
            403,
            "not-allowed",
            &["clerk"],
        ),
        refusal(
            "contractor revises a foreign one",
            post(contractor, foreign.clone(), revision),
            403,
            "not-allowed",
            &["clerk"],
        ),
        refusal(
            "contractor opens a foreign one",
            reading,
            404,
            "not-found",
            &[],
        ),
        refusal(
            "parent elsewhere",
            post(clerk, foreign.clone(), of_other),
            422,
            "invalid-value",
            &["parent_id"],
        ),
        refusal(
            "no parent",
            post(clerk, foreign, second_root),
            422,
            "invalid-value",
            &["parent_id"],
        ),
        refusal(
            "match of no customer",
            post(clerk, "/matches".into(), foreign_customer),
            422,
            "invalid-value",
            &["customer_id"],
        ),
    ]
}

/// Names that are none.
fn names(chain: &Chain, customer: uuid::Uuid) -> Vec<Refusal> {
    let texts: [(&str, String, u16, &str, &str); 9] = [
        ("empty", String::new(), 422, "invalid-value", "name"),
        (
            "blank",
            " \u{2003}\u{200b}".into(),
            422,
            "invalid-value",
            "name",
        ),
        (
            "10,000 characters",
            "å".repeat(10_000),
            422,
            "invalid-value",
            "10000 characters",
        ),
        (
            "NUL",
            "Ida\\u0000Stone".into(),
            422,
            "invalid-value",
            "U+0000",
        ),
        (
            "line break",
            "Ida\\nStone".into(),
            422,
            "invalid-value",
            "U+000A",
        ),
        (
            "direction override",
            "Ida \\u202eenotS".into(),
            422,
            "invalid-value",
            "U+202E",
        ),
        (
            "lone leading surrogate",
            "Ida \\ud83c Stone".into(),
            400,
            "malformed-body",
            "name",
        ),
        (
            "lone trailing surrogate",
            "Ida \\udf00 Stone".into(),
            400,
            "malformed-body",
            "name",
        ),
        (
            "surrogates swapped",
            "Ida \\udf00\\ud83c".into(),
            400,
            "malformed-body",
            "name",
        ),
    ];
    let mut refusals = Vec::new();
    for (what, text, status, code, says) in texts {
        let mark = "the name";
        let new = json!({ "id": new_id(), "kind": "person", "name": mark }).to_string();
        let edit = json!({ "name": mark }).to_string();
        let add = {
            let (client, body) = (chain.clerk.client.clone(), new.replace(mark, &text));
            move || {
                client
                    .ask("POST", "/customers")
                    .fresh_key()
                    .json_text(body.clone())
                    .send()
            }
        };
        let rename = {
            let (client, body) = (chain.clerk.client.clone(), edit.replace(mark, &text));
            let path = format!("/customers/{customer}");
            move || {
                client
                    .ask("PATCH", &path)
                    .fresh_key()
                    .if_match(1)
                    .json_text(body.clone())
                    .send()
            }
        };
        refusals.push(refusal(format!("name {what}"), add, status, code, &[says]));
        refusals.push(refusal(
            format!("new name {what}"),
            rename,
            status,
            code,
            &[says],
        ));
    }
    for phone in ["", "call me", "12", "+1 555 0100 0100 0100 0100", "\u{0}"] {
        let client = chain.clerk.client.clone();
        let body = json!({ "id": new_id(), "kind": "person", "name": "Ida Stone", "phones": [{ "number": phone }] });
        let answer = move || client.post("/customers", &body);
        refusals.push(refusal(
            format!("phone {phone:?}"),
            answer,
            422,
            "invalid-value",
            &["phones[0]"],
        ));
    }
    refusals
}

/// JSON that is none, or not what the route takes.
fn json_shapes(chain: &Chain) -> Vec<Refusal> {
    let id = new_id();
    let deep = |open: &str, close: &str| {
        let (open, close) = (open.repeat(10_000), close.repeat(10_000));
        format!("{{\"id\":\"{id}\",\"kind\":\"person\",\"name\":{open}1{close}}}")
    };
    let cases: Vec<(&str, Vec<u8>, u16, &'static str, &str)> = vec![
        ("empty", vec![], 400, "malformed-body", ""),
        ("white space", b"  \n".to_vec(), 400, "malformed-body", ""),
        ("cut off", b"{\"id\":".to_vec(), 400, "malformed-body", ""),
        (
            "more after the end",
            format!("{{\"id\":\"{id}\",\"kind\":\"person\",\"name\":\"Ida\"}}{{}}").into(),
            400,
            "malformed-body",
            "",
        ),
        (
            "byte order mark",
            "\u{feff}{}".into(),
            400,
            "malformed-body",
            "",
        ),
        (
            "UTF-16",
            vec![0xff, 0xfe, b'{', 0, b'}', 0],
            400,
            "malformed-body",
            "",
        ),
        (
            "bytes that are no UTF-8",
            b"{\"name\":\"\xc3\x28\"}".to_vec(),
            400,
            "malformed-body",
            "name",
        ),
        (
            "10,000 arrays deep",
            deep("[", "]").into(),
            400,
            "malformed-body",
            "recursion",
        ),
        (
            "10,000 objects deep",
            deep("{\"a\":", "}").into(),
            400,
            "malformed-body",
            "recursion",
        ),
        (
            "name twice",
            format!("{{\"id\":\"{id}\",\"kind\":\"person\",\"name\":\"Ida\",\"name\":\"Ada\"}}")
                .into(),
            400,
            "malformed-body",
            "twice",
        ),
        (
            "name twice, once escaped",
            format!(
                "{{\"id\":\"{id}\",\"kind\":\"person\",\"name\":\"Ida\",\"n\\u0061me\":\"Ada\"}}"
            )
            .into(),
            400,
            "malformed-body",
            "twice",
        ),
        (
            "unknown field",
            format!("{{\"id\":\"{id}\",\"kind\":\"person\",\"name\":\"Ida\",\"admin\":true}}")
                .into(),
            422,
            "invalid-value",
            "admin",
        ),
        ("a list", b"[]".to_vec(), 422, "invalid-value", ""),
        ("null", b"null".to_vec(), 422, "invalid-value", ""),
        (
            "a field missing",
            format!("{{\"id\":\"{id}\",\"name\":\"Ida\"}}").into(),
            422,
            "invalid-value",
            "kind",
        ),
        (
            "a kind of no kind",
            format!("{{\"id\":\"{id}\",\"kind\":\"cat\",\"name\":\"Ida\"}}").into(),
            422,
            "invalid-value",
            "kind",
        ),
        (
            "an id that is a number",
            b"{\"id\":7,\"kind\":\"person\",\"name\":\"Ida\"}".to_vec(),
            422,
            "invalid-value",
            "id",
        ),
    ];
    cases
        .into_iter()
        .map(|(what, body, status, code, says)| {
            let client = chain.clerk.client.clone();
            let answer = move || {
                client
                    .ask("POST", "/customers")
                    .fresh_key()
                    .json_text(body.clone())
                    .send()
            };
            refusal(format!("JSON: {what}"), answer, status, code, &[says])
        })
        .collect()
}

/// A gzip member (RFC 1952) that unpacks to a thousand times its size is not even looked at, so any
/// bytes after the magic number will do.
const GZIP: &[u8] = &[0x1f, 0x8b, 0x08, 0, 0, 0, 0, 0, 0, 0xff];

/// Headers that a write needs, and those that it must not have.
fn headers(chain: &Chain, customer: uuid::Uuid) -> Vec<Refusal> {
    let clerk = &chain.clerk.client;
    let body = || json!({ "id": new_id(), "kind": "person", "name": "Ida Stone" }).to_string();
    let post = |headers: &[(&str, &str)], body: Vec<u8>| {
        let client = clerk.clone();
        let headers: Vec<(String, String)> = headers
            .iter()
            .map(|(name, value)| ((*name).into(), (*value).into()))
            .collect();
        move || {
            let mut ask = client.ask("POST", "/customers");
            for (name, value) in &headers {
                ask = ask.header(name, value);
            }
            ask.bytes(body.clone()).send()
        }
    };
    let key = new_id().to_string();
    let json_type = ("content-type", "application/json");
    let with_key = ("idempotency-key", key.as_str());
    let mut cases = Vec::new();
    for (what, media) in [
        ("text", "text/plain"),
        ("a form", "application/x-www-form-urlencoded"),
        ("XML", "application/xml"),
        ("nearly JSON", "application/json5"),
        ("nothing", ""),
    ] {
        let answer = post(&[("content-type", media), with_key], body().into());
        cases.push(refusal(
            format!("type {what}"),
            answer,
            415,
            "unsupported-media-type",
            &["application/json"],
        ));
    }
    for encoding in ["gzip", "GZIP", "br", "zstd", "gzip, gzip", "x-unknown"] {
        let headers = [json_type, with_key, ("content-encoding", encoding)];
        let answer = post(&headers, GZIP.to_vec());
        cases.push(refusal(
            format!("encoding {encoding}"),
            answer,
            415,
            "unsupported-media-type",
            &["uncompressed"],
        ));
    }
    let mut large = body();
    large.insert_str(1, &" ".repeat(1024 * 1024));
    cases.push(refusal(
        "above 1 MiB",
        post(&[json_type, with_key], large.into()),
        413,
        "body-too-large",
        &["1048576"],
    ));
    cases.push(refusal(
        "no key",
        post(&[json_type], body().into()),
        400,
        "idempotency-key-missing",
        &["Idempotency-Key"],
    ));
    for bad in [
        "",
        "17",
        "6ba7b810-9dad-11d1-80b4-00c04fd430c8",
        "{6ba7b810-9dad-41d1-80b4-00c04fd430c8}",
    ] {
        let answer = post(&[json_type, ("idempotency-key", bad)], body().into());
        cases.push(refusal(
            format!("key {bad:?}"),
            answer,
            400,
            "bad-request",
            &["Idempotency-Key"],
        ));
    }
    let used = new_id();
    let first = json!({ "id": new_id(), "kind": "person", "name": "Ida Stone" });
    clerk
        .ask("POST", "/customers")
        .key(used)
        .json(&first)
        .send()
        .expect(201);
    let again = {
        let (client, other) = (clerk.clone(), body());
        move || {
            client
                .ask("POST", "/customers")
                .key(used)
                .json_text(other.clone())
                .send()
        }
    };
    cases.push(refusal(
        "key of another request",
        again,
        422,
        "idempotency-key-reused",
        &[],
    ));
    let path = format!("/customers/{customer}");
    let edit = json!({ "name": "Marta Quill-Stone" });
    let patch = |version: Option<&str>| {
        let (client, path, edit) = (clerk.clone(), path.clone(), edit.clone());
        let version = version.map(str::to_owned);
        move || {
            let ask = client.ask("PATCH", &path).fresh_key().json(&edit);
            match &version {
                Some(version) => ask.header("if-match", version).send(),
                None => ask.send(),
            }
        }
    };
    cases.push(refusal(
        "no If-Match",
        patch(None),
        428,
        "version-missing",
        &["If-Match"],
    ));
    cases.push(refusal(
        "old version",
        patch(Some("\"7\"")),
        412,
        "version-mismatch",
        &["version 1", "7"],
    ));
    for bad in [
        "*",
        "1",
        "W/\"1\"",
        "\"1\", \"2\"",
        "\"0\"",
        "\"-1\"",
        "\"99999999999\"",
    ] {
        cases.push(refusal(
            format!("If-Match {bad}"),
            patch(Some(bad)),
            400,
            "bad-request",
            &["If-Match"],
        ));
    }
    for (method, path, allow) in [
        ("DELETE", "/customers", "GET, POST"),
        ("PUT", "/matches", "GET, POST"),
        ("PATCH", "/nearest", "POST"),
        ("GET", "/auth/login", "POST"),
        ("DELETE", "//health", "GET"),
    ] {
        let client = clerk.clone();
        let answer = move || {
            let answer = client.ask(method, path).send();
            assert_eq!(answer.header("allow"), Some(allow));
            answer
        };
        cases.push(refusal(
            format!("{method} {path}"),
            answer,
            405,
            "method-not-allowed",
            &[allow],
        ));
    }
    cases
}

/// Paths and queries.
fn queries(chain: &Chain) -> Vec<Refusal> {
    let long = format!("/matches/find?q={}", "a".repeat(2_000));
    let cases: Vec<(&str, u16, &'static str, &str)> = vec![
        ("/nothing/here", 404, "not-found", ""),
        ("//", 404, "not-found", ""),
        ("//api/v2/customers", 404, "not-found", ""),
        ("/customers/7", 404, "not-found", ""),
        (
            "/customers/6ba7b810-9dad-41d1-80b4-00c04fd430c8",
            404,
            "not-found",
            "",
        ),
        ("/customers/%00", 404, "not-found", ""),
        ("/customers/..%2f..%2fstores", 404, "not-found", ""),
        ("/matches/%ff", 404, "not-found", ""),
        ("/customers?limit=0", 400, "bad-request", "limit"),
        ("/customers?limit=201", 400, "bad-request", "limit"),
        ("/customers?limit=-1", 400, "bad-request", "limit"),
        ("/customers?limit=many", 400, "bad-request", "limit"),
        ("/customers?limit=5&limit=6", 400, "bad-request", "limit"),
        ("/customers?after=yesterday", 400, "bad-request", "after"),
        ("/customers?color=red", 400, "bad-request", "color"),
        ("/reorders?state=lost", 400, "bad-request", "state"),
        ("/matches/find", 400, "bad-request", "q"),
        ("/matches/find?q=", 400, "bad-request", "q"),
        (&long, 400, "bad-request", "q"),
        (
            "/customers/find?q=Ida&limit=21",
            400,
            "bad-request",
            "limit",
        ),
    ];
    cases
        .into_iter()
        .map(|(path, status, code, says)| {
            let (client, asked) = (chain.clerk.client.clone(), path.to_owned());
            let answer = move || client.get(&asked);
            refusal(format!("GET {:.60}", path), answer, status, code, &[says])
        })
        .collect()
}

/// What a well-behaved client library would not send.
fn raw_connections(server: &Server, chain: &Chain, database: &TestDatabase) {
    let url = server.url();
    let address = url.strip_prefix("http://").unwrap();
    let token = chain.clerk.client.token();
    let before = state_of(database);
    let head = format!(
        "POST /api/v1/customers HTTP/1.1\r\nHost: {address}\r\nAuthorization: Bearer {token}\r\n\
         Idempotency-Key: {}\r\nContent-Type: application/json\r\n",
        new_id()
    );

    // A body that dribbles is given up, told in words. It takes its time beside the rest.
    let mut dribble = connect(address);
    let dribbling = Instant::now();
    dribble
        .write_all(format!("{head}Content-Length: 500\r\n\r\n{{").as_bytes())
        .unwrap();

    // Chunks that never end are refused at 1 MiB; the rest is thrown away, not kept.
    let mut stream = connect(address);
    let kept = resident(server);
    stream
        .write_all(format!("{head}Transfer-Encoding: chunked\r\n\r\n").as_bytes())
        .unwrap();
    let chunk = format!("{:x}\r\n{}\r\n", 64 * 1024, " ".repeat(64 * 1024));
    for _ in 0..1024 {
        if stream.write_all(chunk.as_bytes()).is_err() {
            break;
        }
    }
    let grown = resident(server).saturating_sub(kept);
    assert!(grown < 32 * 1024, "the server grew by {grown} KiB");
    let answer = read_all(&mut stream);
    assert!(answer.starts_with("HTTP/1.1 413"), "{answer}");

    // A body that breaks off leaves nothing.
    let mut stream = connect(address);
    stream
        .write_all(format!("{head}Content-Length: 500\r\n\r\n{{\"id\":").as_bytes())
        .unwrap();
    drop(stream);

    // Two lengths at once: the beginning of request smuggling (RFC 9112, section 6.3).
    for smuggled in [
        "Content-Length: 5\r\nContent-Length: 6\r\n\r\n{\"a\":1}",
        "Content-Length: 4\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\nGET / HTTP/1.1\r\n\r\n",
    ] {
        let mut stream = connect(address);
        stream
            .write_all(format!("{head}{smuggled}").as_bytes())
            .unwrap();
        let answer = read_all(&mut stream);
        assert!(answer.starts_with("HTTP/1.1 400"), "{smuggled:?}: {answer}");
    }

    // A client that dribbles its header is cut, while others are served.
    let mut slow = connect(address);
    let begun = Instant::now();
    slow.write_all(b"GET /api/v1/stores HTTP/1.1\r\nHost: a")
        .unwrap();
    assert_eq!(Client::at(url).get("//health").status, 200);
    let answer = read_all(&mut slow);
    let waited = begun.elapsed();
    assert!(
        answer.is_empty() || answer.starts_with("HTTP/1.1 408"),
        "{answer}"
    );
    assert!(waited < Duration::from_secs(25), "held for {waited:?}");
    assert!(
        waited > Duration::from_secs(2),
        "cut after {waited:?}: too eager for a slow line"
    );

    let answer = read_all(&mut dribble);
    assert!(answer.starts_with("HTTP/1.1 408"), "{answer}");
    assert!(dribbling.elapsed() < Duration::from_secs(45));

    assert_eq!(state_of(database), before);
}

/// Memory that the server holds, in KiB.
fn resident(server: &Server) -> u64 {
    let file = format!("/proc/{}/status", server.pid().as_raw_nonzero());
    let status = std::fs::read_to_string(file).unwrap();
    let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:"));
    line.unwrap()
        .trim()
        .trim_end_matches(" kB")
        .parse()
        .unwrap()
}

fn connect(address: &str) -> TcpStream {
    let stream = TcpStream::connect(address).unwrap();
    let patience = Some(Duration::from_secs(40));
    stream.set_read_timeout(patience).unwrap();
    stream.set_write_timeout(patience).unwrap();
    stream
}

/// All that comes until the server closes, or the reading fails.
fn read_all(stream: &mut TcpStream) -> String {
    let mut bytes = Vec::new();
    let mut part = [0; 4096];
    while let Ok(count @ 1..) = stream.read(&mut part) {
        bytes.extend_from_slice(&part[..count]);
        if bytes.windows(4).any(|end| end == b"\r\n\r\n") && bytes.starts_with(b"HTTP/1.1 4") {
            break;
        }
    }
    String::from_utf8_lossy(&bytes).into_owned()
}

/// A label code with one character wrong, and with two swapped, leads to the one that was meant.
fn label_codes(chain: &Chain, recorded: &Value) {
    let code = recorded["label_code"].as_str().unwrap();
    let find = |typed: &str| {
        let path = format!("/matches/find?q={typed}");
        chain.south_clerk.client.get(&path).expect(200)
    };
    assert_eq!(find(code)["items"][0]["id"], recorded["id"]);
    assert_eq!(find(code)["items"][0]["found_by"], "label_code");
    let compact: Vec<char> = code.chars().filter(|letter| *letter != '-').collect();
    let mut mistyped = Vec::new();
    for place in 0..compact.len() {
        let mut letters = compact.clone();
        letters[place] = if letters[place] == '7' { 'K' } else { '7' };
        mistyped.push(letters);
    }
    for place in 1..compact.len() {
        let mut letters = compact.clone();
        letters.swap(place - 1, place);
        if letters != compact {
            mistyped.push(letters);
        }
    }
    for letters in mistyped {
        let typed: String = letters.iter().collect();
        let found = find(&typed);
        assert_eq!(found["items"], json!([]), "{code} mistyped as {typed}");
        assert_eq!(
            found["did_you_mean"],
            json!([code]),
            "{code} mistyped as {typed}"
        );
    }
}

/// Two clerks correct the same formula at the same moment: both are kept, and the match says so.
fn two_clerks_at_once(chain: &Chain, recorded: &Value) {
    let id = id_of(recorded);
    let parent = &recorded["revisions"][0]["id"];
    let path = format!("/matches/{id}/revisions");
    let revise = |client: &Client| {
        let body = json!({ "formula": chain.formula(), "parent_id": parent, "made_at": MADE_AT });
        id_of(&client.post(&path, &body).expect(201))
    };
    let (one, other) = std::thread::scope(|scope| {
        let one = scope.spawn(|| revise(&chain.clerk.client));
        let other = scope.spawn(|| revise(&chain.south_clerk.client));
        (one.join().unwrap(), other.join().unwrap())
    });
    let opened = chain
        .clerk
        .client
        .get(&format!("/matches/{id}"))
        .expect(200);
    assert_eq!(opened["forked"], true);
    let kept: Vec<uuid::Uuid> = opened["revisions"]
        .as_array()
        .unwrap()
        .iter()
        .map(id_of)
        .collect();
    assert_eq!(kept.len(), 3);
    assert!(kept.contains(&one) && kept.contains(&other), "{kept:?}");
}

/// Names that look odd to some are names all the same, and come back as they were given.
fn names_that_are_taken(chain: &Chain) {
    for name in [
        "مريم الخطيب",
        "שרה בן־דוד",
        "山田 花子",
        "Ólafur Ragnarsdóttir",
        "O'Neill-Fañé, Jr.",
        "X Æ 7",
        "🎨 Murals",
        "Robert'); DROP TABLE customer;--",
        "<script>alert(1)</script>",
    ] {
        let id = chain.customer(&chain.clerk, name);
        let opened = chain
            .clerk
            .client
            .get(&format!("/customers/{id}"))
            .expect(200);
        assert_eq!(opened["name"], name);
    }
}
