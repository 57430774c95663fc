//! Why a file was not read.

use crate::exchange::MAX_FILE_BYTES;
use crate::spectrum::SpectrumError;

/// Why a file was not read. Nothing of it was taken.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ExchangeError {
    /// More than [`MAX_FILE_BYTES`].
    #[error(
        "the file has {bytes} bytes, more than the {MAX_FILE_BYTES} that are read at once; split it"
    )]
    TooLarge {
        /// Size of the file.
        bytes: usize,
    },
    /// No byte, or only blanks and comments.
    #[error("the file is empty; export the measurement again")]
    Empty,
    /// Not text.
    #[error(
        "the file is not text (byte {byte:#04x} at offset {offset}); export the measurement as CSV"
    )]
    Binary {
        /// The first byte that text does not have.
        byte: u8,
        /// Its offset in the file.
        offset: usize,
    },
    /// Neither wavelength headings nor a wavelength column.
    #[error(
        "no wavelengths found in the heading line {line} ({heading:?}); use headings R400, R410, … \
         or a column headed wavelength"
    )]
    NoWavelengths {
        /// Line of the headings.
        line: u64,
        /// Its beginning.
        heading: String,
    },
    /// Headings without a row below.
    #[error("the file has headings but no values below line {line}; export the measurement again")]
    NoValues {
        /// Line of the headings.
        line: u64,
    },
    /// The delimited text itself is broken.
    #[error("line {line} cannot be split into columns: {reason}; export the file again")]
    Malformed {
        /// Line.
        line: u64,
        /// What the parser found.
        reason: String,
    },
    /// More cells than headings.
    #[error(
        "line {line} has {found} columns, the headings have {expected}; if decimals are written \
         with commas, separate columns by semicolons or quote the numbers"
    )]
    TooManyColumns {
        /// Line.
        line: u64,
        /// Columns of the headings.
        expected: usize,
        /// Columns of the line.
        found: usize,
    },
    /// An empty cell where a value is needed.
    #[error("line {line}, {field}: the value is missing; measure or export again")]
    MissingValue {
        /// Line.
        line: u64,
        /// Column and wavelength.
        field: String,
    },
    /// Text where a number is needed.
    #[error(
        "line {line}, {field}: {text:?} is not a number; write numbers like 0.153, without unit \
         or thousands separator"
    )]
    NotANumber {
        /// Line.
        line: u64,
        /// Column and wavelength.
        field: String,
        /// The cell, shortened.
        text: String,
    },
    /// NaN or infinite.
    #[error("line {line}, {field}: {text:?} is not a finite number; measure again")]
    NotFinite {
        /// Line.
        line: u64,
        /// Column and wavelength.
        field: String,
        /// The cell.
        text: String,
    },
    /// A wavelength that is no number of nanometers in range.
    #[error(
        "line {line}: wavelength {text:?} is not a number of nanometers from 200 to 1100; give \
         wavelengths in nanometers"
    )]
    Wavelength {
        /// Line.
        line: u64,
        /// The cell or heading.
        text: String,
    },
    /// The same wavelength twice.
    #[error("line {line}: wavelength {nm} nm stands there twice; remove one of them")]
    DuplicateWavelength {
        /// Line.
        line: u64,
        /// Wavelength.
        nm: f64,
    },
    /// Wavelengths neither rise nor descend throughout.
    #[error("line {line}: wavelength {nm} nm is out of order; sort by wavelength")]
    OutOfOrder {
        /// Line.
        line: u64,
        /// Wavelength.
        nm: f64,
    },
    /// A unit that is neither percent nor fraction.
    #[error("line {line}: unit {text:?} is not known; give percent or fraction")]
    UnknownUnit {
        /// Line.
        line: u64,
        /// The cell.
        text: String,
    },
    /// Two units in one file.
    #[error("line {line}: the unit changes to {text:?} within the file; use one unit in a file")]
    ConflictingUnits {
        /// Line.
        line: u64,
        /// The cell.
        text: String,
    },
    /// Values that can be percent or fraction.
    #[error(
        "the largest value is {largest}: values can be percent or fractions, and the file does not \
         say; give the scale (--scale percent or --scale fraction)"
    )]
    AmbiguousScale {
        /// Largest value of the file.
        largest: f64,
    },
    /// Numbers that make no usable spectrum.
    #[error("line {line}, {name}: {source}")]
    Spectrum {
        /// Line where the sample begins.
        line: u64,
        /// Name of the sample.
        name: String,
        /// What is wrong.
        source: SpectrumError,
    },
}
