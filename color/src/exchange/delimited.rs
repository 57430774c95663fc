//! Delimited text, wide (a row for each sample) and long (a row for each wavelength).

use crate::exchange::budget::Budget;
use crate::exchange::digits::number;
use crate::exchange::document::Tag;
use crate::exchange::packed;
use crate::exchange::stated::{Key, Stated};
use crate::exchange::table::{Cell, RawFile, RawSample, RawTable, brief, named, note_unnamed};
use crate::exchange::{ExchangeError, FileFormat, Scale};

/// Titles of the column that names samples.
const NAME_TITLES: [&str; 6] = ["name", "sample", "sample name", "sample id", "id", "label"];
/// Titles of the column that holds wavelengths.
const WAVELENGTH_TITLES: [&str; 5] = ["wavelength", "wavelengths", "nm", "lambda", "wl"];
/// Titles of the column that states the unit.
pub(super) const UNIT_TITLES: [&str; 3] = ["unit", "units", "scale"];
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

pub(super) fn read(
    text: &str,
    budget: &mut Budget,
    assumed: &mut Vec<String>,
) -> Result<RawFile, ExchangeError> {
    let head_lines = head_lines(text);
    let mut rows = split(text, budget)?.into_iter();
    let head = rows.next().ok_or(ExchangeError::Empty)?;
    let mut rows: Vec<Row> = rows.collect();
    let in_head = head_lines.scale.or_else(|| {
        head.cells
            .iter()
            .any(|title| says_percent(title))
            .then_some(Scale::Percent)
    });

    let (format, scale, table) = if let Some(column) = head
        .cells
        .iter()
        .position(|title| is_wavelength_column(title))
    {
        check_widths(head.cells.len(), &rows)?;
        let table = long(&head, column, rows, assumed)?;
        (FileFormat::CsvLong, in_head, table)
    } else if is_headless_long(&head, &rows) {
        assumed
            .push("the file has no headings; the first column was read as wavelengths".to_owned());
        let untitled = Row {
            line: head.line,
            cells: vec![String::new(); head.cells.len()],
        };
        rows.insert(0, head);
        check_widths(untitled.cells.len(), &rows)?;
        let table = long(&untitled, 0, rows, assumed)?;
        (FileFormat::CsvLong, in_head, table)
    } else if head
        .cells
        .iter()
        .any(|title| wavelength_title(title).is_some())
    {
        check_widths(head.cells.len(), &rows)?;
        let in_rows = unit_column(&head, &rows)?;
        let table = wide(&head, rows, budget, assumed)?;
        (FileFormat::CsvWide, in_rows.or(in_head), table)
    } else {
        return Err(without_wavelengths(&head));
    };
    Ok(RawFile {
        format,
        scale,
        tables: vec![table],
        without_spectrum: Vec::new(),
        tags: head_lines.tags,
        comments: head_lines.comments,
    })
}

/// What lines that start with `#` say.
struct HeadLines {
    scale: Option<Scale>,
    tags: Vec<Tag>,
    comments: Vec<String>,
}

/// `# name: value` and `# name = value` are tags; other lines with `#` are comments, and so are
/// all with `##`.
fn head_lines(text: &str) -> HeadLines {
    let mut found = HeadLines {
        scale: None,
        tags: Vec::new(),
        comments: Vec::new(),
    };
    for line in text.lines().filter_map(|line| line.strip_prefix('#')) {
        let (comment, tag) = match line.strip_prefix('#') {
            Some(comment) => (comment.trim(), None),
            None => (line.trim(), comment_tag(line)),
        };
        let Some((name, value)) = tag else {
            found.comments.push(comment.to_owned());
            continue;
        };
        if UNIT_TITLES.contains(&plain(name).as_str())
            && let Ok(scale) = value.parse()
        {
            found.scale = found.scale.or(Some(scale));
        } else if let Some(tags) = packed::unpack(name, value) {
            found.tags.extend(tags);
        } else {
            found.tags.push(Tag::new(name, value));
        }
    }
    found
}

/// Name and value of a comment that has both.
pub(super) fn comment_tag(comment: &str) -> Option<(&str, &str)> {
    let (name, value) = comment.split_once([':', '='])?;
    let (name, value) = (name.trim(), value.trim());
    (!name.is_empty() && !value.is_empty()).then_some((name, value))
}

/// Says what stands where wavelengths were looked for.
fn without_wavelengths(head: &Row) -> ExchangeError {
    let line = head.line;
    let micrometers = |title: &String| {
        let bare = bare_wavelength(title);
        number(&bare)
            .is_some_and(|(value, _)| (0.3..1.2).contains(&value))
            .then_some(bare)
    };
    let mut found = head.cells.iter().filter_map(micrometers);
    match (found.next(), found.next()) {
        (Some(text), Some(_)) => ExchangeError::Micrometers { line, text },
        _ => ExchangeError::NoWavelengths {
            line,
            heading: brief(&head.cells.join(" ")),
        },
    }
}

/// Rows of trimmed cells, without comments and blank rows.
fn split(text: &str, budget: &mut Budget) -> Result<Vec<Row>, ExchangeError> {
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
        // Each cell is kept as text, and many as a number beside.
        budget.spend(record.len() * 64 + record.as_slice().len())?;
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

fn wide(
    head: &Row,
    rows: Vec<Row>,
    budget: &mut Budget,
    assumed: &mut Vec<String>,
) -> Result<RawTable, ExchangeError> {
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
    let unit_column = titled(&UNIT_TITLES);
    let name_column = titled(&NAME_TITLES).or_else(|| {
        let free =
            |column: &usize| Some(*column) != unit_column && Key::of(head.cell(*column)).is_none();
        others.iter().copied().find(free)
    });
    others.retain(|column| Some(*column) != name_column && Some(*column) != unit_column);
    let not_used: Vec<&str> = others
        .iter()
        .map(|column| head.cell(*column))
        .filter(|title| Key::of(title).is_none())
        .collect();
    if !not_used.is_empty() {
        let titles = brief(&not_used.join(", "));
        assumed.push(format!(
            "columns kept with the readings but not used: {titles}"
        ));
    }
    let mut unnamed = 0;
    let mut samples = Vec::with_capacity(rows.len());
    for (number, mut row) in (1..).zip(rows) {
        let written = name_column.map_or("", |column| row.cell(column));
        unnamed += usize::from(written.is_empty());
        let name = named(written, number);
        let mut tags = Vec::new();
        for column in &others {
            let (title, text) = (head.cell(*column), row.cell(*column));
            if text.is_empty() {
                continue;
            }
            budget.texts(&[title.len(), text.len()])?;
            match packed::unpack(title, text) {
                Some(unpacked) => tags.extend(unpacked),
                None => tags.push(Tag::new(title, text)),
            }
        }
        let line = row.line;
        let cell = |column: &usize| Cell {
            line,
            text: row
                .cells
                .get_mut(*column)
                .map(std::mem::take)
                .unwrap_or_default(),
        };
        samples.push(RawSample {
            name,
            line,
            cells: columns.iter().map(cell).collect(),
            stated: Stated::default(),
            tags,
        });
    }
    note_unnamed(unnamed, assumed);
    Ok(RawTable {
        wavelengths,
        samples,
    })
}

fn long(
    head: &Row,
    wavelength_column: usize,
    mut rows: Vec<Row>,
    assumed: &mut Vec<String>,
) -> Result<RawTable, ExchangeError> {
    let columns: Vec<usize> = (0..head.cells.len())
        .filter(|column| *column != wavelength_column)
        .collect();
    if rows.is_empty() || columns.is_empty() {
        return Err(ExchangeError::NoValues { line: head.line });
    }
    let mut column_of = |column: usize| -> Vec<Cell> {
        let cell = |row: &mut Row| Cell {
            line: row.line,
            text: row
                .cells
                .get_mut(column)
                .map(std::mem::take)
                .unwrap_or_default(),
        };
        rows.iter_mut().map(cell).collect()
    };
    let mut unnamed = 0;
    let mut samples = Vec::with_capacity(columns.len());
    for (number, column) in (1..).zip(&columns) {
        let title = head.cell(*column);
        let written = if QUANTITY_TITLES.contains(&plain(title).as_str()) {
            ""
        } else {
            title
        };
        unnamed += usize::from(written.is_empty());
        samples.push(RawSample {
            name: named(written, number),
            line: head.line,
            cells: column_of(*column),
            stated: Stated::default(),
            tags: Vec::new(),
        });
    }
    note_unnamed(unnamed, assumed);
    Ok(RawTable {
        wavelengths: column_of(wavelength_column),
        samples,
    })
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

/// The wavelength that a heading such as `R400`, `nm400`, `400`, `400 nm`, `SPECTRAL_NM400` or
/// `R_400.0 (%)` stands for.
pub(super) fn wavelength_title(title: &str) -> Option<String> {
    let bare = bare_wavelength(title);
    let looks_like_one = bare.starts_with(|c: char| c.is_ascii_digit())
        && number(&bare).is_some_and(|(value, _)| (100.0..=2500.0).contains(&value));
    looks_like_one.then_some(bare)
}

/// A heading without the words that go with a wavelength.
pub(super) fn bare_wavelength(title: &str) -> String {
    let plain = plain(title);
    let words = [
        "reflectance",
        "spectral",
        "spec",
        "pct",
        "dec",
        "lambda",
        "wl",
        "nm",
        "r",
    ];
    let rest = words.into_iter().fold(plain.as_str(), |rest, word| {
        rest.strip_prefix(word).unwrap_or(rest).trim()
    });
    rest.strip_suffix("nm").unwrap_or(rest).trim().to_owned()
}

/// Whether a column holds the wavelengths of a long file.
fn is_wavelength_column(title: &str) -> bool {
    WAVELENGTH_TITLES.contains(&plain(title).as_str())
}

/// Whether a column of a wide file with this title is kept as a tag of that name.
pub(super) fn is_tag_title(title: &str) -> bool {
    let plain = plain(title);
    !(wavelength_title(title).is_some()
        || is_wavelength_column(title)
        || UNIT_TITLES.contains(&plain.as_str())
        || says_percent(title))
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
