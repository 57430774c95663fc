//! Finding customers by whatever the person at the counter has.

use std::collections::HashSet;
use std::fmt::Write as _;

use formula::folding::{fold_company, fold_person};
use formula::id::MatchId;
use formula::label::LabelCode;
use serde_json::{Value, json};

use crate::support::{Client, Server, new_id};

fn escaped(text: &str) -> String {
    text.bytes().fold(String::new(), |mut out, byte| {
        write!(out, "%{byte:02X}").unwrap();
        out
    })
}

fn find(client: &Client, text: &str) -> Value {
    client
        .get(&format!("/customers/find?q={}", escaped(text)))
        .is(200)
        .body
}

/// The names found, in order.
fn names(found: &Value) -> Vec<&str> {
    found["items"]
        .as_array()
        .unwrap()
        .iter()
        .map(|item| item["name"].as_str().unwrap())
        .collect()
}

fn add(client: &Client, kind: &str, name: &str, phone: &str, job: &str) -> String {
    let id = new_id();
    let new = json!({
        "id": id, "kind": kind, "name": name, "phones": [{ "number": phone }],
        "jobs": [{ "id": new_id(), "label": job }],
    });
    client.post("/customers", new).is(201);
    id
}

/// A chain of two stores whose customers are looked for from the other one.
fn chain() -> (Server, Client) {
    let server = Server::start();
    let (north, south) = (server.store("North Quay"), server.store("South Gate"));
    let clerk = server.clerk(&north);
    for (kind, name, phone, job) in [
        (
            "company",
            "Brannock & Daughters Painting LLC",
            "303 555 0142",
            "Lobby, second coat",
        ),
        ("company", "The Brannigan Group", "303 555 0143", "Stairs"),
        ("person", "Lena Painter", "303 555 0144", "Kitchen"),
        ("person", "Lena Paulsen", "720 555 0142", "Nursery"),
        ("person", "Zoë Ångström", "+44 20 7946 0018", "Harbor mural"),
        ("person", "יעל בן-דוד", "303 555 0145", "סלון"),
    ] {
        add(&clerk, kind, name, phone, job);
    }
    let looking = server.clerk(&south);
    (server, looking)
}

#[test]
fn a_customer_is_found_chain_wide_by_name_phone_or_job() {
    let (_server, clerk) = chain();
    let brannock = "Brannock & Daughters Painting LLC";
    for (text, first, by) in [
        ("brannock", brannock, "name"),
        ("BRANN", brannock, "name"),
        ("brannokc", brannock, "name"),
        ("barnnock painting", brannock, "name"),
        ("Lena Painter", "Lena Painter", "name"),
        ("painter lena", "Lena Painter", "name"),
        ("angstrom zoe", "Zoë Ångström", "name"),
        ("בן דוד", "יעל בן-דוד", "name"),
        ("(303) 555-0142", brannock, "phone"),
        ("+1 303 555 0142", brannock, "phone"),
        ("011 44 20 7946 0018", "Zoë Ångström", "phone"),
        ("555-0143", "The Brannigan Group", "phone_last_seven"),
        ("0142 brannock", brannock, "phone_last_four"),
        ("brannokc 0142", brannock, "phone_last_four"),
        ("0142 lena", "Lena Paulsen", "phone_last_four"),
        ("second coat", brannock, "job"),
        ("harbor murla", "Zoë Ångström", "job"),
    ] {
        let found = find(&clerk, text);
        assert_eq!(names(&found).first(), Some(&first), "{text}: {found:#}");
        assert_eq!(found["items"][0]["found_by"], by, "{text}");
    }
    // Both phones end in these seven digits.
    assert_eq!(names(&find(&clerk, "555 0142")).len(), 2);
    let hit = &find(&clerk, "brannock")["items"][0];
    assert_eq!(hit["phone_ends"], "0142");
    assert_eq!(hit["jobs"], json!(["Lobby, second coat"]));
    assert_eq!(hit["store"]["name"], "North Quay");
    for nothing in ["quillfeather", "— & !", "\0", "%_\\", "303 555 0199"] {
        assert!(names(&find(&clerk, nothing)).is_empty(), "{nothing:?}");
    }
}

#[test]
fn a_new_name_and_a_new_job_label_are_found_and_the_old_ones_are_not() {
    let server = Server::start();
    let clerk = server.clerk(&server.store("North Quay"));
    let id = new_id();
    let job = new_id();
    let new = json!({
        "id": id, "kind": "person", "name": "Odile Tamm", "jobs": [{ "id": job, "label": "Veranda" }],
    });
    clerk.post("/customers", new).is(201);
    let path = format!("/customers/{id}");
    clerk
        .patch(&path, 1, json!({ "name": "Wren Vasquel" }))
        .is(200);
    clerk
        .patch(&format!("/jobs/{job}"), 1, json!({ "label": "Pantry" }))
        .is(200);
    assert!(names(&find(&clerk, "odile tamm")).is_empty());
    assert!(names(&find(&clerk, "veranda")).is_empty());
    assert_eq!(names(&find(&clerk, "vasquel")), ["Wren Vasquel"]);
    assert_eq!(names(&find(&clerk, "pantry")), ["Wren Vasquel"]);
}

/// A match of the customer, as bare as the schema allows; gives its label code.
fn matched(server: &Server, customer: &str) -> LabelCode {
    let id: MatchId = new_id().parse().unwrap();
    let label = LabelCode::from(id);
    let [product, sheen, sample] = [new_id(), new_id(), new_id()];
    let compact = label.compact();
    server.sql(&format!(
        "INSERT INTO product (id, name, carrier) VALUES ('{product}', '{product}', 'water');
         INSERT INTO sheen (id, product_id, word, gloss60_min, gloss60_max) VALUES ('{sheen}', '{product}', 'flat', 0, 5);
         INSERT INTO measurement (id, start_nm, step_nm, reflectance, as_read, read_as, ends_extended, readings, made_by, store_id)
         SELECT '{sample}', 400, 10, '{{0.5,0.5}}', '{{0.5,0.5}}', 'fraction', false, 1, created_by, store_id
         FROM customer WHERE id = '{customer}';
         INSERT INTO match (id, label_code, customer_id, product_id, sheen_id, store_id, sample_id, made_by, made_at)
         SELECT '{id}', '{compact}', id, '{product}', '{sheen}', store_id, '{sample}', created_by, now()
         FROM customer WHERE id = '{customer}'"
    ));
    label
}

#[test]
fn a_label_code_finds_its_customer_and_a_slip_in_it_is_named() {
    let server = Server::start();
    let clerk = server.clerk(&server.store("North Quay"));
    let customer = add(&clerk, "person", "Odile Tamm", "303 555 0142", "Porch");
    add(&clerk, "person", "Rufus Ekdal", "303 555 0143", "Porch");
    let label = matched(&server, &customer);
    let compact = label.compact();
    for text in [
        label.to_string(),
        compact.clone(),
        compact.to_lowercase(),
        format!(" {} {} {} ", &compact[..5], &compact[5..10], &compact[10..]),
    ] {
        let found = find(&clerk, &text);
        assert_eq!(names(&found), ["Odile Tamm"], "{text}");
        assert_eq!(found["items"][0]["found_by"], "label_code");
        assert_eq!(found["items"][0]["matches"], 1);
        assert!(found.get("did_you_mean").is_none());
    }
    let letters: Vec<char> = compact.chars().collect();
    for place in 0..letters.len() {
        let mut wrong = letters.clone();
        wrong[place] = if wrong[place] == '7' { '8' } else { '7' };
        let mut slips = vec![wrong];
        if place > 0 && letters[place] != letters[place - 1] {
            let mut swapped = letters.clone();
            swapped.swap(place - 1, place);
            slips.push(swapped);
        }
        for slip in slips {
            let text: String = slip.iter().collect();
            let found = find(&clerk, &text);
            assert_eq!(found["did_you_mean"], json!([label.to_string()]), "{text}");
            assert!(names(&found).is_empty(), "{text}");
        }
    }
}

#[test]
fn a_question_that_is_none_is_refused() {
    let server = Server::start();
    let clerk = server.clerk(&server.store("North Quay"));
    let long = format!("q={}", "n".repeat(201));
    for bad in [
        "",
        "q=",
        &long,
        "q=a&limit=0",
        "q=a&limit=21",
        "q=a&page=2",
        "q=a&q=b",
    ] {
        clerk
            .get(&format!("/customers/find?{bad}"))
            .refused(400, "bad-request");
    }
    clerk
        .get(&format!("/customers/find?q={}", "n".repeat(200)))
        .is(200);
    server
        .contractor()
        .get("/customers/find?q=tamm")
        .refused(403, "not-allowed");
    server
        .anybody()
        .get("/customers/find?q=tamm")
        .refused(401, "not-logged-in");
}

/// Numbers that are the same in every run (xorshift64*, Vigna 2016).
struct Dice(u64);

impl Dice {
    fn below(&mut self, limit: usize) -> usize {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        let drawn = self.0.wrapping_mul(0x2545_f491_4f6c_dd1d) >> 33;
        usize::try_from(drawn).unwrap() % limit
    }

    fn of<'a>(&mut self, list: &[&'a str]) -> &'a str {
        list[self.below(list.len())]
    }

    fn word(&mut self, syllables: usize) -> String {
        let mut word = String::new();
        for _ in 0..syllables {
            word.push_str(self.of(&[
                "b", "br", "c", "d", "dr", "f", "g", "gr", "h", "k", "l", "m", "n", "p", "qu", "r",
                "s", "st", "t", "tr", "v", "w",
            ]));
            word.push_str(self.of(&["a", "e", "i", "o", "u", "ea", "oo"]));
            word.push_str(self.of(&["", "n", "r", "l", "s", "t", "nd", "ck", "m"]));
        }
        let first = word.remove(0).to_ascii_uppercase();
        format!("{first}{word}")
    }

    /// A customer's kind and name: people with a first name that others share, companies with trade words.
    fn customer(&mut self, firsts: &[String]) -> (&'static str, String) {
        let first = firsts[self.below(firsts.len())].clone();
        let last = self.word(2);
        match self.below(10) {
            0..6 => ("person", format!("{first} {last}")),
            6 => {
                let middle = firsts[self.below(firsts.len())].clone();
                ("person", format!("{first} {middle} {last}"))
            }
            7 => ("company", format!("{last} & Sons Painting")),
            8 => ("company", format!("The {last} Group, LLC")),
            _ => {
                let second = self.word(2);
                ("company", format!("{last} {second} Interiors Inc."))
            }
        }
    }

    /// One slip of the kinds that a keyboard brings: swap, drop, double, neighbor key.
    fn misspelled(&mut self, name: &str) -> String {
        let mut letters: Vec<char> = name.to_lowercase().chars().collect();
        let kind = self.below(4);
        loop {
            let place = self.below(letters.len() - 1);
            let (letter, next) = (letters[place], letters[place + 1]);
            if !letter.is_alphabetic() || kind == 0 && (!next.is_alphabetic() || next == letter) {
                continue;
            }
            match kind {
                0 => letters.swap(place, place + 1),
                1 => drop(letters.remove(place)),
                2 => letters.insert(place, letter),
                _ => letters[place] = self.neighbor(letter),
            }
            return letters.into_iter().collect();
        }
    }

    /// A key beside it on a QWERTY keyboard.
    fn neighbor(&mut self, letter: char) -> char {
        let (row, place) = ["qwertyuiop", "asdfghjkl", "zxcvbnm"]
            .iter()
            .find_map(|row| Some((*row, row.find(letter)?)))
            .unwrap();
        let beside: Vec<char> = [place.checked_sub(1), Some(place + 1)]
            .into_iter()
            .flatten()
            .filter_map(|place| row.chars().nth(place))
            .collect();
        beside[self.below(beside.len())]
    }
}

/// The gate of the design: of 200 misspellings at least 95 % find the right customer within the first five.
#[test]
fn misspelled_names_find_their_customers() {
    const CUSTOMERS: usize = 5_000;
    const MISSPELLINGS: usize = 200;
    let server = Server::start();
    let store = server.store("North Quay");
    let clerk = server.clerk(&store);
    let mut dice = Dice(0x5ec0_dca4);
    let firsts: Vec<String> = (0..300)
        .map(|_| dice.word(1 + dice.0 as usize % 2))
        .collect();
    let mut seen = HashSet::new();
    let mut customers = Vec::new();
    while customers.len() < CUSTOMERS {
        let (kind, name) = dice.customer(&firsts);
        let folded = match kind {
            "person" => fold_person(&name),
            _ => fold_company(&name),
        };
        if seen.insert(folded.clone()) {
            customers.push((new_id(), kind, name, folded));
        }
    }
    let clerk_id = &clerk.id;
    let [mut records, mut names] = [Vec::new(), Vec::new()];
    for (id, kind, name, folded) in &customers {
        records.push(format!(
            "('{id}', '{kind}', '{name}', '{store}', '{clerk_id}')"
        ));
        names.push(format!("('{id}', '{folded}')"));
    }
    server.sql(&format!(
        "INSERT INTO customer (id, kind, name, store_id, created_by) VALUES {};
         INSERT INTO customer_name (customer_id, folded) VALUES {};
         ANALYZE customer_name",
        records.join(","),
        names.join(","),
    ));

    let mut missed = Vec::new();
    for _ in 0..MISSPELLINGS {
        let (id, _, name, _) = &customers[dice.below(CUSTOMERS)];
        let typed = dice.misspelled(name);
        let found = find(&clerk, &typed);
        let items = found["items"].as_array().unwrap();
        if !items.iter().take(5).any(|item| item["id"] == *id) {
            missed.push(format!("{typed} ({name})"));
        }
    }
    let found = MISSPELLINGS - missed.len();
    println!(
        "{found} of {MISSPELLINGS} misspellings found within the first five; missed: {missed:?}"
    );
    assert!(found * 100 >= MISSPELLINGS * 95, "{missed:?}");
}
