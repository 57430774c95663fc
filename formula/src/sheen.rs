//! Sheen words and the gloss they usually mean.

use std::fmt;

use crate::wire_form::closed_enum;

closed_enum! {
    /// How shiny a dry film is, in the trade's words.
    pub enum SheenWord, what: "sheen" {
        /// Flat.
        Flat => "flat",
        /// Matte.
        Matte => "matte",
        /// Velvet.
        Velvet => "velvet",
        /// Eggshell.
        Eggshell => "eggshell",
        /// Satin.
        Satin => "satin",
        /// Semi-gloss.
        SemiGloss => "semi_gloss",
        /// Gloss.
        Gloss => "gloss",
        /// High gloss.
        HighGloss => "high_gloss",
    }
}

/// A nominal range of specular gloss at 60° in gloss units (ISO 2813).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct NominalGloss {
    /// Lowest.
    pub min: u8,
    /// Highest; `None` is open.
    pub max: Option<u8>,
}

impl SheenWord {
    /// What the word nominally means at 60°: the Master Painters Institute's gloss levels G1
    /// (matte or flat), G2 (velvet-like), G3 (eggshell-like), G4 (satin-like), G5 (semi-gloss), G6
    /// (gloss), G7 (high gloss). Levels overlap at 60°; the maker's data sheet decides.
    #[must_use]
    pub const fn nominal_gloss_60(self) -> NominalGloss {
        let (min, max) = match self {
            Self::Flat | Self::Matte => (0, Some(5)),
            Self::Velvet => (0, Some(10)),
            Self::Eggshell => (10, Some(25)),
            Self::Satin => (20, Some(35)),
            Self::SemiGloss => (35, Some(70)),
            Self::Gloss => (70, Some(85)),
            Self::HighGloss => (85, None),
        };
        NominalGloss { min, max }
    }

    /// The word as a person says it.
    #[must_use]
    pub const fn human_name(self) -> &'static str {
        match self {
            Self::Flat => "flat",
            Self::Matte => "matte",
            Self::Velvet => "velvet",
            Self::Eggshell => "eggshell",
            Self::Satin => "satin",
            Self::SemiGloss => "semi-gloss",
            Self::Gloss => "gloss",
            Self::HighGloss => "high gloss",
        }
    }
}

impl fmt::Display for NominalGloss {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.max {
            Some(max) => write!(f, "{}–{max} at 60°", self.min),
            None => write!(f, "{} or more at 60°", self.min),
        }
    }
}
