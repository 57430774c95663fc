//! What keywords, columns and tags state about a reading: how it was made, on what, and when.

use crate::conditions::{Backing, Conditions, Filter, Geometry, Specular};
use crate::exchange::digits::number;
use crate::exchange::document::{Details, Tag};
use crate::exchange::table::{brief, note};

/// Longest text taken as the name of an instrument or as a date, in bytes.
const LONGEST: usize = 200;

/// A thing that files state about readings.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Key {
    Geometry,
    Specular,
    Aperture,
    Backing,
    Filter,
    Readings,
    Gloss60,
    Gloss85,
    Maker,
    Model,
    Serial,
    Date,
}

/// The key, its column in our CSV, its keyword in our ISO 28178, and other names it goes by.
/// Keywords of ISO 28178 stand as that standard has them; the rest is our own or common practice.
const NAMES: [(Key, &str, &str, &[&str]); 12] = [
    (
        Key::Geometry,
        "geometry",
        "MEASUREMENT_GEOMETRY",
        &["measurement geometry"],
    ),
    (
        Key::Specular,
        "specular",
        "SPECULAR",
        &["specular mode", "specular component"],
    ),
    (
        Key::Aperture,
        "aperture",
        "MEASUREMENT_APERTURE",
        &["measurement aperture", "aperture mm"],
    ),
    (
        Key::Backing,
        "backing",
        "SAMPLE_BACKING",
        &["sample backing"],
    ),
    (
        Key::Filter,
        "filter",
        "FILTER",
        &["measurement filter", "measurement condition"],
    ),
    (
        Key::Readings,
        "readings",
        "NUMBER_OF_READINGS",
        &["number of readings", "readings averaged"],
    ),
    (
        Key::Gloss60,
        "gloss60",
        "GLOSS_60",
        &["gloss 60", "60 gloss", "60° gloss", "gloss 60°"],
    ),
    (
        Key::Gloss85,
        "gloss85",
        "GLOSS_85",
        &["gloss 85", "85 gloss", "85° gloss", "gloss 85°"],
    ),
    (
        Key::Maker,
        "instrument maker",
        "INSTRUMENT_MAKER",
        &["instrument manufacturer"],
    ),
    (
        Key::Model,
        "instrument",
        "INSTRUMENTATION",
        &["instrument model"],
    ),
    (
        Key::Serial,
        "instrument serial",
        "INSTRUMENT_SERIAL",
        &["instrument serial number"],
    ),
    (
        Key::Date,
        "measured at",
        "MEASUREMENT_DATE",
        &["measurement date", "date measured"],
    ),
];

/// What became of a stated value.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Took {
    /// The name is none that is known here, or the value was not understood.
    Nothing,
    /// Understood; the words say more than what was understood, or say it otherwise.
    Sense,
    /// Understood to the letter.
    All,
}

/// What is known of a reading, or of all readings of a file.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Stated {
    pub(super) conditions: Conditions,
    pub(super) details: Details,
}

impl Key {
    /// The key that goes by this name.
    pub(super) fn of(name: &str) -> Option<Self> {
        const LONGEST_NAME: usize = 60;
        if name.len() > LONGEST_NAME {
            return None;
        }
        let lower = name.to_lowercase().replace(['_', '-'], " ");
        let bare = lower.split(['(', '[']).next().unwrap_or_default().trim();
        NAMES.iter().find_map(|(key, column, keyword, others)| {
            let known = bare == *column
                || others.contains(&bare)
                || name.trim().eq_ignore_ascii_case(keyword);
            known.then_some(*key)
        })
    }

    /// Its column in our CSV.
    pub(super) fn column(self) -> &'static str {
        self.names().0
    }

    /// Its keyword in our ISO 28178.
    pub(super) fn keyword(self) -> &'static str {
        self.names().1
    }

    fn names(self) -> (&'static str, &'static str) {
        NAMES
            .iter()
            .find(|(key, ..)| *key == self)
            .map_or(("", ""), |(_, column, keyword, _)| (column, keyword))
    }

    pub(super) fn all() -> impl Iterator<Item = Self> {
        NAMES.iter().map(|(key, ..)| *key)
    }
}

impl Stated {
    /// What is known of a key, in our words.
    pub(super) fn word(&self, key: Key) -> Option<String> {
        let Conditions {
            geometry,
            specular,
            backing,
            aperture_mm,
            filter,
        } = self.conditions;
        let details = &self.details;
        let instrument = &details.instrument;
        match key {
            Key::Geometry => geometry.map(|known| known.to_string()),
            Key::Specular => specular.map(|known| known.to_string()),
            Key::Aperture => aperture_mm.map(|mm| format!("{mm} mm")),
            Key::Backing => backing.map(|known| backing_word(known).to_owned()),
            Key::Filter => filter.map(|known| filter_word(known).to_owned()),
            Key::Readings => details.readings.map(|count| count.to_string()),
            Key::Gloss60 => details.gloss60.map(|gloss| gloss.to_string()),
            Key::Gloss85 => details.gloss85.map(|gloss| gloss.to_string()),
            Key::Maker => instrument.maker.clone(),
            Key::Model => instrument.model.clone(),
            Key::Serial => instrument.serial.clone(),
            Key::Date => details.date.clone(),
        }
    }

    /// Takes what a named value states. What is known already stays.
    pub(super) fn take(&mut self, name: &str, value: &str, assumed: &mut Vec<String>) -> Took {
        match Key::of(name) {
            Some(key) if !value.trim().is_empty() => {
                let took = self.take_key(key, value, assumed);
                let ours = name == key.column() || name == key.keyword();
                if took == Took::All && !ours {
                    Took::Sense
                } else {
                    took
                }
            }
            _ => Took::Nothing,
        }
    }

    /// Takes what a value states about a key. What is known already stays.
    pub(super) fn take_key(&mut self, key: Key, value: &str, assumed: &mut Vec<String>) -> Took {
        let read = Self::read(key, value, assumed);
        let Some(word) = read.word(key) else {
            if read == Self::default() {
                note(
                    assumed,
                    format!(
                        "{} {:?} was not understood; it was kept as it stands",
                        key.column(),
                        brief(value)
                    ),
                );
                return Took::Nothing;
            }
            // A geometry field that names the filter or specular mode alone.
            self.fill(&read);
            return Took::Sense;
        };
        let before = self.word(key);
        self.fill(&read);
        match before {
            Some(before) if before != word => {
                note(
                    assumed,
                    format!(
                        "{} is stated as {:?} and as {:?}; the first was taken",
                        key.column(),
                        brief(&before),
                        brief(value)
                    ),
                );
                Took::Sense
            }
            _ if word == value && read.only(key) => Took::All,
            _ => Took::Sense,
        }
    }

    /// Whether nothing but this key is known.
    fn only(&self, key: Key) -> bool {
        Key::all().all(|other| other == key || self.word(other).is_none())
    }

    /// What a text states about a key, and sometimes about others.
    fn read(key: Key, value: &str, assumed: &mut Vec<String>) -> Self {
        let value = value.trim();
        let mut read = Self::default();
        let details = &mut read.details;
        let short = || {
            let fits = value.len() <= LONGEST && !value.contains(char::is_control);
            fits.then(|| value.to_owned())
        };
        match key {
            Key::Geometry => read.conditions = geometry(value, assumed),
            Key::Specular => read.conditions.specular = specular(value),
            Key::Aperture => read.conditions.aperture_mm = aperture(value),
            Key::Backing => read.conditions.backing = backing(value),
            Key::Filter => read.conditions.filter = filter(value),
            Key::Readings => {
                details.readings = value.parse().ok().filter(|n| (1..=1000).contains(n));
            }
            Key::Gloss60 => details.gloss60 = gloss(value),
            Key::Gloss85 => details.gloss85 = gloss(value),
            Key::Maker => details.instrument.maker = short(),
            Key::Model => details.instrument.model = short(),
            Key::Serial => details.instrument.serial = short(),
            Key::Date => details.date = short(),
        }
        read
    }

    /// Takes over what is not known here.
    pub(super) fn fill(&mut self, other: &Self) {
        let (mine, theirs) = (&mut self.conditions, &other.conditions);
        mine.geometry = mine.geometry.or(theirs.geometry);
        // Of a sphere only: a 45:0 reading of a file whose head says otherwise has none.
        if matches!(mine.geometry, None | Some(Geometry::DiffuseTo8)) {
            mine.specular = mine.specular.or(theirs.specular);
        }
        mine.backing = mine.backing.or(theirs.backing);
        mine.aperture_mm = mine.aperture_mm.or(theirs.aperture_mm);
        mine.filter = mine.filter.or(theirs.filter);
        let (mine, theirs) = (&mut self.details, &other.details);
        mine.readings = mine.readings.or(theirs.readings);
        mine.gloss60 = mine.gloss60.or(theirs.gloss60);
        mine.gloss85 = mine.gloss85.or(theirs.gloss85);
        let fill = |mine: &mut Option<String>, theirs: &Option<String>| {
            if mine.is_none() {
                mine.clone_from(theirs);
            }
        };
        fill(&mut mine.date, &theirs.date);
        let (mine, theirs) = (&mut mine.instrument, &theirs.instrument);
        fill(&mut mine.maker, &theirs.maker);
        fill(&mut mine.model, &theirs.model);
        fill(&mut mine.serial, &theirs.serial);
    }

    /// Takes what tags state, and leaves those that say more than was understood.
    pub(super) fn take_tags(&mut self, tags: &mut Vec<Tag>, assumed: &mut Vec<String>) {
        tags.retain(|tag| {
            let took = self.take(&tag.name, &tag.value, assumed);
            took != Took::All || !tag.group.is_empty()
        });
    }
}

/// The word of our files for a backing.
pub(super) fn backing_word(backing: Backing) -> &'static str {
    match backing {
        Backing::Black => "black",
        Backing::White => "white",
        Backing::Sample => "sample",
    }
}

/// The word of ISO 13655 for a filter.
pub(super) fn filter_word(filter: Filter) -> &'static str {
    match filter {
        Filter::M0 => "M0",
        Filter::M1 => "M1",
        Filter::M2 => "M2",
        Filter::M3 => "M3",
    }
}

/// Pieces of letters and digits, in lower case.
fn pieces(text: &str) -> impl Iterator<Item = String> {
    text.split(|c: char| !c.is_alphanumeric())
        .filter(|piece| !piece.is_empty())
        .map(str::to_lowercase)
}

/// Geometry as CIE 15 writes it (`45°a:0°`, `di:8°`), with slashes, or with the short words for
/// the specular mode (`d/8 SCI`); `M0` to `M3` may stand beside it.
fn geometry(text: &str, assumed: &mut Vec<String>) -> Conditions {
    let mut plain = text.to_lowercase().replace('/', ":");
    for dropped in ["°", "deg", ".0"] {
        plain = plain.replace(dropped, "");
    }
    let plain = plain.replace(" :", ":").replace(": ", ":");
    let annular = pieces(text).any(|piece| matches!(&piece[..], "annular" | "circumferential"));
    let about_45 = if annular {
        Geometry::Annular45To0
    } else {
        Geometry::Deg45To0
    };
    let mut known = Conditions {
        specular: specular(text),
        filter: pieces(text).find_map(|piece| measurement_condition(&piece)),
        ..Conditions::default()
    };
    let mut reversed = false;
    for piece in plain.split(|c: char| !(c.is_alphanumeric() || c == ':')) {
        let (geometry, turned) = match piece {
            "45:0" => (about_45, false),
            "45x:0" => (Geometry::Deg45To0, false),
            "45a:0" | "45c:0" => (Geometry::Annular45To0, false),
            "0:45" => (about_45, true),
            "0:45x" => (Geometry::Deg45To0, true),
            "0:45a" | "0:45c" => (Geometry::Annular45To0, true),
            "d:8" | "di:8" | "de:8" => (Geometry::DiffuseTo8, false),
            "8:d" | "8:di" | "8:de" => (Geometry::DiffuseTo8, true),
            _ => continue,
        };
        known.geometry = Some(geometry);
        reversed = turned;
        let specular = match piece {
            "di:8" | "8:di" => Some(Specular::Included),
            "de:8" | "8:de" => Some(Specular::Excluded),
            _ => None,
        };
        known.specular = specular.or(known.specular);
        break;
    }
    if known.geometry.is_some_and(|g| g != Geometry::DiffuseTo8) {
        known.specular = None;
    }
    if let (true, Some(geometry)) = (reversed, known.geometry) {
        note(
            assumed,
            format!(
                "geometry {:?} was taken as {geometry}: light and eye change places and the \
                 reading stays (Helmholtz reciprocity)",
                brief(text)
            ),
        );
    }
    known
}

/// `included`, `excluded`, or the trade's short words (common practice, no source).
fn specular(text: &str) -> Option<Specular> {
    let mut found = pieces(text).filter_map(|piece| match &piece[..] {
        "included" | "sci" | "spin" => Some(Specular::Included),
        "excluded" | "sce" | "spex" => Some(Specular::Excluded),
        _ => None,
    });
    let first = found.next()?;
    found.all(|other| other == first).then_some(first)
}

/// A diameter in mm, 0.5 to 100.
fn aperture(text: &str) -> Option<f32> {
    let lower = text.to_lowercase();
    let bare = lower.strip_suffix("mm").unwrap_or(&lower);
    let mm = number(bare)?.0 as f32;
    (0.5..=100.0).contains(&mm).then_some(mm)
}

fn backing(text: &str) -> Option<Backing> {
    let mut found = pieces(text).filter_map(|piece| match &piece[..] {
        "black" => Some(Backing::Black),
        "white" => Some(Backing::White),
        "self" | "sample" | "same" | "stack" => Some(Backing::Sample),
        _ => None,
    });
    let first = found.next()?;
    found.all(|other| other == first).then_some(first)
}

fn measurement_condition(piece: &str) -> Option<Filter> {
    match piece {
        "m0" => Some(Filter::M0),
        "m1" => Some(Filter::M1),
        "m2" => Some(Filter::M2),
        "m3" => Some(Filter::M3),
        _ => None,
    }
}

/// `M0` to `M3` (ISO 13655), or a filter that cuts ultraviolet or polarizes.
fn filter(text: &str) -> Option<Filter> {
    if let Some(condition) = pieces(text).find_map(|piece| measurement_condition(&piece)) {
        return Some(condition);
    }
    let plain: String = pieces(text).collect();
    match &plain[..] {
        "uvcut" | "uvexcluded" | "nouv" => Some(Filter::M2),
        "pol" | "polarized" | "polarizer" => Some(Filter::M3),
        _ => None,
    }
}

/// Gloss units, 0 to 200.
fn gloss(text: &str) -> Option<f32> {
    let value = number(text)?.0 as f32;
    (0.0..=200.0).contains(&value).then_some(value)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stated(name: &str, value: &str) -> (Stated, Took, Vec<String>) {
        let (mut stated, mut said) = (Stated::default(), Vec::new());
        let took = stated.take(name, value, &mut said);
        (stated, took, said)
    }

    #[test]
    fn geometries_in_many_dresses() {
        use Geometry::{Annular45To0, Deg45To0, DiffuseTo8};
        use Specular::{Excluded, Included};
        for (text, geometry, specular, filter) in [
            ("45:0", Some(Deg45To0), None, None),
            ("45/0", Some(Deg45To0), None, None),
            ("45°a:0°", Some(Annular45To0), None, None),
            ("45/0 annular", Some(Annular45To0), None, None),
            ("45.0 / 0.0", Some(Deg45To0), None, None),
            ("d:8", Some(DiffuseTo8), None, None),
            ("di:8°", Some(DiffuseTo8), Some(Included), None),
            ("d/8 SCE", Some(DiffuseTo8), Some(Excluded), None),
            (
                "d/8, specular included",
                Some(DiffuseTo8),
                Some(Included),
                None,
            ),
            ("ISO 13655 - Reflection, M1", None, None, Some(Filter::M1)),
            ("45/0 specular excluded", Some(Deg45To0), None, None),
        ] {
            let (known, took, said) = stated("MEASUREMENT_GEOMETRY", text);
            let wanted = Conditions {
                geometry,
                specular,
                filter,
                ..Conditions::default()
            };
            assert_eq!(known.conditions, wanted, "{text}");
            assert_ne!(took, Took::Nothing, "{text}");
            assert!(said.is_empty(), "{said:?}");
        }
        let (known, took, said) = stated("geometry", "0/45");
        assert_eq!(known.conditions.geometry, Some(Deg45To0));
        assert_eq!(took, Took::Sense);
        assert!(said[0].contains("Helmholtz"), "{said:?}");
        let (known, took, said) = stated("geometry", "by eye");
        assert_eq!((known, took), (Stated::default(), Took::Nothing));
        assert_eq!(
            said,
            ["geometry \"by eye\" was not understood; it was kept as it stands"]
        );
    }

    #[test]
    fn other_words() {
        let word = |name, value| {
            let (known, took, _) = stated(name, value);
            let key = Key::of(name).expect("a known name");
            (known.word(key), took)
        };
        let some = |text: &str| Some(text.to_owned());
        assert_eq!(word("aperture", "8 mm"), (some("8 mm"), Took::All));
        assert_eq!(word("Aperture (mm)", "8,0"), (some("8 mm"), Took::Sense));
        assert_eq!(word("MEASUREMENT_APERTURE", "large"), (None, Took::Nothing));
        assert_eq!(word("aperture", "400"), (None, Took::Nothing));
        assert_eq!(
            word("SAMPLE_BACKING", "White"),
            (some("white"), Took::Sense)
        );
        assert_eq!(word("backing", "black and white"), (None, Took::Nothing));
        assert_eq!(word("FILTER", "UV-cut"), (some("M2"), Took::Sense));
        assert_eq!(word("FILTER", "M3"), (some("M3"), Took::All));
        assert_eq!(word("readings", "5"), (some("5"), Took::All));
        assert_eq!(word("NUMBER_OF_READINGS", "0"), (None, Took::Nothing));
        assert_eq!(word("60° gloss", "35.5"), (some("35.5"), Took::Sense));
        assert_eq!(word("measured at", "12.3.24"), (some("12.3.24"), Took::All));
        assert_eq!(Key::of("gloss"), None, "an angle is needed");
        assert_eq!(Key::of("lot"), None);
    }

    #[test]
    fn what_is_stated_twice() {
        let (mut known, mut said) = (Stated::default(), Vec::new());
        known.take("backing", "black", &mut said);
        known.take("backing", "Black", &mut said);
        assert!(said.is_empty());
        known.take("backing", "white", &mut said);
        assert_eq!(known.conditions.backing, Some(Backing::Black));
        assert_eq!(
            said,
            ["backing is stated as \"black\" and as \"white\"; the first was taken"]
        );
    }
}
