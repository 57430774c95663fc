//! Drafts: half-made matches.

use serde::{Deserialize, Serialize};
use time::OffsetDateTime;
use utoipa::ToSchema;

use super::{NewFormula, NewMeasurement};
use crate::id::{CustomerId, DraftId, JobId, ProductId, SheenId, StoreId};
use crate::naming::{DraftTitle, Note};

/// A half-made match: what the person has so far, in the client's own words.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Draft {
    /// Its id.
    pub id: DraftId,
    /// What the person sees in the list.
    pub title: DraftTitle,
    /// The parts of the match collected so far.
    pub parts: DraftParts,
    /// At which store.
    pub store_id: StoreId,
    /// For `If-Match`.
    pub version: i32,
    /// When it was last put down.
    #[serde(with = "time::serde::rfc3339")]
    pub updated_at: OffsetDateTime,
}

/// The parts of a match collected so far.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct DraftParts {
    /// Whose it will be.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub customer_id: Option<CustomerId>,
    /// What for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub job_id: Option<JobId>,
    /// In which product.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub product_id: Option<ProductId>,
    /// In which sheen.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sheen_id: Option<SheenId>,
    /// The sample as measured.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sample: Option<NewMeasurement>,
    /// The formula so far.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub formula: Option<NewFormula>,
    /// A remark.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<Note>,
}

/// A draft to be kept.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewDraft {
    /// Id made by the caller.
    pub id: DraftId,
    /// What the person sees in the list.
    pub title: DraftTitle,
    /// The parts collected so far.
    pub parts: DraftParts,
}

/// A draft put down again.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct DraftEdit {
    /// New title.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub title: Option<DraftTitle>,
    /// All parts anew.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub parts: Option<DraftParts>,
}
