//! Asking the server over HTTP: any status is an answer, and every answer has a deadline.

use std::time::Duration;

use serde_json::Value;
use ureq::Agent;
use ureq::http::Request;
use uuid::Uuid;

/// Longer than the server ever lets a client wait for its database.
const PATIENCE: Duration = Duration::from_secs(60);
/// Media type of every refusal.
pub const PROBLEM_JSON: &str = "application/problem+json";

/// What came back.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Answer {
    /// HTTP status.
    pub status: u16,
    /// Headers, names in lower case, in the order they came.
    pub headers: Vec<(String, String)>,
    /// The body's bytes.
    pub body: Vec<u8>,
}

impl Answer {
    /// The first header of this name.
    #[must_use]
    pub fn header(&self, name: &str) -> Option<&str> {
        self.headers
            .iter()
            .find(|(header, _)| header == name)
            .map(|(_, value)| value.as_str())
    }

    /// The body as text.
    #[must_use]
    pub fn text(&self) -> String {
        String::from_utf8_lossy(&self.body).into_owned()
    }

    /// The body as JSON.
    ///
    /// # Panics
    /// When it is none.
    #[must_use]
    #[track_caller]
    pub fn json(&self) -> Value {
        serde_json::from_slice(&self.body).unwrap_or_else(|error| {
            panic!("{} is not JSON ({error}): {}", self.status, self.text())
        })
    }

    /// The body, if the status is this one.
    ///
    /// # Panics
    /// When it is another, with the body.
    #[track_caller]
    pub fn expect(self, status: u16) -> Value {
        assert_eq!(self.status, status, "{}", self.text());
        if self.body.is_empty() {
            return Value::Null;
        }
        self.json()
    }

    /// A refusal as every refusal must be: problem+json that says what is wrong and what to do,
    /// with the status in the body too. Returns the body.
    ///
    /// # Panics
    /// When it is none, or of another status or code.
    #[track_caller]
    pub fn problem(&self, status: u16, code: &str) -> Value {
        assert_eq!(self.status, status, "{}", self.text());
        assert_eq!(self.header("content-type"), Some(PROBLEM_JSON));
        let body = self.json();
        let text = |key: &str| body[key].as_str().unwrap_or_default();
        assert_eq!(body["status"], status, "{body}");
        assert_eq!(text("code"), code, "{body}");
        assert_eq!(text("type"), format!("urn:secondcan:problem:{code}"));
        for key in ["title", "detail", "remedy"] {
            assert!(!text(key).is_empty(), "no {key}: {body}");
        }
        body
    }
}

/// A login's way to the server, or a stranger's.
#[derive(Debug, Clone)]
pub struct Client {
    agent: Agent,
    url: String,
    token: Option<String>,
}

impl Client {
    /// A stranger.
    #[must_use]
    pub fn at(url: &str) -> Self {
        Self {
            agent: Agent::config_builder()
                .http_status_as_error(false)
                .timeout_global(Some(PATIENCE))
                .max_redirects(0)
                .build()
                .new_agent(),
            url: url.to_owned(),
            token: None,
        }
    }

    /// The same way with another token.
    #[must_use]
    pub fn with_token(&self, token: &str) -> Self {
        Self {
            token: Some(token.to_owned()),
            ..self.clone()
        }
    }

    /// Somebody at the same server who is not logged in.
    #[must_use]
    pub fn stranger(&self) -> Self {
        Self {
            token: None,
            ..self.clone()
        }
    }

    /// The same login at a server that listens elsewhere now, with connections of its own.
    #[must_use]
    pub fn moved_to(&self, url: &str) -> Self {
        Self {
            token: self.token.clone(),
            ..Self::at(url)
        }
    }

    /// `http://ADDRESS:PORT` of the server.
    #[must_use]
    pub fn url(&self) -> &str {
        &self.url
    }

    /// The access token.
    ///
    /// # Panics
    /// For a stranger.
    #[must_use]
    pub fn token(&self) -> &str {
        self.token.as_deref().expect("a stranger has no token")
    }

    /// A request to be filled in.
    #[must_use]
    pub fn ask(&self, method: &str, path: &str) -> Ask<'_> {
        Ask {
            client: self,
            method: method.to_owned(),
            path: path.to_owned(),
            headers: Vec::new(),
            body: None,
        }
    }

    /// Reads a path under `/api/v1`.
    ///
    /// # Panics
    /// When no answer comes.
    #[must_use]
    #[track_caller]
    pub fn get(&self, path: &str) -> Answer {
        self.ask("GET", path).send()
    }

    /// Writes to a path under `/api/v1` with a key of its own.
    ///
    /// # Panics
    /// When no answer comes.
    #[track_caller]
    pub fn post(&self, path: &str, body: &Value) -> Answer {
        self.ask("POST", path).fresh_key().json(body).send()
    }

    /// Edits what stands at this version.
    ///
    /// # Panics
    /// When no answer comes.
    #[track_caller]
    pub fn patch(&self, path: &str, version: i64, body: &Value) -> Answer {
        self.ask("PATCH", path)
            .fresh_key()
            .if_match(version)
            .json(body)
            .send()
    }
}

/// A request.
#[derive(Debug, Clone)]
pub struct Ask<'a> {
    client: &'a Client,
    method: String,
    path: String,
    headers: Vec<(String, String)>,
    body: Option<Vec<u8>>,
}

impl Ask<'_> {
    /// Adds a header.
    #[must_use]
    pub fn header(mut self, name: &str, value: &str) -> Self {
        self.headers.push((name.to_owned(), value.to_owned()));
        self
    }

    /// Adds an idempotency key.
    #[must_use]
    pub fn key(self, key: Uuid) -> Self {
        self.header("idempotency-key", &key.to_string())
    }

    /// Adds a new idempotency key.
    #[must_use]
    pub fn fresh_key(self) -> Self {
        self.key(Uuid::now_v7())
    }

    /// Adds the version that an edit is made on.
    #[must_use]
    pub fn if_match(self, version: i64) -> Self {
        self.header("if-match", &format!("\"{version}\""))
    }

    /// Sends JSON.
    #[must_use]
    pub fn json(self, body: &Value) -> Self {
        self.json_text(body.to_string())
    }

    /// Sends these bytes as JSON, whatever they are.
    #[must_use]
    pub fn json_text(self, body: impl Into<Vec<u8>>) -> Self {
        self.header("content-type", "application/json").bytes(body)
    }

    /// Sends these bytes.
    #[must_use]
    pub fn bytes(mut self, body: impl Into<Vec<u8>>) -> Self {
        self.body = Some(body.into());
        self
    }

    /// Sends it. The path stands under `/api/v1`; one that begins with `//` stands at the root.
    ///
    /// # Errors
    /// When no answer comes: the server is gone, or too slow.
    pub fn try_send(self) -> Result<Answer, ureq::Error> {
        let path = match self.path.strip_prefix("//") {
            Some(root) => format!("/{root}"),
            None => format!("/api/v1{}", self.path),
        };
        let mut request = Request::builder()
            .method(self.method.as_str())
            .uri(format!("{}{path}", self.client.url));
        if let Some(token) = &self.client.token {
            request = request.header("authorization", format!("Bearer {token}"));
        }
        for (name, value) in &self.headers {
            request = request.header(name, value);
        }
        let agent = &self.client.agent;
        let mut response = match self.body {
            Some(body) => agent.run(request.body(body)?)?,
            None => agent.run(request.body(())?)?,
        };
        Ok(Answer {
            status: response.status().as_u16(),
            headers: response
                .headers()
                .iter()
                .map(|(name, value)| {
                    let value = String::from_utf8_lossy(value.as_bytes());
                    (name.as_str().to_owned(), value.into_owned())
                })
                .collect(),
            body: response.body_mut().read_to_vec()?,
        })
    }

    /// Sends it and waits for the answer.
    ///
    /// # Panics
    /// When none comes.
    #[must_use]
    #[track_caller]
    pub fn send(self) -> Answer {
        let line = format!("{} {}", self.method, self.path);
        self.try_send()
            .unwrap_or_else(|error| panic!("{line}: no answer: {error}"))
    }
}
