//! What was taken already: a small file for each content, so that a crash loses none and a renamed file is known again.

use std::io;
use std::path::{Path, PathBuf};

use formula::id::DraftId;
use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};
use time::OffsetDateTime;
use uuid::Uuid;

use crate::exit::Failure;
use crate::platform;

const VERSION: u32 = 1;

/// SHA-256 of a file's content, in hexadecimal.
pub(crate) fn fingerprint(bytes: &[u8]) -> String {
    Sha256::digest(bytes)
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect()
}

/// The idempotency key under which a content is sent: the same after a crash, so that the server knows it again. A second
/// try after a refusal is another request, with another key.
pub(crate) fn key_of(fingerprint: &str, attempt: u8) -> Uuid {
    let digest = Sha256::digest(format!("secondcan measure watch {attempt} {fingerprint}"));
    let mut bytes = [0; 16];
    bytes.copy_from_slice(&digest[..16]);
    // In the form of a version 4, which servers ask for: as good as random, since a hash is.
    uuid::Builder::from_random_bytes(bytes).into_uuid()
}

/// What became of a content.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "state", rename_all = "snake_case")]
pub(crate) enum State {
    /// It stands in this draft at the server.
    Taken {
        /// The draft; unknown when the request was sent or dropped by hand.
        draft: Option<DraftId>,
    },
    /// The request waits on this machine under this key.
    Kept {
        /// As in `unsent list`.
        key: Uuid,
    },
    /// It is no measurement; told once.
    Refused {
        /// Why.
        why: String,
    },
}

/// An entry of the ledger.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Entry {
    version_of_file: u32,
    /// Of the content.
    pub(crate) fingerprint: String,
    /// Where it lay.
    pub(crate) path: PathBuf,
    /// What became of it.
    pub(crate) state: State,
    /// When.
    #[serde(with = "time::serde::rfc3339")]
    pub(crate) at: OffsetDateTime,
}

impl Entry {
    /// Of now.
    pub(crate) fn new(fingerprint: &str, path: &Path, state: State) -> Self {
        Self {
            version_of_file: VERSION,
            fingerprint: fingerprint.to_owned(),
            path: path.to_owned(),
            state,
            at: crate::remote::now(),
        }
    }
}

/// The folder of entries.
#[derive(Debug, Clone)]
pub(crate) struct Ledger {
    folder: PathBuf,
}

impl Ledger {
    /// In this home folder, made if it is not there.
    ///
    /// # Errors
    /// When it can't be made.
    pub(crate) fn in_home(home: &Path) -> Result<Self, Failure> {
        let folder = home.join("watched");
        platform::create_private_folder(&folder)
            .map_err(|error| Failure::machine("making the ledger of watched files", &error))?;
        Ok(Self { folder })
    }

    /// Waits until no other watcher of this home is taking a file; ends when dropped, also by a crash.
    ///
    /// # Errors
    /// When the lock can't be made.
    pub(crate) fn lock(&self) -> Result<std::fs::File, Failure> {
        platform::lock_beside(&self.folder.join("taking"))
            .map_err(|error| Failure::machine("locking the ledger of watched files", &error))
    }

    fn path(&self, fingerprint: &str) -> PathBuf {
        self.folder.join(format!("{fingerprint}.json"))
    }

    /// What is known of a content.
    ///
    /// # Errors
    /// When the entry can't be read.
    pub(crate) fn get(&self, fingerprint: &str) -> Result<Option<Entry>, Failure> {
        read(&self.path(fingerprint))
    }

    /// Notes what became of a content, whole or not at all.
    ///
    /// # Errors
    /// When it can't be written.
    pub(crate) fn put(&self, entry: &Entry) -> Result<(), Failure> {
        let failed =
            |error: &io::Error| Failure::machine("writing the ledger of watched files", error);
        let bytes = serde_json::to_vec(entry)
            .map_err(|error| failed(&io::Error::other(error.to_string())))?;
        platform::write_private(&self.path(&entry.fingerprint), &bytes)
            .map_err(|error| failed(&error))
    }

    /// Forgets a content, so that it is taken when it is seen again.
    ///
    /// # Errors
    /// When the entry can't be removed.
    pub(crate) fn remove(&self, fingerprint: &str) -> Result<(), Failure> {
        match std::fs::remove_file(self.path(fingerprint)) {
            Err(error) if error.kind() != io::ErrorKind::NotFound => Err(Failure::machine(
                "writing the ledger of watched files",
                &error,
            )),
            _ => Ok(()),
        }
    }

    /// All whose requests wait on this machine, oldest first.
    ///
    /// # Errors
    /// When the ledger can't be read.
    pub(crate) fn kept(&self) -> Result<Vec<Entry>, Failure> {
        let failed =
            |error: io::Error| Failure::machine("reading the ledger of watched files", &error);
        let mut kept = Vec::new();
        for entry in std::fs::read_dir(&self.folder).map_err(failed)? {
            let path = entry.map_err(failed)?.path();
            if path.extension().is_some_and(|ending| ending == "json")
                && let Some(entry) = read(&path)?
                && matches!(entry.state, State::Kept { .. })
            {
                kept.push(entry);
            }
        }
        kept.sort_by_key(|entry| entry.at);
        Ok(kept)
    }
}

fn read(path: &Path) -> Result<Option<Entry>, Failure> {
    let bytes = match std::fs::read(path) {
        Ok(bytes) => bytes,
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(None),
        Err(error) => {
            return Err(Failure::machine(
                "reading the ledger of watched files",
                &error,
            ));
        }
    };
    match serde_json::from_slice::<Entry>(&bytes) {
        Ok(entry) if entry.version_of_file == VERSION => Ok(Some(entry)),
        _ => Err(Failure::new(
            crate::exit::Exit::Internal,
            "damaged-ledger",
            format!(
                "{} can't be understood, so it is not known whether its file was taken",
                path.display()
            ),
        )
        .remedy("look in your drafts, then move that file elsewhere")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn entries_are_known_again_by_content_and_kept_ones_are_listed() {
        let home = tempfile::tempdir().unwrap();
        let ledger = Ledger::in_home(home.path()).unwrap();
        let one = fingerprint(b"one");
        assert_eq!(ledger.get(&one).unwrap(), None);
        let key = key_of(&one, 0);
        let entry = Entry::new(&one, Path::new("a.csv"), State::Kept { key });
        ledger.put(&entry).unwrap();
        assert_eq!(ledger.get(&one).unwrap(), Some(entry.clone()));
        assert_eq!(ledger.kept().unwrap(), std::slice::from_ref(&entry));
        let taken = Entry {
            state: State::Taken { draft: None },
            ..entry
        };
        ledger.put(&taken).unwrap();
        assert!(ledger.kept().unwrap().is_empty());
        std::fs::write(ledger.path(&one), "{").unwrap();
        assert!(ledger.get(&one).is_err());
    }

    /// FIPS 180-4, the empty message.
    #[test]
    fn fingerprints_are_sha256_and_keys_follow_from_them() {
        assert!(fingerprint(b"").starts_with("e3b0c44298fc1c149afbf4c8996fb924"));
        assert_eq!(key_of("ab", 0), key_of("ab", 0));
        assert_ne!(key_of("ab", 0), key_of("ab", 1));
        assert_ne!(key_of("ab", 0), key_of("ac", 0));
        assert_eq!(key_of("ab", 0).get_version_num(), 4);
    }
}
