//! Stores and the persons who log in.

use serde::{Deserialize, Serialize};
use time::OffsetDateTime;
use utoipa::ToSchema;

use super::{Light, OneTimeToken};
use crate::id::{CustomerId, PersonId, StoreId};
use crate::naming::{LoginName, PersonName, StoreName};
use crate::phone::PhoneRegion;
use crate::role::Role;

/// A branch of the chain.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Store {
    /// Its id.
    pub id: StoreId,
    /// Its name, unique in the chain.
    pub name: StoreName,
    /// Region whose national phone numbers are typed without a country code.
    pub phone_region: PhoneRegion,
    /// Whether it takes no more work.
    pub closed: bool,
    /// The lights it judges under, 10° observer; the first is the one that the others are compared with.
    pub lights: Vec<Light>,
    /// For `If-Match`.
    pub version: i32,
}

/// A store to be added.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewStore {
    /// Id made by the caller.
    pub id: StoreId,
    /// Its name.
    pub name: StoreName,
    /// Region whose national phone numbers are typed without a country code.
    pub phone_region: PhoneRegion,
}

/// An edit of a store; absent fields stay.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct StoreEdit {
    /// New name.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name: Option<StoreName>,
    /// New phone region.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub phone_region: Option<PhoneRegion>,
    /// Close or open again.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub closed: Option<bool>,
    /// Other lights to judge under, each once. A manager of the store may change these alone.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(min_items = 1, max_items = 6)]
    pub lights: Option<Vec<Light>>,
}

/// A login.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Person {
    /// Its id.
    pub id: PersonId,
    /// The name typed at login.
    pub login: LoginName,
    /// The name that others read.
    pub display_name: PersonName,
    /// What the person may do.
    pub roles: Vec<Role>,
    /// The stores the person works at; empty for contractors.
    pub stores: Vec<StoreId>,
    /// Whether the login is suspended.
    pub suspended: bool,
    /// Whether a password was ever chosen.
    pub has_password: bool,
    /// For `If-Match`.
    pub version: i32,
    /// When it was added.
    #[serde(with = "time::serde::rfc3339")]
    pub created_at: OffsetDateTime,
}

/// A login to be added.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewPerson {
    /// Id made by the caller.
    pub id: PersonId,
    /// The name typed at login, unique.
    pub login: LoginName,
    /// The name that others read.
    pub display_name: PersonName,
    /// At least one; `contractor` stands alone.
    #[schema(min_items = 1, max_items = 4)]
    pub roles: Vec<Role>,
    /// The stores the person works at; empty for contractors.
    #[serde(default)]
    #[schema(max_items = 200)]
    pub stores: Vec<StoreId>,
}

/// A login just added, with the token by which its person chooses the password.
#[derive(Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct PersonAdded {
    /// The login.
    pub person: Person,
    /// The one-time token, to be handed over in person; absent when the same request is repeated.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub claim: Option<OneTimeToken>,
}

/// An edit of a login; absent fields stay.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PersonEdit {
    /// New display name.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub display_name: Option<PersonName>,
    /// New roles; ends the person's sessions.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(min_items = 1, max_items = 4)]
    pub roles: Option<Vec<Role>>,
    /// New stores; ends the person's sessions.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_items = 200)]
    pub stores: Option<Vec<StoreId>>,
    /// Suspend or let in again; suspending ends the person's sessions.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub suspended: Option<bool>,
}

/// A contractor's login stands for a customer.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct CustomerLink {
    /// The login.
    pub person_id: PersonId,
    /// The customer.
    pub customer_id: CustomerId,
    /// The customer's name.
    pub customer_name: String,
    /// Since when.
    #[serde(with = "time::serde::rfc3339")]
    pub linked_at: OffsetDateTime,
}

/// What a row of the access log is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum AccessAct {
    /// A customer of another store was opened.
    CustomerOpened,
    /// A match of another store was opened.
    MatchOpened,
    /// A login failed.
    LoginFailed,
    /// A known person asked for what the role does not allow.
    Refused,
}

/// A row of the access log.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct AccessEntry {
    /// Running number.
    pub id: i64,
    /// When.
    #[serde(with = "time::serde::rfc3339")]
    pub at: OffsetDateTime,
    /// Who, when known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub person_id: Option<PersonId>,
    /// At which store's counter.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub store_id: Option<StoreId>,
    /// What.
    pub act: AccessAct,
    /// On what.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub entity_id: Option<uuid::Uuid>,
}
