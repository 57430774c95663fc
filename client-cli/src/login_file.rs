//! The login of this machine: one file that only its owner may read. Tokens never go anywhere else.

use std::fs::File;
use std::io;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use crate::exit::{Exit, Failure};
use crate::platform;

const VERSION: u32 = 1;

/// A login. No `Debug`: the tokens must not get into a log.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Login {
    version: u32,
    /// The server that the tokens are for, and no other.
    pub(crate) server: String,
    /// The login name.
    pub(crate) login: String,
    /// For `Authorization: Bearer`.
    pub(crate) access_token: String,
    /// Works once.
    pub(crate) refresh_token: String,
}

impl Login {
    /// A login at a server.
    pub(crate) fn new(server: &str, login: &str, tokens: formula::wire::v1::Tokens) -> Self {
        Self {
            version: VERSION,
            server: server.to_owned(),
            login: login.to_owned(),
            access_token: tokens.access_token,
            refresh_token: tokens.refresh_token,
        }
    }
}

/// Where the login is kept.
#[derive(Debug, Clone)]
pub(crate) struct LoginFile {
    path: PathBuf,
}

impl LoginFile {
    /// In this home folder.
    pub(crate) fn in_home(home: &Path) -> Self {
        Self {
            path: home.join("login.json"),
        }
    }

    /// The login, when there is one.
    ///
    /// # Errors
    /// When the file can't be read, is damaged, or comes from a newer program.
    pub(crate) fn read(&self) -> Result<Option<Login>, Failure> {
        let damaged = |why: &str| {
            Failure::new(
                Exit::Internal,
                "damaged-login",
                format!("the login file {} {why}", self.path.display()),
            )
            .remedy("remove the file and log in again")
        };
        let bytes = match std::fs::read(&self.path) {
            Ok(bytes) => bytes,
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(None),
            Err(error) => {
                return Err(Failure::machine(
                    &format!("reading the login file {}", self.path.display()),
                    &error,
                ));
            }
        };
        // The parser's message could quote a token, so it is not shown.
        let value: serde_json::Value =
            serde_json::from_slice(&bytes).map_err(|_| damaged("is damaged"))?;
        if value.get("version").and_then(serde_json::Value::as_u64) != Some(u64::from(VERSION)) {
            return Err(damaged("is not of a version that this program knows"));
        }
        serde_json::from_value(value)
            .map(Some)
            .map_err(|_| damaged("is damaged"))
    }

    /// Writes the login, whole or not at all.
    ///
    /// # Errors
    /// When the folder can't be written.
    pub(crate) fn write(&self, login: &Login) -> Result<(), Failure> {
        let failed = |error: &io::Error| {
            Failure::machine(
                &format!("writing the login file {}", self.path.display()),
                error,
            )
        };
        let bytes = serde_json::to_vec(login)
            .map_err(|error| failed(&io::Error::other(error.to_string())))?;
        self.make_folder()?;
        platform::write_private(&self.path, &bytes).map_err(|error| failed(&error))
    }

    /// Forgets the login.
    ///
    /// # Errors
    /// When the file can't be removed.
    pub(crate) fn remove(&self) -> Result<(), Failure> {
        match std::fs::remove_file(&self.path) {
            Err(error) if error.kind() != io::ErrorKind::NotFound => Err(Failure::machine(
                &format!("removing the login file {}", self.path.display()),
                &error,
            )),
            _ => Ok(()),
        }
    }

    /// Waits until no other process changes the login; hold what it returns meanwhile.
    ///
    /// # Errors
    /// When the lock file can't be made.
    pub(crate) fn lock(&self) -> Result<File, Failure> {
        self.make_folder()?;
        platform::lock_beside(&self.path).map_err(|error| {
            Failure::machine(
                &format!("locking the login file {}", self.path.display()),
                &error,
            )
        })
    }

    fn make_folder(&self) -> Result<(), Failure> {
        let folder = self.path.parent().unwrap_or_else(|| Path::new("."));
        platform::create_private_folder(folder).map_err(|error| {
            Failure::machine(&format!("making the folder {}", folder.display()), &error)
                .remedy("set SECONDCAN_HOME to a folder that you may write to")
        })
    }
}
