//! What every format's reader delivers, and the checks common to all.

use crate::exchange::digits::number;
use crate::exchange::document::{Tag, WithoutSpectrum};
use crate::exchange::stated::Stated;
use crate::exchange::{ExchangeError, FileFormat, Scale};
use crate::wavelengths::ALLOWED_NM;

/// A file split into cells.
pub(super) struct RawFile {
    pub(super) format: FileFormat,
    /// The unit as the file states it.
    pub(super) scale: Option<Scale>,
    /// A table for each change of wavelengths, in the order of the file.
    pub(super) tables: Vec<RawTable>,
    pub(super) without_spectrum: Vec<WithoutSpectrum>,
    pub(super) tags: Vec<Tag>,
    pub(super) comments: Vec<String>,
}

/// Samples over the same wavelengths, in the order of the file.
pub(super) struct RawTable {
    pub(super) wavelengths: Vec<Cell>,
    pub(super) samples: Vec<RawSample>,
}

pub(super) struct RawSample {
    pub(super) name: String,
    pub(super) line: u64,
    /// One for each wavelength.
    pub(super) cells: Vec<Cell>,
    /// What the format has places of its own for.
    pub(super) stated: Stated,
    pub(super) tags: Vec<Tag>,
}

/// A piece of text and its line in the file.
pub(super) struct Cell {
    pub(super) line: u64,
    pub(super) text: String,
}

/// The wavelengths of a file.
pub(super) struct Axis {
    /// In nm, rising.
    pub(super) nms: Vec<f64>,
    pub(super) descending: bool,
}

/// Checks that wavelengths are in range, each there once, and in order. Their steps are judged
/// by [`Wavelengths`](crate::Wavelengths).
pub(super) fn axis(table: &RawTable) -> Result<Axis, ExchangeError> {
    let cells = &table.wavelengths;
    let mut nms: Vec<f64> = Vec::with_capacity(cells.len());
    for cell in cells {
        let nm = wavelength(&cell.text).ok_or_else(|| ExchangeError::Wavelength {
            line: cell.line,
            text: brief(&cell.text),
        })?;
        nms.push(nm);
    }
    let mut seen = std::collections::HashSet::new();
    for (nm, cell) in nms.iter().zip(cells) {
        if !seen.insert(nm.to_bits()) {
            let (line, nm) = (cell.line, *nm);
            return Err(ExchangeError::DuplicateWavelength { line, nm });
        }
    }
    let descending = matches!(nms[..], [first, second, ..] if second < first);
    for (pair, cell) in nms.windows(2).zip(&cells[1..]) {
        if (pair[1] < pair[0]) != descending {
            let (line, nm) = (cell.line, pair[1]);
            return Err(ExchangeError::OutOfOrder { line, nm });
        }
    }
    if descending {
        nms.reverse();
    }
    Ok(Axis { nms, descending })
}

fn wavelength(text: &str) -> Option<f64> {
    let (value, _) = number(text)?;
    let in_range = value >= f64::from(ALLOWED_NM.0) && value <= f64::from(ALLOWED_NM.1);
    in_range.then_some(value)
}

/// The largest value as written, once every cell is known to be a finite number.
pub(super) fn largest_value(
    table: &RawTable,
    assumed: &mut Vec<String>,
) -> Result<f64, ExchangeError> {
    let mut commas = false;
    let mut largest = f64::NEG_INFINITY;
    for sample in &table.samples {
        for (cell, wavelength) in sample.cells.iter().zip(&table.wavelengths) {
            let line = cell.line;
            let field = || format!("{} at {} nm", brief(&sample.name), wavelength.text);
            if cell.text.is_empty() {
                return Err(ExchangeError::MissingValue {
                    line,
                    field: field(),
                });
            }
            let text = || brief(&cell.text);
            match number(&cell.text) {
                None => {
                    return Err(ExchangeError::NotANumber {
                        line,
                        field: field(),
                        text: text(),
                    });
                }
                Some((value, _)) if !value.is_finite() => {
                    return Err(ExchangeError::NotFinite {
                        line,
                        field: field(),
                        text: text(),
                    });
                }
                Some((value, comma)) => {
                    commas |= comma;
                    largest = largest.max(value);
                }
            }
        }
    }
    if commas {
        note(
            assumed,
            "commas in numbers were read as decimal points".to_owned(),
        );
    }
    Ok(largest)
}

/// Visible light in micrometers, as some programs export it.
pub(super) fn refuse_micrometers(table: &RawTable) -> Result<(), ExchangeError> {
    let micrometers =
        |cell: &Cell| number(&cell.text).is_some_and(|(value, _)| (0.3..1.2).contains(&value));
    match &table.wavelengths[..] {
        [first, _, ..] if table.wavelengths.iter().all(micrometers) => {
            Err(ExchangeError::Micrometers {
                line: first.line,
                text: brief(&first.text),
            })
        }
        _ => Ok(()),
    }
}

/// Says something once; a file can't make it say more than a person would read.
pub(super) fn note(assumed: &mut Vec<String>, said: String) {
    const MOST: usize = 40;
    if assumed.len() < MOST && !assumed.contains(&said) {
        assumed.push(said);
    } else if assumed.len() == MOST {
        assumed.push("more was assumed; the first of it stands above".to_owned());
    }
}

/// A name on one line, or a numbered one where the file has none.
pub(super) fn named(written: &str, number: usize) -> String {
    let plain = written.replace(char::is_control, " ");
    let plain = plain.trim();
    if plain.is_empty() {
        format!("reading {number}")
    } else {
        plain.to_owned()
    }
}

pub(super) fn note_unnamed(unnamed: usize, assumed: &mut Vec<String>) {
    if unnamed > 0 {
        note(
            assumed,
            format!("{unnamed} reading(s) without a name were numbered"),
        );
    }
}

/// Enough of a text to recognize it in an error.
pub(super) fn brief(text: &str) -> String {
    const LONGEST: usize = 60;
    let mut short: String = text.chars().take(LONGEST).collect();
    if short.len() < text.len() {
        short.push('…');
    }
    short
}
