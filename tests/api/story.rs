//! The main job from end to end, through real processes: a server with its own Postgres, and a CLI for each person.
//! Read the test itself first; the steps below it say how each is done.

#![expect(
    clippy::unwrap_used,
    reason = "a test stops at the first surprise, with its place"
)]

use std::time::{Duration, Instant};

use harness::cluster::workspace;
use harness::process::{Cli, Server, ServerPlan};
use regex::Regex;
use serde_json::Value;
use uuid::Uuid;

/// Of every login; long, and in no list of passwords that are tried first.
const PASSWORD: &str = "eleven quiet brushes dry";

const PAINTER: &str = "Brannock & Daughters Painting";
const NEIGHBOR: &str = "Odile Tamm";
const ANOTHER: &str = "Marisol Quist";

#[test]
fn a_match_made_at_north_quay_is_tinted_again_at_south_gate() {
    let (chain, token) = Chain::opens_its_server();
    let admin = chain.the_first_admin_claims_the_chain(&token);
    admin.adds_stores(&["North Quay", "South Gate"]);
    let north = chain.somebody_starts(&admin, "tomas", "clerk", &["North Quay"]);
    let south = chain.somebody_starts(&admin, "nadia", "clerk", &["South Gate"]);
    let manager = chain.somebody_starts(&admin, "petra", "manager", &["North Quay", "South Gate"]);
    let lead = chain.somebody_starts(&admin, "juno", "color-lead", &["North Quay"]);
    let painter = chain.somebody_starts(&admin, "brannock", "contractor", &[]);
    lead.puts_paint_on_the_shelf();

    // North Quay: a painter brings a chip for a hotel's lobby; a neighbor wants her front door.
    let lobby = north.records_the_lobby();
    let door = north.records_the_front_door();
    manager.links(&painter, PAINTER);

    // South Gate: the painter rings, badly understood; the can's label is read out, badly too.
    south.finds_the_customer_by_a_misspelled_name();
    south.finds_the_match_by_name_and_job(&lobby);
    south.is_told_of_a_mistyped_label_and_corrects_it(&lobby);
    south.finds_the_chip_s_own_match_not_yet_verified(&lobby);

    // A drawdown is measured when it is dry; then the formula is proven.
    north.draws_the_lobby_down(&lobby);
    south.sees_the_lobby_verified(&lobby);

    // The second can.
    let order = south.places_a_reorder(&lobby);
    south.tints_it_with_lots(&order, &lobby);
    north.cannot_hand_out_what_is_picked_up_elsewhere(&order);
    south.hands_it_over(&order);

    // The painter sees his own and nobody else's, and orders by himself.
    painter.sees_only_his_own(&lobby);
    painter.gets_one_answer_for_the_neighbor_s_and_for_nothing(&door);
    let own_order = painter.orders_two_gallons_at_south_gate(&lobby);
    south.finds_the_order_among_those_placed(&own_order);

    // Another customer, another sample, nearly the same color: the formula is reused.
    let cushion = south.reuses_the_lobby_for_another_customer(&lobby);
    painter.does_not_see(&cushion);
    admin.reads_that_south_opened_north_s_match(&lobby);

    south.is_shown_the_same_as_ever(&lobby);

    admin.suspends(&south);

    // A night passes: the server stops and starts again.
    let before = north.everything_known_of(&lobby);
    let chain = chain.closes_and_opens_again();
    let north = chain.somebody_is_back("tomas", Some("North Quay"));
    assert_eq!(north.everything_known_of(&lobby), before);
    chain.nobody_lets_in("nadia");
}

// ------------------------------------------------------------------ the chain

struct Chain {
    plan: ServerPlan,
    server: Server,
}

/// A person at a terminal.
struct Desk {
    login: &'static str,
    cli: Cli,
}

/// A match as its label names it.
struct Labelled {
    id: String,
    label: String,
    revision: String,
}

impl Chain {
    /// Before the first start, whoever looks after the machine asks for the token of the first admin.
    fn opens_its_server() -> (Self, String) {
        let plan = ServerPlan::embedded();
        let output = plan.command(&["admin", "init"]).output().unwrap();
        let errors = String::from_utf8_lossy(&output.stderr);
        assert!(output.status.success(), "admin init: {errors}");
        let said = String::from_utf8(output.stdout).unwrap();
        let token = said.lines().next().unwrap().to_owned();
        let server = plan.serve();
        (Self { plan, server }, token)
    }

    fn closes_and_opens_again(self) -> Self {
        let Self { plan, server } = self;
        assert!(server.interrupt().success());
        let server = plan.serve();
        Self { plan, server }
    }

    fn the_first_admin_claims_the_chain(&self, token: &str) -> Desk {
        let desk = self.desk("ilse");
        let claim = [
            "claim",
            "--token-stdin",
            "--password-stdin",
            "--login",
            "ilse",
            "--name",
            "Ilse Varga",
        ];
        desk.whispers(0, &claim, &[token, PASSWORD]);
        desk.logs_in(None);
        desk
    }

    /// The admin adds the login; its person chooses a password by the token handed over, and logs in.
    fn somebody_starts(
        &self,
        admin: &Desk,
        login: &'static str,
        role: &str,
        stores: &[&str],
    ) -> Desk {
        let name = format!("{} Ashdown", login.to_uppercase());
        let mut add = vec!["person", "add", login, "--name", &name, "--role", role];
        for store in stores {
            add.extend(["--store", store]);
        }
        let added = admin.does(&add);
        let token = added["claim"]["token"].as_str().unwrap();
        let desk = self.desk(login);
        // Nobody has a password until its person has chosen one.
        desk.is_not_let_in();
        let claim = ["claim", "--token-stdin", "--password-stdin"];
        desk.whispers(0, &claim, &[token, PASSWORD]);
        // The token is spent.
        desk.whispers(2, &claim, &[token, PASSWORD]);
        desk.logs_in(stores.first().copied());
        desk
    }

    fn somebody_is_back(&self, login: &'static str, store: Option<&str>) -> Desk {
        let desk = self.desk(login);
        desk.logs_in(store);
        desk
    }

    fn nobody_lets_in(&self, login: &'static str) {
        self.desk(login).is_not_let_in();
    }

    fn desk(&self, login: &'static str) -> Desk {
        Desk {
            login,
            cli: Cli::of(&self.server),
        }
    }
}

// ------------------------------------------------------------------ at a desk

impl Desk {
    #[track_caller]
    fn logs_in(&self, store: Option<&str>) {
        let mut login = vec!["login", "--login", self.login, "--password-stdin"];
        if let Some(store) = store {
            login.extend(["--store", store]);
        }
        self.whispers(0, &login, &[PASSWORD]);
    }

    #[track_caller]
    fn is_not_let_in(&self) {
        self.whispers(
            3,
            &["login", "--login", self.login, "--password-stdin"],
            &[PASSWORD],
        );
    }

    /// Gives secrets where nobody reads them: on stdin.
    #[track_caller]
    fn whispers(&self, code: i32, arguments: &[&str], secrets: &[&str]) {
        let lines: String = secrets.iter().map(|line| format!("{line}\n")).collect();
        let output = self
            .cli
            .run_with_input(arguments, lines.as_bytes())
            .expect_code(code);
        for secret in secrets {
            assert!(
                !format!("{output:?}").contains(secret),
                "{arguments:?} repeats a secret"
            );
        }
    }

    /// Does what must go well, and gives the document.
    #[track_caller]
    fn does(&self, arguments: &[&str]) -> Value {
        self.ends(0, arguments)
    }

    /// Does what ends with another exit code, and gives the document.
    #[track_caller]
    fn ends(&self, code: i32, arguments: &[&str]) -> Value {
        let all = [arguments, &["--json"]].concat();
        self.cli.run(&all).expect_code(code).json()
    }

    /// What a person reads.
    #[track_caller]
    fn reads(&self, arguments: &[&str]) -> String {
        self.cli.run(arguments).expect_code(0).stdout
    }
}

/// A measured file of tests/fixtures.
fn measured(file: &str) -> String {
    let path = workspace().join("tests/fixtures").join(file);
    path.to_str().unwrap().to_owned()
}

fn text<'a>(value: &'a Value, field: &str) -> &'a str {
    value[field]
        .as_str()
        .unwrap_or_else(|| panic!("no text {field} in {value}"))
}

fn items(value: &Value) -> &[Value] {
    value["items"]
        .as_array()
        .unwrap_or_else(|| panic!("no items in {value}"))
}

fn labelled(recorded: &Value) -> Labelled {
    assert_eq!(recorded["saved"], "server");
    Labelled {
        id: text(recorded, "id").to_owned(),
        label: text(recorded, "label_code").to_owned(),
        revision: text(&recorded["revisions"][0], "id").to_owned(),
    }
}

/// The label with two neighbors swapped, as a hurried hand types it.
fn with_two_swapped(label: &str) -> String {
    let mut letters: Vec<char> = label.chars().collect();
    let at = (0..letters.len() - 1)
        .find(|&at| letters[at] != letters[at + 1] && letters[at] != '-' && letters[at + 1] != '-')
        .unwrap();
    letters.swap(at, at + 1);
    letters.into_iter().collect()
}

// ------------------------------------------------------- what the chain sets up

impl Desk {
    fn adds_stores(&self, names: &[&str]) {
        for name in names {
            self.does(&["store", "add", name, "--region", "US"]);
        }
        let stores = self.does(&["store", "list"]);
        assert_eq!(items(&stores).len(), names.len());
    }

    fn puts_paint_on_the_shelf(&self) {
        let product = [
            "product",
            "add",
            "Interior wall",
            "--carrier",
            "water",
            "--sheen",
            "eggshell",
            "--sheen",
            "satin",
        ];
        self.does(&product);
        for (base, kind) in [("Deep base", "deep"), ("White base", "white")] {
            self.does(&[
                "base",
                "add",
                base,
                "--product",
                "Interior wall",
                "--kind",
                kind,
                "--room",
                "quart=850+89",
                "--room",
                "gallon=3420+355",
            ]);
        }
        for (name, pigment) in [
            ("PY42", "yellow oxide"),
            ("PR101", "red oxide"),
            ("PB15:3", "phthalocyanine blue"),
            ("PG7", "phthalocyanine green"),
            ("PBk7", "carbon black"),
        ] {
            self.does(&["colorant", "add", name, pigment]);
        }
    }

    fn links(&self, contractor: &Self, customer: &str) {
        self.does(&["person", "link", contractor.login, customer]);
    }

    fn suspends(&self, clerk: &Self) {
        clerk.does(&["whoami"]);
        self.does(&["person", "suspend", clerk.login]);
        let suspended = Instant::now();
        // Not by and by: the very next thing she asks is refused.
        clerk.ends(3, &["match", "find", "brannock"]);
        assert!(suspended.elapsed() < Duration::from_secs(10));
        clerk.is_not_let_in();
    }

    fn reads_that_south_opened_north_s_match(&self, lobby: &Labelled) {
        let log = self.does(&["access-log"]);
        assert!(
            items(&log)
                .iter()
                .any(|row| row["act"] == "match-opened" && row["entity_id"] == lobby.id.as_str()),
            "{log}"
        );
    }
}

// ------------------------------------------------------------- recording

impl Desk {
    fn records_the_lobby(&self) -> Labelled {
        self.does(&[
            "customer",
            "add",
            PAINTER,
            "--company",
            "--phone",
            "(312) 555-0142;site office",
            "--job",
            "Hotel lobby",
        ]);
        let chip = measured("lobby-chip.csv");
        let recorded = self.does(&[
            "match",
            "record",
            "--customer",
            PAINTER,
            "--job",
            "Hotel lobby",
            "--product",
            "Interior wall",
            "--sheen",
            "eggshell",
            "--spectrum",
            &chip,
            "--geometry",
            "d:8",
            "--specular",
            "included",
            "--aperture",
            "12",
            "--backing",
            "black",
            "--readings",
            "3",
            "--gloss60",
            "18",
            "--base",
            "Deep base",
            "--size",
            "gallon",
            "--shot",
            "PB15:3=18@1/48",
            "--shot",
            "PG7=22@1/48",
            "--shot",
            "PY42=9@1/96",
            "--shot",
            "PBk7=4@1/96",
        ]);
        assert_eq!(recorded["store"]["name"], "North Quay");
        assert_eq!(recorded["job"]["label"], "Hotel lobby");
        let read = &recorded["sample"]["read"];
        assert_eq!(read["geometry"], "d:8");
        assert_eq!(read["spectrum"]["start_nm"].as_f64(), Some(400.0));
        assert_eq!(read["spectrum"]["values"].as_array().unwrap().len(), 31);
        // The digits of the file, kept beside the numbers.
        assert_eq!(read["as_read"][0], "0.1938");
        // 18 shots of 1/48 US fl oz: 18/48 · 29.5735295625 ml (NIST Handbook 44, appendix C: 1 US fl oz).
        assert_eq!(recorded["revisions"][0]["shots"][0]["ml"], "11.09");
        assert_eq!(recorded["revisions"][0]["produced"]["basis"], "wanted");
        labelled(&recorded)
    }

    fn records_the_front_door(&self) -> Labelled {
        self.does(&["customer", "add", NEIGHBOR, "--phone", "312 555 0177"]);
        let door = measured("front-door.csv");
        labelled(&self.does(&[
            "match",
            "record",
            "--customer",
            NEIGHBOR,
            "--product",
            "Interior wall",
            "--sheen",
            "satin",
            "--spectrum",
            &door,
            "--base",
            "Deep base",
            "--size",
            "quart",
            "--shot",
            "PR101=30@1/48",
        ]))
    }

    fn draws_the_lobby_down(&self, lobby: &Labelled) {
        // Percent, semicolons and decimal commas: what this instrument writes.
        let drawn = measured("lobby-drawdown.csv");
        let kept = self.does(&[
            "drawdown",
            "record",
            &lobby.label,
            "--dry",
            "--spectrum",
            &drawn,
            "--aperture",
            "12",
        ]);
        assert_eq!(kept["revision_id"], lobby.revision.as_str());
        assert_eq!(kept["measurement"]["read"]["read_as"], "percent");
        assert_eq!(kept["measurement"]["read"]["as_read"][0], "19,23");
        let apart = kept["de2000_from_wanted"].as_f64().unwrap();
        assert!((0.05..0.5).contains(&apart), "ΔE00 {apart}");
    }
}

// ------------------------------------------------------------- finding

impl Desk {
    fn finds_the_customer_by_a_misspelled_name(&self) {
        let found = self.does(&["customer", "find", "Branock Painting"]);
        let first = &items(&found)[0];
        assert_eq!(first["name"], PAINTER);
        assert_eq!(first["store"]["name"], "North Quay");
        // Enough to tell one from another, and no more until opened.
        assert_eq!(first["phone_ends"], "0142");
        assert!(first.get("phones").is_none());
        let by_phone = self.does(&["customer", "find", "0142 bran"]);
        assert_eq!(items(&by_phone)[0]["name"], PAINTER);
        self.ends(1, &["customer", "find", "Zyxomma"]);
    }

    fn finds_the_match_by_name_and_job(&self, lobby: &Labelled) {
        let found = self.does(&["match", "find", "brannok", "lobby"]);
        assert_eq!(items(&found)[0]["label_code"], lobby.label.as_str());
    }

    fn is_told_of_a_mistyped_label_and_corrects_it(&self, lobby: &Labelled) {
        let mistyped = with_two_swapped(&lobby.label);
        let told = self.ends(1, &["match", "find", &mistyped]);
        let meant: Vec<&str> = told["did_you_mean"]
            .as_array()
            .unwrap()
            .iter()
            .map(|code| code.as_str().unwrap())
            .collect();
        assert_eq!(meant, [lobby.label.as_str()], "typed {mistyped}");
        // Typed again, in small letters and without the hyphens.
        let corrected = meant[0].to_lowercase().replace('-', "");
        let found = self.does(&["match", "find", &corrected]);
        let [only] = items(&found) else {
            panic!("{found}");
        };
        assert_eq!(only["id"], lobby.id.as_str());
        assert_eq!(only["found_by"], "label_code");
        let opened = self.does(&["match", "show", &corrected]);
        assert_eq!(opened["customer"]["name"], PAINTER);
    }

    fn nearest(&self, file: &str) -> Value {
        self.does(&["nearest", "--spectrum", &measured(file), "--limit", "3"])
    }

    fn finds_the_chip_s_own_match_not_yet_verified(&self, lobby: &Labelled) {
        let answer = self.nearest("lobby-chip.csv");
        let first = &answer["results"][0];
        assert_eq!(first["label_code"], lobby.label.as_str());
        assert_eq!(first["basis"], "wanted");
        assert_eq!(first["verified"], false);
        let nothing = self.ends(
            1,
            &[
                "nearest",
                "--spectrum",
                &measured("lobby-chip.csv"),
                "--verified-only",
            ],
        );
        assert_eq!(nothing["results"].as_array().unwrap().len(), 0);
    }

    fn sees_the_lobby_verified(&self, lobby: &Labelled) {
        let answer = self.nearest("lobby-chip.csv");
        let first = &answer["results"][0];
        assert_eq!(first["label_code"], lobby.label.as_str());
        assert_eq!(first["basis"], "drawdown");
        assert_eq!(first["verified"], true);
        assert_eq!(first["made_by"]["name"], "TOMAS Ashdown");
        // Far away, and still the next one: the red door is no answer for a blue-green wall.
        let last = &answer["results"][1];
        assert!(last["de2000"].as_f64().unwrap() > 20.0, "{last}");
    }

    /// What is written for people, in the trade's words. Codes, ids and times differ from run to run.
    fn is_shown_the_same_as_ever(&self, lobby: &Labelled) {
        let masked = |shown: &str| {
            let times = Regex::new(r"\d{4}-\d\d-\d\d \d\d:\d\d UTC").unwrap();
            let ids = Regex::new(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}").unwrap();
            let labels =
                Regex::new(r"\b[0-9A-HJKMNP-TV-Z]{5}-[0-9A-HJKMNP-TV-Z]{5}-[0-9A-Z]\b").unwrap();
            let shown = times.replace_all(shown, "YYYY-MM-DD HH:MM UTC");
            let shown = ids.replace_all(&shown, "00000000-0000-0000-0000-000000000000");
            labels.replace_all(&shown, "LABEL-LABEL-L").into_owned()
        };
        let shown = self.reads(&["match", "show", &lobby.label]);
        insta::assert_snapshot!("match_show", masked(&shown));
        let chip = measured("lobby-chip.csv");
        let shown = self.reads(&["nearest", "--spectrum", &chip, "--verified-only"]);
        insta::assert_snapshot!("nearest", masked(&shown));
    }

    fn everything_known_of(&self, lobby: &Labelled) -> [Value; 3] {
        [
            self.does(&["match", "show", &lobby.label]),
            self.does(&["tint", "list", &lobby.label]),
            self.does(&["reorder", "list", "--match", &lobby.label]),
        ]
    }
}

// ------------------------------------------------------------- the second can

impl Desk {
    fn places_a_reorder(&self, lobby: &Labelled) -> String {
        let placed = self.does(&["reorder", "place", &lobby.label, "--size", "gallon"]);
        assert_eq!(placed["state"], "placed");
        assert_eq!(placed["store"]["name"], "South Gate");
        // Proven by a drawdown, and no can of it was bad: nothing to warn of.
        assert_eq!(placed["warnings"], serde_json::json!([]));
        text(&placed, "id").to_owned()
    }

    fn tints_it_with_lots(&self, order: &str, lobby: &Labelled) {
        let begun = self.does(&["reorder", "advance", order]);
        assert_eq!(begun["state"], "being_tinted");
        let can = self.does(&[
            "tint",
            "record",
            "--reorder",
            order,
            "--base-lot",
            "L2417-3",
            "--lot",
            "PB15:3=C88",
        ]);
        assert_eq!(can["revision_id"], lobby.revision.as_str());
        assert_eq!(can["base_lot"], "L2417-3");
        assert_eq!(can["shots"][0]["lot"], "C88");
        assert_eq!(can["flags"], serde_json::json!([]));
        assert!(can.get("fault").is_none());
        let opened = self.does(&["match", "show", &lobby.label]);
        assert_eq!(
            (&opened["tints"], &opened["bad_tints"]),
            (&1.into(), &0.into())
        );
    }

    fn cannot_hand_out_what_is_picked_up_elsewhere(&self, order: &str) {
        let refused = self.ends(3, &["reorder", "advance", order]);
        assert_eq!(refused["error"]["code"], "not-allowed");
    }

    fn hands_it_over(&self, order: &str) {
        for state in ["ready", "picked_up"] {
            assert_eq!(self.does(&["reorder", "advance", order])["state"], state);
        }
        // It is gone; there is nothing left to cancel.
        let refused = self.ends(5, &["reorder", "cancel", order]);
        assert_eq!(refused["error"]["code"], "state-conflict");
    }

    fn finds_the_order_among_those_placed(&self, order: &str) {
        let list = self.does(&[
            "reorder",
            "list",
            "--state",
            "placed",
            "--store",
            "South Gate",
        ]);
        assert!(items(&list).iter().any(|row| row["id"] == order), "{list}");
    }
}

// ------------------------------------------------------------- the contractor

impl Desk {
    fn sees_only_his_own(&self, lobby: &Labelled) {
        let matches = self.does(&["match", "list"]);
        let [only] = items(&matches) else {
            panic!("{matches}");
        };
        assert_eq!(only["id"], lobby.id.as_str());
        let opened = self.does(&["match", "show", &lobby.label]);
        assert_eq!(opened["customer"]["name"], PAINTER);
        let customers = self.does(&["customer", "list"]);
        assert_eq!(items(&customers).len(), 1, "{customers}");
        // Searching the chain is for its staff.
        self.ends(3, &["customer", "find", NEIGHBOR]);
        self.ends(3, &["nearest", "--spectrum", &measured("lobby-chip.csv")]);
    }

    fn gets_one_answer_for_the_neighbor_s_and_for_nothing(&self, door: &Labelled) {
        let answer = |id: &str| {
            let mut said = self.ends(1, &["match", "show", id]);
            // What he typed himself, and the server's running number of the request.
            let error = said["error"].as_object_mut().unwrap();
            error.remove("value");
            error.remove("request_id");
            said
        };
        let missing = Uuid::now_v7().to_string();
        assert_eq!(answer(&door.id), answer(&missing));
        let order = |id: &str| {
            self.ends(
                1,
                &[
                    "reorder",
                    "place",
                    id,
                    "--size",
                    "quart",
                    "--store",
                    "South Gate",
                ],
            )["error"]["code"]
                .clone()
        };
        assert_eq!(order(&door.id), order(&missing));
    }

    fn orders_two_gallons_at_south_gate(&self, lobby: &Labelled) -> String {
        let placed = self.does(&[
            "reorder",
            "place",
            &lobby.label,
            "--size",
            "gallon",
            "--cans",
            "2",
            "--store",
            "South Gate",
        ]);
        assert_eq!(
            (&placed["cans"], &placed["state"]),
            (&2.into(), &"placed".into())
        );
        // Tinting is the store's work.
        self.ends(3, &["reorder", "advance", text(&placed, "id")]);
        text(&placed, "id").to_owned()
    }

    fn does_not_see(&self, other: &Labelled) {
        self.ends(1, &["match", "show", &other.id]);
        assert_eq!(items(&self.does(&["match", "list"])).len(), 1);
    }
}

// ------------------------------------------------------------- the reuse

impl Desk {
    fn reuses_the_lobby_for_another_customer(&self, lobby: &Labelled) -> Labelled {
        self.does(&["customer", "add", ANOTHER, "--phone", "312-555-0199"]);
        let answer = self.nearest("cushion.csv");
        let first = &answer["results"][0];
        assert_eq!(first["label_code"], lobby.label.as_str());
        let apart = first["de2000"].as_f64().unwrap();
        assert!((0.5..=1.0).contains(&apart), "ΔE00 {apart}");
        assert_eq!(first["verdict"], "accepted");
        assert!(text(first, "direction").contains("darker"), "{first}");
        // A color, and who made it where and when; whose it is stays with the match until it is opened.
        assert!(!answer.to_string().contains("Brannock"), "{answer}");

        let cushion = measured("cushion.csv");
        let reused = self.does(&[
            "match",
            "reuse",
            &lobby.label,
            "--customer",
            ANOTHER,
            "--spectrum",
            &cushion,
        ]);
        let revision = &reused["revisions"][0];
        assert_eq!(revision["reused_from"], lobby.revision.as_str());
        assert_eq!(reused["customer"]["name"], ANOTHER);
        assert_eq!(reused["store"]["name"], "South Gate");
        // The formula came along, the painter did not.
        assert_eq!(
            revision["shots"][0]["colorant"],
            "PB15:3 phthalocyanine blue"
        );
        assert!(!reused.to_string().contains("Brannock"), "{reused}");
        labelled(&reused)
    }
}
