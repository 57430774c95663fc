//! The closed list of error codes, and the problem document that carries them (RFC 9457).

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Every way a request can fail, as a client may branch on it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum ErrorCode {
    /// The request line, a header or the query can't be read.
    BadRequest,
    /// The body is not JSON, or not of the shape that the route takes.
    MalformedBody,
    /// A field's value is refused; `field` and `remedy` say which and what to do.
    InvalidValue,
    /// The total of the shots is above the base's room.
    OverBaseRoom,
    /// The body is not `application/json`, or its encoding is not known.
    UnsupportedMediaType,
    /// The body is larger than the server takes.
    BodyTooLarge,
    /// A write came without `Idempotency-Key`.
    IdempotencyKeyMissing,
    /// The key was used before with another request.
    IdempotencyKeyReused,
    /// An edit came without `If-Match`.
    VersionMissing,
    /// The record was changed since it was read.
    VersionMismatch,
    /// No login, or one that has ended.
    NotLoggedIn,
    /// The access token has run out; refresh it.
    TokenExpired,
    /// Name and password don't fit.
    WrongCredentials,
    /// The login may not do this.
    NotAllowed,
    /// No such thing, or none that this login may see.
    NotFound,
    /// The path exists, but not with this method.
    MethodNotAllowed,
    /// Something of that id or name exists already.
    AlreadyExists,
    /// The record is in a state that does not allow this.
    StateConflict,
    /// Too many tries; `Retry-After` says when.
    TooManyTries,
    /// The server can't answer now; try again.
    Unavailable,
    /// The request took too long to arrive.
    TimedOut,
    /// A fault of the server; the answer's `X-Request-Id` finds it in the log.
    Internal,
}

/// Body of every error answer: `application/problem+json`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Problem {
    /// `urn:secondcan:problem:` and the code.
    pub r#type: String,
    /// A few words that are the same for every answer of this code.
    pub title: String,
    /// The HTTP status.
    #[schema(minimum = 400, maximum = 599)]
    pub status: u16,
    /// What clients branch on.
    pub code: ErrorCode,
    /// What went wrong this time, in a sentence.
    pub detail: String,
    /// Path of the field at fault, when one is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub field: Option<String>,
    /// What to do about it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub remedy: Option<String>,
}
