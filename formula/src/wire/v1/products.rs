//! Products, sheens, bases, colorants, and the chain's verdict limits.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::base::{BaseKind, BaseRoom};
use crate::colorant::ColourIndexName;
use crate::id::{BaseId, ColorantId, ProductId, SheenId};
use crate::naming::{BaseName, PigmentName, ProductName};
use crate::sheen::SheenWord;
use crate::wire_form::closed_enum;

closed_enum! {
    /// What carries the paint; decides which cautions are shown.
    pub enum Carrier, what: "carrier" {
        /// Water-borne.
        Water => "water",
        /// Solvent-borne: vapor and ignition.
        Solvent => "solvent",
    }
}

/// A colorant, by pigment and Colour Index generic name.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Colorant {
    /// Its id.
    pub id: ColorantId,
    /// Colour Index generic name, such as `PY42`.
    pub ci_name: ColourIndexName,
    /// Pigment in words, such as `yellow oxide`.
    pub pigment: PigmentName,
    /// Whether new formulas may no longer use it.
    pub retired: bool,
    /// For `If-Match`.
    pub version: i32,
}

/// A colorant to be added.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewColorant {
    /// Id made by the caller.
    pub id: ColorantId,
    /// Colour Index generic name.
    pub ci_name: ColourIndexName,
    /// Pigment in words.
    pub pigment: PigmentName,
}

/// An edit of a colorant; absent fields stay.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ColorantEdit {
    /// New words for the pigment.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pigment: Option<PigmentName>,
    /// Retire it or take it back.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub retired: Option<bool>,
}

/// A sheen that a product is made in.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Sheen {
    /// Its id, made by the caller.
    pub id: SheenId,
    /// The word on the can.
    pub word: SheenWord,
    /// Least gloss at 60°, in gloss units (ISO 2813).
    #[schema(minimum = 0, maximum = 100)]
    pub gloss60_min: u8,
    /// Most gloss at 60°, in gloss units.
    #[schema(minimum = 0, maximum = 100)]
    pub gloss60_max: u8,
}

/// A line of paint.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Product {
    /// Its id.
    pub id: ProductId,
    /// Its name, unique.
    pub name: ProductName,
    /// What carries it.
    pub carrier: Carrier,
    /// The sheens it is made in.
    pub sheens: Vec<Sheen>,
    /// Whether new matches may no longer use it.
    pub retired: bool,
    /// For `If-Match`.
    pub version: i32,
}

/// A product to be added.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewProduct {
    /// Id made by the caller.
    pub id: ProductId,
    /// Its name.
    pub name: ProductName,
    /// What carries it.
    pub carrier: Carrier,
    /// The sheens it is made in.
    #[schema(min_items = 1, max_items = 20)]
    pub sheens: Vec<Sheen>,
}

/// An edit of a product; absent fields stay.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ProductEdit {
    /// New name.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name: Option<ProductName>,
    /// Retire it or take it back.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub retired: Option<bool>,
    /// Sheens to be added.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 20)]
    pub add_sheens: Vec<Sheen>,
}

/// A base of a product.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Base {
    /// Its id.
    pub id: BaseId,
    /// The product it belongs to.
    pub product_id: ProductId,
    /// Its name, unique within the product.
    pub name: BaseName,
    /// From white to clear.
    pub kind: BaseKind,
    /// Fill and colorant room by can size.
    pub rooms: Vec<BaseRoom>,
    /// Whether new formulas may no longer use it.
    pub retired: bool,
    /// For `If-Match`.
    pub version: i32,
}

/// A base to be added.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewBase {
    /// Id made by the caller.
    pub id: BaseId,
    /// The product it belongs to.
    pub product_id: ProductId,
    /// Its name.
    pub name: BaseName,
    /// From white to clear.
    pub kind: BaseKind,
    /// Fill and colorant room by can size; each size once.
    #[schema(min_items = 1, max_items = 13)]
    pub rooms: Vec<BaseRoom>,
}

/// An edit of a base; absent fields stay.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct BaseEdit {
    /// New name.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name: Option<BaseName>,
    /// All rooms anew.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(min_items = 1, max_items = 13)]
    pub rooms: Option<Vec<BaseRoom>>,
    /// Retire it or take it back.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub retired: Option<bool>,
}

/// The chain's words for how near is near enough: upper ends in CIEDE2000, rising.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Verdicts {
    /// Up to here: indistinguishable side by side for most.
    #[schema(minimum = 0.01, maximum = 20.0)]
    pub indistinguishable: f64,
    /// Up to here: accepted by most.
    #[schema(minimum = 0.01, maximum = 20.0)]
    pub accepted: f64,
    /// Up to here: ask the customer with a drawdown; above, a new match.
    #[schema(minimum = 0.01, maximum = 20.0)]
    pub ask: f64,
}

/// The verdict limits in force.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct VerdictsInForce {
    /// The limits.
    pub limits: Verdicts,
    /// For `If-Match`.
    pub version: i32,
}
