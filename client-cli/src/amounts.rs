//! Amounts as typed at a counter: shots, rooms of bases, colors.

use std::fmt;
use std::str::FromStr;

use color::Lab;
use formula::base::BaseRoom;
use formula::naming::Lot;
use formula::quantity::{CanSize, Centiml, ShotCount, ShotUnit, Shots};

/// How a shot is written.
const SHOT_FORM: &str = "write it like PY42=24@1/48 or \"PY42 24 x 1/48 fl oz\"";

/// A colorant and how much of it, as typed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct TypedShot {
    /// Colour Index name, pigment words, both, or an id.
    pub(crate) colorant: String,
    /// How much.
    pub(crate) shots: Shots,
}

/// What is wrong with an amount as typed.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub(crate) enum AmountError {
    /// Not of the form.
    #[error("shot {text:?} can't be read: {SHOT_FORM}")]
    Shot {
        /// As typed.
        text: String,
    },
    /// No colorant before the amount.
    #[error("shot {text:?} names no colorant: {SHOT_FORM}")]
    NoColorant {
        /// As typed.
        text: String,
    },
    /// Not a number.
    #[error("shot {text:?}: count {count:?} is not a whole number: {SHOT_FORM}")]
    Count {
        /// As typed.
        text: String,
        /// The count in it.
        count: String,
    },
    /// A part of a shot.
    #[error("shot {text:?}: count {count} is no whole number of shots{finer}")]
    PartOfShot {
        /// As typed.
        text: String,
        /// The count in it.
        count: String,
        /// What would say it in whole shots.
        finer: String,
    },
    /// Out of range.
    #[error("shot {text:?}: {source}")]
    CountRange {
        /// As typed.
        text: String,
        /// Why.
        source: formula::quantity::QuantityError,
    },
    /// A unit that no dispenser has.
    #[error(
        "shot {text:?}: unit {unit:?} is not known; give 1/48, 1/96, 1/192 or 1/384 of a US fluid ounce, or 0.01 ml"
    )]
    Unit {
        /// As typed.
        text: String,
        /// The unit in it.
        unit: String,
    },
}

fn unit(text: &str) -> Option<ShotUnit> {
    let squeezed: String = text
        .chars()
        .filter(|c| !c.is_whitespace())
        .flat_map(char::to_lowercase)
        .collect();
    let bare = squeezed.replace('.', "").replace("us", "");
    let bare = bare.trim_end_matches("floz").trim_end_matches("oz");
    match bare {
        "1/48" => Some(ShotUnit::FlOz48),
        "1/96" => Some(ShotUnit::FlOz96),
        "1/192" => Some(ShotUnit::FlOz192),
        "1/384" => Some(ShotUnit::FlOz384),
        _ if matches!(squeezed.as_str(), "0.01ml" | "0.01") => Some(ShotUnit::Centiml),
        _ => None,
    }
}

/// The finest way to say a count with a decimal part in whole shots, when there is one.
fn finer(colorant: &str, count: f64, of: ShotUnit) -> String {
    let parts = |unit| match unit {
        ShotUnit::FlOz48 => Some(48.0),
        ShotUnit::FlOz96 => Some(96.0),
        ShotUnit::FlOz192 => Some(192.0),
        ShotUnit::FlOz384 => Some(384.0),
        ShotUnit::Centiml => None,
    };
    let whole = parts(of).and_then(|from| {
        ShotUnit::ALL.iter().copied().find_map(|unit| {
            let scaled = count * parts(unit)? / from;
            (scaled.fract() == 0.0 && scaled > 0.0 && scaled <= f64::from(ShotCount::MAX))
                .then(|| format!("{colorant}={scaled}@1/{}", parts(unit).unwrap_or(from)))
        })
    });
    match whole {
        Some(whole) => format!("; give it as {whole}"),
        None => "; give a whole number of a finer unit".to_owned(),
    }
}

impl FromStr for TypedShot {
    type Err = AmountError;

    fn from_str(typed: &str) -> Result<Self, AmountError> {
        let text = typed.trim();
        let shown = || text.chars().take(80).collect::<String>();
        let unreadable = || AmountError::Shot { text: shown() };
        // The last sign between count and unit: colorant names may hold an x.
        let (before, after) = [" x ", " X ", "@", "×", "*"]
            .iter()
            .filter_map(|sign| {
                let at = text.rfind(sign)?;
                Some((at, sign.len()))
            })
            .max()
            .map(|(at, length)| (&text[..at], &text[at + length..]))
            .ok_or_else(unreadable)?;
        let before = before.trim_end();
        let (colorant, count) = before
            .rsplit_once(|c: char| c == '=' || c.is_whitespace())
            .ok_or_else(|| AmountError::NoColorant { text: shown() })?;
        let colorant = colorant.trim().trim_end_matches('=').trim();
        if colorant.is_empty() {
            return Err(AmountError::NoColorant { text: shown() });
        }
        let unit = unit(after).ok_or_else(|| AmountError::Unit {
            text: shown(),
            unit: after.trim().to_owned(),
        })?;
        let whole = count.parse::<i128>();
        let count = match (whole, count.replace(',', ".").parse::<f64>()) {
            (Ok(whole), _) => ShotCount::new(whole).map_err(|source| AmountError::CountRange {
                text: shown(),
                source,
            })?,
            (Err(_), Ok(decimal)) if decimal.is_finite() => {
                return Err(AmountError::PartOfShot {
                    text: shown(),
                    count: count.to_owned(),
                    finer: finer(colorant, decimal, unit),
                });
            }
            _ => {
                return Err(AmountError::Count {
                    text: shown(),
                    count: count.to_owned(),
                });
            }
        };
        Ok(Self {
            colorant: colorant.to_owned(),
            shots: Shots { count, unit },
        })
    }
}

impl fmt::Display for TypedShot {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.colorant, self.shots)
    }
}

/// A colorant and its lot: `PY42=L2417-3`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct TypedLot {
    /// Colour Index name, pigment words, both, or an id.
    pub(crate) colorant: String,
    /// The lot.
    pub(crate) lot: Lot,
}

impl FromStr for TypedLot {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let (colorant, lot) = text.split_once('=').ok_or_else(|| {
            format!("lot {text:?} can't be read: write colorant and lot like PY42=L2417-3")
        })?;
        Ok(Self {
            colorant: colorant.trim().to_owned(),
            lot: lot.parse().map_err(|error| format!("{error}"))?,
        })
    }
}

/// Reads `L,a,b`.
///
/// # Errors
/// A sentence naming the part at fault.
pub(crate) fn lab(text: &str) -> Result<Lab, String> {
    let form = "write three numbers like 52.1,-3.4,10.0";
    let parts = text
        .split([',', ';'])
        .map(|part| {
            part.trim()
                .parse::<f64>()
                .map_err(|_| format!("color {text:?}: {part:?} is not a number; {form}"))
        })
        .collect::<Result<Vec<f64>, String>>()?;
    let [l, a, b] = parts[..] else {
        return Err(format!(
            "color {text:?} has {} numbers, not 3; {form}",
            parts.len()
        ));
    };
    Lab::new(l, a, b).map_err(|error| format!("color {text:?}: {error}"))
}

/// Reads milliliters with at most two decimals.
fn milliliters(text: &str) -> Result<Centiml, String> {
    let wrong = || {
        format!(
            "volume {text:?} is not milliliters with at most two decimals, such as 3420 or 285.75"
        )
    };
    let text = text.trim().trim_end_matches("ml").trim_end();
    let (whole, decimals) = text.split_once('.').unwrap_or((text, ""));
    let digits = |part: &str| part.chars().all(|c| c.is_ascii_digit());
    if whole.is_empty()
        || whole.len() > 9
        || decimals.len() > 2
        || !digits(whole)
        || !digits(decimals)
    {
        return Err(wrong());
    }
    let hundredths = format!("{whole}{decimals:0<2}")
        .parse::<i128>()
        .map_err(|_| wrong())?;
    Centiml::new(hundredths).map_err(|error| error.to_string())
}

/// Reads the room of a base in a can size: `gallon=3420+285.75`, fill and colorant room in ml.
///
/// # Errors
/// A sentence naming the part at fault.
pub(crate) fn room(text: &str) -> Result<BaseRoom, String> {
    let form = "write can size, fill and colorant room in ml like gallon=3420+285.75";
    let (size, volumes) = text
        .split_once('=')
        .ok_or_else(|| format!("room {text:?} can't be read: {form}"))?;
    let (fill, room) = volumes
        .split_once('+')
        .ok_or_else(|| format!("room {text:?} can't be read: {form}"))?;
    let size = crate::word::read::<CanSize>(size)?;
    BaseRoom::new(size, milliliters(fill)?, milliliters(room)?).map_err(|error| error.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shot(text: &str) -> String {
        match text.parse::<TypedShot>() {
            Ok(shot) => shot.to_string(),
            Err(error) => format!("{error}"),
        }
    }

    #[test]
    fn both_ways_to_write_a_shot_mean_the_same() {
        let wanted = "PY42 24 × 1/48 fl oz (14.79 ml)";
        for text in [
            "PY42=24@1/48",
            "PY42 24 x 1/48 fl oz",
            "PY42 24 × 1/48 fl. oz",
            " PY42 = 24 @ 1/48 US fl oz ",
            "PY42 24@1/48oz",
        ] {
            assert_eq!(shot(text), wanted, "{text}");
        }
        assert_eq!(
            shot("iron oxide x 3@0.01ml"),
            "iron oxide x 3 × 0.01 ml (0.03 ml)"
        );
        assert_eq!(shot("PB15:3=2@1/384"), "PB15:3 2 × 1/384 fl oz (0.15 ml)");
    }

    #[test]
    fn a_bad_shot_is_named_with_its_remedy() {
        let all: Vec<String> = [
            "",
            "PY42",
            "=24@1/48",
            "24@1/48",
            "PY42=0@1/48",
            "PY42=-3@1/48",
            "PY42=2.5@1/48",
            "PY42=2.3@1/48",
            "PY42=many@1/48",
            "PY42=NaN@1/48",
            "PY42=24@1/50",
            "PY42=24@",
            "PY42=99999999999999999999@1/48",
        ]
        .iter()
        .map(|text| format!("{text}\n  {}", shot(text)))
        .collect();
        insta::assert_snapshot!(all.join("\n"));
    }

    #[test]
    fn colors_and_rooms_are_read_or_refused_by_name() {
        assert_eq!(
            lab("52.1, -3.4,10").unwrap(),
            Lab::new(52.1, -3.4, 10.0).unwrap()
        );
        let gallon = room("gallon=3420+285.75").unwrap();
        assert_eq!(
            (gallon.fill().get(), gallon.room().get()),
            (342_000, 28_575)
        );
        let all = [
            lab("52,1").unwrap_err(),
            lab("52,x,1").unwrap_err(),
            lab("NaN,0,0").unwrap_err(),
            lab("900,0,0").unwrap_err(),
            room("gallon").unwrap_err(),
            room("bucket=1+2").unwrap_err(),
            room("quart=900+1.234").unwrap_err(),
            room("quart=900+900").unwrap_err(),
        ];
        insta::assert_snapshot!(all.join("\n"));
    }
}
