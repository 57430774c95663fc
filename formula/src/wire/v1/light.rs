//! Colors under the lights that a store chose.

use serde::{Deserialize, Serialize};
use utoipa::openapi::RefOr;
use utoipa::openapi::schema::{ArrayBuilder, ObjectBuilder, Schema, Type};
use utoipa::{PartialSchema, ToSchema};

use super::{Backing, Geometry, NewMeasurement, Specular};

/// A light, by its CIE name.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Light(pub color::Illuminant);

impl PartialSchema for Light {
    fn schema() -> RefOr<Schema> {
        ObjectBuilder::new()
            .schema_type(Type::String)
            .description(Some("A light, by its CIE name"))
            .enum_values(Some(color::Illuminant::ALL.map(color::Illuminant::name)))
            .into()
    }
}

impl ToSchema for Light {}

/// Fewest and most lights of a store.
pub const LIGHTS_OF_A_STORE: std::ops::RangeInclusive<usize> = 1..=6;

/// CIELAB under the light named beside it and the 10° observer: `[L*, a*, b*]`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct LabSeen(pub color::Lab);

impl PartialSchema for LabSeen {
    fn schema() -> RefOr<Schema> {
        ArrayBuilder::new()
            .description(Some(
                "CIELAB under the light named beside it and the 10° observer: `[L*, a*, b*]`",
            ))
            .items(f64::schema())
            .min_items(Some(3))
            .max_items(Some(3))
            .into()
    }
}

impl ToSchema for LabSeen {}

/// Special index of metamerism for a change of light (ISO 18314-4).
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct MetamerismIndex {
    /// Multiplicative, CIEDE2000.
    pub multiplicative_de2000: f64,
    /// Multiplicative, ΔE\*ab of 1976.
    pub multiplicative_de76: f64,
    /// Additive, CIEDE2000.
    pub additive_de2000: f64,
    /// Additive, ΔE\*ab of 1976.
    pub additive_de76: f64,
}

/// A match under one light.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct SeenUnder {
    /// The light.
    pub light: Light,
    /// The wanted color.
    pub wanted: LabSeen,
    /// The produced one, of the formula's latest dry drawdown; absent without one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub produced: Option<LabSeen>,
    /// CIEDE2000 of produced from wanted.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub de2000: Option<f64>,
    /// How much they part between the first light of the list and this one; absent for the first itself.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub metamerism: Option<MetamerismIndex>,
}

/// CIEDE2000 under a light.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ApartUnder {
    /// The light.
    pub light: Light,
    /// CIEDE2000, 10° observer.
    pub de2000: f64,
}

/// Whether a formula found parts from the color asked for under the lights of a store.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(tag = "state", rename_all = "snake_case")]
pub enum ShopLight {
    /// Spectrum against spectrum.
    Judged {
        /// The worst of the lights gives a worse verdict than D65.
        parts: bool,
        /// The light under which they lie furthest apart.
        worst: ApartUnder,
        /// The verdict there.
        #[schema(value_type = String)]
        verdict: color::Verdict,
        /// All of them.
        lights: Vec<ApartUnder>,
    },
    /// Not known: a color alone does not say what other lights do to it.
    Unjudged {
        /// Why, in words.
        why: String,
    },
}

impl From<Geometry> for color::Geometry {
    fn from(geometry: Geometry) -> Self {
        match geometry {
            Geometry::Deg45To0 => Self::Deg45To0,
            Geometry::Annular45To0 => Self::Annular45To0,
            Geometry::DiffuseTo8 => Self::DiffuseTo8,
        }
    }
}

impl From<Specular> for color::Specular {
    fn from(specular: Specular) -> Self {
        match specular {
            Specular::Included => Self::Included,
            Specular::Excluded => Self::Excluded,
        }
    }
}

impl From<Backing> for color::Backing {
    fn from(backing: Backing) -> Self {
        match backing {
            Backing::Black => Self::Black,
            Backing::White => Self::White,
            Backing::Sample => Self::Sample,
        }
    }
}

impl NewMeasurement {
    /// How it was read, as far as it decides with what it compares.
    #[must_use]
    pub fn conditions(&self) -> color::Conditions {
        color::Conditions {
            geometry: self.geometry.map(Into::into),
            specular: self.specular.map(Into::into),
            backing: self.backing.map(Into::into),
            aperture_mm: self.aperture_mm,
            filter: self.filter.map(Into::into),
        }
    }
}
