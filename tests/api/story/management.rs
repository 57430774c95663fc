//! What admin, manager and color lead do.

use std::time::{Duration, Instant};

use crate::desk::{Desk, Labelled, items};

impl Desk {
    pub(crate) fn adds_stores(&self, names: &[&str]) {
        for name in names {
            self.does(&["store", "add", name, "--region", "US"]);
        }
        let stores = self.does(&["store", "list"]);
        assert_eq!(items(&stores).len(), names.len());
    }

    pub(crate) fn puts_paint_on_the_shelf(&self) {
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

    pub(crate) fn links(&self, contractor: &Self, customer: &str) {
        self.does(&["person", "link", contractor.login, customer]);
    }

    pub(crate) fn suspends(&self, clerk: &Self) {
        clerk.does(&["whoami"]);
        self.does(&["person", "suspend", clerk.login]);
        let suspended = Instant::now();
        // Not by and by: the very next thing she asks is refused.
        clerk.ends(3, &["match", "find", "brannock"]);
        assert!(suspended.elapsed() < Duration::from_secs(10));
        clerk.is_not_let_in();
    }

    pub(crate) fn reads_that_south_opened_north_s_match(&self, lobby: &Labelled) {
        let log = self.does(&["access-log"]);
        assert!(
            items(&log)
                .iter()
                .any(|row| row["act"] == "match-opened" && row["entity_id"] == lobby.id.as_str()),
            "{log}"
        );
    }
}
