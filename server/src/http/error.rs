//! From what went wrong to `application/problem+json` (RFC 9457): one type, one exhaustive match.

use actix_web::http::StatusCode;
use actix_web::http::header::{self, HeaderValue};
use actix_web::{HttpResponse, HttpResponseBuilder, ResponseError};
use formula::wire::error_code::{ErrorCode, Problem};

use crate::app::AppError;

/// Media type of every error answer.
pub const PROBLEM_JSON: &str = "application/problem+json";

/// What a request is answered with when it did not go through.
#[derive(Debug, thiserror::Error)]
pub enum ApiError {
    /// The use case said no.
    #[error(transparent)]
    App(#[from] AppError),
    /// The request itself can't be taken.
    #[error("{detail}")]
    Request {
        /// Which code.
        code: ErrorCode,
        /// What is wrong.
        detail: String,
        /// Path of the field at fault.
        field: Option<String>,
        /// What to do.
        remedy: String,
    },
    /// The path exists, the method does not.
    #[error("this path takes {allow}")]
    Method {
        /// Methods, comma-separated.
        allow: &'static str,
    },
}

impl ApiError {
    /// A request that can't be taken.
    pub fn request(code: ErrorCode, detail: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self::Request {
            code,
            detail: detail.into(),
            field: None,
            remedy: remedy.into(),
        }
    }

    /// A path or query value that can't be taken.
    pub fn field(
        code: ErrorCode,
        field: &str,
        detail: impl Into<String>,
        remedy: impl Into<String>,
    ) -> Self {
        Self::Request {
            code,
            detail: detail.into(),
            field: Some(field.to_owned()),
            remedy: remedy.into(),
        }
    }
}

/// Status and title of a code.
fn face(code: ErrorCode) -> (StatusCode, &'static str) {
    match code {
        ErrorCode::BadRequest => (StatusCode::BAD_REQUEST, "The request can't be read"),
        ErrorCode::MalformedBody => (StatusCode::BAD_REQUEST, "The body can't be read"),
        ErrorCode::InvalidValue => (StatusCode::UNPROCESSABLE_ENTITY, "A value is refused"),
        ErrorCode::OverBaseRoom => (
            StatusCode::UNPROCESSABLE_ENTITY,
            "More colorant than the base has room for",
        ),
        ErrorCode::UnsupportedMediaType => (
            StatusCode::UNSUPPORTED_MEDIA_TYPE,
            "The media type is not taken",
        ),
        ErrorCode::BodyTooLarge => (StatusCode::PAYLOAD_TOO_LARGE, "The body is too large"),
        ErrorCode::IdempotencyKeyMissing => {
            (StatusCode::BAD_REQUEST, "A write needs an Idempotency-Key")
        }
        ErrorCode::IdempotencyKeyReused => (
            StatusCode::UNPROCESSABLE_ENTITY,
            "The Idempotency-Key was used for another request",
        ),
        ErrorCode::VersionMissing => (StatusCode::PRECONDITION_REQUIRED, "An edit needs If-Match"),
        ErrorCode::VersionMismatch => (
            StatusCode::PRECONDITION_FAILED,
            "The record was changed meanwhile",
        ),
        ErrorCode::NotLoggedIn => (StatusCode::UNAUTHORIZED, "Not logged in"),
        ErrorCode::TokenExpired => (StatusCode::UNAUTHORIZED, "The access token has run out"),
        ErrorCode::WrongCredentials => (StatusCode::UNAUTHORIZED, "Name and password don't fit"),
        ErrorCode::NotAllowed => (StatusCode::FORBIDDEN, "Not allowed"),
        ErrorCode::NotFound => (StatusCode::NOT_FOUND, "Not found"),
        ErrorCode::MethodNotAllowed => (StatusCode::METHOD_NOT_ALLOWED, "Method not allowed"),
        ErrorCode::AlreadyExists => (StatusCode::CONFLICT, "It exists already"),
        ErrorCode::StateConflict => (StatusCode::CONFLICT, "Its state does not allow this"),
        ErrorCode::TooManyTries => (StatusCode::TOO_MANY_REQUESTS, "Too many tries"),
        ErrorCode::Unavailable => (StatusCode::SERVICE_UNAVAILABLE, "Not now"),
        ErrorCode::TimedOut => (StatusCode::REQUEST_TIMEOUT, "The request took too long"),
        ErrorCode::Internal => (StatusCode::INTERNAL_SERVER_ERROR, "A fault of the server"),
    }
}

/// What of an error goes to the caller.
struct Told {
    code: ErrorCode,
    detail: String,
    field: Option<String>,
    remedy: Option<String>,
    retry_after_s: Option<u64>,
}

impl Told {
    fn new(code: ErrorCode, detail: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self {
            code,
            detail: detail.into(),
            field: None,
            remedy: Some(remedy.into()),
            retry_after_s: None,
        }
    }
}

fn tell(error: &AppError) -> Told {
    let said = error.to_string();
    match error {
        AppError::NotFound(_) => Told::new(
            ErrorCode::NotFound,
            said,
            "check the id, or search for it again",
        ),
        AppError::NotAllowed(_) => {
            Told::new(ErrorCode::NotAllowed, said, "ask a manager or an admin")
        }
        AppError::NotLoggedIn(_) => Told::new(ErrorCode::NotLoggedIn, said, "log in again"),
        AppError::TokenExpired => Told::new(
            ErrorCode::TokenExpired,
            said,
            "refresh the token, or log in again",
        ),
        AppError::WrongCredentials => Told::new(
            ErrorCode::WrongCredentials,
            said,
            "type both again; a manager can reset the password",
        ),
        AppError::Invalid {
            field,
            problem,
            remedy,
        } => Told {
            code: ErrorCode::InvalidValue,
            detail: format!("{field}: {problem}"),
            field: Some(field.clone()),
            remedy: Some(remedy.clone()),
            retry_after_s: None,
        },
        AppError::OverBaseRoom { problem, remedy } => {
            Told::new(ErrorCode::OverBaseRoom, problem, remedy)
        }
        AppError::AlreadyExists(_) => Told::new(
            ErrorCode::AlreadyExists,
            said,
            "use the one that exists, or choose another",
        ),
        AppError::StateConflict { problem, remedy } => {
            Told::new(ErrorCode::StateConflict, problem, remedy)
        }
        AppError::VersionMismatch { .. } => Told::new(
            ErrorCode::VersionMismatch,
            said,
            "read it again and make the edit on what it says now",
        ),
        AppError::KeyReused => Told::new(
            ErrorCode::IdempotencyKeyReused,
            said,
            "make a new key for each new request",
        ),
        AppError::TooManyTries { wait } => Told {
            retry_after_s: Some(wait.as_secs().max(1)),
            ..Told::new(
                ErrorCode::TooManyTries,
                format!(
                    "too many tries; the next one is taken in {} s",
                    wait.as_secs().max(1)
                ),
                "wait, then try again; a manager can reset the password",
            )
        },
        AppError::Unavailable { .. } => Told {
            retry_after_s: Some(2),
            ..Told::new(
                ErrorCode::Unavailable,
                said,
                "try again; nothing was changed",
            )
        },
        AppError::Internal(fault) => {
            tracing::error!(fault, "internal");
            Told::new(
                ErrorCode::Internal,
                "the server failed; nothing was changed",
                "try again; if it stays, give an admin the request id",
            )
        }
    }
}

impl ResponseError for ApiError {
    fn status_code(&self) -> StatusCode {
        match self {
            Self::App(error) => face(tell(error).code).0,
            Self::Request { code, .. } => face(*code).0,
            Self::Method { .. } => StatusCode::METHOD_NOT_ALLOWED,
        }
    }

    fn error_response(&self) -> HttpResponse {
        let told = match self {
            Self::App(error) => tell(error),
            Self::Request {
                code,
                detail,
                field,
                remedy,
            } => Told {
                code: *code,
                detail: detail.clone(),
                field: field.clone(),
                remedy: Some(remedy.clone()),
                retry_after_s: None,
            },
            Self::Method { allow } => Told::new(
                ErrorCode::MethodNotAllowed,
                self.to_string(),
                format!("use one of: {allow}"),
            ),
        };
        let (status, title) = face(told.code);
        let mut response = HttpResponseBuilder::new(status);
        response.insert_header((header::CACHE_CONTROL, "no-store"));
        if matches!(told.code, ErrorCode::BodyTooLarge | ErrorCode::TimedOut) {
            // What is left of the body is not read: the connection can't be used again.
            response.force_close();
        }
        if let Some(seconds) = told.retry_after_s {
            response.insert_header((header::RETRY_AFTER, seconds.to_string()));
        }
        if status == StatusCode::UNAUTHORIZED {
            response.insert_header((header::WWW_AUTHENTICATE, "Bearer"));
        }
        if let Self::Method { allow } = self {
            response.insert_header((header::ALLOW, HeaderValue::from_static(allow)));
        }
        let code = serde_json::to_value(told.code).ok();
        let code = code
            .as_ref()
            .and_then(serde_json::Value::as_str)
            .unwrap_or("internal");
        let problem = Problem {
            r#type: format!("urn:secondcan:problem:{code}"),
            title: title.to_owned(),
            status: status.as_u16(),
            code: told.code,
            detail: told.detail,
            field: told.field,
            remedy: told.remedy,
        };
        response.content_type(PROBLEM_JSON).json(problem)
    }
}
