//! Properties that hold for every value, not only for chosen ones.

use formula::folding::{fold_company, fold_person};
use formula::id::MatchId;
use formula::label::{LabelCode, LabelCodeError};
use formula::naming::{CustomerName, Note};
use formula::phone::{PhoneNumber, PhoneRegion};
use formula::quantity::{ExactMl, ShotCount, ShotUnit, Shots, Volume};
use formula::reorder::ReorderState;
use formula::trigram::TrigramQuery;
use proptest::prelude::*;

const ALPHABET: &str = "0123456789ABCDEFGHJKMNPQRSTVWXYZ";

fn label_code() -> impl Strategy<Value = LabelCode> {
    any::<[u8; 10]>().prop_map(|random| LabelCode::from(MatchId::from_parts(0, random)))
}

fn mistyped(text: &str) -> Vec<LabelCode> {
    match text.parse::<LabelCode>() {
        Err(error @ LabelCodeError::Check(_)) => error.suggestions(),
        other => panic!("{text} should fail its check, not {other:?}"),
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1_000))]

    /// All 11 × 31 wrong characters of a code.
    #[test]
    fn every_single_wrong_character_is_caught(code in label_code()) {
        let right: Vec<char> = code.compact().chars().collect();
        for place in 0..right.len() {
            for other in ALPHABET.chars().filter(|&c| c != right[place]) {
                let mut wrong = right.clone();
                wrong[place] = other;
                let wrong: String = wrong.into_iter().collect();
                prop_assert!(matches!(wrong.parse::<LabelCode>(), Err(LabelCodeError::Check(_))), "{}", wrong);
            }
        }
    }

    /// All 55 swaps of a code, neighbors or not, the check character included.
    #[test]
    fn every_swap_of_two_characters_is_caught_and_the_right_code_is_offered(code in label_code()) {
        let right: Vec<char> = code.compact().chars().collect();
        for first in 0..right.len() {
            for second in first + 1..right.len() {
                if right[first] == right[second] {
                    continue;
                }
                let mut wrong = right.clone();
                wrong.swap(first, second);
                let wrong: String = wrong.into_iter().collect();
                let offered = mistyped(&wrong);
                prop_assert!(offered.contains(&code), "{}", wrong);
                prop_assert!(offered.len() <= 66);
                if second == first + 1 {
                    let place = offered.iter().position(|&other| other == code);
                    prop_assert!(place < Some(10), "swaps of neighbors come first");
                }
            }
        }
    }
}

proptest! {
    #[test]
    fn one_wrong_character_has_the_right_code_among_those_offered(
        code in label_code(), place in 0_usize..11, other in 0_usize..32,
    ) {
        let mut letters: Vec<char> = code.compact().chars().collect();
        let other = ALPHABET.chars().nth(other).unwrap();
        prop_assume!(letters[place] != other);
        letters[place] = other;
        let offered = mistyped(&letters.into_iter().collect::<String>());
        prop_assert!(offered.contains(&code));
        for valid in &offered {
            prop_assert_eq!(valid.to_string().parse(), Ok(*valid));
        }
        let mut once = offered.clone();
        once.sort();
        once.dedup();
        prop_assert_eq!(once.len(), offered.len(), "no code is offered twice");
    }

    #[test]
    fn codes_survive_printing_and_typing(code in label_code(), lower: bool) {
        let shown = code.to_string();
        let typed = if lower { shown.to_lowercase() } else { shown };
        prop_assert_eq!(typed.parse(), Ok(code));
        prop_assert_eq!(code.compact().parse(), Ok(code));
    }

    #[test]
    fn sums_of_shots_are_exact(
        amounts in prop::collection::vec((1_u32..=1_000_000, 0_usize..5), 0..24),
    ) {
        // 384 × 10¹⁵ × … over a common denominator, reckoned apart from the crate: 1/384 fl oz is
        // 29.5735295625/384 ml (NIST Handbook 44), 0.01 ml is 10¹⁵ of the same parts.
        let parts = [8_u128, 4, 2, 1].map(|steps| steps * 295_735_295_625 * 10_000_000 / 384);
        let expected: u128 = amounts
            .iter()
            .map(|&(count, unit)| {
                u128::from(count) * parts.get(unit).copied().unwrap_or(1_000_000_000_000_000)
            })
            .sum();
        let total: Volume = amounts
            .iter()
            .map(|&(count, unit)| {
                Shots { count: ShotCount::new(count).unwrap(), unit: ShotUnit::ALL[unit] }.volume()
            })
            .sum();
        prop_assert_eq!(total.parts(), expected);
        prop_assert_eq!(Volume::from_exact_ml(&total.exact_ml()), Ok(total));
        prop_assert_eq!(ExactMl::from(total).volume(), total);
        // Rounded for display by at most half of 0.01 ml.
        let shown = total.hundredths_half_even() * 1_000_000_000_000_000;
        prop_assert!(shown.abs_diff(total.parts()) <= 500_000_000_000_000);
    }

    #[test]
    fn whole_shots_that_hold_a_volume_are_the_fewest(parts in 1_u128..1_000_000_000_000_000_000_000, unit in 0_usize..5) {
        let volume = Volume::from_exact_ml(&format!("{}.{:017}", parts / 100_000_000_000_000_000, parts % 100_000_000_000_000_000)).unwrap();
        let unit = ShotUnit::ALL[unit];
        let shots = volume.shots_rounded_up(unit);
        prop_assert!(shots * unit.volume().parts() >= parts);
        prop_assert!((shots - 1) * unit.volume().parts() < parts);
    }

    #[test]
    fn folding_twice_is_folding_once(name in "\\PC{0,40}") {
        let person = fold_person(&name);
        prop_assert_eq!(fold_person(&person), person.clone());
        let company = fold_company(&name);
        prop_assert_eq!(fold_company(&company), company.clone());
        prop_assert!(!person.starts_with(' ') && !person.ends_with(' ') && !person.contains("  "));
    }

    #[test]
    fn folding_does_not_mind_case_or_company_words(word in "[a-z]{4,12}x", upper: bool) {
        let typed = if upper { word.to_uppercase() } else { word.clone() };
        prop_assert_eq!(fold_company(&format!("{typed} & Sons Painting, Inc.")), word);
    }

    #[test]
    fn tidied_names_stay_as_they_are(name in "\\PC{1,60}") {
        if let Ok(name) = name.parse::<CustomerName>() {
            prop_assert_eq!(name.as_str().parse::<CustomerName>(), Ok(name.clone()));
            let json = serde_json::to_string(&name).unwrap();
            prop_assert_eq!(serde_json::from_str::<CustomerName>(&json).unwrap(), name);
        }
    }

    #[test]
    fn no_text_makes_a_parser_panic(text in any::<String>()) {
        let _ = text.parse::<LabelCode>();
        let _ = text.parse::<Note>();
        let _ = text.parse::<PhoneNumber>();
        let _ = text.parse::<ExactMl>();
        for &region in PhoneRegion::ALL {
            if let Ok(number) = PhoneNumber::from_typed(&text, region) {
                prop_assert_eq!(number.as_str().parse::<PhoneNumber>(), Ok(number.clone()));
            }
        }
    }

    #[test]
    fn numbers_once_normalized_stay_the_same(number in "[2-9][0-9]{6,14}", region in 0..PhoneRegion::ALL.len()) {
        let region = PhoneRegion::ALL[region];
        let once = PhoneNumber::from_typed(&format!("+{number}"), region).unwrap();
        prop_assert_eq!(PhoneNumber::from_typed(once.as_str(), region), Ok(once));
    }

    #[test]
    fn a_reorder_comes_to_an_end(steps in prop::collection::vec(0_usize..5, 0..30)) {
        let mut state = ReorderState::Placed;
        let mut taken = 0;
        for step in steps {
            match state.advance(ReorderState::ALL[step]) {
                Ok(next) => {
                    prop_assert!(!state.is_final());
                    state = next;
                    taken += 1;
                }
                Err(error) => prop_assert_eq!((error.from(), error.to()), (state, ReorderState::ALL[step])),
            }
        }
        prop_assert!(taken <= 3);
    }

    #[test]
    fn similarities_are_between_0_and_1(a in "[a-d ]{0,16}", b in "[a-d ]{0,24}") {
        let query = TrigramQuery::new(&a);
        let (word, whole) = (query.word_similarity(&b), query.similarity(&b));
        prop_assert!((0.0..=1.0).contains(&word) && (0.0..=1.0).contains(&whole));
        prop_assert!((TrigramQuery::new(&b).similarity(&a) - whole).abs() < 1e-12);
        for least in [0.2, 0.4, 0.6] {
            prop_assert_eq!(query.word_similarity_from(&b, least), (word >= least).then_some(word));
        }
    }
}
