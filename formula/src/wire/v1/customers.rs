//! Customers, their phones and their jobs.

use serde::{Deserialize, Serialize};
use time::OffsetDateTime;
use utoipa::ToSchema;

use super::Named;
use crate::id::{CustomerId, JobId, StoreId};
use crate::naming::{CustomerName, JobLabel, Note, PhoneLabel};
use crate::phone::{PhoneNumber, TypedPhone};
use crate::wire_form::closed_enum;

closed_enum! {
    /// A person or a company.
    pub enum CustomerKind, what: "customer kind" {
        /// A person.
        Person => "person",
        /// A company.
        Company => "company",
    }
}

/// A phone as kept.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Phone {
    /// In E.164.
    pub number: PhoneNumber,
    /// Whose or what for, such as `site office`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub label: Option<PhoneLabel>,
}

/// A phone as typed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewPhone {
    /// As typed; without a country code it is read in the store's region.
    pub number: TypedPhone,
    /// Whose or what for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub label: Option<PhoneLabel>,
}

/// A job of a customer: "the lobby, second coat".
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Job {
    /// Its id.
    pub id: JobId,
    /// What the customer calls it.
    pub label: JobLabel,
    /// For `If-Match`.
    pub version: i32,
}

/// A job to be added, or a new label for one.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewJob {
    /// Id made by the caller.
    pub id: JobId,
    /// What the customer calls it.
    pub label: JobLabel,
}

/// A new label for a job.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct JobEdit {
    /// What the customer calls it now.
    pub label: JobLabel,
}

/// A customer, opened.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Customer {
    /// Its id.
    pub id: CustomerId,
    /// Person or company.
    pub kind: CustomerKind,
    /// The name.
    pub name: CustomerName,
    /// The phones, the first one first.
    pub phones: Vec<Phone>,
    /// The jobs.
    pub jobs: Vec<Job>,
    /// A remark.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<Note>,
    /// The store that added the customer.
    pub store: Named<StoreId>,
    /// For `If-Match`.
    pub version: i32,
    /// When it was added.
    #[serde(with = "time::serde::rfc3339")]
    pub created_at: OffsetDateTime,
}

/// A customer to be added.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewCustomer {
    /// Id made by the caller.
    pub id: CustomerId,
    /// Person or company.
    pub kind: CustomerKind,
    /// The name.
    pub name: CustomerName,
    /// The phones, the first one first.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 10)]
    pub phones: Vec<NewPhone>,
    /// The jobs known so far.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 50)]
    pub jobs: Vec<NewJob>,
    /// A remark.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<Note>,
}

/// An edit of a customer; absent fields stay.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CustomerEdit {
    /// Person or company.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub kind: Option<CustomerKind>,
    /// New name.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name: Option<CustomerName>,
    /// All phones anew.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_items = 10)]
    pub phones: Option<Vec<NewPhone>>,
    /// New remark; an empty one clears it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 2000)]
    pub note: Option<String>,
}

/// A customer in a list, not opened: just what is needed to tell one from another.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct CustomerInBrief {
    /// Its id.
    pub id: CustomerId,
    /// Person or company.
    pub kind: CustomerKind,
    /// The name.
    pub name: String,
    /// Last four digits of the first phone.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub phone_ends: Option<String>,
    /// The latest job labels, at most three.
    pub jobs: Vec<String>,
    /// The store that added the customer.
    pub store: Named<StoreId>,
    /// How many matches the customer has.
    pub matches: i64,
}

/// What of a customer fitted the words that were looked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum FoundBy {
    /// The name, or one like it.
    Name,
    /// The whole phone number.
    Phone,
    /// The last seven digits of a phone.
    PhoneLastSeven,
    /// The last four digits of a phone, together with a part of the name.
    PhoneLastFour,
    /// A job label, or one like it.
    Job,
    /// The label code on a can.
    LabelCode,
}

/// A customer found, not yet opened: just what is needed to tell one from another.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct CustomerHit {
    /// Its id.
    pub id: CustomerId,
    /// Person or company.
    pub kind: CustomerKind,
    /// The name.
    pub name: String,
    /// Last four digits of the first phone.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub phone_ends: Option<String>,
    /// The latest job labels, at most three.
    pub jobs: Vec<String>,
    /// The store that added the customer.
    pub store: Named<StoreId>,
    /// How many matches the customer has.
    pub matches: i64,
    /// What fitted.
    pub found_by: FoundBy,
}

/// Answer to a search.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Found<T> {
    /// The hits, best first, at most 20.
    pub items: Vec<T>,
    /// Label codes that exist and differ from a mistyped one by one character or one swap.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub did_you_mean: Vec<crate::label::LabelCode>,
}
