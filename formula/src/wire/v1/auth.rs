//! Logins and sessions.

use serde::{Deserialize, Serialize};
use time::OffsetDateTime;
use utoipa::ToSchema;

use super::{Named, Person};
use crate::id::{SessionId, StoreId};
use crate::naming::{LoginName, PersonName};

/// A login by name and password.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct LoginRequest {
    /// The login name.
    #[schema(min_length = 1, max_length = 200)]
    pub login: String,
    /// The password.
    #[schema(min_length = 1, max_length = 512, format = Password)]
    pub password: String,
    /// The store at whose counter the person stands. Staff of several stores who leave it out can look, not write.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub store_id: Option<StoreId>,
}

/// Exchange of a refresh token for a new pair.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct RefreshRequest {
    /// The token of the last answer; it works once.
    #[schema(min_length = 1, max_length = 200)]
    pub refresh_token: String,
}

/// First password of a new login, or a new one after a reset, by a one-time token.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ClaimRequest {
    /// The one-time token.
    #[schema(min_length = 1, max_length = 200)]
    pub token: String,
    /// The password chosen: 15 to 128 characters.
    #[schema(min_length = 1, max_length = 512, format = Password)]
    pub password: String,
    /// Only with the token of `secondcan-server admin init`: the admin's login name.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub login: Option<LoginName>,
    /// Only with the token of `secondcan-server admin init`: the admin's name.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub display_name: Option<PersonName>,
}

/// Change of one's own password; all other sessions end.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PasswordRequest {
    /// The password in force.
    #[schema(min_length = 1, max_length = 512, format = Password)]
    pub current: String,
    /// The new one: 15 to 128 characters.
    #[schema(min_length = 1, max_length = 512, format = Password)]
    pub new: String,
}

/// A pair of tokens.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Tokens {
    /// Goes into `Authorization: Bearer`.
    pub access_token: String,
    /// Seconds until the access token ends.
    pub expires_in_s: u32,
    /// Works once, for the next pair.
    pub refresh_token: String,
    /// The session that both belong to.
    pub session_id: SessionId,
}

/// Who is logged in, and where.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct WhoAmI {
    /// The person.
    pub person: Person,
    /// The session.
    pub session_id: SessionId,
    /// The store at whose counter the session was opened; none for contractors.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub store: Option<Named<StoreId>>,
}

/// A one-time token, shown once.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct OneTimeToken {
    /// The token, to be handed to the person it is for.
    pub token: String,
    /// When it ends.
    #[serde(with = "time::serde::rfc3339")]
    pub expires_at: OffsetDateTime,
}
