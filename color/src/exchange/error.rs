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
        "the file is not text (byte {byte:#04x} at offset {offset}); export the measurement as CxF, \
         ISO 28178 text or CSV"
    )]
    Binary {
        /// The first byte that text does not have.
        byte: u8,
        /// Its offset in the file.
        offset: usize,
    },
    /// XML that is not in the charset it declares, or in one that is not read.
    #[error(
        "the XML declares charset {declared}, and byte {offset} is not UTF-8; save it as UTF-8, or \
         export it again"
    )]
    Charset {
        /// The charset declared; UTF-8 where none is.
        declared: String,
        /// Offset in the file.
        offset: usize,
    },
    /// The file ends too early.
    #[error(
        "the file ends within {within}, begun in line {line}: it was cut off; copy or export it \
         again"
    )]
    Truncated {
        /// Line where the open part begins.
        line: u64,
        /// What is open.
        within: String,
    },
    /// XML that is not well-formed.
    #[error("line {line}: the XML is broken ({reason}); export the file again")]
    Xml {
        /// Line.
        line: u64,
        /// What the parser found.
        reason: String,
    },
    /// A document type declaration, where entity bombs and external entities live.
    #[error(
        "line {line}: the XML has a document type declaration (<!DOCTYPE); measurement files need \
         none, and none is read, since it can make a small file a huge one or draw in other \
         files; remove it, or export the file again"
    )]
    Doctype {
        /// Line.
        line: u64,
    },
    /// A reference to an entity that XML itself does not have.
    #[error("line {line}: the entity &{name}; is not known; write the character itself")]
    Entity {
        /// Line.
        line: u64,
        /// Its name, shortened.
        name: String,
    },
    /// XML elements within elements beyond what measurement files have.
    #[error(
        "line {line}: elements are nested more than {most} deep; this is no measurement file as \
         ISO 17972-1 has it; export it again"
    )]
    TooDeep {
        /// Line.
        line: u64,
        /// Deepest that is read.
        most: usize,
    },
    /// The file would take much more memory than its size.
    #[error(
        "the file holds so many small parts that it would take many times its size in memory; \
         split it, or export the spectra alone"
    )]
    TooComplex,
    /// XML of another kind.
    #[error(
        "the XML is <{root}>, not <CxF> (ISO 17972-1); export the measurement as CxF, ISO 28178 \
         text or CSV"
    )]
    NotCxf {
        /// Name of the root element, shortened.
        root: String,
    },
    /// Color, but no reflectance spectra.
    #[error(
        "the file holds no reflectance spectra but {holds}; export the spectra from the \
         instrument's program"
    )]
    NoSpectra {
        /// What it holds, shortened.
        holds: String,
    },
    /// A count that the data do not have.
    #[error(
        "line {line}: {keyword} is {stated}, and {found} were found; lines are missing or too many: \
         export the file again"
    )]
    Count {
        /// Line of the keyword.
        line: u64,
        /// `NUMBER_OF_SETS` or `NUMBER_OF_FIELDS`.
        keyword: String,
        /// As stated.
        stated: String,
        /// As found.
        found: usize,
    },
    /// A set that has more or fewer values than there are fields.
    #[error(
        "line {line} has {found} values, the data format has {expected} fields; quote texts with \
         blanks, and write each set on one line"
    )]
    SetWidth {
        /// Line.
        line: u64,
        /// Fields of the data format.
        expected: usize,
        /// Values of the line.
        found: usize,
    },
    /// A field named twice.
    #[error("line {line}: field {field} stands there twice; remove or rename one of them")]
    DuplicateField {
        /// Line.
        line: u64,
        /// Field, shortened.
        field: String,
    },
    /// Data before any data format.
    #[error("line {line}: BEGIN_DATA without a data format before it; export the file again")]
    NoDataFormat {
        /// Line.
        line: u64,
    },
    /// Several tables with spectra, and no choice.
    #[error(
        "the file has {count} tables with spectra (data in lines {lines}); say which one \
         (--table 1 to --table {count})"
    )]
    SeveralTables {
        /// How many.
        count: usize,
        /// Where their data begin.
        lines: String,
    },
    /// A table that is not there.
    #[error(
        "table {asked} was asked for, and the file has {count} with spectra; give 1 to {count}"
    )]
    NoSuchTable {
        /// The choice.
        asked: usize,
        /// How many there are.
        count: usize,
    },
    /// Wavelengths such as 0.4.
    #[error(
        "line {line}: wavelength {text:?} looks like micrometers; export wavelengths in \
         nanometers, such as 400"
    )]
    Micrometers {
        /// Line.
        line: u64,
        /// The cell or heading.
        text: String,
    },
    /// Sets of one table at other wavelengths than the first.
    #[error(
        "line {line}: wavelength {text:?} where the first set has {first:?}; export sets of other \
         wavelengths apart"
    )]
    UnlikeWavelength {
        /// Line.
        line: u64,
        /// The value.
        text: String,
        /// The first set's.
        first: String,
    },
    /// A list of values without the wavelengths that go with it.
    #[error(
        "line {line}, {name}: {count} values without {missing}; export the measurement with its \
         WavelengthRange"
    )]
    NoRange {
        /// Line.
        line: u64,
        /// Name of the sample, shortened.
        name: String,
        /// Number of values.
        count: usize,
        /// `StartWL` or `Increment`.
        missing: String,
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
