//! Reading measured spectra from files (their bytes; nothing here opens a file).
//!
//! A reader of a format turns text into raw tables: wavelengths and the cells as they
//! stand in the file. What is common to all formats comes after: wavelengths, numbers, percent
//! or fraction, and the checks of [`Spectrum`]. A file is taken as a whole or not at all.

mod decode;
mod delimited;
mod error;
mod table;

use serde::{Deserialize, Serialize};

pub use error::ExchangeError;

use crate::spectrum::{Ends, Spectrum};
use crate::wavelengths::Wavelengths;
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
}

/// Formats read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum FileFormat {
    /// Delimited text, a row for each sample, a column for each wavelength.
    CsvWide,
    /// Delimited text, a row for each wavelength, a column for each sample.
    CsvLong,
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
    /// What the file left open and how it was read, as sentences for a person.
    pub assumed: Vec<String>,
    /// Comment lines without their `#`.
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
    /// Other columns of the row, heading and cell: not used, not lost.
    pub other: Vec<(String, String)>,
}

/// Reads all spectra of a file.
///
/// Delimited text: separated by tabs, semicolons or commas; with or without BOM; UTF-8, UTF-16
/// with BOM, else Latin-1; lines ended by LF, CRLF or CR; cells quoted or not; decimal points or
/// commas; lines starting with `#` are comments. Wide: a heading for each wavelength such as
/// `R400`, `nm400`, `400` or `400 nm`. Long: a column headed `wavelength` or `nm`. Descending
/// wavelengths are turned round. Percent or fraction: by the option; else as stated by the file
/// (`%` or "percent" in headings, a `unit` column, a comment `unit: percent`); else by the
/// largest value in the file, percent above 2.5, fraction from 0.2 to 1.2, and refused otherwise.
///
/// # Errors
/// [`ExchangeError`], naming line, field, value and remedy.
pub fn read_spectra(bytes: &[u8], options: &ReadOptions) -> Result<SpectraFile, ExchangeError> {
    if bytes.len() > MAX_FILE_BYTES {
        return Err(ExchangeError::TooLarge { bytes: bytes.len() });
    }
    let mut assumed = Vec::new();
    let text = decode::decode(bytes, &mut assumed)?;
    let RawFile {
        format,
        stated,
        table,
        comments,
    } = delimited::read(&text, &mut assumed)?;
    let axis = table::axis(&table)?;
    if axis.descending {
        assumed.push("wavelengths descend in the file; they were turned round".to_owned());
    }
    let samples = table::numbers(&table, &mut assumed)?;
    let scale = decide_scale(options.scale, stated, &samples, &mut assumed)?;

    let refused = |line: u64, name: &str, source| ExchangeError::Spectrum {
        line,
        name: table::brief(name),
        source,
    };
    let first = table.samples.first();
    let wavelengths = Wavelengths::new(&axis.nms).map_err(|source| {
        let (line, name) = first.map_or((0, ""), |sample| (sample.line, sample.name.as_str()));
        refused(line, name, source)
    })?;
    if wavelengths.even().is_none() {
        assumed.push(format!(
            "the wavelengths are unevenly spaced ({wavelengths})"
        ));
    }
    let mut readings = Vec::with_capacity(samples.len());
    for (raw, mut values) in table.samples.into_iter().zip(samples) {
        if scale == Scale::Percent {
            for value in &mut values {
                *value /= 100.0;
            }
        }
        let mut as_read: Vec<String> = raw.cells.into_iter().map(|cell| cell.text).collect();
        if axis.descending {
            values.reverse();
            as_read.reverse();
        }
        let spectrum = Spectrum::at(&wavelengths, values, options.ends)
            .map_err(|source| refused(raw.line, &raw.name, source))?;
        let (name, line, other) = (raw.name, raw.line, raw.other);
        readings.push(Reading {
            name,
            line,
            spectrum,
            as_read,
            other,
        });
    }
    Ok(SpectraFile {
        format,
        scale,
        readings,
        assumed,
        comments,
    })
}

/// A black in percent looks like a fraction, so the file as a whole decides, or nobody.
fn decide_scale(
    asked: Option<Scale>,
    stated: Option<Scale>,
    samples: &[Vec<f64>],
    assumed: &mut Vec<String>,
) -> Result<Scale, ExchangeError> {
    if let Some(scale) = asked.or(stated) {
        return Ok(scale);
    }
    let largest = samples
        .iter()
        .flatten()
        .fold(f64::NEG_INFINITY, |max, v| max.max(*v));
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
