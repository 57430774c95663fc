//! Delimited text, wide (a row for each sample) and long (a row for each wavelength).

use crate::exchange::table::{Cell, RawFile, RawSample, RawTable, brief, number};
use crate::exchange::{ExchangeError, FileFormat, Scale};

/// Titles of the column that names samples.
const NAME_TITLES: [&str; 6] = ["name", "sample", "sample name", "sample id", "id", "label"];
/// Titles of the column that holds wavelengths.
const WAVELENGTH_TITLES: [&str; 5] = ["wavelength", "wavelengths", "nm", "lambda", "wl"];
/// Titles of the column that states the unit.
const UNIT_TITLES: [&str; 3] = ["unit", "units", "scale"];
/// Titles of a value column that name the quantity and no sample.
const QUANTITY_TITLES: [&str; 5] = ["reflectance", "reflectance factor", "r", "value", "values"];

struct Row {
    line: u64,
    cells: Vec<String>,
}

impl Row {
    fn cell(&self, column: usize) -> &str {
        self.cells.get(column).map_or("", String::as_str)
    }
}

pub(super) fn read(text: &str, assumed: &mut Vec<String>) -> Result<RawFile, ExchangeError> {
    let comments: Vec<String> = text
        .lines()
        .filter_map(|line| line.strip_prefix('#'))
        .map(|comment| comment.trim().to_owned())
        .collect();
    let mut rows = split(text)?.into_iter();
    let head = rows.next().ok_or(ExchangeError::Empty)?;
    let mut rows: Vec<Row> = rows.collect();

    let in_comments = comments.iter().find_map(|comment| unit_comment(comment));
    let stated = in_comments.or_else(|| {
        head.cells
            .iter()
            .any(|title| says_percent(title))
            .then_some(Scale::Percent)
    });

    let (format, stated, table) = if let Some(column) = head
        .cells
        .iter()
        .position(|title| WAVELENGTH_TITLES.contains(&plain(title).as_str()))
    {
        check_widths(head.cells.len(), &rows)?;
        (
            FileFormat::CsvLong,
            stated,
            long(&head, column, &rows, assumed)?,
        )
    } else if is_headless_long(&head, &rows) {
        assumed
            .push("the file has no headings; the first column was read as wavelengths".to_owned());
        let untitled = Row {
            line: head.line,
            cells: vec![String::new(); head.cells.len()],
        };
        rows.insert(0, head);
        check_widths(untitled.cells.len(), &rows)?;
        (
            FileFormat::CsvLong,
            stated,
            long(&untitled, 0, &rows, assumed)?,
        )
    } else if head
        .cells
        .iter()
        .any(|title| wavelength_title(title).is_some())
    {
        check_widths(head.cells.len(), &rows)?;
        let in_rows = unit_column(&head, &rows)?;
        (
            FileFormat::CsvWide,
            in_rows.or(stated),
            wide(&head, &rows, assumed)?,
        )
    } else {
        let heading = brief(&head.cells.join(" "));
        return Err(ExchangeError::NoWavelengths {
            line: head.line,
            heading,
        });
    };
    Ok(RawFile {
        format,
        stated,
        table,
        comments,
    })
}

/// Rows of trimmed cells, without comments and blank rows.
fn split(text: &str) -> Result<Vec<Row>, ExchangeError> {
    let first = text
        .lines()
        .find(|line| !line.trim().is_empty() && !line.starts_with('#'));
    let Some(first) = first else {
        return Err(ExchangeError::Empty);
    };
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .comment(Some(b'#'))
        .trim(csv::Trim::All)
        .delimiter(separator(first))
        .from_reader(text.as_bytes());
    let mut rows = Vec::new();
    for record in reader.records() {
        let record = record.map_err(|error| ExchangeError::Malformed {
            line: error.position().map_or(0, csv::Position::line),
            reason: error.to_string(),
        })?;
        let line = record.position().map_or(0, csv::Position::line);
        let mut cells: Vec<String> = record.iter().map(str::to_owned).collect();
        // Spreadsheets leave empty columns at the right.
        while cells.last().is_some_and(String::is_empty) {
            cells.pop();
        }
        if !cells.is_empty() {
            rows.push(Row { line, cells });
        }
    }
    Ok(rows)
}

/// Tab if there is one outside quotes, else semicolon, else comma: semicolons stand where
/// decimals have commas.
fn separator(line: &str) -> u8 {
    let outside: String = line.split('"').step_by(2).collect();
    if outside.contains('\t') {
        b'\t'
    } else if outside.contains(';') {
        b';'
    } else {
        b','
    }
}

fn check_widths(expected: usize, rows: &[Row]) -> Result<(), ExchangeError> {
    match rows.iter().find(|row| row.cells.len() > expected) {
        Some(row) => {
            let (line, found) = (row.line, row.cells.len());
            Err(ExchangeError::TooManyColumns {
                line,
                expected,
                found,
            })
        }
        None => Ok(()),
    }
}

fn wide(head: &Row, rows: &[Row], assumed: &mut Vec<String>) -> Result<RawTable, ExchangeError> {
    if rows.is_empty() {
        return Err(ExchangeError::NoValues { line: head.line });
    }
    let mut wavelengths = Vec::new();
    let mut columns = Vec::new();
    let mut others = Vec::new();
    for (column, title) in head.cells.iter().enumerate() {
        match wavelength_title(title) {
            Some(text) => {
                wavelengths.push(Cell {
                    line: head.line,
                    text,
                });
                columns.push(column);
            }
            None => others.push(column),
        }
    }
    let titled = |names: &[&str]| {
        others
            .iter()
            .copied()
            .find(|c| names.contains(&plain(head.cell(*c)).as_str()))
    };
    let name_column = titled(&NAME_TITLES).or_else(|| {
        let unit = titled(&UNIT_TITLES);
        others.iter().copied().find(|column| Some(*column) != unit)
    });
    others.retain(|column| Some(*column) != name_column);
    if !others.is_empty() {
        let titles: Vec<&str> = others.iter().map(|column| head.cell(*column)).collect();
        let titles = brief(&titles.join(", "));
        assumed.push(format!(
            "columns kept with the readings but not used: {titles}"
        ));
    }
    let mut unnamed = 0;
    let samples = (1..).zip(rows).map(|(number, row)| {
        let written = name_column.map_or("", |column| row.cell(column));
        unnamed += usize::from(written.is_empty());
        let cell = |column: &usize| Cell {
            line: row.line,
            text: row.cell(*column).to_owned(),
        };
        let other = |column: &usize| {
            let (title, text) = (head.cell(*column), row.cell(*column));
            (!text.is_empty()).then(|| (title.to_owned(), text.to_owned()))
        };
        RawSample {
            name: named(written, number),
            line: row.line,
            cells: columns.iter().map(cell).collect(),
            other: others.iter().filter_map(other).collect(),
        }
    });
    let samples: Vec<RawSample> = samples.collect();
    note_unnamed(unnamed, assumed);
    Ok(RawTable {
        wavelengths,
        samples,
    })
}

fn long(
    head: &Row,
    wavelength_column: usize,
    rows: &[Row],
    assumed: &mut Vec<String>,
) -> Result<RawTable, ExchangeError> {
    let columns: Vec<usize> = (0..head.cells.len())
        .filter(|column| *column != wavelength_column)
        .collect();
    if rows.is_empty() || columns.is_empty() {
        return Err(ExchangeError::NoValues { line: head.line });
    }
    let column_of = |column: usize| {
        rows.iter().map(move |row| Cell {
            line: row.line,
            text: row.cell(column).to_owned(),
        })
    };
    let mut unnamed = 0;
    let samples = (1..).zip(&columns).map(|(number, column)| {
        let title = head.cell(*column);
        let written = if QUANTITY_TITLES.contains(&plain(title).as_str()) {
            ""
        } else {
            title
        };
        unnamed += usize::from(written.is_empty());
        RawSample {
            name: named(written, number),
            line: head.line,
            cells: column_of(*column).collect(),
            other: Vec::new(),
        }
    });
    let samples: Vec<RawSample> = samples.collect();
    note_unnamed(unnamed, assumed);
    Ok(RawTable {
        wavelengths: column_of(wavelength_column).collect(),
        samples,
    })
}

fn named(written: &str, number: usize) -> String {
    if written.is_empty() {
        format!("reading {number}")
    } else {
        written.to_owned()
    }
}

fn note_unnamed(unnamed: usize, assumed: &mut Vec<String>) {
    if unnamed > 0 {
        assumed.push(format!("{unnamed} reading(s) without a name were numbered"));
    }
}

/// Two or more columns whose first holds wavelengths from the first line on.
fn is_headless_long(head: &Row, rows: &[Row]) -> bool {
    let wavelength =
        |row: &Row| number(row.cell(0)).is_some_and(|(value, _)| (200.0..=1100.0).contains(&value));
    let value = |cell: &String| number(cell).is_some() && wavelength_title(cell).is_none();
    head.cells.len() > 1
        && wavelength(head)
        && head.cells[1..].iter().all(value)
        && rows.first().is_none_or(wavelength)
}

/// Lower case, without a unit in brackets and with blanks for underscores.
fn plain(title: &str) -> String {
    let lower = title.to_lowercase().replace('_', " ");
    let bare = lower.split(['(', '[']).next().unwrap_or_default().trim();
    let bare = bare.strip_suffix(" nm").unwrap_or(bare);
    let bare = bare.strip_suffix(" percent").unwrap_or(bare);
    bare.trim_matches(['%', ' ']).to_owned()
}

/// The wavelength that a heading such as `R400`, `nm400`, `400`, `400 nm` or `R_400.0 (%)`
/// stands for.
fn wavelength_title(title: &str) -> Option<String> {
    let plain = plain(title);
    let rest = ["reflectance", "spectral", "nm", "r"]
        .into_iter()
        .fold(plain.as_str(), |rest, prefix| {
            rest.strip_prefix(prefix).unwrap_or(rest).trim()
        });
    let rest = rest.strip_suffix("nm").unwrap_or(rest).trim();
    let looks_like_one = rest.starts_with(|c: char| c.is_ascii_digit())
        && number(rest).is_some_and(|(value, _)| (100.0..=2500.0).contains(&value));
    looks_like_one.then(|| rest.to_owned())
}

/// Whether a value column is headed as percent: `R400 %`, `%R`, `reflectance (percent)`,
/// `anything (%)`. A sample called `50% tint` says nothing about the unit.
fn says_percent(title: &str) -> bool {
    let lower = title.to_lowercase();
    let quantity =
        wavelength_title(title).is_some() || QUANTITY_TITLES.contains(&plain(title).as_str());
    let marked = lower.contains('%') || lower.contains("percent");
    marked && quantity || lower.ends_with("(%)") || lower.ends_with("[%]")
}

/// `unit: percent` and the like in a comment.
fn unit_comment(comment: &str) -> Option<Scale> {
    let (key, value) = comment.split_once([':', '='])?;
    if UNIT_TITLES.contains(&plain(key).as_str()) {
        value.parse().ok()
    } else {
        None
    }
}

fn unit_column(head: &Row, rows: &[Row]) -> Result<Option<Scale>, ExchangeError> {
    let column = head
        .cells
        .iter()
        .position(|title| UNIT_TITLES.contains(&plain(title).as_str()));
    let Some(column) = column else {
        return Ok(None);
    };
    let mut stated = None;
    for row in rows {
        let text = row.cell(column);
        if text.is_empty() {
            continue;
        }
        let (line, brief) = (row.line, brief(text));
        let Ok(scale) = text.parse() else {
            return Err(ExchangeError::UnknownUnit { line, text: brief });
        };
        if stated.is_some_and(|before| before != scale) {
            return Err(ExchangeError::ConflictingUnits { line, text: brief });
        }
        stated = Some(scale);
    }
    Ok(stated)
}
