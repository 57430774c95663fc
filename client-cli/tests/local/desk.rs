//! A desk of its own for each test: a folder, a home, and the real program.

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use serde_json::Value;
use tempfile::TempDir;

/// A folder to work in, and the program.
pub(crate) struct Desk {
    folder: TempDir,
}

impl Desk {
    pub(crate) fn new() -> Self {
        Self {
            folder: tempfile::tempdir().unwrap(),
        }
    }

    pub(crate) fn path(&self) -> &Path {
        self.folder.path()
    }

    pub(crate) fn file(&self, name: &str, bytes: impl AsRef<[u8]>) {
        fs::write(self.path().join(name), bytes).unwrap();
    }

    pub(crate) fn command(&self, args: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_secondcan"));
        command
            .args(args)
            .current_dir(self.path())
            .env_remove("SECONDCAN_URL")
            .env_remove("SECONDCAN_ALLOW_HTTP")
            .env_remove("NO_COLOR")
            .env("SECONDCAN_HOME", "home")
            .env("COLUMNS", "100");
        command
    }

    pub(crate) fn run(&self, args: &[&str]) -> Run {
        Run::of(&self.command(args).output().unwrap())
    }
}

/// How a run ended.
pub(crate) struct Run {
    pub(crate) code: i32,
    pub(crate) out: String,
    pub(crate) err: String,
}

impl Run {
    pub(crate) fn of(output: &Output) -> Self {
        Self {
            code: output.status.code().unwrap(),
            out: String::from_utf8(output.stdout.clone()).unwrap(),
            err: String::from_utf8(output.stderr.clone()).unwrap(),
        }
    }

    /// The one document on stdout.
    pub(crate) fn json(&self) -> Value {
        serde_json::from_str(&self.out).unwrap_or_else(|error| panic!("{error}: {}", self.out))
    }
}

pub(crate) fn wavelengths() -> impl Iterator<Item = u16> {
    (400..=700).step_by(10)
}

/// A wide file of samples, each of one value throughout.
pub(crate) fn flat(samples: &[(&str, f64)]) -> String {
    let mut text = "name".to_owned();
    for nm in wavelengths() {
        text += &format!(",R{nm}");
    }
    text.push('\n');
    for (name, value) in samples {
        text += name;
        for _ in wavelengths() {
            text += &format!(",{value}");
        }
        text.push('\n');
    }
    text
}
