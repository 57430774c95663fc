//! The chain with its server, the people at their desks, and what is read there.

use harness::cluster::workspace;
use harness::process::{Cli, Server, ServerPlan};
use serde_json::Value;

/// Of every login; long, and in no list of passwords that are tried first.
const PASSWORD: &str = "eleven quiet brushes dry";
const ANOTHER_PASSWORD: &str = "nine loud rollers soaking";

pub(crate) struct Chain {
    pub(crate) plan: ServerPlan,
    pub(crate) server: Server,
}

/// A person at a terminal.
pub(crate) struct Desk {
    pub(crate) login: &'static str,
    pub(crate) cli: Cli,
}

/// A match as its label names it.
pub(crate) struct Labelled {
    pub(crate) id: String,
    pub(crate) label: String,
    pub(crate) revision: String,
}

impl Chain {
    /// Before the first start, whoever looks after the machine asks for the token of the first admin.
    pub(crate) fn opens_its_server() -> (Self, String) {
        let plan = ServerPlan::embedded();
        let output = plan.command(&["admin", "init"]).output().unwrap();
        let errors = String::from_utf8_lossy(&output.stderr);
        assert!(output.status.success(), "admin init: {errors}");
        let said = String::from_utf8(output.stdout).unwrap();
        let token = said.lines().next().unwrap().to_owned();
        let server = plan.serve();
        (Self { plan, server }, token)
    }

    pub(crate) fn closes_and_opens_again(self) -> Self {
        let Self { plan, server } = self;
        assert!(server.interrupt().success());
        let server = plan.serve();
        Self { plan, server }
    }

    pub(crate) fn the_first_admin_claims_the_chain(&self, token: &str) -> Desk {
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
    pub(crate) fn somebody_starts(
        &self,
        admin: &Desk,
        login: &'static str,
        name: &str,
        role: &str,
        stores: &[&str],
    ) -> Desk {
        let mut add = vec!["person", "add", login, "--name", name, "--role", role];
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

    pub(crate) fn somebody_is_back(&self, login: &'static str, store: Option<&str>) -> Desk {
        let desk = self.desk(login);
        desk.logs_in(store);
        desk
    }

    pub(crate) fn nobody_lets_in(&self, login: &'static str) {
        self.desk(login).is_not_let_in();
    }

    pub(crate) fn desk(&self, login: &'static str) -> Desk {
        Desk {
            login,
            cli: Cli::of(&self.server),
        }
    }
}

impl Desk {
    #[track_caller]
    pub(crate) fn logs_in(&self, store: Option<&str>) {
        let mut login = vec!["login", "--login", self.login, "--password-stdin"];
        if let Some(store) = store {
            login.extend(["--store", store]);
        }
        self.whispers(0, &login, &[PASSWORD]);
    }

    /// There and back, so that the desk's other steps need not know. The session it is done in goes on, a session
    /// at another desk ends.
    pub(crate) fn changes_the_password(&self, elsewhere: &Self) {
        let change = ["password", "--passwords-stdin"];
        self.whispers(2, &change, &[ANOTHER_PASSWORD, PASSWORD]);
        self.whispers(2, &change, &[PASSWORD, "short"]);
        elsewhere.does(&["whoami"]);
        self.whispers(0, &change, &[PASSWORD, ANOTHER_PASSWORD]);
        self.does(&["whoami"]);
        elsewhere.ends(3, &["whoami"]);
        elsewhere.is_not_let_in();
        self.whispers(0, &change, &[ANOTHER_PASSWORD, PASSWORD]);
    }

    #[track_caller]
    pub(crate) fn is_not_let_in(&self) {
        self.whispers(
            3,
            &["login", "--login", self.login, "--password-stdin"],
            &[PASSWORD],
        );
    }

    /// Gives secrets where nobody reads them: on stdin.
    #[track_caller]
    pub(crate) fn whispers(&self, code: i32, arguments: &[&str], secrets: &[&str]) {
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
    pub(crate) fn does(&self, arguments: &[&str]) -> Value {
        self.ends(0, arguments)
    }

    /// Does what ends with another exit code, and gives the document.
    #[track_caller]
    pub(crate) fn ends(&self, code: i32, arguments: &[&str]) -> Value {
        let all = [arguments, &["--json"]].concat();
        self.cli.run(&all).expect_code(code).json()
    }

    /// What a person reads.
    #[track_caller]
    pub(crate) fn reads(&self, arguments: &[&str]) -> String {
        self.cli.run(arguments).expect_code(0).stdout
    }
}

/// A measured file of tests/fixtures.
pub(crate) fn measured(file: &str) -> String {
    let path = workspace().join("tests/fixtures").join(file);
    path.to_str().unwrap().to_owned()
}

pub(crate) fn text<'a>(value: &'a Value, field: &str) -> &'a str {
    value[field]
        .as_str()
        .unwrap_or_else(|| panic!("no text {field} in {value}"))
}

pub(crate) fn items(value: &Value) -> &[Value] {
    value["items"]
        .as_array()
        .unwrap_or_else(|| panic!("no items in {value}"))
}

pub(crate) fn labelled(recorded: &Value) -> Labelled {
    assert_eq!(recorded["saved"], "server");
    Labelled {
        id: text(recorded, "id").to_owned(),
        label: text(recorded, "label_code").to_owned(),
        revision: text(&recorded["revisions"][0], "id").to_owned(),
    }
}

/// The label with two neighbors swapped, as a hurried hand types it.
pub(crate) fn with_two_swapped(label: &str) -> String {
    let mut letters: Vec<char> = label.chars().collect();
    let at = (0..letters.len() - 1)
        .find(|&at| letters[at] != letters[at + 1] && letters[at] != '-' && letters[at + 1] != '-')
        .unwrap();
    letters.swap(at, at + 1);
    letters.into_iter().collect()
}
