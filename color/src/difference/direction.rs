//! In which direction a sample differs, in the trade's words.

use std::fmt;

use serde::{Deserialize, Serialize};

use crate::difference::de2000;
use crate::lab::Lab;

/// Signed differences, sample minus standard.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Deltas {
    /// ΔL\*, positive is lighter.
    pub l: f64,
    /// Δa\*, positive is redder.
    pub a: f64,
    /// Δb\*, positive is yellower.
    pub b: f64,
    /// ΔC\*ab, positive is more colorful.
    pub chroma: f64,
    /// ΔH\*ab, positive is counterclockwise in hue (ISO/CIE 11664-4).
    pub hue: f64,
}

impl Deltas {
    /// Differences from `standard` to `sample`.
    #[must_use]
    pub fn between(standard: Lab, sample: Lab) -> Self {
        let (c1, c2) = (standard.chroma(), sample.chroma());
        let cross = standard.a * sample.b - standard.b * sample.a;
        let dot = standard.a * sample.a + standard.b * sample.b;
        let magnitude = (2.0 * (c1 * c2 - dot)).max(0.0).sqrt();
        Self {
            l: sample.l - standard.l,
            a: sample.a - standard.a,
            b: sample.b - standard.b,
            chroma: c2 - c1,
            hue: if cross < 0.0 { -magnitude } else { magnitude },
        }
    }
}

/// One word of direction, sample against standard.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum DirectionWord {
    /// Higher L\*.
    Lighter,
    /// Lower L\*.
    Darker,
    /// Higher a\*.
    Redder,
    /// Lower a\*.
    Greener,
    /// Higher b\*.
    Yellower,
    /// Lower b\*.
    Bluer,
    /// Higher C\*ab.
    MoreColorful,
    /// Lower C\*ab.
    LessColorful,
}

impl DirectionWord {
    /// The word as said to a person.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Lighter => "lighter",
            Self::Darker => "darker",
            Self::Redder => "redder",
            Self::Greener => "greener",
            Self::Yellower => "yellower",
            Self::Bluer => "bluer",
            Self::MoreColorful => "more colorful",
            Self::LessColorful => "less colorful",
        }
    }
}

/// The words that are worth saying, at most one for each of four pairs of opposites.
///
/// A word is said when its axis counts: ΔL\*/S_L for lighter or darker, Δa\*/S_C for redder
/// or greener, Δb\*/S_C for yellower or bluer, ΔC\*ab/S_C for more or less colorful (S_L and
/// S_C are those of CIEDE2000 at the mean lightness and mean chroma) must be at least
/// [`Direction::SMALLEST`] in size and at least [`Direction::SHARE`] of ΔE00. Where one of
/// the two colors has a chroma below [`Direction::NEUTRAL`], "more colorful" would only
/// repeat the hue words, and is left out. (Common practice, no source.)
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Direction {
    /// [`DirectionWord::Lighter`] or [`DirectionWord::Darker`].
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lightness: Option<DirectionWord>,
    /// [`DirectionWord::Redder`] or [`DirectionWord::Greener`].
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub red_green: Option<DirectionWord>,
    /// [`DirectionWord::Yellower`] or [`DirectionWord::Bluer`].
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub yellow_blue: Option<DirectionWord>,
    /// [`DirectionWord::MoreColorful`] or [`DirectionWord::LessColorful`].
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub colorfulness: Option<DirectionWord>,
}

impl Direction {
    /// Smallest weighted difference that earns a word, in ΔE00 units.
    pub const SMALLEST: f64 = 0.15;
    /// Smallest share of the whole ΔE00 that earns a word.
    pub const SHARE: f64 = 0.25;
    /// Chroma below which colorfulness is left unsaid.
    pub const NEUTRAL: f64 = 5.0;

    /// Words from `standard` to `sample`.
    #[must_use]
    pub fn between(standard: Lab, sample: Lab) -> Self {
        use DirectionWord as W;
        let d = Deltas::between(standard, sample);
        let (c1, c2) = (standard.chroma(), sample.chroma());
        let off_middle = ((standard.l + sample.l) / 2.0 - 50.0).powi(2);
        let sl = 1.0 + 0.015 * off_middle / (20.0 + off_middle).sqrt();
        let sc = 1.0 + 0.045 * (c1 + c2) / 2.0;
        let enough = Self::SMALLEST.max(Self::SHARE * de2000(standard, sample));
        let pick = |weighted: f64, up, down| {
            (weighted.abs() >= enough).then_some(if weighted > 0.0 { up } else { down })
        };
        Self {
            lightness: pick(d.l / sl, W::Lighter, W::Darker),
            red_green: pick(d.a / sc, W::Redder, W::Greener),
            yellow_blue: pick(d.b / sc, W::Yellower, W::Bluer),
            colorfulness: if c1.min(c2) < Self::NEUTRAL {
                None
            } else {
                pick(d.chroma / sc, W::MoreColorful, W::LessColorful)
            },
        }
    }

    /// The words said, in the order lightness, red–green, yellow–blue, colorfulness.
    pub fn words(self) -> impl Iterator<Item = DirectionWord> {
        [
            self.lightness,
            self.red_green,
            self.yellow_blue,
            self.colorfulness,
        ]
        .into_iter()
        .flatten()
    }
}

impl fmt::Display for Direction {
    /// `darker, redder`; "no clear direction" when no word is said.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut said = false;
        for word in self.words() {
            if said {
                f.write_str(", ")?;
            }
            f.write_str(word.word())?;
            said = true;
        }
        if said {
            Ok(())
        } else {
            f.write_str("no clear direction")
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(standard: [f64; 3], sample: [f64; 3]) -> String {
        let [s, t] = [standard, sample].map(|[l, a, b]| Lab::new(l, a, b).unwrap());
        Direction::between(s, t).to_string()
    }

    #[test]
    fn each_axis_has_its_two_words() {
        assert_eq!(said([50., 0., 0.], [52., 0., 0.]), "lighter");
        assert_eq!(said([52., 0., 0.], [50., 0., 0.]), "darker");
        assert_eq!(said([50., 0., 0.], [50., 1., 0.]), "redder");
        assert_eq!(said([50., 0., 0.], [50., -1., 0.]), "greener");
        assert_eq!(said([50., 0., 0.], [50., 0., 1.]), "yellower");
        assert_eq!(said([50., 0., 0.], [50., 0., -1.]), "bluer");
        assert_eq!(
            said([50., 30., 0.], [50., 33., 0.]),
            "redder, more colorful"
        );
        assert_eq!(
            said([50., 0., -30.], [50., 0., -27.]),
            "yellower, less colorful"
        );
    }

    #[test]
    fn small_axes_are_not_named() {
        assert_eq!(said([50., 10., 10.], [50., 10., 10.]), "no clear direction");
        assert_eq!(said([50., 0., 0.], [50.1, 0.1, 0.05]), "no clear direction");
        // A quarter of the whole is the least that earns a word.
        assert_eq!(said([50., 0., 0.], [55., 0.5, 0.]), "lighter");
    }

    #[test]
    fn hue_difference_closes_the_sum_of_squares() {
        let (s, t) = (
            Lab::new(50., 20., 10.).unwrap(),
            Lab::new(48., 15., 18.).unwrap(),
        );
        let d = Deltas::between(s, t);
        let left = d.a * d.a + d.b * d.b;
        let right = d.chroma * d.chroma + d.hue * d.hue;
        assert!((left - right).abs() < 1e-12);
        assert!(d.hue > 0.0);
        assert!(Deltas::between(t, s).hue < 0.0);
    }

    #[test]
    fn serialized_by_axis_with_silent_ones_left_out() {
        let d = Direction::between(
            Lab::new(50., 0., 0.).unwrap(),
            Lab::new(52., 0., 0.).unwrap(),
        );
        assert_eq!(
            serde_json::to_string(&d).unwrap(),
            r#"{"lightness":"lighter"}"#
        );
    }
}
