//! Why a request got no good answer, and what that means for the person.

use formula::wire::error_code::{ErrorCode, Problem};

use crate::exit::{Exit, Failure};

/// Why a request got no good answer.
#[derive(Debug, Clone, thiserror::Error)]
pub(crate) enum RemoteError {
    /// Nobody answers there.
    #[error("the server {server} can't be reached: {reason}")]
    Unreachable {
        /// Its address.
        server: String,
        /// In the words of the network.
        reason: String,
    },
    /// It took too long.
    #[error("the server {server} did not answer in time")]
    TimedOut {
        /// Its address.
        server: String,
    },
    /// The connection broke before the whole answer was there.
    #[error("the connection to {server} broke before the whole answer was there")]
    Cut {
        /// Its address.
        server: String,
    },
    /// Something answered that is no secondcan server.
    #[error(
        "something between here and {server} answered in its place (status {status}, {kind} instead of JSON)"
    )]
    NotOurs {
        /// Its address.
        server: String,
        /// HTTP status.
        status: u16,
        /// Media type.
        kind: String,
    },
    /// The server said no.
    #[error("{}", .problem.detail)]
    Refused {
        /// Why.
        problem: Box<Problem>,
        /// Finds the request in the server's log.
        request_id: Option<String>,
    },
    /// The server said no with a status and words that this program does not know.
    #[error("the server answered {status}: {detail}")]
    Unknown {
        /// HTTP status.
        status: u16,
        /// What it said.
        detail: String,
    },
    /// A good answer of a form that this program does not know.
    #[error("the server's answer can't be understood: {why}")]
    Shape {
        /// In the parser's words.
        why: String,
    },
    /// There is no login for that server.
    #[error("not logged in at {server}")]
    NoLogin {
        /// Its address.
        server: String,
    },
    /// The login has ended.
    #[error("the login has ended: {why}")]
    LoginEnded {
        /// In the server's words.
        why: String,
    },
    /// This machine failed.
    #[error("{0}")]
    Machine(Box<Failure>),
}

impl From<Failure> for RemoteError {
    fn from(failure: Failure) -> Self {
        Self::Machine(Box::new(failure))
    }
}

impl RemoteError {
    /// Whether the same request may succeed at once: the network hiccuped.
    pub(super) const fn is_hiccup(&self) -> bool {
        matches!(self, Self::TimedOut { .. } | Self::Cut { .. })
    }

    /// Whether a write should be kept: it may be sent again as it is, or may have been saved although no answer came.
    pub(crate) fn keeps_write(&self) -> bool {
        match self {
            Self::Unreachable { .. }
            | Self::TimedOut { .. }
            | Self::Cut { .. }
            | Self::NotOurs { .. }
            | Self::Shape { .. }
            | Self::NoLogin { .. }
            | Self::LoginEnded { .. } => true,
            Self::Refused { problem, .. } => {
                problem.status >= 500 || matches!(problem.status, 401 | 408 | 429)
            }
            Self::Unknown { status, .. } => *status >= 500 || matches!(status, 401 | 408 | 429),
            Self::Machine(_) => false,
        }
    }

    fn exit(&self) -> Exit {
        match self {
            Self::Unreachable { .. }
            | Self::TimedOut { .. }
            | Self::Cut { .. }
            | Self::NotOurs { .. } => Exit::NotNow,
            Self::Refused { problem, .. } => match problem.code {
                ErrorCode::IdempotencyKeyReused => Exit::Conflict,
                _ => exit_of_status(problem.status),
            },
            Self::Unknown { status, .. } => exit_of_status(*status),
            Self::Shape { .. } => Exit::Internal,
            Self::NoLogin { .. } | Self::LoginEnded { .. } => Exit::NotAllowed,
            Self::Machine(failure) => failure.exit(),
        }
    }
}

const fn exit_of_status(status: u16) -> Exit {
    match status {
        404 => Exit::NothingFound,
        400 | 413 | 415 | 422 => Exit::BadInput,
        401 | 403 => Exit::NotAllowed,
        408 | 429 | 502..=504 => Exit::NotNow,
        409 | 412 => Exit::Conflict,
        _ => Exit::Internal,
    }
}

/// The wire name of a code.
fn code_text(code: ErrorCode) -> String {
    serde_json::to_value(code)
        .ok()
        .and_then(|value| value.as_str().map(str::to_owned))
        .unwrap_or_default()
}

impl From<RemoteError> for Failure {
    fn from(error: RemoteError) -> Self {
        let exit = error.exit();
        let said = error.to_string();
        match error {
            RemoteError::Machine(failure) => *failure,
            RemoteError::Unreachable { .. } => Self::new(exit, "unreachable", said).remedy(
                "check the network and SECONDCAN_URL, then run the command again",
            ),
            RemoteError::TimedOut { .. } => {
                Self::new(exit, "timed-out", said).remedy("run the command again in a moment")
            }
            RemoteError::Cut { .. } => {
                Self::new(exit, "cut-off", said).remedy("run the command again in a moment")
            }
            RemoteError::NotOurs { .. } => Self::new(exit, "not-secondcan", said).remedy(
                "check SECONDCAN_URL; in a guest network, open a web page first and agree to its terms",
            ),
            RemoteError::Unknown { .. } => Self::new(exit, "unknown-answer", said)
                .remedy("this program may be older than the server: update it"),
            RemoteError::Shape { .. } => Self::new(exit, "unknown-answer", said)
                .remedy("this program and the server may be of different versions: update both"),
            RemoteError::NoLogin { .. } => {
                Self::new(exit, "not-logged-in", said).remedy("log in with `secondcan login`")
            }
            RemoteError::LoginEnded { .. } => Self::new(exit, "not-logged-in", said)
                .remedy("log in again with `secondcan login`"),
            RemoteError::Refused {
                problem,
                request_id,
            } => {
                let mut failure = Self::new(exit, &code_text(problem.code), problem.detail)
                    .request_id(request_id);
                if let Some(field) = problem.field {
                    failure = failure.field(field);
                }
                if let Some(remedy) = problem.remedy {
                    failure = failure.remedy(remedy);
                }
                failure
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn statuses_become_the_exit_codes_that_scripts_rely_on() {
        for (exit, statuses) in [
            (Exit::NothingFound, &[404_u16][..]),
            (Exit::BadInput, &[400, 413, 415, 422]),
            (Exit::NotAllowed, &[401, 403]),
            (Exit::NotNow, &[429, 503, 408, 502, 504]),
            (Exit::Conflict, &[409, 412]),
            (Exit::Internal, &[500, 426]),
        ] {
            for status in statuses {
                assert_eq!(exit_of_status(*status), exit, "{status}");
            }
        }
    }
}
