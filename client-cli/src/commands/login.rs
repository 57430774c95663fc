//! `login`, `claim`, `password`, `logout`, `whoami`. Passwords and tokens come by prompt or stdin, never as arguments.

use std::io::{self, BufRead as _, IsTerminal as _, Read as _, Write as _};

use formula::id::{SessionId, StoreId};
use formula::naming::{LoginName, PersonName};
use formula::wire::v1::{ClaimRequest, LoginRequest, Named, PasswordRequest, Store, WhoAmI};
use serde::Serialize;

use super::Run;
use crate::exit::{Exit, Failure};
use crate::reference;

/// Secrets are short; more on stdin is a mistake.
const MAX_STDIN: u64 = 4096;

/// Log in; the password is asked for, or read from stdin
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  secondcan login --login odile --store \"North Quay\"")]
pub(crate) struct Login {
    /// The login name; asked for when left out
    #[arg(long, value_name = "NAME")]
    login: Option<String>,
    /// Read the password from the first line of stdin
    #[arg(long, requires = "login")]
    password_stdin: bool,
    /// The store at whose counter you stand: name or id
    #[arg(long, value_name = "STORE")]
    store: Option<String>,
}

/// Choose a password by a one-time token
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:\n  secondcan claim\n  \
    secondcan claim --token-stdin --password-stdin < token-and-password.txt\n\n\
    With both from stdin, the token stands on the first line and the password on the second.\n\
    --login and --name belong to the token of `secondcan-server admin init` only.")]
pub(crate) struct Claim {
    /// Read the token from stdin
    #[arg(long)]
    token_stdin: bool,
    /// Read the password from stdin
    #[arg(long)]
    password_stdin: bool,
    /// The first admin's login name
    #[arg(long, value_name = "NAME", requires = "name")]
    login: Option<LoginName>,
    /// The first admin's name as others read it
    #[arg(long, value_name = "NAME", requires = "login")]
    name: Option<PersonName>,
}

/// Change your own password; your sessions elsewhere end
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:\n  secondcan password\n  \
    secondcan password --passwords-stdin < old-and-new.txt\n\n\
    On stdin the password in force stands on the first line and the new one on the second.")]
pub(crate) struct Password {
    /// Read both passwords from stdin
    #[arg(long)]
    passwords_stdin: bool,
}

/// End the session and forget the login
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  secondcan logout")]
pub(crate) struct Logout {}

/// Who is logged in, and at which store
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  secondcan whoami")]
pub(crate) struct Whoami {}

#[derive(Serialize)]
struct LoggedIn<'a> {
    login: &'a str,
    display_name: String,
    session_id: SessionId,
    #[serde(skip_serializing_if = "Option::is_none")]
    store: Option<Named<StoreId>>,
    server: &'a str,
    saved: &'static str,
}

impl Login {
    pub(super) fn run(self, run: &Run) -> Result<Exit, Failure> {
        let remote = run.remote()?;
        let login = match self.login {
            Some(login) => login,
            None => ask_line("login name: ")?,
        };
        let password = if self.password_stdin {
            stdin_lines(1)?.remove(0)
        } else {
            ask_secret("password: ")?
        };
        let mut request = LoginRequest {
            login,
            password,
            store_id: None,
        };
        match self.store.as_deref() {
            None => {
                remote.log_in(&request)?;
            }
            Some(typed) => {
                // An id is no secret and can go with the first request; a name must be looked up, which takes a login.
                request.store_id = typed.trim().parse().ok();
                let first = remote.log_in(&request)?;
                if request.store_id.is_none() {
                    let found = remote
                        .all::<Store>("/stores")
                        .map_err(Failure::from)
                        .and_then(|all| {
                            reference::pick("store", typed, &all).map(|store| store.id)
                        });
                    let store_id = match found {
                        Ok(id) => id,
                        Err(failure) => {
                            // No half a login: the person asked to stand at a store.
                            remote.log_out()?;
                            return Err(failure);
                        }
                    };
                    request.store_id = Some(store_id);
                    if let Err(error) = remote.log_in(&request) {
                        remote.log_out()?;
                        return Err(error.into());
                    }
                    remote.end_session(&first)?;
                }
            }
        }
        let me: WhoAmI = remote.get("/auth/me")?;
        let shown = LoggedIn {
            login: me.person.login.as_str(),
            display_name: me.person.display_name.to_string(),
            session_id: me.session_id,
            store: me.store.clone(),
            server: remote.address().as_str(),
            saved: "server",
        };
        run.output().show(&shown, |screen| {
            let at = me
                .store
                .as_ref()
                .map_or(String::new(), |store| format!(" at {}", store.name));
            screen.line(format!("logged in as {}{at}", me.person.display_name));
            if at.is_empty() && me.person.stores.len() > 1 {
                screen.warn("you work at several stores: log in with --store to record anything");
            }
        })?;
        Ok(Exit::Done)
    }
}

impl Claim {
    pub(super) fn run(self, run: &Run) -> Result<Exit, Failure> {
        let remote = run.remote()?;
        let wanted = usize::from(self.token_stdin) + usize::from(self.password_stdin);
        let mut lines = if wanted > 0 {
            stdin_lines(wanted)?
        } else {
            Vec::new()
        }
        .into_iter();
        let mut next = |from_stdin: bool, prompt: &str| match lines.next() {
            Some(line) if from_stdin => Ok(line),
            _ => ask_secret(prompt),
        };
        let token = next(self.token_stdin, "one-time token: ")?;
        let password = next(
            self.password_stdin,
            "new password (15 characters or more): ",
        )?;
        if !self.password_stdin {
            repeat(&password, "run the command again; the token was not used")?;
        }
        remote.claim(&ClaimRequest {
            token: token.trim().to_owned(),
            password,
            login: self.login,
            display_name: self.name,
        })?;
        run.output()
            .show(&serde_json::json!({ "saved": "server" }), |screen| {
                screen.line("the password is set; now run `secondcan login`");
            })?;
        Ok(Exit::Done)
    }
}

impl Password {
    pub(super) fn run(self, run: &Run) -> Result<Exit, Failure> {
        let remote = run.remote()?;
        let (current, new) = if self.passwords_stdin {
            let mut lines = stdin_lines(2)?;
            let new = lines.remove(1);
            (lines.remove(0), new)
        } else {
            let current = ask_secret("password in force: ")?;
            let new = ask_secret("new password (15 characters or more): ")?;
            repeat(&new, "run the command again; nothing was changed")?;
            (current, new)
        };
        remote.change_password(&PasswordRequest { current, new })?;
        run.output()
            .show(&serde_json::json!({ "saved": "server" }), |screen| {
                screen.line("the password is changed; your sessions elsewhere have ended");
            })?;
        Ok(Exit::Done)
    }
}

impl Logout {
    pub(super) fn run(self, run: &Run) -> Result<Exit, Failure> {
        let remote = run.remote()?;
        remote.log_out()?;
        run.output()
            .show(&serde_json::json!({ "saved": "server" }), |screen| {
                screen.line("logged out");
            })?;
        Ok(Exit::Done)
    }
}

impl Whoami {
    pub(super) fn run(self, run: &Run) -> Result<Exit, Failure> {
        let remote = run.remote()?;
        let me: WhoAmI = remote.get("/auth/me")?;
        run.output().show(&me, |screen| {
            screen.bold(&me.person.display_name);
            screen.pair("login", me.person.login.as_str());
            let roles: Vec<&str> = me
                .person
                .roles
                .iter()
                .map(|role| role.human_name())
                .collect();
            screen.pair("roles", roles.join(", "));
            screen.pair(
                "store",
                me.store
                    .as_ref()
                    .map_or("none", |store| store.name.as_str()),
            );
            screen.pair("server", remote.address().as_str());
        })?;
        Ok(Exit::Done)
    }
}

/// The first lines of stdin, without their line ends.
fn stdin_lines(count: usize) -> Result<Vec<String>, Failure> {
    let mut text = String::new();
    io::stdin()
        .lock()
        .take(MAX_STDIN)
        .read_to_string(&mut text)
        .map_err(|error| Failure::bad("stdin", format!("stdin can't be read: {error}")))?;
    let lines: Vec<String> = text.lines().take(count).map(str::to_owned).collect();
    if lines.len() < count || lines.iter().any(String::is_empty) {
        return Err(Failure::bad(
            "stdin",
            format!("stdin holds fewer than {count} lines that are not empty"),
        )
        .remedy("give the secrets on stdin, one a line"));
    }
    Ok(lines)
}

fn no_terminal() -> Failure {
    Failure::bad("stdin", "there is no terminal to ask at").remedy(
        "give the secrets on stdin: login --login NAME --password-stdin, claim --token-stdin --password-stdin, \
         password --passwords-stdin",
    )
}

fn ask_line(prompt: &str) -> Result<String, Failure> {
    if !io::stdin().is_terminal() {
        return Err(no_terminal());
    }
    let mut line = String::new();
    write!(io::stderr(), "{prompt}")
        .and_then(|()| io::stdin().lock().read_line(&mut line))
        .map_err(|error| Failure::machine("asking at the terminal", &error))?;
    let line = line.trim().to_owned();
    if line.is_empty() {
        return Err(Failure::bad("login", "no login name was typed"));
    }
    Ok(line)
}

/// Asks for the password once more: nobody sees what is typed.
fn repeat(password: &str, remedy: &str) -> Result<(), Failure> {
    if ask_secret("the same again: ")? == password {
        return Ok(());
    }
    Err(Failure::bad("password", "the two passwords differ").remedy(remedy))
}

fn ask_secret(prompt: &str) -> Result<String, Failure> {
    if !io::stdin().is_terminal() {
        return Err(no_terminal());
    }
    rpassword::prompt_password(prompt)
        .map_err(|error| Failure::machine("asking at the terminal", &error))
}
