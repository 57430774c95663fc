//! The nearest formulas to a color.

use serde::{Deserialize, Serialize};
use time::OffsetDateTime;
use utoipa::ToSchema;

use super::{Backing, Basis, Geometry, LabD65, Named, ShopLight, SpectrumValues, Specular};
use crate::id::{BaseId, MatchId, PersonId, ProductId, RevisionId, StoreId};
use crate::label::LabelCode;
use crate::quantity::CanSize;
use crate::sheen::SheenWord;

/// A color, and what the formulas must be.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NearestRequest {
    /// The color as CIELAB, D65, 10°; not together with `spectrum`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lab: Option<LabD65>,
    /// The color as a spectrum; not together with `lab`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub spectrum: Option<SpectrumValues>,
    /// How many at most.
    #[serde(default = "ten")]
    #[schema(minimum = 1, maximum = 200, default = 10)]
    pub limit: u16,
    /// Only of this product.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub product_id: Option<ProductId>,
    /// Only in this base.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub base_id: Option<BaseId>,
    /// Only in this sheen.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sheen: Option<SheenWord>,
    /// Only made at this store.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub store_id: Option<StoreId>,
    /// Only drawn down and measured dry.
    #[serde(default)]
    pub verified_only: bool,
    /// How the color asked for was read, so that unlike readings are told apart.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub geometry: Option<Geometry>,
    /// Specular mode of that reading.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub specular: Option<Specular>,
    /// What lay behind it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub backing: Option<Backing>,
}

impl NearestRequest {
    /// How the color asked for was read, when anything is known of it.
    #[must_use]
    pub fn conditions(&self) -> Option<color::Conditions> {
        let conditions = color::Conditions {
            geometry: self.geometry.map(Into::into),
            specular: self.specular.map(Into::into),
            backing: self.backing.map(Into::into),
            ..color::Conditions::default()
        };
        (conditions != color::Conditions::default()).then_some(conditions)
    }
}

fn ten() -> u16 {
    10
}

/// A formula near the color. It names no customer: open the match for that.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct NearestHit {
    /// The match it belongs to.
    pub match_id: MatchId,
    /// The formula: the match's revision that counts.
    pub revision_id: RevisionId,
    /// What the label on the can says.
    pub label_code: LabelCode,
    /// The color that ranks: drawdown, else prediction, else the wanted color.
    pub lab: LabD65,
    /// Which of the three.
    pub basis: Basis,
    /// Whether it was drawn down and measured dry.
    pub verified: bool,
    /// CIEDE2000 from the color asked for, D65, 10°.
    pub de2000: f64,
    /// How near that is.
    #[schema(value_type = String)]
    pub verdict: color::Verdict,
    /// The verdict in words.
    pub verdict_phrase: String,
    /// How the formula differs from the color asked for, in words.
    pub direction: String,
    /// Whether it parts under the lights of the caller's store.
    pub shop_light: ShopLight,
    /// Why the difference is to be taken with care, in words.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub warnings: Vec<String>,
    /// Product.
    pub product: Named<ProductId>,
    /// Base.
    pub base: Named<BaseId>,
    /// Sheen.
    pub sheen: SheenWord,
    /// The can size that the amounts are for.
    pub size: CanSize,
    /// Who made it.
    pub made_by: Named<PersonId>,
    /// At which store.
    pub store: Named<StoreId>,
    /// When.
    #[serde(with = "time::serde::rfc3339")]
    pub made_at: OffsetDateTime,
    /// How many cans were tinted by it since.
    pub tints: i64,
    /// How many of them were marked bad.
    pub bad_tints: i64,
}

/// Answer to a nearest search.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct NearestAnswer {
    /// The color asked for: CIELAB, D65, 10°.
    pub query: LabD65,
    /// The formulas, nearest first; equal distances in order of id.
    pub results: Vec<NearestHit>,
    /// How many formulas passed the filters.
    pub examined: u64,
}
