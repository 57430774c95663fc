//! How `measure watch` takes one file: into a draft, once, whatever happens in between.
//!
//! The request is kept on this machine before it is sent, under a key that follows from the file's content, and the
//! ledger is written after the answer. A crash between any two of these steps leaves a request that is sent again under
//! the same key, for which the server gives the answer it gave before.

use std::fmt;
use std::path::{Path, PathBuf};

use formula::id::DraftId;
use formula::naming::DraftTitle;
use formula::wire::v1::{Draft, DraftEdit, DraftParts, NewDraft, NewMeasurement};
use serde::Serialize;
use uuid::Uuid;

use super::Run;
use crate::conditions::ConditionOptions;
use crate::exit::{Exit, Failure};
use crate::remote::{Remote, RemoteError, Write, fresh};
use crate::spectrum_file::{self, OneReading, ReadingOptions};
use crate::unsent::{Kept, Unsent};
use crate::watch::{Entry, Ledger, State, key_of};

/// Of a file's title in the list of drafts.
const LONGEST_NAME: usize = 60;

/// What became of a file.
#[derive(Debug, Clone, Serialize)]
pub(super) struct Event {
    path: PathBuf,
    #[serde(flatten)]
    pub(super) outcome: Outcome,
}

/// What became of it.
#[derive(Debug, Clone, Serialize)]
#[serde(tag = "outcome", rename_all = "snake_case")]
pub(super) enum Outcome {
    /// It stands in a draft.
    Taken {
        /// Which.
        draft: Option<DraftId>,
        /// Its title.
        title: Option<String>,
    },
    /// The server could not be asked; the request waits on this machine.
    Kept {
        /// As in `unsent list`.
        kept_request: Uuid,
        /// Why.
        why: String,
    },
    /// It is no measurement, or the server said no; the file is left as it is.
    Refused {
        /// Why.
        why: String,
    },
}

impl Event {
    fn new(path: &Path, outcome: Outcome) -> Self {
        Self {
            path: path.to_owned(),
            outcome,
        }
    }

    /// A file that is left.
    pub(super) fn refused(path: &Path, why: String) -> Self {
        Self::new(path, Outcome::Refused { why })
    }
}

impl fmt::Display for Event {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let path = self.path.display();
        match &self.outcome {
            Outcome::Taken {
                draft: Some(draft),
                title,
            } => write!(
                f,
                "{path}: taken into the draft {} ({draft})",
                title.as_deref().unwrap_or_default()
            ),
            Outcome::Taken { draft: None, .. } => {
                write!(f, "{path}: its request was sent or dropped by hand")
            }
            Outcome::Kept { kept_request, why } => write!(
                f,
                "{path}: kept on this machine as {kept_request}, to be sent when the server answers ({why})"
            ),
            Outcome::Refused { why } => write!(f, "{path}: left as it is: {}", why.trim_end()),
        }
    }
}

/// Takes files for one person at one server.
pub(super) struct Taker<'a> {
    remote: &'a Remote,
    ledger: &'a Ledger,
    unsent: Unsent,
    /// For the first file only.
    draft: Option<DraftId>,
    average: bool,
    reading: ReadingOptions,
    conditions: &'a ConditionOptions,
}

/// How a request ended.
enum Sent {
    Draft(Box<Draft>),
    Waits(String),
    Refused(Failure),
}

impl<'a> Taker<'a> {
    pub(super) fn new(
        run: &Run,
        remote: &'a Remote,
        ledger: &'a Ledger,
        draft: Option<DraftId>,
        average: bool,
        reading: ReadingOptions,
        conditions: &'a ConditionOptions,
    ) -> Self {
        Self {
            remote,
            ledger,
            unsent: Unsent::in_home(run.home()),
            draft,
            average,
            reading,
            conditions,
        }
    }

    /// Takes a content, unless it was taken before. `None`: it is not whole yet, and there is patience left.
    ///
    /// # Errors
    /// When ledger or kept requests can't be read or written.
    pub(super) fn offer(
        &mut self,
        path: &Path,
        bytes: &[u8],
        fingerprint: &str,
        patient: bool,
    ) -> Result<Option<Vec<Event>>, Failure> {
        let _lock = self.ledger.lock()?;
        if self.ledger.get(fingerprint)?.is_some() {
            return Ok(Some(Vec::new()));
        }
        if patient && !ends_whole(bytes) {
            return Ok(None);
        }
        // Begun before a crash: the same request again.
        for attempt in [1, 0] {
            if let Some(kept) = self.unsent.request(key_of(fingerprint, attempt))? {
                return self.finish(path, fingerprint, kept).map(Some);
            }
        }
        let one = match self.read(path, bytes) {
            Ok(one) => one,
            Err(_) if patient => return Ok(None),
            Err(failure) => {
                let why = failure.to_string();
                let state = State::Refused { why: why.clone() };
                self.ledger.put(&Entry::new(fingerprint, path, state))?;
                return Ok(Some(vec![Event::refused(path, why)]));
            }
        };
        let measurement = match self.conditions.measurement(&one, self.remote) {
            Ok(measurement) => measurement,
            // The instrument is looked up at the server; without it the file waits where it is.
            Err(failure) if failure.exit() == Exit::NotNow => return Ok(None),
            Err(failure) => return Err(failure),
        };
        let write = self
            .request(path, &measurement)?
            .under(key_of(fingerprint, 0));
        let kept = self.remote.keep_ahead(&write)?;
        let to_a_draft_of_before = kept.method == "PATCH";
        match self.send(kept)? {
            Sent::Refused(_) if to_a_draft_of_before => {
                // Someone else was quicker with that draft: a new one.
                let write = new_draft(path, measurement)?.under(key_of(fingerprint, 1));
                let kept = self.remote.keep_ahead(&write)?;
                self.finish(path, fingerprint, kept).map(Some)
            }
            sent => self
                .note(path, fingerprint, key_of(fingerprint, 0), sent)
                .map(Some),
        }
    }

    /// Sends what waits from before.
    ///
    /// # Errors
    /// When ledger or kept requests can't be read or written.
    pub(super) fn send_kept(&mut self) -> Result<Vec<Event>, Failure> {
        let _lock = self.ledger.lock()?;
        let mut events = Vec::new();
        for entry in self.ledger.kept()? {
            let State::Kept { key } = entry.state else {
                continue;
            };
            let Some(kept) = self.unsent.request(key)? else {
                let state = State::Taken { draft: None };
                self.ledger
                    .put(&Entry::new(&entry.fingerprint, &entry.path, state))?;
                continue;
            };
            match self.send(kept)? {
                // Told before.
                Sent::Waits(_) => break,
                sent => events.extend(self.note(&entry.path, &entry.fingerprint, key, sent)?),
            }
        }
        Ok(events)
    }

    fn read(&self, path: &Path, bytes: &[u8]) -> Result<OneReading, Failure> {
        let file = spectrum_file::parse_quietly(bytes, path, self.reading)?;
        OneReading::of(file, None, self.average).map_err(|failure| {
            if self.average {
                failure
            } else {
                failure.remedy("if they are readings of one sample, watch with --average")
            }
        })
    }

    /// Into the draft in hand; into a new one when there is none, or the server can't be asked.
    fn request(&mut self, path: &Path, measurement: &NewMeasurement) -> Result<Write, Failure> {
        let in_hand = match self.draft.take() {
            Some(id) => self.remote.get::<Draft>(format!("/drafts/{id}")).map(Some),
            None => self.remote.all::<Draft>("/drafts").map(|drafts| {
                drafts
                    .into_iter()
                    .filter(|draft| draft.parts.sample.is_none())
                    .max_by_key(|draft| draft.updated_at)
            }),
        };
        match in_hand.ok().flatten() {
            Some(draft) if draft.parts.sample.is_none() => {
                let edit = DraftEdit {
                    title: None,
                    parts: Some(DraftParts {
                        sample: Some(measurement.clone()),
                        ..draft.parts
                    }),
                };
                Ok(Write::new(
                    "put a measured file into a draft",
                    "PATCH",
                    format!("/drafts/{}", draft.id),
                    Some(&edit),
                )?
                .on_version(draft.version))
            }
            _ => new_draft(path, measurement.clone()),
        }
    }

    fn finish(&self, path: &Path, fingerprint: &str, kept: Kept) -> Result<Vec<Event>, Failure> {
        let key = kept.key;
        let sent = self.send(kept)?;
        self.note(path, fingerprint, key, sent)
    }

    fn send(&self, kept: Kept) -> Result<Sent, Failure> {
        let key = kept.key;
        match self.remote.send_again(&Write::again(kept)) {
            Ok(answer) => serde_json::from_value::<Draft>(answer)
                .map(|draft| Sent::Draft(Box::new(draft)))
                .map_err(|error| {
                    Failure::from(RemoteError::Shape {
                        why: error.to_string(),
                    })
                }),
            Err(error) if error.keeps_write() => Ok(Sent::Waits(error.to_string())),
            Err(error) => {
                self.unsent.forget(key)?;
                Ok(Sent::Refused(error.into()))
            }
        }
    }

    /// Writes into the ledger how it ended, then forgets the request.
    fn note(
        &self,
        path: &Path,
        fingerprint: &str,
        key: Uuid,
        sent: Sent,
    ) -> Result<Vec<Event>, Failure> {
        let (state, outcome) = match sent {
            Sent::Refused(failure) => {
                // Not noted: when the reason is gone, the next start takes it.
                self.ledger.remove(fingerprint)?;
                return Ok(vec![Event::refused(path, failure.to_string())]);
            }
            Sent::Draft(draft) => (
                State::Taken {
                    draft: Some(draft.id),
                },
                Outcome::Taken {
                    draft: Some(draft.id),
                    title: Some(draft.title.to_string()),
                },
            ),
            Sent::Waits(why) => (
                State::Kept { key },
                Outcome::Kept {
                    kept_request: key,
                    why,
                },
            ),
        };
        let taken = matches!(state, State::Taken { .. });
        self.ledger.put(&Entry::new(fingerprint, path, state))?;
        if taken {
            self.unsent.forget(key)?;
        }
        Ok(vec![Event::new(path, outcome)])
    }
}

fn new_draft(path: &Path, measurement: NewMeasurement) -> Result<Write, Failure> {
    let name: String = path
        .file_name()
        .map(|name| name.to_string_lossy().into_owned())
        .unwrap_or_default()
        .chars()
        .filter(|c| !c.is_control())
        .take(LONGEST_NAME)
        .collect();
    let title = DraftTitle::try_from(format!("measured: {name}"))
        .map_err(|error| Failure::bad("title", error.to_string()).value(name))?;
    let new = NewDraft {
        id: fresh!(DraftId),
        title,
        parts: DraftParts {
            sample: Some(measurement),
            ..DraftParts::default()
        },
    };
    Write::new(
        "keep a measured file as a draft",
        "POST",
        "/drafts",
        Some(&new),
    )
}

/// Text that ends within a line may still be written: its last number may lack digits.
fn ends_whole(bytes: &[u8]) -> bool {
    bytes
        .iter()
        .rev()
        .find(|byte| **byte != 0)
        .is_some_and(|byte| matches!(byte, b'\n' | b'\r' | b'>'))
}
