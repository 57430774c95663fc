//! Writing spectra as text of the formats that are read.

mod csv_wide;
mod iso17972;
mod iso28178;

use std::collections::HashSet;

use serde::{Deserialize, Serialize};

use crate::exchange::digits;
use crate::exchange::document::{Reading, SpectraFile, Tag};
use crate::exchange::packed;
use crate::exchange::stated::{Key, Stated, Took};
use crate::exchange::{MAX_FILE_BYTES, Scale};

/// Formats written.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum WriteFormat {
    /// A row for each sample, a column for each wavelength.
    Csv,
    /// Keywords and a table (ISO 28178, which is CGATS.17).
    Iso28178,
    /// XML (ISO 17972-1, which is CxF3).
    Iso17972,
}

impl std::fmt::Display for WriteFormat {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Csv => "csv",
            Self::Iso28178 => "iso28178",
            Self::Iso17972 => "iso17972",
        })
    }
}

/// A format that is not written here.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("format {0:?} is not written; give iso17972 (CxF3), iso28178 (CGATS.17) or csv")]
pub struct UnknownFormat(String);

impl std::str::FromStr for WriteFormat {
    type Err = UnknownFormat;
    fn from_str(text: &str) -> Result<Self, UnknownFormat> {
        match text.trim().to_ascii_lowercase().as_str() {
            "csv" => Ok(Self::Csv),
            "iso28178" | "cgats" | "cgats.17" => Ok(Self::Iso28178),
            "iso17972" | "iso17972-1" | "cxf" | "cxf3" => Ok(Self::Iso17972),
            _ => Err(UnknownFormat(text.to_owned())),
        }
    }
}

/// Why spectra were not written.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum WriteError {
    /// No reading.
    #[error("there is no reading to write")]
    Empty,
    /// Readings at different wavelengths, which one table can't hold.
    #[error(
        "{first:?} and {other:?} were read at different wavelengths, which one table can't hold; \
         write iso17972, or each on its own"
    )]
    UnlikeWavelengths {
        /// Name of the first reading.
        first: String,
        /// Name of one that differs.
        other: String,
    },
    /// More than [`MAX_FILE_BYTES`].
    #[error(
        "the file would have {bytes} bytes, more than the {MAX_FILE_BYTES} that are read; write fewer readings"
    )]
    TooLarge {
        /// Bytes it would have.
        bytes: usize,
    },
}

/// A file's text, and what the format has no place for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Written {
    /// The text, in UTF-8.
    pub text: String,
    /// What was left out, as sentences for a person.
    pub left_out: Vec<String>,
}

/// Writes the readings of a file in a format, digit by digit as they were read; of percent, the
/// point moves two places where the format wants fractions. Conditions, details and tags that
/// the format has a place for stand there, the others as tags.
///
/// Where a format demands what is not known, its word for "unknown" is written, which
/// [`read_spectra`](crate::read_spectra) does not take for a fact.
///
/// # Errors
/// [`WriteError`] when there is nothing to write or the format can't hold it.
pub fn write_spectra(file: &SpectraFile, format: WriteFormat) -> Result<Written, WriteError> {
    let first = file.readings.first().ok_or(WriteError::Empty)?;
    if format != WriteFormat::Iso17972 {
        let wavelengths = nanometers(first);
        let unlike = |reading: &&Reading| nanometers(reading) != wavelengths;
        if let Some(other) = file.readings.iter().find(unlike) {
            return Err(WriteError::UnlikeWavelengths {
                first: first.name.clone(),
                other: other.name.clone(),
            });
        }
    }
    let text = match format {
        WriteFormat::Csv => csv_wide::write(file),
        WriteFormat::Iso28178 => iso28178::write(file),
        WriteFormat::Iso17972 => iso17972::write(file),
    };
    let bytes = text.len();
    if bytes > MAX_FILE_BYTES {
        return Err(WriteError::TooLarge { bytes });
    }
    let mut left_out = Vec::new();
    if format != WriteFormat::Iso17972 && !file.without_spectrum.is_empty() {
        left_out.push(format!(
            "{} sample(s) without a spectrum were left out; iso17972 has a place for them",
            file.without_spectrum.len()
        ));
    }
    Ok(Written { text, left_out })
}

/// The wavelengths of a reading in nm, as texts.
fn nanometers(reading: &Reading) -> Vec<String> {
    let wavelengths = reading.spectrum.wavelengths();
    wavelengths.iter().map(|nm| nm.to_string()).collect()
}

/// The values of a reading as written, with decimal points, in the scale of the file.
fn values(reading: &Reading, scale: Scale) -> Vec<String> {
    let written = |text: &String| digits::fraction_text(text, Scale::Fraction);
    if reading.as_read.len() == reading.spectrum.values().len() {
        return reading.as_read.iter().map(written).collect();
    }
    let in_scale = |value: &f64| match scale {
        Scale::Fraction => value.to_string(),
        Scale::Percent => format!("{value}e2"),
    };
    reading.spectrum.values().iter().map(in_scale).collect()
}

/// What is known of a reading.
fn stated(reading: &Reading) -> Stated {
    Stated {
        conditions: reading.conditions,
        details: reading.details.clone(),
    }
}

/// What a table of a column or keyword for each tag holds, for formats that have such tables.
struct Plan {
    /// Columns beside name and values.
    columns: Vec<String>,
    /// The cells of each reading, one for each column.
    rows: Vec<Vec<String>>,
    /// What holds for all readings, in keywords or comments.
    head: Vec<(String, String)>,
}

/// Whether the format keeps a tag of this name in a keyword or comment, or in a column.
struct Places {
    in_head: fn(&Tag) -> bool,
    in_column: fn(&Tag) -> bool,
    /// How the format names what is known of readings.
    name_of: fn(Key) -> &'static str,
}

fn plan(file: &SpectraFile, places: &Places) -> Plan {
    let mut head = Vec::new();
    let mut packed_head = Vec::new();
    let mut all = Stated::default();
    for tag in &file.tags {
        if tag.group.is_empty() && (places.in_head)(tag) {
            head.push((tag.name.clone(), tag.value.clone()));
        } else {
            packed_head.push(tag);
        }
        all.take(&tag.name, &tag.value, &mut Vec::new());
    }
    // A fact that all readings share and no tag speaks of stands in the head.
    let shared = |key: &Key| {
        let word = stated(file.readings.first()?).word(*key)?;
        let same = |reading: &Reading| {
            stated(reading).word(*key).as_ref() == Some(&word)
                && reading
                    .tags
                    .iter()
                    .all(|tag| Key::of(&tag.name) != Some(*key))
        };
        let untouched = file.tags.iter().all(|tag| !speaks_of(tag, *key));
        let fits = untouched && understood(*key, &word) && file.readings.iter().all(same);
        fits.then_some((*key, word))
    };
    let shared: Vec<(Key, String)> = Key::all().filter_map(|key| shared(&key)).collect();
    for (key, word) in shared {
        head.push(((places.name_of)(key).to_owned(), word.clone()));
        all.take((places.name_of)(key), &word, &mut Vec::new());
    }
    if !packed_head.is_empty() {
        head.push((packed::NAME.to_owned(), packed::pack(&packed_head)));
    }

    let mut columns: Vec<String> = Vec::new();
    let mut places_of = std::collections::HashMap::<String, usize>::new();
    let mut rows = Vec::with_capacity(file.readings.len());
    for reading in &file.readings {
        let mut cells: Vec<(String, String)> = Vec::new();
        let mut packed_tags = Vec::new();
        let mut used = HashSet::new();
        for (key, word) in untold(reading, &all) {
            let name = (places.name_of)(key);
            used.insert(name);
            cells.push((name.to_owned(), word));
        }
        for tag in &reading.tags {
            let fits = tag.group.is_empty() && (places.in_column)(tag);
            if fits && used.insert(&tag.name) {
                cells.push((tag.name.clone(), tag.value.clone()));
            } else {
                packed_tags.push(tag);
            }
        }
        if !packed_tags.is_empty() {
            cells.push((packed::NAME.to_owned(), packed::pack(&packed_tags)));
        }
        let mut row = vec![String::new(); columns.len()];
        for (name, value) in cells {
            let place = *places_of.entry(name).or_insert_with_key(|name| {
                columns.push(name.clone());
                columns.len() - 1
            });
            row.resize(columns.len(), String::new());
            row[place] = value;
        }
        rows.push(row);
    }
    // Facts first, so that they are taken before what tags say otherwise.
    let mut order: Vec<usize> = (0..columns.len()).collect();
    order.sort_by_key(|place| !Key::all().any(|key| (places.name_of)(key) == columns[*place]));
    let sorted = |cells: &[String]| -> Vec<String> {
        order
            .iter()
            .map(|place| cells.get(*place).cloned().unwrap_or_default())
            .collect()
    };
    Plan {
        rows: rows.iter().map(|row| sorted(row)).collect(),
        columns: sorted(&columns),
        head,
    }
}

/// Whether a tag states something about a key, by its name or, as a geometry may, beside.
fn speaks_of(tag: &Tag, key: Key) -> bool {
    let mut read = Stated::default();
    let took = read.take(&tag.name, &tag.value, &mut Vec::new());
    Key::of(&tag.name) == Some(key) || took != Took::Nothing && read.word(key).is_some()
}

/// Whether a fact's word is read back as that fact.
fn understood(key: Key, word: &str) -> bool {
    Stated::default().take_key(key, word, &mut Vec::new()) == Took::All
}

/// What is known of a reading and not to be seen from its tags and those of the file.
fn untold(reading: &Reading, all: &Stated) -> Vec<(Key, String)> {
    let mut told = Stated::default();
    for tag in &reading.tags {
        told.take(&tag.name, &tag.value, &mut Vec::new());
    }
    told.fill(all);
    let known = stated(reading);
    Key::all()
        .filter_map(|key| Some((key, known.word(key)?)))
        .filter(|(key, word)| told.word(*key).as_ref() != Some(word) && understood(*key, word))
        .collect()
}
