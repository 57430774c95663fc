//! `unsent …`: what was typed while the server could not answer.

use std::ffi::OsString;

use serde::Serialize;
use serde_json::Value;
use time::OffsetDateTime;
use uuid::Uuid;

use super::Run;
use crate::args;
use crate::exit::{Exit, Failure};
use crate::output::{Table, time_text};
use crate::remote::{Remote, Write};
use crate::unsent::{Kept, Typed, Unsent as Folder, Waiting};

/// `unsent`.
#[derive(Debug, clap::Subcommand)]
pub(crate) enum Unsent {
    /// What waits on this machine
    #[command(after_help = "Example:\n  secondcan unsent list")]
    List,
    /// Send it again, all or one; what was saved already is not saved twice
    #[command(after_help = "Examples:\n  secondcan unsent send\n  \
        secondcan unsent send 3f2b8c1e-6a4d-4e0b-9f37-1c5d8e7a2b60")]
    Send {
        /// Which one; all, the oldest first, when left out
        id: Option<Uuid>,
    },
    /// Forget one that is not wanted any more
    #[command(
        after_help = "Example:\n  secondcan unsent drop 3f2b8c1e-6a4d-4e0b-9f37-1c5d8e7a2b60"
    )]
    Drop {
        /// Which one
        id: Uuid,
    },
}

#[derive(Serialize)]
struct Row {
    id: Uuid,
    what: String,
    server: Option<String>,
    login: Option<String>,
    #[serde(with = "time::serde::rfc3339")]
    kept_at: OffsetDateTime,
}

#[derive(Serialize)]
struct Rows {
    items: Vec<Row>,
}

#[derive(Serialize)]
struct Sent {
    id: Uuid,
    what: String,
    #[serde(skip_serializing_if = "Value::is_null")]
    answer: Value,
    saved: &'static str,
}

#[derive(Serialize)]
struct AllSent {
    items: Vec<Sent>,
}

impl Unsent {
    pub(super) fn run(self, run: &Run) -> Result<Exit, Failure> {
        let folder = Folder::in_home(run.home());
        match self {
            Self::List => list(run, &folder),
            Self::Send { id: None } => {
                let mut items = Vec::new();
                for waiting in folder.all()? {
                    match waiting {
                        Waiting::Request(kept) => items.push(send(run, &folder, kept)?),
                        Waiting::Typed(typed) => run.output().say(&format!(
                            "{} never became a request: send it by itself with `secondcan unsent send {}`",
                            typed.what, typed.key
                        )),
                    }
                }
                let all = AllSent { items };
                run.output().show(&all, |screen| {
                    for sent in &all.items {
                        screen.line(format!("saved: {}", sent.what));
                    }
                    if all.items.is_empty() {
                        screen.line("nothing to send");
                    }
                })?;
                Ok(Exit::Done)
            }
            Self::Send { id: Some(id) } => match find(&folder, id)? {
                Waiting::Request(kept) => {
                    let sent = send(run, &folder, kept)?;
                    run.output().show(&sent, |screen| {
                        screen.line(format!("saved: {}", sent.what));
                    })?;
                    Ok(Exit::Done)
                }
                Waiting::Typed(typed) => again(run, &folder, &typed),
            },
            Self::Drop { id } => {
                let waiting = find(&folder, id)?;
                folder.forget(id)?;
                run.output()
                    .show(&serde_json::json!({ "id": id }), |screen| {
                        screen.line(format!("forgotten: {}", waiting.what()));
                    })?;
                Ok(Exit::Done)
            }
        }
    }
}

fn find(folder: &Folder, id: Uuid) -> Result<Waiting, Failure> {
    folder
        .all()?
        .into_iter()
        .find(|waiting| waiting.key() == id)
        .ok_or_else(|| {
            Failure::nothing("id", "nothing of that id waits here")
                .value(id.to_string())
                .remedy("look with `secondcan unsent list`")
        })
}

fn list(run: &Run, folder: &Folder) -> Result<Exit, Failure> {
    let items = folder
        .all()?
        .iter()
        .map(|waiting| Row {
            id: waiting.key(),
            what: waiting.what().to_owned(),
            server: waiting.server().map(str::to_owned),
            login: waiting.login().map(str::to_owned),
            kept_at: waiting.kept_at(),
        })
        .collect();
    let rows = Rows { items };
    run.output().show(&rows, |screen| {
        let mut table = Table::new(&["kept", "what", "by", "id"]);
        for row in &rows.items {
            table.row([
                time_text(row.kept_at),
                row.what.clone(),
                row.login.clone().unwrap_or_default(),
                row.id.to_string(),
            ]);
        }
        if table.is_empty() {
            screen.line("nothing waits to be sent");
        } else {
            screen.table(&table);
        }
    })?;
    Ok(Exit::Done)
}

/// Acts are under the person's own name, at the server they were meant for.
fn check_person(remote: &Remote, server: Option<&str>, login: Option<&str>) -> Result<(), Failure> {
    if let Some(server) = server
        && server != remote.address().as_str()
    {
        return Err(Failure::bad("server", "this was meant for another server")
            .value(server)
            .remedy("name that server with --server"));
    }
    let now = remote.login_name();
    match (login, now) {
        (Some(then), Some(now)) if then != now => Err(Failure::new(
            Exit::NotAllowed,
            "not-allowed",
            "this was typed under another login",
        )
        .field("login")
        .value(then)
        .remedy("log in as that person, then send it")),
        _ => Ok(()),
    }
}

fn send(run: &Run, folder: &Folder, kept: Kept) -> Result<Sent, Failure> {
    let remote = run.remote()?;
    check_person(&remote, Some(&kept.server), kept.login.as_deref())?;
    let (id, what) = (kept.key, kept.what.clone());
    let answer = remote
        .send_again(&Write::again(kept))
        .map_err(|error| Failure::from(error).still_kept(id.to_string()))?;
    folder.forget(id)?;
    Ok(Sent {
        id,
        what,
        answer,
        saved: "server",
    })
}

/// Runs a command line that never became a request, in the folder it was typed in. It is forgotten once it is done, or
/// once a request of its own is kept in its place.
fn again(run: &Run, folder: &Folder, typed: &Typed) -> Result<Exit, Failure> {
    std::env::set_current_dir(&typed.folder).map_err(|error| {
        Failure::bad(
            "folder",
            format!("the folder it was typed in can't be entered: {error}"),
        )
        .value(typed.folder.display().to_string())
        .still_kept(typed.key.to_string())
    })?;
    if let Ok(remote) = run.remote() {
        check_person(&remote, None, typed.login.as_deref())?;
    }
    match args::run_kept(&typed.args, run) {
        Ok(exit) => {
            folder.forget(typed.key)?;
            Ok(exit)
        }
        Err(failure) if failure.is_kept() => {
            folder.forget(typed.key)?;
            Err(failure)
        }
        Err(failure) => Err(failure.still_kept(typed.key.to_string())),
    }
}

/// Keeps a command line whose names could not even be looked up. What came from stdin is gone, so such a one is not kept.
pub(super) fn keep_command(run: &Run, failure: Failure, args: &[OsString]) -> Failure {
    if failure.is_kept() {
        return failure;
    }
    let words: Option<Vec<String>> = args
        .iter()
        .map(|word| word.to_str().map(str::to_owned))
        .collect();
    let (Some(words), Ok(here)) = (words, std::env::current_dir()) else {
        return failure;
    };
    if words.iter().any(|word| word == "-") {
        return failure.remedy(
            "nothing was saved; what came from stdin can't be kept: save it to a file and run the command again",
        );
    }
    let login = run.remote().ok().and_then(|remote| remote.login_name());
    let typed = Typed::new(words, here, login);
    match Folder::in_home(run.home()).keep_typed(&typed) {
        Ok(()) => failure.kept(typed.key.to_string()),
        Err(second) => {
            run.output().say(second.to_string().trim_end());
            failure
        }
    }
}
