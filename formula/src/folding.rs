//! Folding of names for search: what is left when spelling habits are taken away.
//!
//! Compatibility forms, accents and case go (Unicode NFKD, marks of Latin, Greek, Cyrillic, Hebrew
//! and Arabic letters dropped, then NFC), letters without decomposition are written plainly (ß as
//! ss, ø as o), dots inside initials and apostrophes go, everything else that is no letter or digit
//! separates words. For companies, legal forms and trade words go too, unless nothing would be
//! left: half the customers of a paint chain are called painting, and a shared word neither tells
//! them apart nor keeps an index fast. Server and offline replica fold by this one function.

use unicode_normalization::UnicodeNormalization;
use unicode_normalization::char::is_combining_mark;

use crate::name_rank::edits;

/// Legal forms and words around them. Forms that are also common family names are left out.
const LEGAL_FORMS: &[&str] = &[
    "ag",
    "bv",
    "co",
    "company",
    "corp",
    "corporation",
    "cv",
    "dba",
    "eurl",
    "gbr",
    "gmbh",
    "inc",
    "incorporated",
    "kg",
    "limited",
    "llc",
    "llp",
    "lp",
    "ltd",
    "mbh",
    "nv",
    "oy",
    "pbc",
    "plc",
    "pllc",
    "pty",
    "sarl",
    "sas",
    "srl",
    "ug",
];

/// Words that many companies of the trade share.
const TRADE_WORDS: &[&str] = &[
    "and",
    "bro",
    "bros",
    "brothers",
    "builder",
    "builders",
    "building",
    "buildings",
    "coating",
    "coatings",
    "construction",
    "contracting",
    "contractor",
    "contractors",
    "daughter",
    "daughters",
    "decor",
    "decorating",
    "decorator",
    "decorators",
    "drywall",
    "finishes",
    "finishing",
    "group",
    "home",
    "homes",
    "interior",
    "interiors",
    "maintenance",
    "management",
    "paint",
    "painter",
    "painters",
    "painting",
    "paintings",
    "paints",
    "partners",
    "plastering",
    "properties",
    "property",
    "remodel",
    "remodeler",
    "remodelers",
    "remodeling",
    "renovation",
    "renovations",
    "restoration",
    "restorations",
    "services",
    "son",
    "sons",
    "the",
];

/// Letters that Unicode does not decompose, and how they are written without their own key.
fn plain(letter: char) -> Option<&'static str> {
    Some(match letter {
        'ß' => "ss",
        'æ' => "ae",
        'œ' => "oe",
        'ø' => "o",
        'ł' => "l",
        'đ' | 'ð' => "d",
        'þ' => "th",
        'ħ' => "h",
        'ı' => "i",
        'ŧ' => "t",
        'ŋ' => "n",
        'ĸ' => "k",
        'ς' => "σ",
        _ => return None,
    })
}

/// Marks that a spelling may lack without becoming another name: the Latin, Greek and Cyrillic
/// diacritics, Hebrew points, Arabic vowel signs. Vowel signs of Indic scripts and the voicing
/// marks of kana are letters to their readers and stay.
fn is_accent(mark: char) -> bool {
    is_combining_mark(mark)
        && matches!(
            mark,
            '\u{300}'..='\u{36f}'
                | '\u{483}'..='\u{487}'
                | '\u{591}'..='\u{5c7}'
                | '\u{610}'..='\u{61a}'
                | '\u{64b}'..='\u{65f}'
                | '\u{670}'
                | '\u{1ab0}'..='\u{1aff}'
                | '\u{1dc0}'..='\u{1dff}'
        )
}

/// Without case, accents and compatibility forms.
fn plain_letters(text: &str) -> String {
    let mut folded = String::with_capacity(text.len());
    for letter in text.nfkd().flat_map(char::to_lowercase).nfkd() {
        match plain(letter) {
            Some(written) => folded.push_str(written),
            None if is_accent(letter) => {}
            None => folded.push(letter),
        }
    }
    folded.nfc().collect()
}

/// An apostrophe inside a word, as typed or typeset.
fn is_apostrophe(character: char) -> bool {
    matches!(character, '\'' | '’' | '‘' | 'ʼ' | '`' | '´')
}

fn is_word_character(character: char) -> bool {
    character.is_alphanumeric() || is_combining_mark(character)
}

/// The words of a text, folded, none dropped. `J.P.` and `L.L.C.` are one word each.
fn words(text: &str) -> Vec<String> {
    // Apostrophes go before normalization, which takes the spacing acute apart into a blank.
    let joined: String = text.chars().filter(|&c| !is_apostrophe(c)).collect();
    let letters = plain_letters(&joined);
    let mut words = Vec::new();
    for piece in letters.split(|c: char| c != '.' && !is_word_character(c)) {
        let parts: Vec<&str> = piece.split('.').filter(|part| !part.is_empty()).collect();
        if parts.iter().all(|part| part.chars().nth(1).is_none()) {
            let initials = parts.concat();
            if !initials.is_empty() {
                words.push(initials);
            }
        } else {
            words.extend(parts.into_iter().map(str::to_owned));
        }
    }
    words
}

/// Folds the name of a person: no word is dropped, since Painter and Son are family names too.
///
/// Empty only if the text has no letter and no digit.
#[must_use]
pub fn fold_person(name: &str) -> String {
    words(name).join(" ")
}

/// Folds the name of a company: legal forms and trade words are dropped unless nothing would be left.
///
/// Empty only if the text has no letter and no digit.
#[must_use]
pub fn fold_company(name: &str) -> String {
    let all = words(name);
    let telling: Vec<&str> = all
        .iter()
        .map(String::as_str)
        .filter(|word| !LEGAL_FORMS.contains(word) && !TRADE_WORDS.contains(word))
        .collect();
    if telling.is_empty() {
        all.join(" ")
    } else {
        telling.join(" ")
    }
}

/// Folds what is typed to look for anyone: as [`fold_company`], and words one slip away from a long
/// trade word go too, unless nothing would be left. A name kept has no trade word in it that
/// `paintng` could be like, so such a word would make the query unlike the name that is meant.
///
/// Empty only if the text has no letter and no digit.
#[must_use]
pub fn fold_query(typed: &str) -> String {
    let folded = fold_company(typed);
    let telling: Vec<&str> = folded
        .split(' ')
        .filter(|word| !is_slip_of_long_word(word))
        .collect();
    if telling.is_empty() {
        folded
    } else {
        telling.join(" ")
    }
}

/// Whether a word is one slip away from a legal form or trade word of seven letters or more; shorter
/// ones are too near to family names, as `homes` is to Holmes.
fn is_slip_of_long_word(word: &str) -> bool {
    let letters: Vec<char> = word.chars().collect();
    LEGAL_FORMS.iter().chain(TRADE_WORDS).any(|dropped| {
        dropped.len() >= 7
            && dropped.len().abs_diff(letters.len()) <= 1
            && edits(&letters, &dropped.chars().collect::<Vec<char>>()) <= 1
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_mistyped_trade_word_is_dropped_from_a_query() {
        for (typed, folded) in [
            ("Branock and Doughters", "branock"),
            ("Hestral Paintng", "hestral"),
            ("hestral & vann pianting llc", "hestral vann"),
            ("Wren Decoratinng Incorporatd", "wren"),
            // Nothing else is left, and what is short is too near to names.
            ("Paynter", "paynter"),
            ("Sherlock Holmes", "sherlock holmes"),
            ("Paynters Coatngs", "paynters coatngs"),
            ("Painting", "painting"),
        ] {
            assert_eq!(fold_query(typed), folded, "{typed}");
        }
    }

    #[test]
    fn accents_case_and_letters_without_their_own_key_are_folded() {
        for (name, folded) in [
            ("Zoë Ångström", "zoe angstrom"),
            ("GROẞE Straße", "grosse strasse"),
            ("Søren Kjær-Łoś", "soren kjaer los"),
            ("Þóra Đurić", "thora duric"),
            ("İpek Işık", "ipek isik"),
            ("ＦＵＬＬ Ｗidth", "full width"),
            ("O’Toole, D'Arcy", "otoole darcy"),
            ("J.P. van der Tamm", "jp van der tamm"),
            ("Ёлкин Юрий", "елкин юрии"),
            ("Ὀδυσσεύς", "οδυσσευσ"),
            ("שָׁלוֹם", "שלום"),
            ("田中　健", "田中 健"),
            ("हिन्दी", "हिन्दी"),
            ("St.Vrain", "st vrain"),
        ] {
            assert_eq!(
                fold_person(name),
                folded.nfc().collect::<String>(),
                "{name}"
            );
        }
    }

    #[test]
    fn companies_lose_what_they_share() {
        for (name, folded) in [
            ("Brannock & Daughters Painting, L.L.C.", "brannock"),
            ("The Quillon Paint Co.", "quillon"),
            ("Ostrava Malerei GmbH", "ostrava malerei"),
            ("Home Painters Inc.", "home painters inc"),
            ("Söhne & Co. KG", "sohne"),
            ("Verrin Décor SARL", "verrin"),
        ] {
            assert_eq!(fold_company(name), folded, "{name}");
        }
    }

    #[test]
    fn people_keep_names_that_are_trade_words() {
        assert_eq!(fold_person("Lena Painter"), "lena painter");
        assert_eq!(fold_company("painter"), "painter");
    }

    #[test]
    fn the_word_lists_are_sorted_folded_and_apart() {
        for list in [LEGAL_FORMS, TRADE_WORDS] {
            assert!(list.is_sorted());
            for word in list {
                assert_eq!(fold_person(word), *word);
            }
        }
        assert!(LEGAL_FORMS.iter().all(|word| !TRADE_WORDS.contains(word)));
    }

    #[test]
    fn nothing_but_signs_folds_to_nothing() {
        assert_eq!(fold_company("& — !"), "");
    }
}
