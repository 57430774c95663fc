//! What warmth does to ceramic tiles: some pigments change color as they warm, red and orange
//! ones most, and come back as they cool.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use crate::lab::Lab;

/// Rise in °C that the table's changes are for.
const TABLE_C: f64 = 10.0;

/// The hue of a ceramic tile, by which its change with temperature is known. Serialized as
/// `"red"`, `"pale_gray"` …
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum TileHue {
    /// Pale gray.
    PaleGray,
    /// Mid gray.
    MidGray,
    /// Gray that differs a little from mid gray.
    DifferenceGray,
    /// Deep gray.
    DeepGray,
    /// Deep pink.
    DeepPink,
    /// Red.
    Red,
    /// Orange.
    Orange,
    /// Yellow.
    Yellow,
    /// Green.
    Green,
    /// Green that differs a little from green.
    DifferenceGreen,
    /// Cyan.
    Cyan,
    /// Deep blue.
    DeepBlue,
}

impl TileHue {
    /// Every hue.
    pub const ALL: [Self; 12] = [
        Self::PaleGray,
        Self::MidGray,
        Self::DifferenceGray,
        Self::DeepGray,
        Self::DeepPink,
        Self::Red,
        Self::Orange,
        Self::Yellow,
        Self::Green,
        Self::DifferenceGreen,
        Self::Cyan,
        Self::DeepBlue,
    ];

    /// The word for it, as serialized.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::PaleGray => "pale_gray",
            Self::MidGray => "mid_gray",
            Self::DifferenceGray => "difference_gray",
            Self::DeepGray => "deep_gray",
            Self::DeepPink => "deep_pink",
            Self::Red => "red",
            Self::Orange => "orange",
            Self::Yellow => "yellow",
            Self::Green => "green",
            Self::DifferenceGreen => "difference_green",
            Self::Cyan => "cyan",
            Self::DeepBlue => "deep_blue",
        }
    }

    /// Change of L\*, a\*, b\* when a ceramic tile of this hue warms by 10 °C; specular
    /// included, D65, 10° (Malkin, Larkin, Verrill, Wardman, J. Soc. Dyers Colour. 113 (1997)).
    #[must_use]
    pub const fn per_10_c(self) -> [f64; 3] {
        match self {
            Self::PaleGray => [-0.03, -0.02, 0.02],
            Self::MidGray => [-0.03, -0.02, 0.04],
            Self::DifferenceGray => [-0.04, 0.04, 0.03],
            Self::DeepGray => [0.0, 0.01, 0.0],
            Self::DeepPink => [-0.10, -0.44, -0.19],
            Self::Red => [-0.37, -0.71, -0.61],
            Self::Orange => [-0.45, 0.56, -0.66],
            Self::Yellow => [-0.27, 0.70, -0.11],
            Self::Green => [-0.18, 0.66, -0.04],
            Self::DifferenceGreen => [-0.18, 0.69, -0.05],
            Self::Cyan => [-0.10, 0.31, 0.01],
            Self::DeepBlue => [0.0, -0.04, 0.05],
        }
    }

    /// The color that a tile of this hue has when it is `warmer_c` °C warmer (colder: negative)
    /// than when it had `lab`. In proportion to the temperature, as the table is used; D65, 10°.
    #[must_use]
    pub fn warmed(self, lab: Lab, warmer_c: f64) -> Lab {
        let [l, a, b] = self.per_10_c();
        let share = warmer_c / TABLE_C;
        Lab {
            l: lab.l + l * share,
            a: lab.a + a * share,
            b: lab.b + b * share,
        }
    }

    /// ΔE76 of a tile of this hue between two temperatures `apart_c` °C apart.
    #[must_use]
    pub fn de76_over(self, apart_c: f64) -> f64 {
        let [l, a, b] = self.per_10_c();
        (l * l + a * a + b * b).sqrt() * (apart_c / TABLE_C).abs()
    }
}

impl fmt::Display for TileHue {
    /// `difference gray`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.as_str().replace('_', " "))
    }
}

/// A word that is no hue of a tile.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("tile hue {word:?} is none of {}", TileHue::ALL.map(TileHue::as_str).join(", "))]
pub struct UnknownTileHue {
    /// The word given.
    pub word: String,
}

impl FromStr for TileHue {
    type Err = UnknownTileHue;
    fn from_str(word: &str) -> Result<Self, UnknownTileHue> {
        Self::ALL
            .into_iter()
            .find(|hue| hue.as_str() == word)
            .ok_or_else(|| UnknownTileHue {
                word: word.to_owned(),
            })
    }
}
