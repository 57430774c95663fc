//! Extractors: bodies, path ids, query strings, `Idempotency-Key` and `If-Match`, each with its own words when it
//! can't be taken.

use std::collections::HashSet;
use std::fmt;
use std::future::Future;
use std::pin::Pin;
use std::time::Duration;

use actix_web::dev::Payload;
use actix_web::http::header;
use actix_web::web::{self, BytesMut};
use actix_web::{FromRequest, HttpRequest};
use formula::id::IdempotencyKey;
use formula::wire::error_code::ErrorCode;
use futures_core::Stream as _;
use serde::Deserialize;
use serde::de::{self, DeserializeOwned, Deserializer, MapAccess, SeqAccess, Visitor};
use sha2::{Digest, Sha256};
use utoipa::openapi::RefOr;
use utoipa::openapi::schema::{ObjectBuilder, Schema, Type};
use utoipa::{PartialSchema, ToSchema};
use uuid::Uuid;

use super::error::ApiError;
use crate::store::write::{PageAsk, WriteKey};

/// Bodies above this are refused, compressed or not: compressed ones are not taken at all.
pub const MAX_BODY: usize = 1024 * 1024;

/// A client that dribbles its body holds a connection and a handler no longer than this.
pub const BODY_PATIENCE: Duration = Duration::from_secs(30);

type Extracting<T> = Pin<Box<dyn Future<Output = Result<T, ApiError>>>>;

/// A JSON body, checked for type, size, depth and repeated keys before it becomes a `T`.
pub struct Body<T> {
    /// What it says.
    pub value: T,
    /// SHA-256 of its bytes.
    digest: [u8; 32],
}

impl<T: DeserializeOwned + 'static> FromRequest for Body<T> {
    type Error = ApiError;
    type Future = Extracting<Self>;

    fn from_request(request: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let checked = check_headers(request);
        let payload = web::Payload::from_request(request, payload);
        Box::pin(async move {
            checked?;
            let payload = payload.await.map_err(|error| {
                ApiError::request(
                    ErrorCode::BadRequest,
                    error.to_string(),
                    "send the body again",
                )
            })?;
            let bytes = collect(payload).await?;
            let value = parse(&bytes)?;
            Ok(Self {
                value,
                digest: Sha256::digest(&bytes).into(),
            })
        })
    }
}

fn check_headers(request: &HttpRequest) -> Result<(), ApiError> {
    let media = |detail: String, remedy: &str| {
        ApiError::request(ErrorCode::UnsupportedMediaType, detail, remedy)
    };
    let name = |header: &header::HeaderName| {
        request
            .headers()
            .get(header)
            .and_then(|value| value.to_str().ok())
            .unwrap_or_default()
            .to_ascii_lowercase()
    };
    let encoding = name(&header::CONTENT_ENCODING);
    if !encoding.is_empty() && encoding != "identity" {
        return Err(media(
            format!("Content-Encoding {encoding:?} is not taken"),
            "send the body uncompressed",
        ));
    }
    let content_type = name(&header::CONTENT_TYPE);
    let essence = content_type.split(';').next().unwrap_or_default().trim();
    if essence != "application/json" {
        return Err(media(
            format!("Content-Type is {essence:?}, not application/json"),
            "send JSON with Content-Type: application/json",
        ));
    }
    Ok(())
}

async fn collect(payload: web::Payload) -> Result<BytesMut, ApiError> {
    tokio::time::timeout(BODY_PATIENCE, collect_all(payload))
        .await
        .unwrap_or_else(|_| {
            Err(ApiError::request(
                ErrorCode::TimedOut,
                format!(
                    "the body did not arrive within {} s",
                    BODY_PATIENCE.as_secs()
                ),
                "send it again over a better line; nothing was changed",
            ))
        })
}

async fn collect_all(mut payload: web::Payload) -> Result<BytesMut, ApiError> {
    let mut bytes = BytesMut::new();
    while let Some(chunk) =
        std::future::poll_fn(|context| Pin::new(&mut payload).poll_next(context)).await
    {
        let chunk = chunk.map_err(|_| {
            ApiError::request(ErrorCode::BadRequest, "the body broke off", "send it again")
        })?;
        if bytes.len() + chunk.len() > MAX_BODY {
            return Err(ApiError::request(
                ErrorCode::BodyTooLarge,
                format!("the body is larger than {MAX_BODY} bytes"),
                "send less in one request",
            ));
        }
        bytes.extend_from_slice(&chunk);
    }
    Ok(bytes)
}

/// Parses a body: first for repeated keys and depth, then into the type, naming the field that does not fit.
fn parse<T: DeserializeOwned>(bytes: &[u8]) -> Result<T, ApiError> {
    let mut reader = serde_json::Deserializer::from_slice(bytes);
    serde_path_to_error::deserialize::<_, KeysOnce>(&mut reader)
        .map_err(|error| malformed(&error.path().to_string(), error.inner()))?;
    reader.end().map_err(|error| malformed(".", &error))?;
    let mut reader = serde_json::Deserializer::from_slice(bytes);
    serde_path_to_error::deserialize(&mut reader).map_err(|error| {
        let path = error.path().to_string();
        let said = position_dropped(&error.into_inner().to_string());
        ApiError::field(
            ErrorCode::InvalidValue,
            if path == "." { "body" } else { &path },
            // It is JSON: serde_json says this of a list that is longer than its type.
            said.replace("trailing characters", "has more values than are taken"),
            "give a value of the kind that the API description states",
        )
    })
}

/// Not JSON; `path` says how far it could be followed.
fn malformed(path: &str, error: &serde_json::Error) -> ApiError {
    ApiError::field(
        ErrorCode::MalformedBody,
        if path == "." { "body" } else { path },
        format!("not taken as JSON: {error}"),
        "mend the JSON and send it again",
    )
}

/// "… at line 1 column 5" says nothing to someone who did not see the bytes.
fn position_dropped(message: &str) -> String {
    message
        .rsplit_once(" at line ")
        .map_or(message, |(words, _)| words)
        .to_owned()
}

/// Accepts any JSON whose objects name each key once. Two readers that take different copies of a repeated key would
/// disagree on what was sent. Depth is bounded by serde_json's own limit.
struct KeysOnce;

impl<'de> Deserialize<'de> for KeysOnce {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Walk;
        impl<'de> Visitor<'de> for Walk {
            type Value = KeysOnce;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("JSON")
            }
            fn visit_bool<E>(self, _: bool) -> Result<KeysOnce, E> {
                Ok(KeysOnce)
            }
            fn visit_i64<E>(self, _: i64) -> Result<KeysOnce, E> {
                Ok(KeysOnce)
            }
            fn visit_u64<E>(self, _: u64) -> Result<KeysOnce, E> {
                Ok(KeysOnce)
            }
            fn visit_f64<E>(self, _: f64) -> Result<KeysOnce, E> {
                Ok(KeysOnce)
            }
            fn visit_str<E>(self, _: &str) -> Result<KeysOnce, E> {
                Ok(KeysOnce)
            }
            fn visit_unit<E>(self) -> Result<KeysOnce, E> {
                Ok(KeysOnce)
            }
            fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<KeysOnce, A::Error> {
                while seq.next_element::<KeysOnce>()?.is_some() {}
                Ok(KeysOnce)
            }
            fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<KeysOnce, A::Error> {
                let mut seen = HashSet::new();
                while let Some(key) = map.next_key::<String>()? {
                    if !seen.insert(key.clone()) {
                        return Err(de::Error::custom(format!(
                            "the key {key:?} stands twice in one object"
                        )));
                    }
                    map.next_value::<KeysOnce>()?;
                }
                Ok(KeysOnce)
            }
        }
        deserializer.deserialize_any(Walk)
    }
}

/// The headers that every write carries, still without the body's digest.
pub struct WriteHead {
    key: IdempotencyKey,
    line: String,
}

impl WriteHead {
    /// The key of a write with this body.
    #[must_use]
    pub fn with<T>(self, body: &Body<T>) -> WriteKey {
        self.digest(&body.digest)
    }

    /// The key of a write without a body.
    #[must_use]
    pub fn bare(self) -> WriteKey {
        self.digest(&[])
    }

    fn digest(self, body: &[u8]) -> WriteKey {
        let digest = Sha256::new()
            .chain_update(self.line.as_bytes())
            .chain_update(b"\n")
            .chain_update(body)
            .finalize();
        WriteKey {
            key: self.key,
            request_hash: digest.into(),
        }
    }
}

impl FromRequest for WriteHead {
    type Error = ApiError;
    type Future = std::future::Ready<Result<Self, ApiError>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        std::future::ready(write_head(request))
    }
}

fn write_head(request: &HttpRequest) -> Result<WriteHead, ApiError> {
    let given = request.headers().get("Idempotency-Key").ok_or_else(|| {
        ApiError::field(
            ErrorCode::IdempotencyKeyMissing,
            "Idempotency-Key",
            "a write needs the header Idempotency-Key",
            "send a new UUID for each new write, and the same one when you repeat it",
        )
    })?;
    let key = given
        .to_str()
        .ok()
        .and_then(|text| text.parse::<IdempotencyKey>().ok())
        .ok_or_else(|| {
            ApiError::field(
                ErrorCode::BadRequest,
                "Idempotency-Key",
                "the header Idempotency-Key is not a UUID of version 4 or 7",
                "send a new UUID for each new write, and the same one when you repeat it",
            )
        })?;
    let version = request
        .headers()
        .get(header::IF_MATCH)
        .and_then(|value| value.to_str().ok())
        .unwrap_or_default();
    Ok(WriteHead {
        key,
        line: format!("{} {} {version}", request.method(), request.uri()),
    })
}

/// The version that an edit was made on, from `If-Match: "7"`.
pub struct IfMatch(pub i32);

impl FromRequest for IfMatch {
    type Error = ApiError;
    type Future = std::future::Ready<Result<Self, ApiError>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        std::future::ready(if_match(request))
    }
}

fn if_match(request: &HttpRequest) -> Result<IfMatch, ApiError> {
    let remedy = "read the record and send its ETag as If-Match";
    let given = request.headers().get(header::IF_MATCH).ok_or_else(|| {
        ApiError::field(
            ErrorCode::VersionMissing,
            "If-Match",
            "an edit needs the header If-Match",
            remedy,
        )
    })?;
    given
        .to_str()
        .ok()
        .and_then(version_in)
        .map(IfMatch)
        .ok_or_else(|| {
            ApiError::field(
                ErrorCode::BadRequest,
                "If-Match",
                "If-Match is not a single version such as \"7\"",
                remedy,
            )
        })
}

/// The version in `"7"`, written in the one way that [`IfMatch`] describes.
fn version_in(text: &str) -> Option<i32> {
    let digits = text.trim().strip_prefix('"')?.strip_suffix('"')?;
    let plain = (1..=9).contains(&digits.len())
        && !digits.starts_with('0')
        && digits.bytes().all(|byte| byte.is_ascii_digit());
    plain.then(|| digits.parse().ok())?
}

impl PartialSchema for IfMatch {
    fn schema() -> RefOr<Schema> {
        ObjectBuilder::new()
            .schema_type(Type::String)
            .description(Some("The ETag of the record as it was read"))
            .pattern(Some("^\"[1-9][0-9]{0,8}\"$"))
            .examples([serde_json::Value::from("\"7\"")])
            .into()
    }
}

impl ToSchema for IfMatch {}

/// Ids in the path. A text that is no id names nothing, so it is answered as a missing one.
pub struct Ids<T>(pub T);

impl<T: DeserializeOwned + 'static> FromRequest for Ids<T> {
    type Error = ApiError;
    type Future = std::future::Ready<Result<Self, ApiError>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let ids = actix_web::dev::Path::load(request.match_info());
        std::future::ready(
            ids.map(Self)
                .map_err(|_| ApiError::App(crate::app::AppError::NotFound("id"))),
        )
    }
}

/// A query string; fields that the route does not know are refused by the type itself.
pub struct Query<T>(pub T);

impl<T: DeserializeOwned + 'static> FromRequest for Query<T> {
    type Error = ApiError;
    type Future = std::future::Ready<Result<Self, ApiError>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let pairs = form_urlencoded::parse(request.query_string().as_bytes());
        let query = serde_path_to_error::deserialize(serde_urlencoded::Deserializer::new(pairs));
        std::future::ready(query.map(Self).map_err(|error| {
            let path = error.path().to_string();
            let field = if path == "." { "query" } else { &path };
            ApiError::field(
                ErrorCode::BadRequest,
                field,
                format!("{field} can't be taken: {}", error.inner()),
                "use the parameters that the API description states, each once",
            )
        }))
    }
}

/// `limit` and `after` of every list.
#[derive(Debug, Clone, Copy, Deserialize, utoipa::IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct Paging {
    /// Rows at most.
    #[param(minimum = 1, maximum = 200, default = 50)]
    limit: Option<u16>,
    /// `next` of the page before.
    after: Option<Uuid>,
}

impl Paging {
    /// What the store is asked for.
    ///
    /// # Errors
    /// When `limit` is not 1 to 200.
    pub fn ask(&self) -> Result<PageAsk, ApiError> {
        page_ask(self.limit, self.after)
    }
}

/// `limit` and `after`, checked.
///
/// # Errors
/// When `limit` is not 1 to 200.
pub fn page_ask(limit: Option<u16>, after: Option<Uuid>) -> Result<PageAsk, ApiError> {
    let limit = limit.unwrap_or(50);
    if !(1..=200).contains(&limit) {
        return Err(ApiError::field(
            ErrorCode::BadRequest,
            "limit",
            format!("limit is {limit}, not 1 to 200"),
            "ask for fewer rows and follow `next`",
        ));
    }
    Ok(PageAsk {
        limit: i64::from(limit),
        after,
    })
}

/// What is looked for, and how many hits are wanted.
#[derive(Debug, Clone, Deserialize, utoipa::IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct Looking {
    /// A label code, a phone or its end, a name, a job label.
    #[param(min_length = 1, max_length = 200)]
    q: String,
    /// Hits at most.
    #[param(minimum = 1, maximum = 20, default = 20)]
    limit: Option<u16>,
}

impl Looking {
    /// The text and the limit.
    ///
    /// # Errors
    /// When `q` has not 1 to 200 characters, or `limit` is not 1 to 20.
    pub fn checked(self) -> Result<(String, usize), ApiError> {
        let count = self.q.chars().count();
        if !(1..=200).contains(&count) {
            return Err(ApiError::field(
                ErrorCode::BadRequest,
                "q",
                format!("q has {count} characters, not 1 to 200"),
                "give a part of the name, a phone, a job or a label code",
            ));
        }
        let limit = self.limit.unwrap_or(20);
        if !(1..=20).contains(&limit) {
            return Err(ApiError::field(
                ErrorCode::BadRequest,
                "limit",
                format!("limit is {limit}, not 1 to 20"),
                "ask for at most 20 and look for more of the name",
            ));
        }
        Ok((self.q, usize::from(limit)))
    }
}
