//! Requests whose answer never came. They wait on this machine, readable by their owner only, and are sent again under
//! the same idempotency key, so that nothing typed is lost and nothing is saved twice.

use std::io;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use time::OffsetDateTime;
use uuid::Uuid;

use crate::exit::{Exit, Failure};
use crate::platform;

const VERSION: u32 = 1;

/// A request that was kept. It can hold a customer's data: no `Debug`.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Kept {
    version_of_file: u32,
    /// The key, which also names the file.
    pub(crate) key: Uuid,
    /// In words.
    pub(crate) what: String,
    /// The server it was meant for.
    pub(crate) server: String,
    /// Who typed it.
    pub(crate) login: Option<String>,
    /// HTTP method.
    pub(crate) method: String,
    /// Path below `/api/v1`.
    pub(crate) path: String,
    /// The body, byte for byte: the key belongs to it.
    pub(crate) body: Option<String>,
    /// For `If-Match`.
    pub(crate) version: Option<i32>,
    /// When it was kept.
    #[serde(with = "time::serde::rfc3339")]
    pub(crate) kept_at: OffsetDateTime,
}

impl Kept {
    /// A request that got no answer just now.
    #[expect(
        clippy::too_many_arguments,
        reason = "these are the parts of a request, each once"
    )]
    pub(crate) fn new(
        what: &str,
        server: &str,
        login: Option<String>,
        method: &str,
        path: &str,
        body: Option<String>,
        key: Uuid,
        version: Option<i32>,
    ) -> Self {
        Self {
            version_of_file: VERSION,
            key,
            what: what.to_owned(),
            server: server.to_owned(),
            login,
            method: method.to_owned(),
            path: path.to_owned(),
            body,
            version,
            kept_at: crate::remote::now(),
        }
    }
}

/// A command line whose names could not be looked up, so that no request came about.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Typed {
    version_of_file: u32,
    /// Its id, which also names the file.
    pub(crate) key: Uuid,
    /// In words.
    pub(crate) what: String,
    /// Who typed it.
    pub(crate) login: Option<String>,
    /// What was typed, word for word.
    pub(crate) args: Vec<String>,
    /// Where it was typed: files are named from there.
    pub(crate) folder: PathBuf,
    /// When it was kept.
    #[serde(with = "time::serde::rfc3339")]
    pub(crate) kept_at: OffsetDateTime,
}

impl Typed {
    /// A command line that failed just now.
    pub(crate) fn new(args: Vec<String>, folder: PathBuf, login: Option<String>) -> Self {
        let what = args
            .iter()
            .skip(1)
            .map(String::as_str)
            .collect::<Vec<_>>()
            .join(" ");
        Self {
            version_of_file: VERSION,
            key: Uuid::new_v4(),
            what: what.chars().take(80).collect(),
            login,
            args,
            folder,
            kept_at: crate::remote::now(),
        }
    }
}

/// Something that waits.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub(crate) enum Waiting {
    /// A request, to be repeated as it is.
    Request(Kept),
    /// A command line, to be run again.
    Typed(Typed),
}

impl Waiting {
    /// Its id.
    pub(crate) const fn key(&self) -> Uuid {
        match self {
            Self::Request(kept) => kept.key,
            Self::Typed(typed) => typed.key,
        }
    }

    /// What it is, in words.
    pub(crate) fn what(&self) -> &str {
        match self {
            Self::Request(kept) => &kept.what,
            Self::Typed(typed) => &typed.what,
        }
    }

    /// The server it was meant for, when one was reached.
    pub(crate) fn server(&self) -> Option<&str> {
        match self {
            Self::Request(kept) => Some(&kept.server),
            Self::Typed(_) => None,
        }
    }

    /// Who typed it.
    pub(crate) fn login(&self) -> Option<&str> {
        match self {
            Self::Request(kept) => kept.login.as_deref(),
            Self::Typed(typed) => typed.login.as_deref(),
        }
    }

    /// Since when it waits.
    pub(crate) const fn kept_at(&self) -> OffsetDateTime {
        match self {
            Self::Request(kept) => kept.kept_at,
            Self::Typed(typed) => typed.kept_at,
        }
    }

    const fn version_of_file(&self) -> u32 {
        match self {
            Self::Request(kept) => kept.version_of_file,
            Self::Typed(typed) => typed.version_of_file,
        }
    }
}

/// The folder of kept requests.
#[derive(Debug, Clone)]
pub(crate) struct Unsent {
    folder: PathBuf,
}

impl Unsent {
    /// In this home folder.
    pub(crate) fn in_home(home: &Path) -> Self {
        Self {
            folder: home.join("unsent"),
        }
    }

    fn path(&self, key: Uuid) -> PathBuf {
        self.folder.join(format!("{key}.json"))
    }

    /// Keeps a request; keeping it again changes nothing.
    ///
    /// # Errors
    /// When the folder can't be written.
    pub(crate) fn keep(&self, kept: &Kept) -> Result<(), Failure> {
        self.write(&Waiting::Request(kept.clone()))
    }

    /// Keeps a command line.
    ///
    /// # Errors
    /// When the folder can't be written.
    pub(crate) fn keep_typed(&self, typed: &Typed) -> Result<(), Failure> {
        self.write(&Waiting::Typed(typed.clone()))
    }

    fn write(&self, waiting: &Waiting) -> Result<(), Failure> {
        let failed =
            |error: &io::Error| Failure::machine("keeping the request on this machine", error);
        let bytes = serde_json::to_vec(waiting)
            .map_err(|error| failed(&io::Error::other(error.to_string())))?;
        platform::create_private_folder(&self.folder)
            .and_then(|()| platform::write_private(&self.path(waiting.key()), &bytes))
            .map_err(|error| failed(&error))
    }

    /// A kept request, if it is there.
    ///
    /// # Errors
    /// When it can't be read; it stays where it is.
    pub(crate) fn request(&self, key: Uuid) -> Result<Option<Kept>, Failure> {
        let path = self.path(key);
        if !path.exists() {
            return Ok(None);
        }
        match read(&path)? {
            Waiting::Request(kept) => Ok(Some(kept)),
            Waiting::Typed(_) => Ok(None),
        }
    }

    /// All kept requests, oldest first.
    ///
    /// # Errors
    /// When one can't be read; it stays where it is.
    pub(crate) fn all(&self) -> Result<Vec<Waiting>, Failure> {
        let entries = match std::fs::read_dir(&self.folder) {
            Ok(entries) => entries,
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(Vec::new()),
            Err(error) => return Err(Failure::machine("reading the kept requests", &error)),
        };
        let mut all = Vec::new();
        for entry in entries {
            let path = entry
                .map_err(|error| Failure::machine("reading the kept requests", &error))?
                .path();
            if path.extension().is_some_and(|ending| ending == "json") {
                all.push(read(&path)?);
            }
        }
        all.sort_by_key(|waiting| (waiting.kept_at(), waiting.key()));
        Ok(all)
    }

    /// Forgets a request.
    ///
    /// # Errors
    /// When the file can't be removed.
    pub(crate) fn forget(&self, key: Uuid) -> Result<(), Failure> {
        std::fs::remove_file(self.path(key))
            .map_err(|error| Failure::machine("removing the kept request", &error))
    }
}

fn read(path: &Path) -> Result<Waiting, Failure> {
    let damaged = |why: &str| {
        Failure::new(
            Exit::Internal,
            "damaged-request",
            format!("the kept request {} {why}", path.display()),
        )
        .remedy("move the file elsewhere and have someone look at it; the others can be sent then")
    };
    let bytes = std::fs::read(path)
        .map_err(|error| Failure::machine(&format!("reading {}", path.display()), &error))?;
    let waiting: Waiting = serde_json::from_slice(&bytes).map_err(|_| damaged("is damaged"))?;
    if waiting.version_of_file() != VERSION {
        return Err(damaged("is of a version that this program does not know"));
    }
    Ok(waiting)
}
