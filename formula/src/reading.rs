//! A value as a measurement file had it: kept digit by digit, so that a later reader can check the conversion.

use std::fmt;
use std::str::FromStr;

use crate::wire_form::text_type;

/// The digits of one value of a spectrum, exactly as the file had them.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct AsRead(String);

/// Why a text is no value of a spectrum.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum AsReadError {
    /// Empty or longer than 32 characters.
    #[error("value as read has {count} characters: give 1 to 32")]
    Length {
        /// Characters.
        count: usize,
    },
    /// Something that stands in no number.
    #[error(
        "value as read has {character:?}: give digits, a sign, a decimal point or comma, an exponent, nothing else"
    )]
    Character {
        /// The character.
        character: char,
    },
}

impl AsRead {
    /// The text.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl FromStr for AsRead {
    type Err = AsReadError;

    fn from_str(text: &str) -> Result<Self, AsReadError> {
        let count = text.chars().count();
        if !(1..=32).contains(&count) {
            return Err(AsReadError::Length { count });
        }
        match text.chars().find(|character| {
            !matches!(
                character,
                '0'..='9' | '.' | ',' | '+' | '-' | 'e' | 'E' | '%'
            )
        }) {
            Some(character) => Err(AsReadError::Character { character }),
            None => Ok(Self(text.to_owned())),
        }
    }
}

impl AsRef<str> for AsRead {
    fn as_ref(&self) -> &str {
        &self.0
    }
}

impl From<AsRead> for String {
    fn from(value: AsRead) -> Self {
        value.0
    }
}

impl fmt::Display for AsRead {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.0)
    }
}

text_type!(
    AsRead,
    what: "value as read",
    description: "a value of a spectrum with the digits of its file",
    pattern: "^[0-9.,+\\-eE%]{1,32}$",
    length: 1, 32,
    example: "12.34"
);
