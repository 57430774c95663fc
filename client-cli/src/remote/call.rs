//! One request and its answer.

use std::io;
use std::time::Duration;

use formula::wire::error_code::Problem;
use serde::Serialize;
use serde::de::DeserializeOwned;
use ureq::Agent;
use ureq::http::{Request, Response};
use uuid::Uuid;

use super::{Address, Patience, RemoteError};
use crate::exit::Failure;

/// No answer of the server is larger.
const MAX_ANSWER: u64 = 64 * 1024 * 1024;
/// A server that asks for more patience than this gets a person to decide.
const LONGEST_WAIT_S: u64 = 5;

/// A request, ready to be sent, and sent again.
#[derive(Debug, Clone)]
pub(super) struct Ask {
    pub(super) method: String,
    /// Below `/api/v1`, encoded.
    pub(super) path: String,
    pub(super) body: Option<String>,
    pub(super) key: Option<Uuid>,
    pub(super) version: Option<i32>,
}

impl Ask {
    pub(super) fn get(path: &str) -> Self {
        Self {
            method: "GET".to_owned(),
            path: path.to_owned(),
            body: None,
            key: None,
            version: None,
        }
    }

    pub(super) fn post(path: &str, body: &impl Serialize) -> Result<Self, RemoteError> {
        let body = serde_json::to_string(body).map_err(|error| RemoteError::Shape {
            why: error.to_string(),
        })?;
        Ok(Self {
            method: "POST".to_owned(),
            path: path.to_owned(),
            body: Some(body),
            key: None,
            version: None,
        })
    }
}

/// A good answer.
pub(super) struct Answer {
    status: u16,
    kind: String,
    request_id: Option<String>,
    bytes: Vec<u8>,
}

impl Answer {
    pub(super) fn is_empty(&self) -> bool {
        self.bytes.is_empty()
    }

    /// The record in it.
    pub(super) fn json<T: DeserializeOwned>(&self, server: &Address) -> Result<T, RemoteError> {
        if !is_json(&self.kind) {
            return Err(RemoteError::NotOurs {
                server: server.to_string(),
                status: self.status,
                kind: self.kind.clone(),
            });
        }
        serde_json::from_slice(&self.bytes).map_err(|error| {
            if error.is_eof() {
                RemoteError::Cut {
                    server: server.to_string(),
                }
            } else {
                RemoteError::Shape {
                    why: error.to_string(),
                }
            }
        })
    }
}

fn is_json(kind: &str) -> bool {
    let essence = kind.split(';').next().unwrap_or_default().trim();
    essence.eq_ignore_ascii_case("application/json")
        || essence.eq_ignore_ascii_case("application/problem+json")
}

/// Sends requests to one server.
pub(super) struct Caller {
    agent: Agent,
    address: Address,
}

impl Caller {
    pub(super) fn new(address: Address, patience: Patience) -> Self {
        let mut config = Agent::config_builder()
            .http_status_as_error(false)
            // A redirect is answered by something in between; following it could carry a body elsewhere.
            .max_redirects(0)
            .max_redirects_will_error(false)
            .timeout_connect(Some(patience.connect))
            .timeout_global(Some(patience.answer))
            .user_agent(concat!("secondcan/", env!("CARGO_PKG_VERSION")));
        if address.is_loopback() {
            config = config.proxy(None);
        }
        Self {
            agent: config.build().new_agent(),
            address,
        }
    }

    pub(super) const fn address(&self) -> &Address {
        &self.address
    }

    /// Sends; with `patient`, once more after a hiccup of the network or a short wait that the server asked for.
    pub(super) fn send(
        &self,
        ask: &Ask,
        token: Option<&str>,
        patient: bool,
    ) -> Result<Answer, RemoteError> {
        let first = self.attempt(ask, token);
        if !patient {
            return first.map_err(|(error, _)| error);
        }
        match first {
            Ok(answer) => Ok(answer),
            Err((error, None)) if error.is_hiccup() => {
                self.attempt(ask, token).map_err(|(error, _)| error)
            }
            Err((_, Some(wait))) => {
                std::thread::sleep(wait);
                self.attempt(ask, token).map_err(|(error, _)| error)
            }
            Err((error, None)) => Err(error),
        }
    }

    /// One try. The wait is there when the server named one that is short enough.
    fn attempt(
        &self,
        ask: &Ask,
        token: Option<&str>,
    ) -> Result<Answer, (RemoteError, Option<Duration>)> {
        let mut response = self.request(ask, token).map_err(|error| (error, None))?;
        let status = response.status().as_u16();
        let header = |name: &str| {
            response
                .headers()
                .get(name)
                .and_then(|value| value.to_str().ok())
                .unwrap_or_default()
                .to_owned()
        };
        let kind = header("content-type");
        let request_id = Some(header("x-request-id")).filter(|id| !id.is_empty());
        let wait = header("retry-after")
            .trim()
            .parse::<u64>()
            .ok()
            .filter(|seconds| status == 503 && *seconds <= LONGEST_WAIT_S)
            .map(Duration::from_secs);
        let bytes = response
            .body_mut()
            .with_config()
            .limit(MAX_ANSWER)
            .read_to_vec()
            .map_err(|error| (self.network(error), None))?;
        let answer = Answer {
            status,
            kind,
            request_id,
            bytes,
        };
        if (200..300).contains(&status) {
            // A body cut short without a stated length is noticed only here, while it can still be repeated.
            if is_json(&answer.kind)
                && serde_json::from_slice::<serde::de::IgnoredAny>(&answer.bytes)
                    .is_err_and(|error| error.is_eof())
            {
                return Err((self.cut(), None));
            }
            if !answer.bytes.is_empty() && !is_json(&answer.kind) {
                return Err((self.not_ours(&answer), None));
            }
            return Ok(answer);
        }
        Err((self.refusal(&answer), wait))
    }

    fn request(&self, ask: &Ask, token: Option<&str>) -> Result<Response<ureq::Body>, RemoteError> {
        let mut builder = Request::builder()
            .method(ask.method.as_str())
            .uri(self.address.api(&ask.path))
            .header("Accept", "application/json, application/problem+json");
        if let Some(token) = token {
            builder = builder.header("Authorization", format!("Bearer {token}"));
        }
        if let Some(key) = ask.key {
            builder = builder.header("Idempotency-Key", key.to_string());
        }
        if let Some(version) = ask.version {
            builder = builder.header("If-Match", format!("\"{version}\""));
        }
        let invalid = |_: ureq::http::Error| {
            // The error can come from a header that holds a token, so it is not shown.
            RemoteError::from(
                Failure::bad("server", "the request can't be put together")
                    .remedy("check SECONDCAN_URL, and log in again"),
            )
        };
        match &ask.body {
            Some(body) => self.agent.run(
                builder
                    .header("Content-Type", "application/json")
                    .body(body.as_str())
                    .map_err(invalid)?,
            ),
            None => self.agent.run(builder.body(()).map_err(invalid)?),
        }
        .map_err(|error| self.network(error))
    }

    fn cut(&self) -> RemoteError {
        RemoteError::Cut {
            server: self.address.to_string(),
        }
    }

    fn not_ours(&self, answer: &Answer) -> RemoteError {
        RemoteError::NotOurs {
            server: self.address.to_string(),
            status: answer.status,
            kind: if answer.kind.is_empty() {
                "no type".to_owned()
            } else {
                answer.kind.clone()
            },
        }
    }

    fn network(&self, error: ureq::Error) -> RemoteError {
        match error {
            ureq::Error::Timeout(_) => RemoteError::TimedOut {
                server: self.address.to_string(),
            },
            ureq::Error::Io(error) => match error.kind() {
                io::ErrorKind::TimedOut | io::ErrorKind::WouldBlock => RemoteError::TimedOut {
                    server: self.address.to_string(),
                },
                io::ErrorKind::ConnectionReset
                | io::ErrorKind::ConnectionAborted
                | io::ErrorKind::BrokenPipe
                | io::ErrorKind::UnexpectedEof => self.cut(),
                _ => RemoteError::Unreachable {
                    server: self.address.to_string(),
                    reason: error.to_string(),
                },
            },
            // A length that does not hold, a broken chunk, half a header.
            ureq::Error::Protocol(_) => self.cut(),
            other => RemoteError::Unreachable {
                server: self.address.to_string(),
                reason: other.to_string(),
            },
        }
    }

    fn refusal(&self, answer: &Answer) -> RemoteError {
        if !is_json(&answer.kind) {
            return self.not_ours(answer);
        }
        match serde_json::from_slice::<Problem>(&answer.bytes) {
            Ok(mut problem) => {
                // The status line decides: scripts rely on it.
                problem.status = answer.status;
                RemoteError::Refused {
                    problem: Box::new(problem),
                    request_id: answer.request_id.clone(),
                }
            }
            Err(_) => RemoteError::Unknown {
                status: answer.status,
                detail: serde_json::from_slice::<serde_json::Value>(&answer.bytes)
                    .ok()
                    .and_then(|value| value.get("detail")?.as_str().map(str::to_owned))
                    .unwrap_or_else(|| "no explanation".to_owned()),
            },
        }
    }
}
