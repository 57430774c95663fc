//! Requests and answers.

use serde_json::{Value, json};

/// The tokens of a login.
#[derive(Debug, Clone, Default)]
pub(crate) struct Keys {
    pub(crate) access: Option<String>,
    pub(crate) refresh: Option<String>,
}

/// Somebody with a way to the server, logged in or not.
#[derive(Clone)]
pub(crate) struct Client {
    agent: ureq::Agent,
    url: String,
    /// The login name, once logged in.
    pub(crate) login: String,
    /// The person's id, once logged in.
    pub(crate) id: String,
    pub(crate) keys: Keys,
}

impl Client {
    pub(crate) fn new(url: &str) -> Self {
        let config = ureq::Agent::config_builder().http_status_as_error(false);
        Self {
            agent: config.build().new_agent(),
            url: url.to_owned(),
            login: String::new(),
            id: String::new(),
            keys: Keys::default(),
        }
    }

    /// Logs in; keeps the tokens when it went through.
    pub(crate) fn log_in(&mut self, login: &str, password: &str, store: Option<&str>) -> Answer {
        let mut body = json!({ "login": login, "password": password });
        if let Some(store) = store {
            body["store_id"] = json!(store);
        }
        let answer = self.post("/auth/login", body);
        if answer.status == 200 {
            self.take_keys(&answer);
            self.login = login.to_owned();
            self.id = self.get("/auth/me").is(200).text("/person/id");
        }
        answer
    }

    /// Keeps the tokens of an answer.
    pub(crate) fn take_keys(&mut self, answer: &Answer) {
        self.keys = Keys {
            access: Some(answer.text("/access_token")),
            refresh: Some(answer.text("/refresh_token")),
        };
    }

    pub(crate) fn get(&self, path: &str) -> Answer {
        self.send("GET", path, &[], None)
    }

    /// With a new Idempotency-Key.
    pub(crate) fn post(&self, path: &str, body: Value) -> Answer {
        self.post_keyed(path, &super::new_id(), body)
    }

    pub(crate) fn post_keyed(&self, path: &str, key: &str, body: Value) -> Answer {
        self.send("POST", path, &[("Idempotency-Key", key)], Some(body))
    }

    /// An edit on the version given, with a new Idempotency-Key.
    pub(crate) fn patch(&self, path: &str, version: i64, body: Value) -> Answer {
        self.edit("PATCH", path, version, body)
    }

    /// Any method with `If-Match` and a new Idempotency-Key.
    pub(crate) fn edit(&self, method: &str, path: &str, version: i64, body: Value) -> Answer {
        let key = super::new_id();
        let version = format!("\"{version}\"");
        let headers = [("Idempotency-Key", key.as_str()), ("If-Match", &version)];
        self.send(method, path, &headers, Some(body))
    }

    /// With a new Idempotency-Key.
    pub(crate) fn put(&self, path: &str, body: Option<Value>) -> Answer {
        self.send("PUT", path, &[("Idempotency-Key", &super::new_id())], body)
    }

    /// With a new Idempotency-Key.
    pub(crate) fn delete(&self, path: &str) -> Answer {
        self.send(
            "DELETE",
            path,
            &[("Idempotency-Key", &super::new_id())],
            None,
        )
    }

    /// Any request under /api/v1, with just these headers and the token.
    pub(crate) fn send(
        &self,
        method: &str,
        path: &str,
        headers: &[(&str, &str)],
        body: Option<Value>,
    ) -> Answer {
        let body = body.map(|body| ("application/json", body.to_string()));
        self.run(method, path, headers, body)
    }

    /// A body that is not JSON, or not as a JSON library would write it, with a new Idempotency-Key.
    pub(crate) fn send_text(
        &self,
        method: &str,
        path: &str,
        content_type: &str,
        body: &str,
    ) -> Answer {
        let key = super::new_id();
        let headers = [("Idempotency-Key", key.as_str())];
        self.run(
            method,
            path,
            &headers,
            Some((content_type, body.to_owned())),
        )
    }

    fn run(
        &self,
        method: &str,
        path: &str,
        headers: &[(&str, &str)],
        body: Option<(&str, String)>,
    ) -> Answer {
        let mut request = ureq::http::Request::builder()
            .method(method)
            .uri(format!("{}/api/v1{path}", self.url));
        if let Some(token) = &self.keys.access {
            request = request.header("Authorization", format!("Bearer {token}"));
        }
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        let answer = match body {
            Some((content_type, body)) => {
                let request = request.header("Content-Type", content_type);
                self.agent.run(request.body(body).unwrap())
            }
            None => self.agent.run(request.body(()).unwrap()),
        };
        let mut answer = answer.unwrap_or_else(|error| panic!("{method} {path}: {error}"));
        let text = answer.body_mut().read_to_string().unwrap();
        let body = if text.is_empty() {
            Value::Null
        } else {
            serde_json::from_str(&text).unwrap_or_else(|error| panic!("{error} in {text}"))
        };
        Answer {
            asked: format!("{method} {path}"),
            status: answer.status().as_u16(),
            headers: answer.headers().clone(),
            body,
        }
    }
}

/// What came back.
#[derive(Debug, Clone)]
pub(crate) struct Answer {
    asked: String,
    pub(crate) status: u16,
    pub(crate) headers: ureq::http::HeaderMap,
    pub(crate) body: Value,
}

impl Answer {
    /// Asserts the status.
    #[track_caller]
    pub(crate) fn is(self, status: u16) -> Self {
        assert_eq!(self.status, status, "{}: {:#}", self.asked, self.body);
        self
    }

    /// Asserts status and problem code.
    #[track_caller]
    pub(crate) fn refused(self, status: u16, code: &str) -> Self {
        let answer = self.is(status);
        assert_eq!(
            answer.body["code"], code,
            "{}: {:#}",
            answer.asked, answer.body
        );
        assert_eq!(answer.headers["content-type"], "application/problem+json");
        answer
    }

    /// The text at a JSON pointer.
    #[track_caller]
    pub(crate) fn text(&self, pointer: &str) -> String {
        match self.body.pointer(pointer).and_then(Value::as_str) {
            Some(text) => text.to_owned(),
            None => panic!("{}: no text at {pointer} in {:#}", self.asked, self.body),
        }
    }

    /// The version of the record.
    #[track_caller]
    pub(crate) fn version(&self) -> i64 {
        match self.body["version"].as_i64() {
            Some(version) => version,
            None => panic!("{}: no version in {:#}", self.asked, self.body),
        }
    }

    /// The items of a page.
    #[track_caller]
    pub(crate) fn items(&self) -> &[Value] {
        match self.body["items"].as_array() {
            Some(items) => items,
            None => panic!("{}: no page in {:#}", self.asked, self.body),
        }
    }
}
