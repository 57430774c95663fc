//! Measured spectra in files: reading and writing their text (nothing here opens a file).
//!
//! A reader of a format turns text into raw tables: wavelengths and the cells as they
//! stand in the file. What is common to all formats comes after: wavelengths, numbers, percent
//! or fraction, and the checks of [`Spectrum`]. A file is taken as a whole or not at all, and
//! everything in it is kept, whether it was understood or not.

mod budget;
mod decode;
mod delimited;
mod digits;
mod document;
mod error;
mod iso17972;
mod iso28178;
mod packed;
mod stated;
mod table;
mod write;
mod xml;

use serde::{Deserialize, Serialize};

pub use document::{Details, InstrumentWords, Reading, SpectraFile, Tag, WithoutSpectrum};
pub use error::ExchangeError;
pub use write::{UnknownFormat, WriteError, WriteFormat, Written, write_spectra};

use crate::spectrum::{Ends, Spectrum};
use crate::wavelengths::Wavelengths;
use budget::Budget;
use stated::Stated;
use table::RawFile;

/// Largest file read, in bytes: some 60,000 spectra.
pub const MAX_FILE_BYTES: usize = 16 * 1024 * 1024;

/// Whether reflectance is written from 0 to 1 or from 0 to 100.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Scale {
    /// The perfect diffuser is 1.
    Fraction,
    /// The perfect diffuser is 100.
    Percent,
}

impl std::fmt::Display for Scale {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Fraction => "fraction",
            Self::Percent => "percent",
        })
    }
}

/// A scale that is neither fraction nor percent.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("scale {0:?} is not known; give fraction or percent")]
pub struct UnknownScale(String);

impl std::str::FromStr for Scale {
    type Err = UnknownScale;
    fn from_str(text: &str) -> Result<Self, UnknownScale> {
        match text.trim().to_ascii_lowercase().as_str() {
            "fraction" => Ok(Self::Fraction),
            "percent" | "%" => Ok(Self::Percent),
            _ => Err(UnknownScale(text.to_owned())),
        }
    }
}

/// What the caller decides about a file.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct ReadOptions {
    /// Overrides what the file states or its values suggest.
    pub scale: Option<Scale>,
    /// What to do with spectra that do not reach 400 and 700 nm.
    pub ends: Ends,
    /// Which table with spectra, from 1, when a file of ISO 28178 has several.
    pub table: Option<usize>,
}

/// Formats read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum FileFormat {
    /// Delimited text, a row for each sample, a column for each wavelength.
    CsvWide,
    /// Delimited text, a row for each wavelength, a column for each sample.
    CsvLong,
    /// Keywords and tables (ISO 28178, which is CGATS.17).
    Iso28178,
    /// XML (ISO 17972-1, which is CxF3).
    Iso17972,
}

impl std::fmt::Display for FileFormat {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::CsvWide => "CSV, a row for each sample",
            Self::CsvLong => "CSV, a row for each wavelength",
            Self::Iso28178 => "ISO 28178 text (CGATS.17)",
            Self::Iso17972 => "ISO 17972-1 XML (CxF3)",
        })
    }
}

/// Reads all spectra of a file, in the format that its content shows.
///
/// CSV: separated by tabs, semicolons or commas; with or without BOM; UTF-8, UTF-16
/// with BOM, else Latin-1; lines ended by LF, CRLF or CR; cells quoted or not; decimal points or
/// commas; lines starting with `#` are comments, or tags when they read `name: value`; with `##`
/// they are comments in any case. Wide: a
/// heading for each wavelength such as `R400`, `nm400`, `400` or `400 nm`. Long: a column headed
/// `wavelength` or `nm`. Conditions in columns or in `name: value` comments named `geometry`,
/// `specular`, `aperture`, `backing`, `filter`, `readings`, `gloss60`, `gloss85`, `instrument`,
/// `instrument serial` and `measured at`.
///
/// ISO 28178 (CGATS.17): keywords, quoted values, comments, one table with spectra and others
/// beside it; fields such as `SPECTRAL_NM400`, `nm400` or `SPECTRAL_NM` and `SPECTRAL_PCT` in
/// turns. Stated counts are checked.
///
/// ISO 17972-1 (CxF3): objects with `ReflectanceSpectrum` or `CustomSpectrum`, conditions from
/// their `ColorSpecification`. No document type, no entities beside XML's own.
///
/// Descending wavelengths are turned round. Percent or fraction: by the option; else as stated
/// by the file (`%` or "percent" in headings, a `unit` column, comment or keyword,
/// `SPECTRAL_PCT`, or the standard itself for CxF3); else by the largest value in the file,
/// percent above 2.5, fraction from 0.2 to 1.2, and refused otherwise.
///
/// Memory: some fifty times the size of the file at most, whatever stands in it.
///
/// # Errors
/// [`ExchangeError`], naming line, field, value and remedy.
pub fn read_spectra(bytes: &[u8], options: &ReadOptions) -> Result<SpectraFile, ExchangeError> {
    if bytes.len() > MAX_FILE_BYTES {
        return Err(ExchangeError::TooLarge { bytes: bytes.len() });
    }
    let mut assumed = Vec::new();
    let mut budget = Budget::of(bytes.len());
    let text = decode::decode(bytes, &mut assumed)?;
    let RawFile {
        format,
        scale,
        tables,
        without_spectrum,
        mut tags,
        comments,
    } = if iso17972::is_one(&text) {
        iso17972::read(&text, &mut budget, &mut assumed)?
    } else if iso28178::is_one(&text) {
        iso28178::read(&text, options.table, &mut budget, &mut assumed)?
    } else {
        delimited::read(&text, &mut budget, &mut assumed)?
    };
    drop(text);
    let mut all = Stated::default();
    all.take_tags(&mut tags, &mut assumed);

    let refused = |line: u64, name: &str, source| ExchangeError::Spectrum {
        line,
        name: table::brief(name),
        source,
    };
    let mut checked = Vec::with_capacity(tables.len());
    let mut largest = f64::NEG_INFINITY;
    for table in tables {
        table::refuse_micrometers(&table)?;
        let axis = table::axis(&table)?;
        if axis.descending {
            let said = "wavelengths descend in the file; they were turned round".to_owned();
            table::note(&mut assumed, said);
        }
        let wavelengths = Wavelengths::new(&axis.nms).map_err(|source| {
            let first = table.samples.first();
            let (line, name) = first.map_or((0, ""), |sample| (sample.line, &sample.name));
            refused(line, name, source)
        })?;
        if wavelengths.even().is_none() {
            let said = format!("the wavelengths are unevenly spaced ({wavelengths})");
            table::note(&mut assumed, said);
        }
        largest = largest.max(table::largest_value(&table, &mut assumed)?);
        checked.push((wavelengths, axis.descending, table));
    }
    let scale = decide_scale(options.scale, scale, largest, &mut assumed)?;

    let mut readings = Vec::new();
    for (wavelengths, descending, table) in checked {
        for raw in table.samples {
            let mut as_read: Vec<String> = raw.cells.into_iter().map(|cell| cell.text).collect();
            if descending {
                as_read.reverse();
            }
            let values = as_read
                .iter()
                .map(|text| digits::fraction(text, scale))
                .collect();
            let spectrum = Spectrum::at(&wavelengths, values, options.ends)
                .map_err(|source| refused(raw.line, &raw.name, source))?;
            let (mut stated, mut tags) = (raw.stated, raw.tags);
            stated.take_tags(&mut tags, &mut assumed);
            stated.fill(&all);
            readings.push(Reading {
                name: raw.name,
                line: raw.line,
                spectrum,
                as_read,
                conditions: stated.conditions,
                details: stated.details,
                tags,
            });
        }
    }
    Ok(SpectraFile {
        format,
        scale,
        readings,
        without_spectrum,
        tags,
        assumed,
        comments,
    })
}

/// A black in percent looks like a fraction, so the file as a whole decides, or nobody.
fn decide_scale(
    asked: Option<Scale>,
    stated: Option<Scale>,
    largest: f64,
    assumed: &mut Vec<String>,
) -> Result<Scale, ExchangeError> {
    if let Some(scale) = asked.or(stated) {
        return Ok(scale);
    }
    let scale = if largest > 2.5 {
        Scale::Percent
    } else if largest > 0.2 && largest <= 1.2 {
        Scale::Fraction
    } else {
        return Err(ExchangeError::AmbiguousScale { largest });
    };
    assumed.push(format!(
        "the file does not state its unit; values were read as {scale}, since the largest is \
         {largest}"
    ));
    Ok(scale)
}
