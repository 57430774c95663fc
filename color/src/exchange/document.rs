//! What a measurement file holds.

use serde::{Deserialize, Serialize};

use crate::conditions::Conditions;
use crate::exchange::{FileFormat, Scale};
use crate::spectrum::Spectrum;

/// A named text of a file: a keyword, a column, a tag, an element that is not modelled here.
///
/// An XML element is named by its path, such as `ColorValues/ColorCIELab/L`, an attribute by
/// `@` before its name, the second of equal siblings by `[2]` behind it.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Tag {
    /// Name of the `TagCollection` it stands in (ISO 17972-1); empty elsewhere.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub group: String,
    /// Name.
    pub name: String,
    /// Value, as it stands in the file.
    pub value: String,
}

impl Tag {
    /// A tag outside any collection.
    pub fn new(name: impl Into<String>, value: impl Into<String>) -> Self {
        Self {
            group: String::new(),
            name: name.into(),
            value: value.into(),
        }
    }
}

/// The instrument, in the words of the file.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct InstrumentWords {
    /// Who made it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub maker: Option<String>,
    /// Model, or maker and model in one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub model: Option<String>,
    /// Serial number.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub serial: Option<String>,
}

impl InstrumentWords {
    /// Whether the file says nothing about the instrument.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        *self == Self::default()
    }
}

/// What a file states about a reading beside its conditions.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Details {
    /// How many readings were averaged, 1 to 1000.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub readings: Option<u16>,
    /// Gloss at 60° in gloss units, 0 to 200.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub gloss60: Option<f32>,
    /// Gloss at 85° in gloss units, 0 to 200.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub gloss85: Option<f32>,
    /// The instrument.
    #[serde(default, skip_serializing_if = "InstrumentWords::is_empty")]
    pub instrument: InstrumentWords,
    /// When it was read, as written: nothing is guessed about its form.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub date: Option<String>,
}

/// A file's spectra and what had to be assumed to read them.
#[derive(Clone, Debug, PartialEq)]
pub struct SpectraFile {
    /// The format recognized.
    pub format: FileFormat,
    /// The scale of the values as written; spectra are fractions in any case.
    pub scale: Scale,
    /// In the order of the file; at least one.
    pub readings: Vec<Reading>,
    /// Samples of the file that have no reflectance spectrum; not used, not lost.
    pub without_spectrum: Vec<WithoutSpectrum>,
    /// What the file states about all of it and what is not in the readings' fields.
    pub tags: Vec<Tag>,
    /// What the file left open and how it was read, as sentences for a person.
    pub assumed: Vec<String>,
    /// Comments of the file.
    pub comments: Vec<String>,
}

/// One sample of a file.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// Name in the file, else "reading 1" and so on.
    pub name: String,
    /// Line where it begins, from 1.
    pub line: u64,
    /// The checked spectrum, as fractions.
    pub spectrum: Spectrum,
    /// The cells as they stand in the file, in rising wavelength like the spectrum's values.
    pub as_read: Vec<String>,
    /// How it was read, as far as the file states it.
    pub conditions: Conditions,
    /// What else the file states.
    pub details: Details,
    /// What the file holds beyond: not used, not lost.
    pub tags: Vec<Tag>,
}

/// A sample without a reflectance spectrum.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct WithoutSpectrum {
    /// Name in the file.
    pub name: String,
    /// Line where it begins, from 1.
    pub line: u64,
    /// What it has instead, such as `ColorCIELab`; empty when it has no color at all.
    pub holds: String,
    /// All of it.
    pub tags: Vec<Tag>,
}
