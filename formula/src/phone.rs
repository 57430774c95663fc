//! Phone numbers: what people type, brought to E.164 (ITU-T Recommendation E.164: a plus sign, a
//! country code, at most 15 digits in all).
//!
//! A rule of our own instead of the phone metadata library: that one brings forty crates, two past
//! advisories for panics on input, and knowledge (which prefixes are in service) that goes stale,
//! while a counter only has to bring the same number to the same text each time.

use std::fmt;
use std::str::FromStr;

use crate::wire_form::{closed_enum, text_type};

closed_enum! {
    /// The region whose way of writing numbers is meant when no country code is typed, by its
    /// ISO 3166-1 code. National rules are from memory of the ITU's national numbering plans.
    pub enum PhoneRegion, what: "phone region" {
        /// United States.
        UnitedStates => "US",
        /// Canada.
        Canada => "CA",
        /// Mexico.
        Mexico => "MX",
        /// United Kingdom.
        UnitedKingdom => "GB",
        /// Ireland.
        Ireland => "IE",
        /// Germany.
        Germany => "DE",
        /// France.
        France => "FR",
        /// Australia.
        Australia => "AU",
        /// New Zealand.
        NewZealand => "NZ",
    }
}

/// How a region writes numbers.
struct Plan {
    country_code: &'static str,
    trunk_prefix: &'static str,
    international_prefix: &'static str,
    national_digits: std::ops::RangeInclusive<usize>,
}

impl PhoneRegion {
    const fn plan(self) -> Plan {
        let (country_code, trunk_prefix, international_prefix, national_digits) = match self {
            Self::UnitedStates | Self::Canada => ("1", "1", "011", 10..=10),
            Self::Mexico => ("52", "", "00", 10..=10),
            Self::UnitedKingdom => ("44", "0", "00", 9..=10),
            Self::Ireland => ("353", "0", "00", 7..=9),
            Self::Germany => ("49", "0", "00", 6..=12),
            Self::France => ("33", "0", "00", 9..=9),
            Self::Australia => ("61", "0", "0011", 9..=9),
            Self::NewZealand => ("64", "0", "00", 8..=10),
        };
        Plan {
            country_code,
            trunk_prefix,
            international_prefix,
            national_digits,
        }
    }
}

/// Why a phone number is refused. The number itself is not repeated: it is personal data.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PhoneError {
    /// Something else than digits and separators.
    #[error(
        "phone number has {character:?} in place {place}: give digits, blanks, hyphens, points, slashes and parentheses, a plus sign only in front, and leave an extension out"
    )]
    Character {
        /// The character.
        character: char,
        /// Its place, counted from 1.
        place: usize,
    },
    /// Longer than any number with separators.
    #[error("phone number has {count} characters: give at most 40")]
    TooLong {
        /// Characters.
        count: usize,
    },
    /// Digits that are no number of the region.
    #[error(
        "phone number has {digits} digits, which is no number in {region}: give it with its area code, or with + and the country code"
    )]
    National {
        /// How many digits, without trunk prefix.
        digits: usize,
        /// The region.
        region: PhoneRegion,
    },
    /// Digits after a plus sign that are no international number.
    #[error(
        "phone number with country code has {digits} digits: E.164 has 7 to 15, country code included, and none starts with 0"
    )]
    International {
        /// How many digits.
        digits: usize,
    },
    /// A number of country code 1 whose area code or exchange cannot be.
    #[error(
        "phone number of country code 1 must have ten digits after the 1, with area code and exchange starting with 2 to 9: read it again"
    )]
    NorthAmerican,
    /// A stored number that is not E.164.
    #[error("phone number is not in E.164 form: give + and 7 to 15 digits, such as +13035550142")]
    NotE164,
    /// Too few digits to look for.
    #[error(
        "phone number to look for has {digits} digits: give the last four, the last seven or the whole number"
    )]
    Fragment {
        /// How many digits.
        digits: usize,
    },
}

/// Longest text read.
const LONGEST_TEXT: usize = 40;

/// Blanks, hyphens, points, slashes and parentheses between digits, as typed or pasted.
fn is_separator(character: char) -> bool {
    matches!(
        character,
        '-' | '.' | ' ' | '(' | ')' | '/' | '\u{a0}' | '\u{2010}'..='\u{2015}' | '\u{202f}'
    )
}

/// A phone number in E.164 form: `+13035550142`.
#[derive(Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct PhoneNumber(String);

impl PhoneNumber {
    /// Reads what a person typed. Without a country code (a plus sign or the region's
    /// international prefix in front) the number is one of `region`.
    ///
    /// # Errors
    /// [`PhoneError`] for other characters than digits and separators, and for digits that cannot
    /// be a number.
    pub fn from_typed(text: &str, region: PhoneRegion) -> Result<Self, PhoneError> {
        let (plus, digits) = digits_of(text)?;
        let plan = region.plan();
        let international = if plus {
            Some(digits.as_str())
        } else {
            digits.strip_prefix(plan.international_prefix)
        };
        if let Some(digits) = international {
            return Self::from_digits(digits);
        }
        let national = digits
            .strip_prefix(plan.trunk_prefix)
            .unwrap_or(digits.as_str());
        if !plan.national_digits.contains(&national.len()) {
            return Err(PhoneError::National {
                digits: national.len(),
                region,
            });
        }
        Self::from_digits(&format!("{}{national}", plan.country_code))
    }

    /// Digits with the country code in front.
    fn from_digits(digits: &str) -> Result<Self, PhoneError> {
        if !(7..=15).contains(&digits.len()) || digits.starts_with('0') {
            return Err(PhoneError::International {
                digits: digits.len(),
            });
        }
        if let Some(national) = digits.strip_prefix('1') {
            // North American Numbering Plan: NXX NXX XXXX, N from 2 to 9.
            let leads = |index| matches!(national.as_bytes().get(index), Some(b'2'..=b'9'));
            if national.len() != 10 || !leads(0) || !leads(3) {
                return Err(PhoneError::NorthAmerican);
            }
        }
        Ok(Self(format!("+{digits}")))
    }

    /// The number, plus sign in front.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// The last seven digits, or all if there are fewer.
    #[must_use]
    pub fn last_seven(&self) -> &str {
        self.last(7)
    }

    /// The last four digits.
    #[must_use]
    pub fn last_four(&self) -> &str {
        self.last(4)
    }

    fn last(&self, count: usize) -> &str {
        &self.0[self.0.len().saturating_sub(count).max(1)..]
    }
}

/// Whether a plus sign stands in front, and the digits.
fn digits_of(text: &str) -> Result<(bool, String), PhoneError> {
    let count = text.chars().count();
    if count > LONGEST_TEXT {
        return Err(PhoneError::TooLong { count });
    }
    let mut plus = false;
    let mut digits = String::new();
    for (index, character) in text.chars().enumerate() {
        match character {
            '0'..='9' => digits.push(character),
            '+' if !plus && digits.is_empty() => plus = true,
            separator if is_separator(separator) => {}
            character => {
                return Err(PhoneError::Character {
                    character,
                    place: index + 1,
                });
            }
        }
    }
    Ok((plus, digits))
}

impl FromStr for PhoneNumber {
    type Err = PhoneError;

    /// E.164 form only; what people type goes through [`PhoneNumber::from_typed`].
    fn from_str(text: &str) -> Result<Self, PhoneError> {
        let digits = text.strip_prefix('+').ok_or(PhoneError::NotE164)?;
        if digits.bytes().all(|byte| byte.is_ascii_digit()) {
            Self::from_digits(digits)
        } else {
            Err(PhoneError::NotE164)
        }
    }
}

impl fmt::Display for PhoneNumber {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.0)
    }
}

impl fmt::Debug for PhoneNumber {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "PhoneNumber(…{})", self.last(2))
    }
}

text_type!(
    PhoneNumber,
    what: "phone number",
    description: "phone number in E.164 form",
    pattern: r"^\+(1[2-9][0-9]{2}[2-9][0-9]{6}|[2-9][0-9]{6,14})$",
    length: 8, 16,
    example: "+13035550142"
);

/// A phone number as typed, with or without country code: for API input, where the chain's region
/// decides. The published pattern is exact for chains whose region is `US` or `CA`.
#[derive(Clone, PartialEq, Eq, Hash)]
pub struct TypedPhone(String);

impl TypedPhone {
    /// Brings it to E.164.
    ///
    /// # Errors
    /// As [`PhoneNumber::from_typed`].
    pub fn normalize(&self, region: PhoneRegion) -> Result<PhoneNumber, PhoneError> {
        PhoneNumber::from_typed(&self.0, region)
    }
}

impl FromStr for TypedPhone {
    type Err = PhoneError;

    fn from_str(text: &str) -> Result<Self, PhoneError> {
        digits_of(text).map(|_| Self(text.to_owned()))
    }
}

impl fmt::Display for TypedPhone {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.0)
    }
}

impl fmt::Debug for TypedPhone {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "TypedPhone({} characters)", self.0.chars().count())
    }
}

/// Separators as a character class of the pattern.
const SEPARATORS: &str = r"[-. ()/\u00a0\u2010-\u2015\u202f]*";

fn typed_pattern() -> String {
    // `~` stands for separators, to keep the rule readable.
    let north_american = "[2-9]~[0-9]~[0-9]~[2-9]~([0-9]~){6}";
    format!(r"^~((\+~|0~1~1~)(1~{north_american}|[2-9]~([0-9]~){{6,14}})|(1~)?{north_american})$")
        .replace('~', SEPARATORS)
}

text_type!(
    TypedPhone,
    what: "phone number",
    description: "phone number as typed: national, or with + and the country code",
    pattern: typed_pattern(),
    length: 7, LONGEST_TEXT,
    example: "(303) 555-0142"
);

/// What to look for when a person gives a phone number or the end of one.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub enum PhoneQuery {
    /// The whole number.
    Whole(PhoneNumber),
    /// The last seven digits.
    LastSeven(String),
    /// The last four digits; ask for a part of the name too.
    LastFour(String),
}

impl PhoneQuery {
    /// Reads four digits, seven digits or a whole number.
    ///
    /// # Errors
    /// [`PhoneError::Fragment`] for other short numbers, else as [`PhoneNumber::from_typed`].
    pub fn from_typed(text: &str, region: PhoneRegion) -> Result<Self, PhoneError> {
        let (plus, digits) = digits_of(text)?;
        match digits.len() {
            4 if !plus => Ok(Self::LastFour(digits)),
            // Where whole numbers may have seven digits, the end finds those too.
            7 if !plus => Ok(Self::LastSeven(digits)),
            0..=5 => Err(PhoneError::Fragment {
                digits: digits.len(),
            }),
            _ => PhoneNumber::from_typed(text, region).map(Self::Whole),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn us(text: &str) -> Result<String, PhoneError> {
        PhoneNumber::from_typed(text, PhoneRegion::UnitedStates).map(|n| n.to_string())
    }

    /// Numbers 555-0100 to 555-0199 are set aside for fiction in the North American plan; the
    /// British ones are of the ranges that its regulator sets aside for drama.
    #[test]
    fn the_same_number_becomes_the_same_text() {
        for text in [
            "(303) 555-0142",
            "303.555.0142",
            "3035550142",
            "1 303 555 0142",
            "+1 303-555-0142",
            " +1\u{a0}(303)\u{a0}555\u{2011}0142 ",
            "011 1 303 555 0142",
            "303/555/0142",
        ] {
            assert_eq!(us(text).as_deref(), Ok("+13035550142"), "{text:?}");
        }
        let gb =
            |text| PhoneNumber::from_typed(text, PhoneRegion::UnitedKingdom).map(|n| n.to_string());
        for text in [
            "020 7946 0018",
            "+44 20 7946 0018",
            "0044 20 7946 0018",
            "20 7946 0018",
        ] {
            assert_eq!(gb(text).as_deref(), Ok("+442079460018"), "{text:?}");
        }
        assert_eq!(us("011 44 20 7946 0018").as_deref(), Ok("+442079460018"));
        assert_eq!(gb("001 303 555 0142").as_deref(), Ok("+13035550142"));
    }

    #[test]
    fn what_cannot_be_a_number_is_refused() {
        assert_eq!(
            us("555-0142"),
            Err(PhoneError::National {
                digits: 7,
                region: PhoneRegion::UnitedStates
            })
        );
        assert_eq!(
            us(""),
            Err(PhoneError::National {
                digits: 0,
                region: PhoneRegion::UnitedStates
            })
        );
        assert_eq!(
            us("103 555 0142"),
            Err(PhoneError::National {
                digits: 9,
                region: PhoneRegion::UnitedStates
            })
        );
        assert_eq!(us("203 155 0142"), Err(PhoneError::NorthAmerican));
        assert_eq!(us("+1 555"), Err(PhoneError::International { digits: 4 }));
        assert_eq!(
            us("+0 303 555 0142"),
            Err(PhoneError::International { digits: 11 })
        );
        assert_eq!(
            us("+1234567890123456"),
            Err(PhoneError::International { digits: 16 })
        );
        assert_eq!(
            us("303 555 0142 x7"),
            Err(PhoneError::Character {
                character: 'x',
                place: 14
            })
        );
        assert_eq!(
            us("303+5550142"),
            Err(PhoneError::Character {
                character: '+',
                place: 4
            })
        );
        assert_eq!(us(&"1".repeat(41)), Err(PhoneError::TooLong { count: 41 }));
    }

    #[test]
    fn ends_of_numbers_are_looked_for_as_such() {
        let query = |text| PhoneQuery::from_typed(text, PhoneRegion::UnitedStates);
        assert_eq!(query("0142"), Ok(PhoneQuery::LastFour("0142".to_owned())));
        assert_eq!(
            query("555-0142"),
            Ok(PhoneQuery::LastSeven("5550142".to_owned()))
        );
        assert!(matches!(query("303 555 0142"), Ok(PhoneQuery::Whole(_))));
        assert_eq!(query("142"), Err(PhoneError::Fragment { digits: 3 }));
        let number: PhoneNumber = "+13035550142".parse().unwrap();
        assert_eq!(
            (number.last_seven(), number.last_four()),
            ("5550142", "0142")
        );
    }

    #[test]
    fn stored_form_is_e164_only() {
        assert!("+13035550142".parse::<PhoneNumber>().is_ok());
        for bad in ["13035550142", "+1 303 555 0142", "+", "", "+1303555014２"] {
            assert!(bad.parse::<PhoneNumber>().is_err(), "{bad:?}");
        }
    }
}
