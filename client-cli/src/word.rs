//! Closed lists of words on the command line: typed as people write them, offered by completions.

use clap::builder::{PossibleValue, TypedValueParser};
use clap::error::ErrorKind;
use formula::base::BaseKind;
use formula::phone::PhoneRegion;
use formula::quantity::CanSize;
use formula::reorder::ReorderState;
use formula::role::Role;
use formula::sheen::SheenWord;
use formula::wire::v1::{
    Backing, Carrier, CustomerKind, FaultReason, Filter, Geometry, Specular, TileHue,
};
use serde::de::DeserializeOwned;

/// A type whose wire form is one of a few words.
pub(crate) trait Worded: DeserializeOwned + Clone + Send + Sync + 'static {
    /// What the words are called.
    const WHAT: &'static str;
    /// The words, as on the wire.
    fn words() -> Vec<&'static str>;
}

macro_rules! worded {
    ($($type:ty, $what:literal, $words:expr;)+) => {$(
        impl Worded for $type {
            const WHAT: &'static str = $what;
            fn words() -> Vec<&'static str> {
                $words
            }
        }
    )+};
}

worded! {
    CanSize, "can size", CanSize::ALL.iter().map(|size| size.as_str()).collect();
    SheenWord, "sheen", SheenWord::ALL.iter().map(|word| word.as_str()).collect();
    BaseKind, "kind of base", BaseKind::ALL.iter().map(|kind| kind.as_str()).collect();
    Role, "role", Role::ALL.iter().map(|role| role.as_str()).collect();
    PhoneRegion, "region", PhoneRegion::ALL.iter().map(|region| region.as_str()).collect();
    ReorderState, "state", ReorderState::ALL.iter().map(|state| state.as_str()).collect();
    Geometry, "geometry", vec!["45:0", "45a:0", "d:8"];
    Specular, "specular mode", vec!["included", "excluded"];
    Backing, "backing", vec!["black", "white", "sample"];
    Filter, "filter", Filter::ALL.iter().map(|filter| filter.as_str()).collect();
    CustomerKind, "kind of customer", vec!["person", "company"];
    TileHue, "tile hue", TileHue::ALL.iter().map(|hue| hue.as_str()).collect();
    Carrier, "carrier", vec!["water", "solvent"];
    FaultReason, "reason", vec![
        "wrong_color", "wrong_sheen", "wrong_base", "wrong_amount", "machine_fault", "contaminated", "other",
    ];
}

fn squeezed(text: &str) -> String {
    text.chars()
        .filter(|c| !matches!(c, ' ' | '-' | '_'))
        .flat_map(char::to_lowercase)
        .collect()
}

/// Reads a word; case, blanks, hyphens and underscores do not matter.
///
/// # Errors
/// A sentence with the word and all that are known.
pub(crate) fn read<T: Worded>(text: &str) -> Result<T, String> {
    let wanted = squeezed(text);
    T::words()
        .into_iter()
        .find(|word| squeezed(word) == wanted)
        .and_then(|word| serde_json::from_value(serde_json::Value::from(word)).ok())
        .ok_or_else(|| {
            format!(
                "{} {text:?} is not known; give one of {}",
                T::WHAT,
                T::words().join(", ")
            )
        })
}

/// The same as a parser of clap, which also knows the words for completions.
#[derive(Debug, Clone)]
pub(crate) struct WordParser<T>(std::marker::PhantomData<fn() -> T>);

/// A parser of the words of `T`.
pub(crate) fn word<T: Worded>() -> WordParser<T> {
    WordParser(std::marker::PhantomData)
}

impl<T: Worded> TypedValueParser for WordParser<T> {
    type Value = T;

    fn parse_ref(
        &self,
        command: &clap::Command,
        _: Option<&clap::Arg>,
        value: &std::ffi::OsStr,
    ) -> Result<T, clap::Error> {
        read(&value.to_string_lossy()).map_err(|message| {
            clap::Error::raw(ErrorKind::InvalidValue, format!("{message}\n")).with_cmd(command)
        })
    }

    fn possible_values(&self) -> Option<Box<dyn Iterator<Item = PossibleValue> + '_>> {
        Some(Box::new(T::words().into_iter().map(PossibleValue::new)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_listed_word_is_one_that_the_wire_takes() {
        fn all<T: Worded>() {
            for word in T::words() {
                assert!(read::<T>(word).is_ok(), "{} {word}", T::WHAT);
            }
        }
        all::<CanSize>();
        all::<SheenWord>();
        all::<BaseKind>();
        all::<Role>();
        all::<PhoneRegion>();
        all::<ReorderState>();
        all::<Geometry>();
        all::<Specular>();
        all::<Backing>();
        all::<CustomerKind>();
        all::<Carrier>();
        all::<FaultReason>();
    }

    #[test]
    fn words_are_read_as_people_write_them() {
        assert_eq!(read::<SheenWord>("Semi-Gloss"), Ok(SheenWord::SemiGloss));
        assert_eq!(read::<CanSize>("half gallon"), Ok(CanSize::HalfGallon));
        assert_eq!(read::<CanSize>("2_5_l"), Ok(CanSize::L2_5));
        assert_eq!(read::<PhoneRegion>("us"), Ok(PhoneRegion::UnitedStates));
        assert_eq!(
            read::<Backing>("gray").unwrap_err(),
            "backing \"gray\" is not known; give one of black, white, sample"
        );
    }
}
