//! What every format's reader delivers, and the checks common to all.

use crate::exchange::{ExchangeError, FileFormat, Scale};
use crate::wavelengths::ALLOWED_NM;

/// A file split into cells.
pub(super) struct RawFile {
    pub(super) format: FileFormat,
    /// The unit as the file states it.
    pub(super) stated: Option<Scale>,
    pub(super) table: RawTable,
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
    pub(super) other: Vec<(String, String)>,
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

/// The values of each sample as numbers.
pub(super) fn numbers(
    table: &RawTable,
    assumed: &mut Vec<String>,
) -> Result<Vec<Vec<f64>>, ExchangeError> {
    let mut commas = false;
    let mut samples = Vec::with_capacity(table.samples.len());
    for sample in &table.samples {
        let mut values = Vec::with_capacity(sample.cells.len());
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
                    values.push(value);
                }
            }
        }
        samples.push(values);
    }
    if commas {
        assumed.push("commas in numbers were read as decimal points".to_owned());
    }
    Ok(samples)
}

/// A number with a decimal point or comma, and whether it was a comma.
pub(super) fn number(text: &str) -> Option<(f64, bool)> {
    let text = text.trim();
    match text.split_once(',') {
        None => text.parse().ok().map(|value| (value, false)),
        Some((_, rest)) if rest.contains(',') || text.contains('.') => None,
        Some((whole, rest)) => format!("{whole}.{rest}")
            .parse()
            .ok()
            .map(|value| (value, true)),
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
