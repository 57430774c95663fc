//! The API description, generated from the handlers.

use formula::id::IdempotencyKey;
use formula::wire::error_code::{ErrorCode, Problem};
use utoipa::openapi::security::{Http, HttpAuthScheme, SecurityScheme};
use utoipa::{IntoResponses, Modify, OpenApi};

use super::api;

/// How a read can fail.
#[derive(IntoResponses)]
pub enum ReadProblems {
    /// The query or a header can't be read.
    #[response(status = 400, content_type = "application/problem+json")]
    BadRequest(#[to_schema] Problem),
    /// Not logged in.
    #[response(status = 401, content_type = "application/problem+json")]
    NotLoggedIn(#[to_schema] Problem),
    /// Not allowed.
    #[response(status = 403, content_type = "application/problem+json")]
    NotAllowed(#[to_schema] Problem),
    /// No such thing, or none that the caller may see.
    #[response(status = 404, content_type = "application/problem+json")]
    NotFound(#[to_schema] Problem),
    /// Not now; `Retry-After` says when.
    #[response(status = 503, content_type = "application/problem+json")]
    Unavailable(#[to_schema] Problem),
}

/// How a request with a body can fail besides.
#[derive(IntoResponses)]
pub enum BodyProblems {
    /// The body took too long to arrive.
    #[response(status = 408, content_type = "application/problem+json")]
    TimedOut(#[to_schema] Problem),
    /// The body is too large.
    #[response(status = 413, content_type = "application/problem+json")]
    BodyTooLarge(#[to_schema] Problem),
    /// The body is not JSON.
    #[response(status = 415, content_type = "application/problem+json")]
    UnsupportedMediaType(#[to_schema] Problem),
    /// A value is refused.
    #[response(status = 422, content_type = "application/problem+json")]
    InvalidValue(#[to_schema] Problem),
}

/// How a login can fail.
#[derive(IntoResponses)]
pub enum AuthProblems {
    /// The request can't be read.
    #[response(status = 400, content_type = "application/problem+json")]
    BadRequest(#[to_schema] Problem),
    /// Name and password don't fit, or the token is not good.
    #[response(status = 401, content_type = "application/problem+json")]
    NotLoggedIn(#[to_schema] Problem),
    /// The store is closed, or the login's state does not allow this.
    #[response(status = 409, content_type = "application/problem+json")]
    Conflict(#[to_schema] Problem),
    /// Too many tries; `Retry-After` says when the next one is taken.
    #[response(status = 429, content_type = "application/problem+json")]
    TooManyTries(#[to_schema] Problem),
    /// Not now; `Retry-After` says when.
    #[response(status = 503, content_type = "application/problem+json")]
    Unavailable(#[to_schema] Problem),
}

/// How a write can fail.
#[derive(IntoResponses)]
pub enum WriteProblems {
    /// The request can't be read, or its Idempotency-Key is missing.
    #[response(status = 400, content_type = "application/problem+json")]
    BadRequest(#[to_schema] Problem),
    /// Not logged in.
    #[response(status = 401, content_type = "application/problem+json")]
    NotLoggedIn(#[to_schema] Problem),
    /// Not allowed.
    #[response(status = 403, content_type = "application/problem+json")]
    NotAllowed(#[to_schema] Problem),
    /// No such thing, or none that the caller may see.
    #[response(status = 404, content_type = "application/problem+json")]
    NotFound(#[to_schema] Problem),
    /// It exists already, or its state does not allow this.
    #[response(status = 409, content_type = "application/problem+json")]
    Conflict(#[to_schema] Problem),
    /// The body took too long to arrive.
    #[response(status = 408, content_type = "application/problem+json")]
    TimedOut(#[to_schema] Problem),
    /// The body is too large.
    #[response(status = 413, content_type = "application/problem+json")]
    BodyTooLarge(#[to_schema] Problem),
    /// The body is not JSON.
    #[response(status = 415, content_type = "application/problem+json")]
    UnsupportedMediaType(#[to_schema] Problem),
    /// A value is refused, or the Idempotency-Key was used for another request.
    #[response(status = 422, content_type = "application/problem+json")]
    InvalidValue(#[to_schema] Problem),
    /// Not now; `Retry-After` says when.
    #[response(status = 503, content_type = "application/problem+json")]
    Unavailable(#[to_schema] Problem),
}

/// How an edit can fail besides.
#[derive(IntoResponses)]
pub enum EditProblems {
    /// The record was changed since it was read.
    #[response(status = 412, content_type = "application/problem+json")]
    VersionMismatch(#[to_schema] Problem),
    /// `If-Match` is missing.
    #[response(status = 428, content_type = "application/problem+json")]
    VersionMissing(#[to_schema] Problem),
}

struct BearerLogin;

impl Modify for BearerLogin {
    fn modify(&self, openapi: &mut utoipa::openapi::OpenApi) {
        let components = openapi.components.get_or_insert_default();
        components.add_security_scheme(
            "login",
            SecurityScheme::Http(Http::new(HttpAuthScheme::Bearer)),
        );
    }
}

#[derive(OpenApi)]
#[openapi(
    info(title = "secondcan", description = "A formula library for a chain of paint stores."),
    components(schemas(ErrorCode, IdempotencyKey)),
    modifiers(&BearerLogin),
    security(("login" = []))
)]
struct Whole;

/// The whole description.
#[must_use]
pub fn description() -> utoipa::openapi::OpenApi {
    let mut whole = Whole::openapi();
    for part in api::descriptions() {
        whole.merge(part);
    }
    whole
}
