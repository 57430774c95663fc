//! Talking to a server: one blocking request at a time, the login renewed when it runs out, a write repeated only under
//! its own idempotency key.

mod address;
mod call;
mod error;
#[cfg(test)]
mod tests;

use std::cell::RefCell;
use std::path::Path;
use std::time::Duration;

use formula::wire::error_code::ErrorCode;
use formula::wire::v1::{LoginRequest, Page, RefreshRequest, Tokens};
use serde::Serialize;
use serde::de::DeserializeOwned;
use time::OffsetDateTime;
use uuid::Uuid;

use crate::exit::Failure;
use crate::login_file::{Login, LoginFile};
use crate::output;
use crate::unsent::{Kept, Unsent};
pub(crate) use address::{Address, PathQuery};
use call::{Answer, Ask, Caller};
pub(crate) use error::RemoteError;

/// How long to wait.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Patience {
    /// For a connection.
    pub(crate) connect: Duration,
    /// For the whole answer.
    pub(crate) answer: Duration,
}

impl Default for Patience {
    fn default() -> Self {
        Self {
            connect: Duration::from_secs(5),
            answer: Duration::from_secs(30),
        }
    }
}

/// A server, and the login there.
pub(crate) struct Remote {
    caller: Caller,
    logins: LoginFile,
    login: RefCell<Option<Login>>,
    unsent: Unsent,
}

/// A write: what is to be done, and the key under which it is done once.
pub(crate) struct Write {
    /// In words, for the list of unsent requests.
    what: String,
    ask: Ask,
}

impl Write {
    /// A write under a fresh key.
    ///
    /// # Errors
    /// When the body can't be written as JSON.
    pub(crate) fn new(
        what: &str,
        method: &str,
        path: impl Into<PathQuery>,
        body: Option<&impl Serialize>,
    ) -> Result<Self, Failure> {
        let body = match body {
            None => None,
            Some(body) => Some(serde_json::to_string(body).map_err(|error| {
                Failure::bad(
                    "body",
                    format!("the request can't be written as JSON: {error}"),
                )
            })?),
        };
        Ok(Self {
            what: what.to_owned(),
            ask: Ask {
                method: method.to_owned(),
                path: path.into().as_str().to_owned(),
                body,
                key: Some(Uuid::new_v4()),
                version: None,
            },
        })
    }

    /// Under a key of one's own: the same request sent after a crash is the same write.
    pub(crate) fn under(mut self, key: Uuid) -> Self {
        self.ask.key = Some(key);
        self
    }

    /// Only if the record is still of this version.
    pub(crate) fn on_version(mut self, version: i32) -> Self {
        self.ask.version = Some(version);
        self
    }

    /// A request that was kept, under its old key.
    pub(crate) fn again(kept: Kept) -> Self {
        Self {
            what: kept.what,
            ask: Ask {
                method: kept.method,
                path: kept.path,
                body: kept.body,
                key: Some(kept.key),
                version: kept.version,
            },
        }
    }
}

impl Remote {
    /// The server at this address; login and kept requests stand in the home folder.
    ///
    /// # Errors
    /// When the login file is damaged.
    pub(crate) fn new(address: Address, home: &Path, patience: Patience) -> Result<Self, Failure> {
        let logins = LoginFile::in_home(home);
        let login = logins
            .read()?
            .filter(|login| login.server == address.as_str());
        Ok(Self {
            caller: Caller::new(address, patience),
            logins,
            login: RefCell::new(login),
            unsent: Unsent::in_home(home),
        })
    }

    /// The server's address.
    pub(crate) fn address(&self) -> &Address {
        self.caller.address()
    }

    /// The name of the login in use.
    pub(crate) fn login_name(&self) -> Option<String> {
        self.login
            .borrow()
            .as_ref()
            .map(|login| login.login.clone())
    }

    /// Reads.
    ///
    /// # Errors
    /// [`RemoteError`].
    pub(crate) fn get<T: DeserializeOwned>(
        &self,
        path: impl Into<PathQuery>,
    ) -> Result<T, RemoteError> {
        let ask = Ask::get(path.into().as_str());
        self.with_login(&ask, true)?.json(self.caller.address())
    }

    /// Asks by a POST that writes nothing.
    ///
    /// # Errors
    /// [`RemoteError`].
    pub(crate) fn ask<T: DeserializeOwned>(
        &self,
        path: &str,
        body: &impl Serialize,
    ) -> Result<T, RemoteError> {
        let ask = Ask::post(path, body)?;
        self.with_login(&ask, true)?.json(self.caller.address())
    }

    /// A page of a list.
    ///
    /// # Errors
    /// [`RemoteError`].
    pub(crate) fn page<T: DeserializeOwned>(
        &self,
        path: PathQuery,
        limit: u16,
        after: Option<&str>,
    ) -> Result<Page<T>, RemoteError> {
        self.get(path.with("limit", limit).with_some("after", after))
    }

    /// A whole list, page by page.
    ///
    /// # Errors
    /// [`RemoteError`].
    pub(crate) fn all<T: DeserializeOwned>(
        &self,
        path: impl Into<PathQuery>,
    ) -> Result<Vec<T>, RemoteError> {
        let path = path.into();
        let mut items = Vec::new();
        let mut after: Option<String> = None;
        loop {
            let page: Page<T> = self.page(path.clone(), 200, after.as_deref())?;
            items.extend(page.items);
            match page.next {
                // A server that hands out the same page again must not keep a counter waiting for ever.
                Some(next) if after.as_ref() != Some(&next) => after = Some(next),
                _ => return Ok(items),
            }
        }
    }

    /// Writes. When no answer comes, the request is kept on this machine and the failure says how to send it again.
    ///
    /// # Errors
    /// What [`RemoteError`] becomes.
    pub(crate) fn write<T: DeserializeOwned>(&self, write: &Write) -> Result<T, Failure> {
        self.with_login(&write.ask, true)
            .and_then(|answer| answer.json(self.caller.address()))
            .map_err(|error| self.keep(write, error))
    }

    /// Writes, where the server answers nothing.
    ///
    /// # Errors
    /// As [`Self::write`].
    pub(crate) fn write_silent(&self, write: &Write) -> Result<(), Failure> {
        match self.with_login(&write.ask, true) {
            Ok(_) => Ok(()),
            Err(error) => Err(self.keep(write, error)),
        }
    }

    /// Sends a kept request again; the answer as the server gave it, `null` when it gave none.
    ///
    /// # Errors
    /// What [`RemoteError`] becomes.
    pub(crate) fn send_again(&self, write: &Write) -> Result<serde_json::Value, RemoteError> {
        let answer = self.with_login(&write.ask, true)?;
        if answer.is_empty() {
            return Ok(serde_json::Value::Null);
        }
        answer.json(self.caller.address())
    }

    /// Keeps a write before it is sent, so that no crash in between loses it. Whoever sends it forgets it then.
    ///
    /// # Errors
    /// When it can't be kept.
    pub(crate) fn keep_ahead(&self, write: &Write) -> Result<Kept, Failure> {
        let kept = self.kept(write, write.ask.key.unwrap_or_else(Uuid::new_v4));
        self.unsent.keep(&kept)?;
        Ok(kept)
    }

    fn kept(&self, write: &Write, key: Uuid) -> Kept {
        Kept::new(
            &write.what,
            self.caller.address().as_str(),
            self.login_name(),
            &write.ask.method,
            &write.ask.path,
            write.ask.body.clone(),
            key,
            write.ask.version,
        )
    }

    fn keep(&self, write: &Write, error: RemoteError) -> Failure {
        let keeps = error.keeps_write();
        let failure = Failure::from(error);
        let Some(key) = write.ask.key.filter(|_| keeps) else {
            return failure;
        };
        let kept = self.kept(write, key);
        match self.unsent.keep(&kept) {
            Ok(()) => failure.kept(key.to_string()),
            Err(second) => {
                output::say(second.to_string().trim_end());
                failure.remedy("the request could not be kept either: run the command again")
            }
        }
    }

    /// Logs in and keeps the login.
    ///
    /// # Errors
    /// [`RemoteError`].
    pub(crate) fn log_in(&self, request: &LoginRequest) -> Result<Login, RemoteError> {
        let ask = Ask::post("/auth/login", request)?;
        let tokens: Tokens = self
            .caller
            .send(&ask, None, true)?
            .json(self.caller.address())?;
        let login = Login::new(self.caller.address().as_str(), request.login.trim(), tokens);
        let _lock = self.logins.lock()?;
        self.logins.write(&login)?;
        *self.login.borrow_mut() = Some(login.clone());
        Ok(login)
    }

    /// Chooses a password by a one-time token.
    ///
    /// # Errors
    /// [`RemoteError`].
    pub(crate) fn claim(
        &self,
        request: &formula::wire::v1::ClaimRequest,
    ) -> Result<(), RemoteError> {
        let ask = Ask::post("/auth/claim", request)?;
        self.caller.send(&ask, None, false).map(|_| ())
    }

    /// Changes the password of the login.
    ///
    /// # Errors
    /// [`RemoteError`].
    pub(crate) fn change_password(
        &self,
        request: &formula::wire::v1::PasswordRequest,
    ) -> Result<(), RemoteError> {
        let ask = Ask::post("/auth/password", request)?;
        self.with_login(&ask, false).map(|_| ())
    }

    /// Ends a session at the server.
    ///
    /// # Errors
    /// [`RemoteError`].
    pub(crate) fn end_session(&self, login: &Login) -> Result<(), RemoteError> {
        let ask = Ask {
            method: "POST".to_owned(),
            path: "/auth/logout".to_owned(),
            body: None,
            key: None,
            version: None,
        };
        self.caller
            .send(&ask, Some(&login.access_token), true)
            .map(|_| ())
    }

    /// Ends the session and forgets the login, in this order: an ended session is worth more than a removed file.
    ///
    /// # Errors
    /// When the server can't be reached; the login is forgotten all the same.
    pub(crate) fn log_out(&self) -> Result<(), RemoteError> {
        let ask = Ask {
            method: "POST".to_owned(),
            path: "/auth/logout".to_owned(),
            body: None,
            key: None,
            version: None,
        };
        let ended = self.with_login(&ask, true);
        let _lock = self.logins.lock()?;
        self.logins.remove()?;
        *self.login.borrow_mut() = None;
        match ended {
            Ok(_) | Err(RemoteError::LoginEnded { .. }) => Ok(()),
            Err(error) => Err(error),
        }
    }

    /// Sends under the login; when the access token has run out, renews it once.
    fn with_login(&self, ask: &Ask, patient: bool) -> Result<Answer, RemoteError> {
        let Some(token) = self.access_token() else {
            return Err(RemoteError::NoLogin {
                server: self.caller.address().to_string(),
            });
        };
        match self.caller.send(ask, Some(&token), patient) {
            Err(RemoteError::Refused { problem, .. })
                if problem.code == ErrorCode::TokenExpired =>
            {
                let token = self.renew(&token)?;
                self.caller.send(ask, Some(&token), patient)
            }
            other => other,
        }
        .map_err(|error| match error {
            RemoteError::Refused { problem, .. }
                if matches!(
                    problem.code,
                    ErrorCode::NotLoggedIn | ErrorCode::TokenExpired
                ) =>
            {
                RemoteError::LoginEnded {
                    why: problem.detail,
                }
            }
            other => other,
        })
    }

    fn access_token(&self) -> Option<String> {
        self.login
            .borrow()
            .as_ref()
            .map(|login| login.access_token.clone())
    }

    /// A fresh access token. The refresh token works once, so only one process at a time may spend it, and only after
    /// looking whether another one just did.
    fn renew(&self, spent: &str) -> Result<String, RemoteError> {
        let _lock = self.logins.lock()?;
        let ended = |why: &str| RemoteError::LoginEnded {
            why: why.to_owned(),
        };
        let current = self
            .logins
            .read()?
            .filter(|login| login.server == self.caller.address().as_str())
            .ok_or_else(|| ended("another process logged out"))?;
        if current.access_token != spent {
            let token = current.access_token.clone();
            *self.login.borrow_mut() = Some(current);
            return Ok(token);
        }
        let ask = Ask::post(
            "/auth/refresh",
            &RefreshRequest {
                refresh_token: current.refresh_token.clone(),
            },
        )?;
        // Not repeated: a second try with a token already spent looks like theft and ends the session.
        let tokens: Tokens = self
            .caller
            .send(&ask, None, false)
            .map_err(|error| match error {
                RemoteError::Refused { problem, .. } if problem.status == 401 => {
                    RemoteError::LoginEnded {
                        why: problem.detail,
                    }
                }
                other => other,
            })?
            .json(self.caller.address())?;
        let login = Login::new(&current.server, &current.login, tokens);
        self.logins.write(&login)?;
        let token = login.access_token.clone();
        *self.login.borrow_mut() = Some(login);
        Ok(token)
    }
}

/// Milliseconds since 1970, for ids.
pub(crate) fn now_ms() -> u64 {
    u64::try_from(OffsetDateTime::now_utc().unix_timestamp_nanos() / 1_000_000).unwrap_or(0)
}

/// Now, to the millisecond.
pub(crate) fn now() -> OffsetDateTime {
    let now = OffsetDateTime::now_utc();
    now.replace_millisecond(now.millisecond()).unwrap_or(now)
}

/// Random bytes for an id. Bytes 6 and 8 of a UUIDv4 are not all random, so they are left out.
pub(crate) fn random_tail() -> [u8; 10] {
    let bytes = Uuid::new_v4().into_bytes();
    let mut tail = [0; 10];
    tail[..6].copy_from_slice(&bytes[..6]);
    tail[6..].copy_from_slice(&bytes[12..]);
    tail
}

/// A fresh id of any noun.
macro_rules! fresh {
    ($id:ty) => {
        <$id>::from_parts($crate::remote::now_ms(), $crate::remote::random_tail())
    };
}
pub(crate) use fresh;
