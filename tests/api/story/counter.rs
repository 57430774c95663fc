//! What clerks do: record, find, tint, reuse.

use regex::Regex;
use serde_json::Value;

use crate::desk::{Desk, Labelled, items, labelled, measured, text, with_two_swapped};
use crate::{ANOTHER, NEIGHBOR, PAINTER};

impl Desk {
    pub(crate) fn records_the_lobby(&self) -> Labelled {
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

    pub(crate) fn records_the_front_door(&self) -> Labelled {
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

    pub(crate) fn draws_the_lobby_down(&self, lobby: &Labelled) {
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
        // What nobody typed stands in the file.
        let read = &kept["measurement"]["read"];
        assert_eq!(
            (&read["geometry"], &read["specular"], &read["backing"]),
            (&"d:8".into(), &"included".into(), &"black".into())
        );
        assert_eq!(read["readings"], 3);
        assert_eq!(read["file"]["format"], "csv_long");
        assert_eq!(
            read["file"]["tags"][0],
            serde_json::json!({ "name": "read by", "value": "the yard shift" })
        );
        let apart = kept["de2000_from_wanted"].as_f64().unwrap();
        assert!((0.05..0.5).contains(&apart), "ΔE00 {apart}");
    }
}

impl Desk {
    pub(crate) fn finds_the_customer_by_a_misspelled_name(&self) {
        let found = self.does(&["customer", "find", "Branock and Doughters"]);
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

    pub(crate) fn finds_the_match_by_name_and_job(&self, lobby: &Labelled) {
        let found = self.does(&["match", "find", "brannok", "lobby"]);
        assert_eq!(items(&found)[0]["label_code"], lobby.label.as_str());
    }

    pub(crate) fn is_told_of_a_mistyped_label_and_corrects_it(&self, lobby: &Labelled) {
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

    pub(crate) fn nearest(&self, file: &str) -> Value {
        self.does(&["nearest", "--spectrum", &measured(file), "--limit", "3"])
    }

    pub(crate) fn finds_the_chip_s_own_match_not_yet_verified(&self, lobby: &Labelled) {
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

    pub(crate) fn sees_the_lobby_verified(&self, lobby: &Labelled) {
        let answer = self.nearest("lobby-chip.csv");
        let first = &answer["results"][0];
        assert_eq!(first["label_code"], lobby.label.as_str());
        assert_eq!(first["basis"], "drawdown");
        assert_eq!(first["verified"], true);
        assert_eq!(first["made_by"]["name"], "Tomas Reyk");
        // Far away, and still the next one: the red door is no answer for a blue-green wall.
        let last = &answer["results"][1];
        assert!(last["de2000"].as_f64().unwrap() > 20.0, "{last}");
    }

    /// What is written for people, in the trade's words. Codes, ids and times differ from run to run.
    pub(crate) fn is_shown_the_same_as_ever(&self, lobby: &Labelled) {
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

    pub(crate) fn everything_known_of(&self, lobby: &Labelled) -> [Value; 3] {
        [
            self.does(&["match", "show", &lobby.label]),
            self.does(&["tint", "list", &lobby.label]),
            self.does(&["reorder", "list", "--match", &lobby.label]),
        ]
    }
}

impl Desk {
    pub(crate) fn places_a_reorder(&self, lobby: &Labelled) -> String {
        let placed = self.does(&["reorder", "place", &lobby.label, "--size", "gallon"]);
        assert_eq!(placed["state"], "placed");
        assert_eq!(placed["store"]["name"], "South Gate");
        // Proven by a drawdown, and no can of it was bad: nothing to warn of.
        assert_eq!(placed["warnings"], serde_json::json!([]));
        text(&placed, "id").to_owned()
    }

    pub(crate) fn tints_it_with_lots(&self, order: &str, lobby: &Labelled) {
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

    pub(crate) fn cannot_hand_out_what_is_picked_up_elsewhere(&self, order: &str) {
        let refused = self.ends(3, &["reorder", "advance", order]);
        assert_eq!(refused["error"]["code"], "not-allowed");
    }

    pub(crate) fn hands_it_over(&self, order: &str) {
        for state in ["ready", "picked_up"] {
            assert_eq!(self.does(&["reorder", "advance", order])["state"], state);
        }
        // It is gone; there is nothing left to cancel.
        let refused = self.ends(5, &["reorder", "cancel", order]);
        assert_eq!(refused["error"]["code"], "state-conflict");
    }

    pub(crate) fn finds_the_order_among_those_placed(&self, order: &str) {
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

impl Desk {
    pub(crate) fn reuses_the_lobby_for_another_customer(&self, lobby: &Labelled) -> Labelled {
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
