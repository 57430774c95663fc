//! Colorants: named by pigment and Colour Index generic name, never by letter codes.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::naming::PigmentName;
use crate::wire_form::{shown, text_type};

/// Hue words of pigment generic names in the Colour Index (yellow, orange, red, violet, blue,
/// green, brown, black, white, metal), longer ones first.
const HUES: [&str; 10] = ["Br", "Bk", "Y", "O", "R", "V", "B", "G", "W", "M"];

/// A text that is not a Colour Index generic name of a pigment.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "Colour Index name {text:?} is not a pigment's generic name: give P, then Y, O, R, V, B, G, Br, Bk, W or M, then the number, such as PY42, PBk7 or PB15:3"
)]
pub struct ColourIndexNameError {
    text: String,
}

/// The Colour Index generic name of a pigment in its short form: `PY42`, `PBk7`, `PB15:3`.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct ColourIndexName(String);

impl ColourIndexName {
    /// The name.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

fn is_generic_name(text: &str) -> bool {
    let Some(rest) = text.strip_prefix('P') else {
        return false;
    };
    let Some(number) = HUES.iter().find_map(|hue| rest.strip_prefix(hue)) else {
        return false;
    };
    let counts = |digits: &str, longest: usize| {
        (1..=longest).contains(&digits.len())
            && !digits.starts_with('0')
            && digits.bytes().all(|byte| byte.is_ascii_digit())
    };
    match number.split_once(':') {
        Some((number, variant)) => counts(number, 3) && counts(variant, 1),
        None => counts(number, 3),
    }
}

impl FromStr for ColourIndexName {
    type Err = ColourIndexNameError;

    fn from_str(text: &str) -> Result<Self, ColourIndexNameError> {
        if is_generic_name(text) {
            Ok(Self(text.to_owned()))
        } else {
            Err(ColourIndexNameError { text: shown(text) })
        }
    }
}

impl fmt::Display for ColourIndexName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.0)
    }
}

text_type!(
    ColourIndexName,
    what: "Colour Index name",
    description: "Colour Index generic name of a pigment, short form",
    pattern: "^P(Br|Bk|Y|O|R|V|B|G|W|M)[1-9][0-9]{0,2}(:[1-9])?$",
    length: 3, 8,
    example: "PY42"
);

/// What a colorant is called: generic name and pigment. Displays as `PY42 yellow oxide`.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ColorantName {
    /// Colour Index generic name.
    pub colour_index: ColourIndexName,
    /// Common name of the pigment.
    pub pigment: PigmentName,
}

impl fmt::Display for ColorantName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&format!("{} {}", self.colour_index, self.pigment))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn generic_names_are_taken_and_others_refused() {
        for good in [
            "PY42", "PR101", "PBk7", "PB15:3", "PW6", "PG7", "PV19", "PO73", "PBr24", "PM1",
        ] {
            assert_eq!(good.parse::<ColourIndexName>().unwrap().as_str(), good);
        }
        for bad in [
            "", "P", "PY", "Y42", "py42", "PY042", "PY0", "PY1234", "PB15:", "PB15:33", "PX1",
            "PY42 ", "PBk7\n",
        ] {
            assert!(bad.parse::<ColourIndexName>().is_err(), "{bad:?}");
        }
    }
}
