//! How a store looks after its instrument.

use std::fmt::Write as _;

use serde_json::{Value, json};

use crate::desk::{Desk, items, text};

const SPHERE: &str = "Counter sphere";

/// A file with a spectrum for each tile: its name and its level.
fn tile_file(tiles: &[(&str, f64)]) -> tempfile::NamedTempFile {
    let mut file = "name".to_owned();
    for nm in (400..=700).step_by(10) {
        write!(file, ",R{nm}").unwrap();
    }
    for (name, level) in tiles {
        write!(file, "\n{name}").unwrap();
        for band in 0..31 {
            write!(file, ",{:.5}", level * (0.8 + 0.01 * f64::from(band))).unwrap();
        }
    }
    file.push('\n');
    let kept = tempfile::Builder::new().suffix(".csv").tempfile().unwrap();
    std::fs::write(kept.path(), file).unwrap();
    kept
}

fn due(shown: &Value) -> &Value {
    &shown["state"]["due"]
}

impl Desk {
    pub(crate) fn registers_an_instrument_and_its_tiles(&self) {
        let add = [
            "instrument",
            "add",
            SPHERE,
            "--model",
            "Sphere, 31 bands",
            "--serial",
            "S-7",
            "--geometry",
            "d:8",
            "--aperture",
            "12",
            "--store",
            "North Quay",
            "--white-serial",
            "W-7",
            "--white-expires",
            "2999-12-31",
        ];
        assert_eq!(self.does(&add)["warm_up_minutes"], 30);
        for (tile, hue) in [("chalk", "pale gray"), ("brick", "red")] {
            let add = [
                "instrument",
                "tile",
                "add",
                tile,
                "--hue",
                hue,
                "--store",
                "North Quay",
            ];
            self.does(&add);
        }
        assert_eq!(items(&self.does(&["instrument", "tile", "list"])).len(), 2);
        let edited = self.does(&["instrument", "tile", "edit", "chalk", "--hue", "mid-gray"]);
        assert_eq!(edited["hue"], "mid_gray");
    }

    pub(crate) fn gets_the_instrument_ready(&self) {
        let show = ["instrument", "show", SPHERE];
        let all = json!(["calibration_overdue", "black_not_read", "not_warmed_up"]);
        assert_eq!(*due(&self.does(&show)), all);
        assert!(
            self.reads(&show)
                .contains("let it warm up, or say when it was switched on")
        );

        let on = self.does(&["instrument", "switched-on", SPHERE, "--minutes-ago", "40"]);
        assert_eq!(on["state"]["switched_on_basis"], "told");
        // There is no terminal to walk through it.
        let refused = self.ends(2, &["instrument", "calibrate", SPHERE]);
        assert!(text(&refused["error"], "remedy").contains("--white and --black"));
        let white = self.reads(&["instrument", "calibrate", SPHERE, "--white"]);
        assert!(white.contains("black was not read"), "{white}");
        assert_eq!(*due(&self.does(&show)), json!(["black_not_read"]));
        self.does(&[
            "instrument",
            "calibrate",
            SPHERE,
            "--white",
            "--black",
            "--temperature",
            "22.5",
        ]);
        assert_eq!(*due(&self.does(&show)), json!([]));
        let made = self.does(&["instrument", "calibrations", SPHERE]);
        assert_eq!(items(&made).len(), 2);
    }

    pub(crate) fn verifies_the_instrument(&self) {
        let unknown = tile_file(&[("chalk", 0.8), ("jade", 0.3)]);
        let path = unknown.path().to_str().unwrap();
        self.ends(1, &["instrument", "verify", SPHERE, "--spectrum", path]);
        let none = self.does(&["instrument", "drift", SPHERE]);
        assert_eq!(
            none["readings"],
            json!([]),
            "a tile that is not known keeps the others out too"
        );

        for day in 1..=11 {
            let file = tile_file(&[
                ("chalk", 0.8),
                ("brick", 0.30 + 0.0004 * f64::from(day % 2)),
            ]);
            let path = file.path().to_str().unwrap();
            let at = format!("2026-03-{day:02}T08:00:00Z");
            self.does(&[
                "instrument",
                "verify",
                SPHERE,
                "--spectrum",
                path,
                "--temperature",
                "22",
                "--read-at",
                &at,
            ]);
        }
        let file = tile_file(&[("chalk", 0.8), ("brick", 0.32)]);
        let path = file.path().to_str().unwrap();
        let read = self.reads(&[
            "instrument",
            "verify",
            SPHERE,
            "--spectrum",
            path,
            "--temperature",
            "28",
            "--read-at",
            "2026-03-12T08:00:00Z",
        ]);
        assert!(
            read.contains("brick is beyond its action limit: calibrate"),
            "{read}"
        );
        assert!(
            read.contains(
                "brick was 6.0 °C warmer than usual, which moves such a tile by ΔE76 0.60"
            ),
            "{read}"
        );
        assert!(!read.contains("chalk is beyond"), "{read}");

        let folder = tempfile::tempdir().unwrap();
        let svg = folder.path().join("drift.svg");
        let drift = ["instrument", "drift", SPHERE, "--tile", "brick"];
        let drawn = [&drift[..], &["--plot", "--svg", svg.to_str().unwrap()]].concat();
        let screen = self.reads(&drawn);
        assert!(
            screen.contains("ΔE00 from the mean of its baseline"),
            "{screen}"
        );
        assert!(
            std::fs::read_to_string(&svg)
                .unwrap()
                .contains("brick on Counter sphere")
        );
        let told = self.does(&drift);
        let last = &told["readings"][11]["drift"];
        assert_eq!(last["standing"], "action");
        assert_eq!(last["limits"]["readings"], 11);
    }

    /// One instrument alone can't be corrected to anything.
    pub(crate) fn corrects_nothing_without_a_second_instrument(&self) {
        self.ends(2, &["instrument", "correct", "fit", SPHERE, "--to", SPHERE]);
        assert!(items(&self.does(&["instrument", "correct", "show", SPHERE])).is_empty());
        self.ends(
            1,
            &["instrument", "correct", "retire", SPHERE, "--to", SPHERE],
        );
    }
}
