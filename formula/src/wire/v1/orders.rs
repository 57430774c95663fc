//! Reorders and tints.

use serde::{Deserialize, Serialize};
use time::OffsetDateTime;
use utoipa::ToSchema;

use super::{Named, ShotShown};
use crate::id::{
    BaseId, ColorantId, CustomerId, MatchId, PersonId, ReorderId, RevisionId, StoreId, TintId,
};
use crate::label::LabelCode;
use crate::naming::{Lot, Note};
use crate::quantity::{CanSize, ShotCount, ShotUnit};
use crate::reorder::ReorderState;

/// A reorder to be placed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewReorder {
    /// Id made by the caller.
    pub id: ReorderId,
    /// The match wanted again.
    pub match_id: MatchId,
    /// This revision and no other; absent: whatever counts when the can is tinted.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub revision_id: Option<RevisionId>,
    /// Where it will be picked up.
    pub store_id: StoreId,
    /// Can size.
    pub size: CanSize,
    /// How many cans.
    #[schema(minimum = 1, maximum = 500)]
    pub cans: u16,
    /// When it was placed.
    #[serde(with = "time::serde::rfc3339")]
    pub placed_at: OffsetDateTime,
}

/// One step of a reorder.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct ReorderStep {
    /// The state it went to.
    pub to: ReorderState,
    /// Who moved it.
    pub made_by: Named<PersonId>,
    /// When.
    #[serde(with = "time::serde::rfc3339")]
    pub at: OffsetDateTime,
}

/// A reorder as kept.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Reorder {
    /// Its id.
    pub id: ReorderId,
    /// The match wanted again.
    pub match_id: MatchId,
    /// What the label on the can says.
    pub label_code: LabelCode,
    /// Whose it is.
    pub customer: Named<CustomerId>,
    /// What for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub job: Option<String>,
    /// The revision asked for, when one was.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub revision_id: Option<RevisionId>,
    /// Where it will be picked up.
    pub store: Named<StoreId>,
    /// Can size.
    pub size: CanSize,
    /// How many cans.
    pub cans: u16,
    /// How many were tinted for it so far.
    pub tinted: i64,
    /// Where it stands.
    pub state: ReorderState,
    /// Where it can go from here.
    pub next_states: Vec<ReorderState>,
    /// What the person who tints should know first.
    pub warnings: Vec<String>,
    /// What happened so far.
    pub steps: Vec<ReorderStep>,
    /// When it was placed.
    #[serde(with = "time::serde::rfc3339")]
    pub placed_at: OffsetDateTime,
    /// For `If-Match`.
    pub version: i32,
}

/// A reorder goes on, or is cancelled.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ReorderAdvance {
    /// The state it goes to.
    pub to: ReorderState,
}

/// What really went into the can, of one colorant.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct TintShotLine {
    /// The colorant.
    pub colorant_id: ColorantId,
    /// How many.
    pub count: ShotCount,
    /// Of what.
    pub unit: ShotUnit,
    /// Its lot, when known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lot: Option<Lot>,
}

/// The lot of a colorant.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ColorantLot {
    /// The colorant.
    pub colorant_id: ColorantId,
    /// Its lot.
    pub lot: Lot,
}

/// A can really made.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewTint {
    /// Id made by the caller.
    pub id: TintId,
    /// The formula it was made by.
    pub revision_id: RevisionId,
    /// The reorder it was made for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reorder_id: Option<ReorderId>,
    /// Can size.
    pub size: CanSize,
    /// The base used, when it is not the formula's.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub base_id: Option<BaseId>,
    /// Lot of the base, when known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub base_lot: Option<Lot>,
    /// What really went in; absent: just as the formula says (for the formula's can size only).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_items = 16)]
    pub shots: Option<Vec<TintShotLine>>,
    /// Lots of colorants, when the amounts are the formula's.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 16)]
    pub lots: Vec<ColorantLot>,
    /// A remark.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<Note>,
    /// When it was made.
    #[serde(with = "time::serde::rfc3339")]
    pub made_at: OffsetDateTime,
}

/// Why a can was marked bad.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum FaultReason {
    /// The color is off.
    WrongColor,
    /// The sheen is off.
    WrongSheen,
    /// Another base was used.
    WrongBase,
    /// More or less colorant than meant.
    WrongAmount,
    /// The dispenser or the shaker failed.
    MachineFault,
    /// Something else got in.
    Contaminated,
    /// See the remark.
    Other,
}

/// A can is marked bad.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewTintFault {
    /// Why.
    pub reason: FaultReason,
    /// A remark.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<Note>,
}

/// A mark on a can.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct TintFault {
    /// Why.
    pub reason: FaultReason,
    /// A remark.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<Note>,
    /// Who marked it.
    pub made_by: Named<PersonId>,
    /// When.
    #[serde(with = "time::serde::rfc3339")]
    pub made_at: OffsetDateTime,
}

/// A can as kept.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Tint {
    /// Its id.
    pub id: TintId,
    /// The match.
    pub match_id: MatchId,
    /// The formula it was made by.
    pub revision_id: RevisionId,
    /// The reorder it was made for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reorder_id: Option<ReorderId>,
    /// Can size.
    pub size: CanSize,
    /// The base used.
    pub base: Named<BaseId>,
    /// Lot of the base.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub base_lot: Option<Lot>,
    /// What really went in.
    pub shots: Vec<ShotShown>,
    /// What stands out: over the room, reorder cancelled, amounts unlike the formula's.
    pub flags: Vec<String>,
    /// Its mark, when it was marked bad.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fault: Option<TintFault>,
    /// A remark.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<Note>,
    /// Who made it.
    pub made_by: Named<PersonId>,
    /// At which store.
    pub store: Named<StoreId>,
    /// When.
    #[serde(with = "time::serde::rfc3339")]
    pub made_at: OffsetDateTime,
}
