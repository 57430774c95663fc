//! Names, labels and notes: text that people type, checked once and then trusted.
//!
//! All are put into Unicode normalization form C and trimmed of white space at both ends. Refused
//! are control characters (NUL among them, which Postgres cannot store), line breaks where one
//! line is meant, and the controls that reorder text for display (U+202A–202E, U+2066–2069), with
//! which a name can be made to read as another. Right-to-left names need none of these and are
//! fine. Lone surrogates cannot occur in a Rust string; JSON that holds one is refused by its
//! parser.

use std::fmt;
use std::str::FromStr;

use unicode_normalization::UnicodeNormalization;

use crate::wire_form::text_type;

/// Why a text is refused. The text itself is not repeated: it may be personal data.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NamingError {
    /// Nothing visible in it.
    #[error("{field} is empty: give at least one visible character")]
    Empty {
        /// What the text is.
        field: &'static str,
    },
    /// Too many characters.
    #[error("{field} has {count} characters: shorten it to at most {max}")]
    TooLong {
        /// What the text is.
        field: &'static str,
        /// Characters (Unicode scalar values).
        count: usize,
        /// The most that is taken.
        max: usize,
    },
    /// A control character or line break.
    #[error("{field} has the control character U+{code:04X} in place {place}: remove it")]
    Control {
        /// What the text is.
        field: &'static str,
        /// The code point.
        code: u32,
        /// Its place, counted from 1.
        place: usize,
    },
    /// A control that reorders text for display.
    #[error(
        "{field} has the text direction control U+{code:04X} in place {place}: remove it (right-to-left names need none)"
    )]
    Direction {
        /// What the text is.
        field: &'static str,
        /// The code point.
        code: u32,
        /// Its place, counted from 1.
        place: usize,
    },
    /// A character that a login name does not take.
    #[error(
        "login name has {character:?} in place {place}: use letters a to z, digits, and . _ - @ + after the first character"
    )]
    Login {
        /// The character.
        character: char,
        /// Its place, counted from 1.
        place: usize,
    },
    /// A login name outside its length.
    #[error("login name has {count} characters: give 2 to 64")]
    LoginLength {
        /// Characters.
        count: usize,
    },
}

/// Whether a text may run over several lines.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Lines {
    One,
    Many,
}

/// Inclusive ranges of code points, all in the basic plane.
type Ranges = &'static [(u16, u16)];

/// Direction embeddings, overrides and isolates (Unicode Standard Annex 9).
const DIRECTION: Ranges = &[(0x202a, 0x202e), (0x2066, 0x2069)];
/// Controls and the two separators that break a line.
const CONTROL: Ranges = &[(0x00, 0x1f), (0x7f, 0x9f), (0x2028, 0x2029)];
/// The same without tab, line feed and carriage return.
const CONTROL_IN_LINES: Ranges = &[
    (0x00, 0x08),
    (0x0b, 0x0c),
    (0x0e, 0x1f),
    (0x7f, 0x9f),
    (0x2028, 0x2029),
];
/// What shows nothing: White_Space and Default_Ignorable_Code_Point of the basic plane (Unicode
/// Character Database), as far as not refused above.
const BLANK: Ranges = &[
    (0x09, 0x0d),
    (0x20, 0x20),
    (0xa0, 0xa0),
    (0xad, 0xad),
    (0x034f, 0x034f),
    (0x061c, 0x061c),
    (0x115f, 0x1160),
    (0x1680, 0x1680),
    (0x17b4, 0x17b5),
    (0x180b, 0x180f),
    (0x2000, 0x200f),
    (0x202f, 0x202f),
    (0x205f, 0x2065),
    (0x206a, 0x206f),
    (0x3000, 0x3000),
    (0x3164, 0x3164),
    (0xfe00, 0xfe0f),
    (0xfeff, 0xfeff),
    (0xffa0, 0xffa0),
    (0xfff0, 0xfff8),
];

fn within(ranges: Ranges, character: char) -> bool {
    let code = u32::from(character);
    ranges
        .iter()
        .any(|&(first, last)| (u32::from(first)..=u32::from(last)).contains(&code))
}

fn controls(lines: Lines) -> Ranges {
    match lines {
        Lines::One => CONTROL,
        Lines::Many => CONTROL_IN_LINES,
    }
}

/// The check below as a regular expression that JSON Schema, ECMAScript, Python and Rust read
/// alike.
fn pattern(lines: Lines) -> String {
    let class = |sets: &[Ranges]| {
        sets.iter()
            .flat_map(|ranges| ranges.iter())
            .map(|(first, last)| format!(r"\u{first:04x}-\u{last:04x}"))
            .collect::<String>()
    };
    let refused = class(&[controls(lines), DIRECTION]);
    let blank = class(&[BLANK]);
    format!("^[^{refused}]*[^{refused}{blank}][^{refused}]*$")
}

/// Checks and tidies: form C, trimmed, CR LF and CR as LF where lines are allowed.
fn tidy(field: &'static str, text: &str, max: usize, lines: Lines) -> Result<String, NamingError> {
    // Counted before anything else, so that a huge text costs nothing and the schema's limit, which
    // is on the text as sent, is the one that holds; form C can lengthen a text, so counted again.
    let too_long = |count| NamingError::TooLong { field, count, max };
    let count = text.chars().count();
    if count > max {
        return Err(too_long(count));
    }
    for (index, character) in text.chars().enumerate() {
        let code = u32::from(character);
        let place = index + 1;
        if within(controls(lines), character) {
            return Err(NamingError::Control { field, code, place });
        }
        if within(DIRECTION, character) {
            return Err(NamingError::Direction { field, code, place });
        }
    }
    if text.chars().all(|character| within(BLANK, character)) {
        return Err(NamingError::Empty { field });
    }
    let tidied: String = text.nfc().collect();
    let tidied = tidied.replace("\r\n", "\n").replace('\r', "\n");
    let tidied = tidied.trim();
    let count = tidied.chars().count();
    if count > max {
        return Err(too_long(count));
    }
    Ok(tidied.to_owned())
}

macro_rules! names {
    ($($(#[$meta:meta])* $type:ident, $what:literal, $max:literal, $lines:ident, $shown:ident, $example:literal;)+) => {$(
        $(#[$meta])*
        #[derive(Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
        pub struct $type(String);

        impl $type {
            /// The most characters (Unicode scalar values) taken.
            pub const MAX: usize = $max;

            /// The text.
            #[must_use]
            pub fn as_str(&self) -> &str {
                &self.0
            }
        }

        impl FromStr for $type {
            type Err = NamingError;

            fn from_str(text: &str) -> Result<Self, NamingError> {
                tidy($what, text, $max, Lines::$lines).map(Self)
            }
        }

        impl From<$type> for String {
            fn from(name: $type) -> Self {
                name.0
            }
        }

        impl AsRef<str> for $type {
            fn as_ref(&self) -> &str {
                &self.0
            }
        }

        impl fmt::Display for $type {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.pad(&self.0)
            }
        }

        impl fmt::Debug for $type {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                names!(@debug $shown, $type, self, f)
            }
        }

        text_type!(
            $type,
            what: $what,
            description: concat!($what, ", trimmed, without control or text direction control characters"),
            pattern: pattern(Lines::$lines),
            length: 1, $max,
            example: $example
        );
    )+};
    (@debug open, $type:ident, $self:ident, $f:ident) => {
        write!($f, concat!(stringify!($type), "({:?})"), $self.0)
    };
    // What debug formatting prints ends up in logs.
    (@debug personal, $type:ident, $self:ident, $f:ident) => {
        write!($f, concat!(stringify!($type), "({} characters)"), $self.0.chars().count())
    };
}

names! {
    /// The name of a person who logs in.
    PersonName, "person name", 120, One, personal, "Odile Tamm";
    /// The name of a customer, person or company.
    CustomerName, "customer name", 200, One, personal, "Brannock & Daughters Painting";
    /// What a customer calls a job.
    JobLabel, "job label", 120, One, personal, "Lobby, second coat";
    /// Free text beside a record.
    Note, "note", 2000, Many, personal, "Second coat goes on Thursday.";
    /// Why something was done.
    Reason, "reason", 400, Many, personal, "Wrong base was on the shelf.";
    /// What a customer calls a color or sample.
    SampleName, "sample name", 120, One, personal, "Porch door, north side";
    /// The name of a branch.
    StoreName, "store name", 80, One, open, "North Quay";
    /// The name of a paint product.
    ProductName, "product name", 80, One, open, "Interior wall, waterborne";
    /// The name of a base.
    BaseName, "base name", 60, One, open, "deep";
    /// The common name of a pigment.
    PigmentName, "pigment name", 60, One, open, "yellow oxide";
    /// The name of an instrument.
    InstrumentName, "instrument name", 80, One, open, "Counter sphere 2";
    /// The maker's serial number of a device.
    SerialNumber, "serial number", 60, One, open, "S-20417";
    /// What a verification tile is called, in files too.
    TileName, "tile name", 60, One, open, "brick red";
    /// An instrument's model, in its maker's words.
    InstrumentModel, "instrument model", 80, One, open, "Sphere spectrophotometer, 31 bands";
    /// What a person calls a half-made match.
    DraftTitle, "draft title", 120, One, personal, "Blue cushion, waiting at the counter";
    /// Whose phone it is, or what it is for.
    PhoneLabel, "phone label", 60, One, personal, "site office";
    /// The lot of a base or colorant, as printed on it.
    Lot, "lot", 40, One, open, "L2417-3";
    /// The name of a counter machine.
    TerminalName, "terminal name", 60, One, open, "Counter 1";
    /// The name of a file as its sender called it.
    FileName, "file name", 200, One, open, "porch-door.csv";
}

/// The name a person types to log in: 2 to 64 characters, `a`–`z` (upper case is read as lower
/// case), digits, and `.` `_` `-` `@` `+` after the first character.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct LoginName(String);

impl LoginName {
    /// The text, in lower case.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl FromStr for LoginName {
    type Err = NamingError;

    fn from_str(text: &str) -> Result<Self, NamingError> {
        let count = text.chars().count();
        if !(2..=64).contains(&count) {
            return Err(NamingError::LoginLength { count });
        }
        for (index, character) in text.chars().enumerate() {
            let taken = character.is_ascii_alphanumeric()
                || index > 0 && matches!(character, '.' | '_' | '-' | '@' | '+');
            if !taken {
                return Err(NamingError::Login {
                    character,
                    place: index + 1,
                });
            }
        }
        Ok(Self(text.to_ascii_lowercase()))
    }
}

impl AsRef<str> for LoginName {
    fn as_ref(&self) -> &str {
        &self.0
    }
}

impl From<LoginName> for String {
    fn from(name: LoginName) -> Self {
        name.0
    }
}

impl fmt::Display for LoginName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.0)
    }
}

text_type!(
    LoginName,
    what: "login name",
    description: "login name; upper case is read as lower case",
    pattern: "^[A-Za-z0-9][A-Za-z0-9._@+-]{1,63}$",
    length: 2, 64,
    example: "odile.tamm"
);

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_trimmed_and_composed() {
        let name: CustomerName = "  Zoe\u{308} Lind\u{a0} ".parse().unwrap();
        assert_eq!(name.as_str(), "Zoë Lind");
        assert_eq!(name.as_str().parse::<CustomerName>().as_ref(), Ok(&name));
    }

    #[test]
    fn right_to_left_joined_and_wide_names_are_taken() {
        for name in [
            "נועה לוי",
            "مریم می‌خواهد",
            "田中 健",
            "Ælfgifu Østergård",
            "👩‍🎨",
        ] {
            assert_eq!(name.parse::<CustomerName>().unwrap().as_str(), name);
        }
    }

    #[test]
    fn what_shows_nothing_is_empty() {
        for text in ["", " ", "\u{200b}", "\u{2060}\u{3164}", "\u{ad} \u{feff}"] {
            let error = text.parse::<CustomerName>().unwrap_err();
            assert_eq!(
                error,
                NamingError::Empty {
                    field: "customer name"
                },
                "{text:?}"
            );
        }
    }

    #[test]
    fn controls_are_refused_with_their_place() {
        assert_eq!(
            "Ann\0".parse::<PersonName>(),
            Err(NamingError::Control {
                field: "person name",
                code: 0,
                place: 4
            })
        );
        assert_eq!(
            "a\nb".parse::<JobLabel>(),
            Err(NamingError::Control {
                field: "job label",
                code: 10,
                place: 2
            })
        );
        assert_eq!(
            "\u{202e}nnA".parse::<PersonName>(),
            Err(NamingError::Direction {
                field: "person name",
                code: 0x202e,
                place: 1
            })
        );
    }

    #[test]
    fn ten_thousand_characters_are_counted_not_stored() {
        assert_eq!(
            "x".repeat(10_000).parse::<CustomerName>(),
            Err(NamingError::TooLong {
                field: "customer name",
                count: 10_000,
                max: 200
            })
        );
        assert!("é".repeat(200).parse::<CustomerName>().is_ok());
    }

    #[test]
    fn notes_have_lines_and_one_kind_of_line_end() {
        let note: Note = "one\r\ntwo\rthree\n".parse().unwrap();
        assert_eq!(note.as_str(), "one\ntwo\nthree");
        assert!("a\u{b}b".parse::<Note>().is_err());
    }

    #[test]
    fn a_lone_surrogate_in_json_is_refused() {
        assert!(serde_json::from_str::<CustomerName>(r#""Ann \ud83d""#).is_err());
        assert!(serde_json::from_str::<CustomerName>(r#""Ann \ud83d\ude00""#).is_ok());
    }

    #[test]
    fn login_names_are_lower_case_ascii() {
        assert_eq!(
            "Odile.Tamm".parse::<LoginName>().unwrap().as_str(),
            "odile.tamm"
        );
        for bad in ["a", "", ".ab", "a b", "änn", "ab\n"] {
            assert!(bad.parse::<LoginName>().is_err(), "{bad:?}");
        }
    }

    #[test]
    fn debug_output_does_not_hold_a_customers_name() {
        let name: CustomerName = "Odile Tamm".parse().unwrap();
        assert_eq!(format!("{name:?}"), "CustomerName(10 characters)");
    }
}
