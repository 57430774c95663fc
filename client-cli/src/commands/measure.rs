//! `measure …`.

use std::io;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use color::MAX_FILE_BYTES;
use formula::id::DraftId;
use formula::wire::v1::Draft;
use serde::Serialize;

use super::Run;
use super::measure_take::{Event, Taker};
use crate::conditions::ConditionOptions;
use crate::exit::{Exit, Failure};
use crate::output::{self, plain};
use crate::remote::Remote;
use crate::spectrum_file::ReadingOptions;
use crate::watch::{Folder, Ledger, Standing, fingerprint};

/// How long requests that wait for the server are left before they are tried again.
const RETRY: Duration = Duration::from_secs(15);

/// `measure`.
#[derive(Debug, clap::Subcommand)]
pub(crate) enum Measure {
    /// Take each file that an instrument's own program drops into a folder, once, into the draft in hand
    #[command(
        after_help = "Examples:\n  secondcan measure watch Measurements --geometry d:8 --specular included\n  \
        secondcan measure watch Measurements --once --json\n\n\
        A file is taken when it has stopped changing and can be read: into the draft named, else into your latest\n\
        draft that lacks a spectrum, else into a new one. Files are never changed, moved or removed. What can't be\n\
        sent waits on this machine (`secondcan unsent list`) and is sent as soon as the server answers."
    )]
    Watch(Box<Watch>),
}

/// `measure watch`.
#[derive(Debug, clap::Args)]
pub(crate) struct Watch {
    /// The folder
    #[arg(value_name = "DIR")]
    folder: PathBuf,
    /// The draft for the first file; a draft that has a spectrum is left as it is
    #[arg(long, value_name = "ID")]
    draft: Option<DraftId>,
    /// Take what is there and end
    #[arg(long)]
    once: bool,
    /// The samples of a file are readings of one: average them
    #[arg(long)]
    average: bool,
    /// Seconds for which a file must not have changed
    #[arg(long, value_name = "SECONDS", default_value_t = 2.0, value_parser = seconds)]
    settle: f64,
    /// Seconds after which a file that can't be read, or whose last line is open, is not waited for any more
    #[arg(long, value_name = "SECONDS", default_value_t = 30.0, value_parser = seconds)]
    patience: f64,
    #[command(flatten)]
    reading: ReadingOptions,
    #[command(flatten)]
    conditions: ConditionOptions,
}

fn seconds(text: &str) -> Result<f64, String> {
    let value: f64 = text
        .parse()
        .map_err(|_| "this is not a number".to_owned())?;
    if (0.05..=3600.0).contains(&value) {
        Ok(value)
    } else {
        Err("give seconds from 0.05 to 3600".to_owned())
    }
}

#[derive(Serialize)]
struct Events {
    files: Vec<Event>,
}

impl Measure {
    pub(super) fn run(self, run: &Run) -> Result<Exit, Failure> {
        match self {
            Self::Watch(watch) => watch.run(run),
        }
    }
}

impl Watch {
    fn run(self, run: &Run) -> Result<Exit, Failure> {
        let remote = run.remote()?;
        self.check_draft(&remote)?;
        let ledger = Ledger::in_home(run.home())?;
        let mut taker = Taker::new(
            run,
            &remote,
            &ledger,
            self.draft,
            self.average,
            self.reading,
            &self.conditions,
        );
        let mut folder = Folder::new(self.folder.clone());
        // A folder that is wrong from the start is told at once; one that goes away later may come back.
        folder
            .look(Instant::now())
            .map_err(|error| unreadable(&self.folder, &error))?;
        if !self.once {
            output::say(&format!(
                "watching {}; Ctrl-C ends it",
                plain(&self.folder.display().to_string())
            ));
        }
        let settle = Duration::from_secs_f64(self.settle);
        let mut events = Vec::new();
        let mut gone = false;
        let mut tried_at: Option<Instant> = None;
        loop {
            let now = Instant::now();
            if tried_at.is_none_or(|at| now.duration_since(at) >= RETRY) {
                tried_at = Some(now);
                self.tell(run, &mut events, taker.send_kept()?)?;
            }
            let pending = match folder.look(now) {
                Ok(standing) => {
                    if gone {
                        output::say("the folder is back");
                        gone = false;
                    }
                    self.take(&mut taker, &mut folder, standing, run, &mut events)?
                }
                Err(error) if self.once => return Err(unreadable(&self.folder, &error)),
                Err(error) => {
                    if !gone {
                        output::say(unreadable(&self.folder, &error).to_string().trim_end());
                        gone = true;
                    }
                    true
                }
            };
            if self.once && !pending {
                break;
            }
            std::thread::sleep(settle.min(Duration::from_secs(1)) / 2);
        }
        let waiting = ledger.kept()?.len();
        if waiting > 0 {
            output::say(&format!(
                "{waiting} file(s) wait on this machine for the server or a login; look with `secondcan unsent list`"
            ));
        }
        let events = Events { files: events };
        run.output().show(&events, |screen| {
            if events.files.is_empty() {
                screen.line("nothing new");
            }
        })?;
        Ok(if waiting > 0 {
            Exit::NotNow
        } else {
            Exit::Done
        })
    }

    /// A draft that is not there is told at once; without the server, nobody knows.
    fn check_draft(&self, remote: &Remote) -> Result<(), Failure> {
        let Some(id) = self.draft else {
            return Ok(());
        };
        match remote.get::<Draft>(format!("/drafts/{id}")) {
            Ok(draft) if draft.parts.sample.is_some() => {
                Err(Failure::bad("draft", "the draft has a spectrum already")
                    .value(id.to_string())
                    .remedy("name another draft, or leave --draft out"))
            }
            Ok(_) => Ok(()),
            Err(error) => match Failure::from(error) {
                failure if failure.exit() == Exit::NotNow => Ok(()),
                failure => Err(failure),
            },
        }
    }

    /// Takes what is whole; whether something is still waited for.
    fn take(
        &self,
        taker: &mut Taker<'_>,
        folder: &mut Folder,
        standing: Vec<Standing>,
        run: &Run,
        events: &mut Vec<Event>,
    ) -> Result<bool, Failure> {
        let settle = Duration::from_secs_f64(self.settle);
        let patience = Duration::from_secs_f64(self.patience);
        let mut pending = false;
        for one in standing {
            if one.unchanged < settle {
                pending = true;
                continue;
            }
            let patient = one.unchanged < patience.max(settle);
            let bytes = match Folder::read(&one, MAX_FILE_BYTES) {
                Ok(Some(bytes)) => bytes,
                Ok(None) => {
                    pending = true;
                    continue;
                }
                // Its program may still hold it; on some systems nobody else can read it then.
                Err(_) if patient => {
                    pending = true;
                    continue;
                }
                Err(error) => {
                    folder.settle(&one);
                    let event =
                        Event::refused(&one.path, format!("the file can't be read: {error}"));
                    self.tell(run, events, vec![event])?;
                    continue;
                }
            };
            match taker.offer(&one.path, &bytes, &fingerprint(&bytes), patient)? {
                None => pending = true,
                Some(told) => {
                    folder.settle(&one);
                    self.tell(run, events, told)?;
                }
            }
        }
        Ok(pending)
    }

    /// Each as it comes; with `--once --json` all at the end, in one document.
    fn tell(&self, run: &Run, events: &mut Vec<Event>, told: Vec<Event>) -> Result<(), Failure> {
        for event in told {
            if !run.output().is_json() {
                output::say(&plain(&event.to_string()));
            } else if !self.once {
                run.output().show(&event, |_| {})?;
            }
            if self.once {
                events.push(event);
            }
        }
        Ok(())
    }
}

fn unreadable(folder: &Path, error: &io::Error) -> Failure {
    Failure::bad("folder", format!("the folder can't be read: {error}"))
        .value(folder.display().to_string())
        .remedy("name the folder into which the instrument's program writes, one that you may read")
}
