//! What the published schema takes, the parsers take; what they refuse, it refuses: texts drawn
//! from each schema's own pattern are parsed, and texts drawn at random are judged by both.

#![expect(
    clippy::unwrap_used,
    reason = "helpers of tests stop where they stand, like tests"
)]

use std::fmt::{Debug, Display};
use std::str::FromStr;

use formula::base::BaseRoom;
use formula::colorant::{ColorantName, ColourIndexName};
use formula::id::{BaseId, IdempotencyKey, MatchId};
use formula::label::{LabelCode, LabelCodeError};
use formula::naming::{CustomerName, JobLabel, LoginName, Lot, Note};
use formula::phone::{PhoneNumber, PhoneRegion, TypedPhone};
use formula::quantity::{CanSize, Centiml, ExactMl, ShotCount, ShotUnit};
use formula::reorder::ReorderState;
use formula::revision::Formula;
use formula::role::Role;
use formula::sheen::SheenWord;
use proptest::prelude::*;
use proptest::string::string_regex;
use proptest::test_runner::{Config, TestCaseError, TestRunner};
use regex::Regex;
use serde_json::Value;
use unicode_normalization::UnicodeNormalization as _;
use utoipa::{PartialSchema, ToSchema};

fn schema<T: PartialSchema>() -> Value {
    serde_json::to_value(T::schema()).unwrap()
}

/// Pattern and lengths of a text type.
fn text_schema<T: PartialSchema>() -> (String, usize, usize) {
    let schema = schema::<T>();
    assert_eq!(schema["type"], "string");
    assert!(
        schema.get("format").is_none(),
        "generators would draw from the format"
    );
    let length = |key: &str| usize::try_from(schema[key].as_u64().unwrap()).unwrap();
    let pattern = schema["pattern"].as_str().unwrap().to_owned();
    (pattern, length("minLength"), length("maxLength"))
}

/// Some characters become two in normalization form C (U+0F73 does), which can take a text above its length: a thing no
/// pattern can say.
fn grows_when_composed(text: &str) -> bool {
    text.nfc().count() > text.chars().count()
}

fn run<S: Strategy>(strategy: &S, test: impl Fn(S::Value) -> Result<(), TestCaseError>) {
    TestRunner::new(Config {
        failure_persistence: None,
        ..Config::default()
    })
    .run(strategy, test)
    .unwrap();
}

/// Holds parser and schema of a text type together. `tolerated` are refusals that no pattern can
/// say. `near` draws texts near the type's own.
fn schema_and_parser_agree<T>(near: &str, tolerated: impl Fn(&T::Err) -> bool)
where
    T: PartialSchema + FromStr + Debug + Display,
    T::Err: Debug,
{
    let (pattern, shortest, longest) = text_schema::<T>();
    let fits = |text: &str| (shortest..=longest).contains(&text.chars().count());
    let regex = Regex::new(&pattern).unwrap();
    let judge = |text: String| {
        let taken = regex.is_match(&text) && fits(&text);
        match text.parse::<T>() {
            Ok(value) => {
                prop_assert!(taken, "{text:?} is parsed but not in the schema");
                let shown = value.to_string();
                prop_assert!(
                    regex.is_match(&shown) && fits(&shown),
                    "{shown:?} is not in the schema"
                );
            }
            Err(error) => {
                prop_assert!(
                    !taken || tolerated(&error) || grows_when_composed(&text),
                    "{text:?} is in the schema: {error:?}"
                );
            }
        }
        Ok(())
    };
    let unanchored = pattern.trim_start_matches('^').trim_end_matches('$');
    run(&string_regex(unanchored).unwrap(), judge);
    run(&string_regex(near).unwrap(), judge);
    run(&any::<String>(), judge);
}

#[test]
fn ids() {
    let never = |_: &_| false;
    schema_and_parser_agree::<MatchId>(
        "[0-9a-gA-F]{8}-[0-9a-f]{4}-[1-8][0-9a-f]{3}-[0-9a-f]{4}-[0-9a-f]{11,13}",
        never,
    );
    let never = |_: &_| false;
    schema_and_parser_agree::<IdempotencyKey>(
        "[0-9a-f]{8}-[0-9a-f]{4}-[1-8][0-9a-f]{3}-[0-9a-f]{4}-[0-9a-f]{12}",
        never,
    );
}

#[test]
fn label_codes_but_for_the_check_character() {
    schema_and_parser_agree::<LabelCode>("[ 0-9A-Za-z*-]{9,42}", |error| {
        matches!(error, LabelCodeError::Check(_))
    });
}

#[test]
fn names() {
    // Form C lengthens a few characters; a text of them at the very limit no pattern can tell.
    let near = "[ a\u{a0}\u{200b}\u{202e}\u{0}\t\nא\u{2028}]{0,5}";
    schema_and_parser_agree::<CustomerName>(near, |_| false);
    schema_and_parser_agree::<JobLabel>("[a ]{118,122}", |_| false);
    schema_and_parser_agree::<Lot>("[a-z ]{38,42}", |_| false);
    schema_and_parser_agree::<Note>("[ a\t\r\n\u{b}\u{2066}]{0,5}", |_| false);
    schema_and_parser_agree::<LoginName>("[A-Za-z0-9._@+ ä-]{1,66}", |_| false);
}

#[test]
fn colour_index_names() {
    schema_and_parser_agree::<ColourIndexName>("P(Br|Bk|Y|O|X)?[0-9]{0,4}(:[0-9]{0,2})?", |_| {
        false
    });
}

#[test]
fn exact_milliliters() {
    schema_and_parser_agree::<ExactMl>("-?[0-9]{0,10}([.,][0-9]{0,18})?", |_| false);
}

#[test]
fn phone_numbers() {
    schema_and_parser_agree::<PhoneNumber>(r"\+?[0-9]{5,17}", |_| false);
}

/// Typed numbers are judged by what becomes of them in the region that the pattern is for.
#[test]
fn typed_phone_numbers() {
    let (pattern, shortest, longest) = text_schema::<TypedPhone>();
    let regex = Regex::new(&pattern).unwrap();
    let judge = |text: String| {
        let taken = regex.is_match(&text) && (shortest..=longest).contains(&text.chars().count());
        let read = text
            .parse::<TypedPhone>()
            .and_then(|typed| typed.normalize(PhoneRegion::UnitedStates));
        prop_assert_eq!(taken, read.is_ok(), "{:?}: {:?}", text, read);
        Ok(())
    };
    // The separators are thinned out, or nearly every text drawn would be too long.
    let unanchored = pattern.trim_start_matches('^').trim_end_matches('$');
    let class = r"[-. ()/\u00a0\u2010-\u2015\u202f]*";
    assert!(unanchored.contains(class));
    let thinned = unanchored.replace(class, "-{0,1}");
    run(&string_regex(&thinned).unwrap(), judge);
    run(
        &string_regex(r"\+?(011)?1?[ ]?[0-9]{3}[-. ]?[0-9]{3}[-. ]?[0-9]{3,5}x?").unwrap(),
        judge,
    );
    run(&any::<String>(), judge);
}

#[test]
fn numbers_have_the_range_of_their_schema() {
    fn range<T: PartialSchema + serde::de::DeserializeOwned>() {
        let schema = schema::<T>();
        assert_eq!(schema["type"], "integer");
        let bound = |key: &str| schema[key].as_f64().unwrap() as i64;
        let (least, most) = (bound("minimum"), bound("maximum"));
        for number in [least, least + 1, most - 1, most] {
            assert!(
                serde_json::from_value::<T>(Value::from(number)).is_ok(),
                "{number}"
            );
        }
        for number in [least - 1, most + 1, i64::MIN, i64::MAX] {
            assert!(
                serde_json::from_value::<T>(Value::from(number)).is_err(),
                "{number}"
            );
        }
    }
    range::<ShotCount>();
    range::<Centiml>();
}

#[test]
fn closed_lists_are_those_of_the_schema() {
    fn list<T: PartialSchema + serde::de::DeserializeOwned + Display>(all: &[T]) {
        let published: Vec<Value> = schema::<T>()["enum"].as_array().unwrap().clone();
        let ours: Vec<Value> = all.iter().map(|v| Value::from(v.to_string())).collect();
        assert_eq!(published, ours);
        for name in published {
            serde_json::from_value::<T>(name).unwrap();
        }
    }
    list(CanSize::ALL);
    list(ShotUnit::ALL);
    list(SheenWord::ALL);
    list(ReorderState::ALL);
    list(Role::ALL);
}

#[test]
fn examples_are_what_the_parsers_take() {
    fn example<T: PartialSchema + FromStr>()
    where
        T::Err: Debug,
    {
        let schema = schema::<T>();
        for text in schema["examples"].as_array().unwrap() {
            text.as_str().unwrap().parse::<T>().unwrap();
        }
    }
    example::<BaseId>();
    example::<LabelCode>();
    example::<ExactMl>();
    example::<ColourIndexName>();
    example::<PhoneNumber>();
    example::<TypedPhone>();
    example::<LoginName>();
    example::<CustomerName>();
}

#[test]
fn composite_schemas_refer_to_their_parts() {
    let formula = serde_json::to_string(&schema::<Formula>()).unwrap();
    assert!(formula.contains("\"maxItems\":24"), "{formula}");
    assert!(formula.contains("#/components/schemas/Amount"), "{formula}");
    let mut parts = Vec::new();
    Formula::schemas(&mut parts);
    BaseRoom::schemas(&mut parts);
    ColorantName::schemas(&mut parts);
    let names: Vec<&str> = parts.iter().map(|(name, _)| name.as_str()).collect();
    for part in [
        "BaseId",
        "SheenId",
        "CanSize",
        "Amount",
        "ColorantId",
        "ShotCount",
        "ShotUnit",
        "Centiml",
        "ColourIndexName",
        "PigmentName",
    ] {
        assert!(names.contains(&part), "{part} in {names:?}");
    }
}
