//! What a measurement file had: values digit by digit, so that a later reader can check the conversion, and its other
//! texts in their own words.

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

/// A text of a measurement file, in its own words: up to 1000 characters without control characters other than line
/// ends and tabs. It may hold a name, so it stands in no log.
#[derive(Clone, PartialEq, Eq, Hash)]
pub struct FileText(String);

/// Why a text of a file is not kept. The text is not repeated: it may be personal.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum FileTextError {
    /// Longer than 1000 characters.
    #[error("text of a file has {count} characters: give 1000 at most")]
    Length {
        /// Characters.
        count: usize,
    },
    /// A control character.
    #[error("text of a file has the control character {character:?}: leave it out")]
    Character {
        /// The character.
        character: char,
    },
}

impl FileText {
    /// Most characters.
    pub const MOST: usize = 1000;

    /// The text.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl FromStr for FileText {
    type Err = FileTextError;

    fn from_str(text: &str) -> Result<Self, FileTextError> {
        let count = text.chars().count();
        if count > Self::MOST {
            return Err(FileTextError::Length { count });
        }
        let control = |c: &char| c.is_ascii_control() && !matches!(c, '\t' | '\n' | '\r');
        match text.chars().find(control) {
            Some(character) => Err(FileTextError::Character { character }),
            None => Ok(Self(text.to_owned())),
        }
    }
}

impl fmt::Display for FileText {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.0)
    }
}

impl fmt::Debug for FileText {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "FileText({} characters)", self.0.chars().count())
    }
}

text_type!(
    FileText,
    what: "text of a file",
    description: "a text of a measurement file in its own words",
    pattern: "^[^\\u0000-\\u0008\\u000b\\u000c\\u000e-\\u001f\\u007f]{0,1000}$",
    length: 0, 1000,
    example: "from the lobby"
);
