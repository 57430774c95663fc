//! Label codes: the short code on a can, typed by hand or scanned, made offline from the match id.
//!
//! A code is ten characters of Crockford's base 32 holding the lowest 50 bits of the match's
//! UUIDv7 (all of them random bits of `rand_b`, RFC 9562 section 5.7), and one check character.
//! With a million matches the chance that any two share a code is about 1 in 2,200, so a look-up
//! must expect more than one match for a code.
//!
//! The check character makes the weighted sum over GF(2⁵) of all eleven characters zero. The field
//! is GF(2)\[x\]/(x⁵+x²+1), in which x is primitive; the weight of the position p (from the left,
//! 0-based) is x^(10−p), the check character's being 1. A wrong character changes the sum by
//! weight·difference, a swap by (weight−weight)·difference; weights are distinct and nonzero, a
//! field has no zero divisors: so every single wrong character and every swap of two characters,
//! adjacent or not, the check character included, is caught. (This is a Reed–Solomon code with one
//! check symbol, Reed & Solomon 1960.) Unlike a sum modulo 37 it needs no characters outside the
//! alphabet.

use std::fmt;
use std::str::FromStr;

use crate::id::MatchId;
use crate::wire_form::{shown, text_type};

/// Crockford's base 32: no I, L, O, U.
const ALPHABET: &[u8; 32] = b"0123456789ABCDEFGHJKMNPQRSTVWXYZ";
/// Characters that carry the match.
const DATA: usize = 10;
/// Characters in all.
const LENGTH: usize = DATA + 1;
/// Longest text read, separators included.
const LONGEST_TEXT: usize = 40;

/// x·v in the field.
const fn times_x(value: u8) -> u8 {
    let shifted = value << 1;
    if shifted & 0b10_0000 == 0 {
        shifted
    } else {
        shifted ^ 0b10_0101
    }
}

/// a·b in the field, by shift and add.
const fn times(a: u8, b: u8) -> u8 {
    let mut product = 0;
    let mut shifted = a;
    let mut bit = 0;
    while bit < 5 {
        if b >> bit & 1 == 1 {
            product ^= shifted;
        }
        shifted = times_x(shifted);
        bit += 1;
    }
    product
}

/// The inverse of a nonzero value: v³⁰, since v³¹ = 1.
fn inverse(value: u8) -> u8 {
    (0..30).fold(1, |power, _| times(power, value))
}

/// Weight of each position, the check character's last.
const WEIGHTS: [u8; LENGTH] = {
    let mut weights = [1; LENGTH];
    let mut position = DATA;
    while position > 0 {
        weights[position - 1] = times_x(weights[position]);
        position -= 1;
    }
    weights
};

/// Zero for a valid code.
fn syndrome(symbols: &[u8; LENGTH]) -> u8 {
    symbols
        .iter()
        .zip(WEIGHTS)
        .fold(0, |sum, (&symbol, weight)| sum ^ times(symbol, weight))
}

/// The value of a typed character; lower case and the look-alikes O, I, L are read as meant.
fn value(character: char) -> Option<u8> {
    let character = match character.to_ascii_uppercase() {
        'O' => '0',
        'I' | 'L' => '1',
        other => other,
    };
    let position = ALPHABET
        .iter()
        .position(|&known| char::from(known) == character)?;
    u8::try_from(position).ok()
}

fn is_separator(character: char) -> bool {
    matches!(character, ' ' | '-')
}

/// The code on a can's label. Shown as `XXXXX-XXXXX-C`; read in any case, with blanks and hyphens
/// anywhere, O as 0, I and L as 1.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct LabelCode([u8; LENGTH]);

impl LabelCode {
    /// The eleven characters without separators, as stored and as a scanner reads them.
    #[must_use]
    pub fn compact(self) -> String {
        self.0.iter().map(|&symbol| letter(symbol)).collect()
    }

    /// The 50 bits of the match id that the code carries.
    #[must_use]
    pub fn bits(self) -> u64 {
        self.0[..DATA]
            .iter()
            .fold(0, |bits, &symbol| bits << 5 | u64::from(symbol))
    }

    /// The code for 50 bits; bits above are ignored.
    fn from_bits(bits: u64) -> Self {
        let mut symbols = [0; LENGTH];
        for (position, symbol) in symbols[..DATA].iter_mut().enumerate() {
            let five = (bits >> (5 * (DATA - 1 - position)) & 31) as u8;
            *symbol = five;
        }
        // The check character's weight is 1, so the sum of the others is what cancels it.
        symbols[DATA] = syndrome(&symbols);
        Self(symbols)
    }
}

impl From<MatchId> for LabelCode {
    fn from(id: MatchId) -> Self {
        let low = id.as_uuid().as_u128() as u64;
        Self::from_bits(low)
    }
}

fn letter(symbol: u8) -> char {
    char::from(ALPHABET[usize::from(symbol & 31)])
}

impl fmt::Display for LabelCode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let code = self.compact();
        f.pad(&format!(
            "{}-{}-{}",
            &code[..5],
            &code[5..DATA],
            &code[DATA..]
        ))
    }
}

impl fmt::Debug for LabelCode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "LabelCode({self})")
    }
}

/// Eleven readable characters whose check fails: what was typed, and what may have been meant.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct MistypedLabel([u8; LENGTH]);

impl MistypedLabel {
    /// Every valid code that is one wrong character or one swap of two characters away: swaps of
    /// neighbors first, then one wrong character (one code for each of the eleven places), then
    /// other swaps. At most 66 codes; offer those that exist.
    #[must_use]
    pub fn suggestions(&self) -> Vec<LabelCode> {
        let mut neighbors = Vec::new();
        let mut others = Vec::new();
        for first in 0..LENGTH {
            for second in first + 1..LENGTH {
                let mut swapped = self.0;
                swapped.swap(first, second);
                if syndrome(&swapped) == 0 {
                    if second == first + 1 {
                        neighbors.push(LabelCode(swapped));
                    } else {
                        others.push(LabelCode(swapped));
                    }
                }
            }
        }
        let wrong = syndrome(&self.0);
        let replaced = (0..LENGTH).map(|place| {
            let mut mended = self.0;
            mended[place] ^= times(wrong, inverse(WEIGHTS[place]));
            LabelCode(mended)
        });
        neighbors
            .into_iter()
            .chain(replaced)
            .chain(others)
            .collect()
    }
}

impl fmt::Display for MistypedLabel {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(&LabelCode(self.0), f)
    }
}

/// Why a text is not a label code.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum LabelCodeError {
    /// Too few or too many characters.
    #[error(
        "label code {text:?} has {count} characters: a code has 11, such as 7K3QF-9XW2D-Q; read it again"
    )]
    Length {
        /// The text, cut at 60 characters.
        text: String,
        /// Characters other than separators.
        count: usize,
    },
    /// More separators than any label has.
    #[error("label code of {count} characters is too long: give at most 40, separators included")]
    TooLong {
        /// Characters, separators included.
        count: usize,
    },
    /// A character that no code contains.
    #[error(
        "label code {text:?} has {character:?} in place {place}: codes use digits and letters without U; read it again"
    )]
    Character {
        /// The text, cut at 60 characters.
        text: String,
        /// The character.
        character: char,
        /// Its place among the characters, counted from 1, separators left out.
        place: usize,
    },
    /// All characters are readable, but they do not belong together.
    #[error(
        "label code {0}: check character does not fit: one character is wrong or two are swapped; read it again"
    )]
    Check(MistypedLabel),
}

impl LabelCodeError {
    /// Valid codes one slip away from what was typed; empty unless the check character failed.
    #[must_use]
    pub fn suggestions(&self) -> Vec<LabelCode> {
        match self {
            Self::Check(typed) => typed.suggestions(),
            Self::Length { .. } | Self::TooLong { .. } | Self::Character { .. } => Vec::new(),
        }
    }
}

impl FromStr for LabelCode {
    type Err = LabelCodeError;

    fn from_str(text: &str) -> Result<Self, LabelCodeError> {
        let all = text.chars().count();
        if all > LONGEST_TEXT {
            return Err(LabelCodeError::TooLong { count: all });
        }
        let typed: Vec<char> = text.chars().filter(|&c| !is_separator(c)).collect();
        let mut symbols = Vec::with_capacity(LENGTH);
        for (index, &character) in typed.iter().enumerate() {
            symbols.push(value(character).ok_or_else(|| LabelCodeError::Character {
                text: shown(text),
                character,
                place: index + 1,
            })?);
        }
        let symbols: [u8; LENGTH] = symbols.try_into().map_err(|_| LabelCodeError::Length {
            text: shown(text),
            count: typed.len(),
        })?;
        if syndrome(&symbols) == 0 {
            Ok(Self(symbols))
        } else {
            Err(LabelCodeError::Check(MistypedLabel(symbols)))
        }
    }
}

text_type!(
    LabelCode,
    what: "label code",
    description: "label code: ten characters of Crockford's base 32 and a check character that must fit; any case, blanks and hyphens ignored, O read as 0, I and L as 1",
    pattern: "^[ -]*([0-9A-TV-Za-tv-z][ -]*){11}$",
    length: LENGTH, LONGEST_TEXT,
    example: "7K3QF-9XW2D-Q"
);

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_field_is_a_field_and_the_weights_are_distinct() {
        for a in 1..32 {
            assert_eq!(times(a, inverse(a)), 1, "inverse of {a}");
            for b in 1..32 {
                assert_ne!(times(a, b), 0, "{a}·{b}");
                assert_eq!(times(a, b), times(b, a));
            }
        }
        let mut weights = WEIGHTS.to_vec();
        weights.sort_unstable();
        weights.dedup();
        assert_eq!(weights.len(), LENGTH);
        assert!(!weights.contains(&0));
    }

    #[test]
    fn a_code_carries_the_lowest_fifty_bits_of_the_id() {
        let id: MatchId = "017f22e2-79b0-7cc3-98c4-dc0c0c07398f".parse().unwrap();
        let code = LabelCode::from(id);
        assert_eq!(code.bits(), 0x98c4_dc0c_0c07_398f & ((1 << 50) - 1));
        assert_eq!(code.to_string().parse(), Ok(code));
        assert_eq!(code.compact().parse(), Ok(code));
    }

    #[test]
    fn the_codes_in_schema_and_messages_are_what_they_claim() {
        let body: Vec<u8> = "7K3QF9XW2D".chars().filter_map(value).collect();
        let bits = body.iter().fold(0, |bits, &s| bits << 5 | u64::from(s));
        assert_eq!(LabelCode::from_bits(bits).to_string(), "7K3QF-9XW2D-Q");
    }

    #[test]
    fn look_alikes_case_and_separators_do_not_matter() {
        let code = LabelCode::from_bits(0x1_2345_6789_0abc & 0x0003_ffff_ffff_ffff);
        let typed: String = code
            .compact()
            .to_lowercase()
            .chars()
            .flat_map(|c| {
                let c = match c {
                    '0' => 'o',
                    '1' => 'l',
                    other => other,
                };
                [c, '-', ' ']
            })
            .collect();
        assert_eq!(typed.parse(), Ok(code));
    }

    #[test]
    fn a_character_outside_the_alphabet_is_named_with_its_place() {
        let error = "7K3QF-9XU2D-Q".parse::<LabelCode>().unwrap_err();
        assert!(matches!(
            error,
            LabelCodeError::Character {
                character: 'U',
                place: 8,
                ..
            }
        ));
        assert!(matches!(
            "7K3QF-9XW2D".parse::<LabelCode>().unwrap_err(),
            LabelCodeError::Length { count: 10, .. }
        ));
        assert!(matches!(
            " ".repeat(41).parse::<LabelCode>().unwrap_err(),
            LabelCodeError::TooLong { count: 41 }
        ));
    }
}
