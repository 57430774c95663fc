//! ISO 28178 text (CGATS.17): keywords, a data format, and sets of values, in one table or more.

use std::collections::HashMap;

use crate::exchange::budget::Budget;
use crate::exchange::delimited::{UNIT_TITLES, bare_wavelength, wavelength_title};
use crate::exchange::digits::number;
use crate::exchange::document::{Tag, WithoutSpectrum};
use crate::exchange::packed;
use crate::exchange::stated::Stated;
use crate::exchange::table::{
    Cell, RawFile, RawSample, RawTable, brief, named, note, note_unnamed,
};
use crate::exchange::{ExchangeError, FileFormat, Scale};

/// Fields that name a sample, the best first.
const NAMES: [&str; 4] = ["SAMPLE_NAME", "SAMPLE_ID", "SampleID", "NAME"];
/// Beginnings of the first line.
const FILE_TYPES: [&str; 4] = ["ISO28178", "CGATS", "IT8.7", "ISO12642"];
/// A wavelength beside each value, instead of in the field's name.
const WAVELENGTH_FIELD: &str = "SPECTRAL_NM";
/// Values that go with [`WAVELENGTH_FIELD`], and their unit.
const VALUE_FIELDS: [(&str, Scale); 2] = [
    ("SPECTRAL_PCT", Scale::Percent),
    ("SPECTRAL_DEC", Scale::Fraction),
];

pub(super) fn is_one(text: &str) -> bool {
    let mut lines = text.lines().map(str::trim).filter(|line| !line.is_empty());
    let first = lines.clone().next().unwrap_or_default();
    FILE_TYPES.iter().any(|kind| first.starts_with(kind))
        || lines.any(|line| line == "BEGIN_DATA_FORMAT" || line == "BEGIN_DATA")
}

/// A piece of a line.
struct Token {
    text: String,
    quoted: bool,
}

/// A table as it stands.
#[derive(Default)]
struct Table {
    fields: Vec<(String, u64)>,
    sets: Vec<(u64, Vec<String>)>,
    /// Where its data begin.
    line: u64,
    /// `NUMBER_OF_FIELDS` and `NUMBER_OF_SETS`, with their lines.
    field_count: Option<(u64, String)>,
    set_count: Option<(u64, String)>,
}

/// Where in a table a line stands.
#[derive(Clone, Copy, PartialEq)]
enum Part {
    Head,
    Format(u64),
    Data(u64),
}

struct Taken {
    tables: Vec<Table>,
    tags: Vec<Tag>,
    comments: Vec<String>,
    scale: Option<Scale>,
}

pub(super) fn read(
    text: &str,
    asked: Option<usize>,
    budget: &mut Budget,
    assumed: &mut Vec<String>,
) -> Result<RawFile, ExchangeError> {
    let mut taken = take(text, budget)?;
    let tables = std::mem::take(&mut taken.tables);
    let (spectral, others): (Vec<Table>, Vec<Table>) = tables
        .into_iter()
        .partition(|table| is_spectral(&table.fields));
    let table = choose(spectral, &others, asked, assumed)?;
    let (raw, scale) = spectra(table, budget, assumed)?;
    let mut file = RawFile {
        format: FileFormat::Iso28178,
        scale: scale.or(taken.scale),
        tables: vec![raw],
        without_spectrum: Vec::new(),
        tags: taken.tags,
        comments: taken.comments,
    };
    for other in others {
        join(&mut file, other, budget, assumed)?;
    }
    Ok(file)
}

/// Splits the text into tables, keywords and comments.
fn take(text: &str, budget: &mut Budget) -> Result<Taken, ExchangeError> {
    let mut taken = Taken {
        tables: Vec::new(),
        tags: Vec::new(),
        comments: Vec::new(),
        scale: None,
    };
    let mut table = Table::default();
    let mut part = Part::Head;
    for (line, written) in (1..).zip(text.lines()) {
        let (tokens, comment) = tokens(written, line)?;
        if let Some(comment) = comment {
            budget.texts(&[comment.len()])?;
            taken.comments.push(comment);
        }
        let Some(head) = tokens.first() else {
            continue;
        };
        let word = if head.quoted { "" } else { head.text.as_str() };
        match (part, word) {
            (Part::Head, "BEGIN_DATA_FORMAT") => {
                table.fields.clear();
                part = Part::Format(line);
            }
            (Part::Head, "BEGIN_DATA") => {
                if table.fields.is_empty() {
                    return Err(ExchangeError::NoDataFormat { line });
                }
                table.line = line;
                part = Part::Data(line);
            }
            (Part::Format(_), "END_DATA_FORMAT") => {
                check_fields(&table, line)?;
                part = Part::Head;
            }
            (Part::Format(_), _) => {
                for token in tokens {
                    budget.texts(&[token.text.len(), 16])?;
                    table.fields.push((token.text, line));
                }
            }
            (Part::Data(_), "END_DATA") => {
                check_sets(&table)?;
                taken.tables.push(std::mem::take(&mut table));
                part = Part::Head;
            }
            (Part::Data(_), _) => {
                let (found, expected) = (tokens.len(), table.fields.len());
                if found != expected {
                    return Err(ExchangeError::SetWidth {
                        line,
                        expected,
                        found,
                    });
                }
                budget.spend(found * 100 + written.len())?;
                let cells = tokens.into_iter().map(|token| token.text).collect();
                table.sets.push((line, cells));
            }
            (Part::Head, _) => {
                let is_type = FILE_TYPES.iter().any(|kind| word.starts_with(kind));
                if !(is_type && tokens.len() == 1) {
                    keyword(tokens, line, &mut table, &mut taken, budget)?;
                }
            }
        }
    }
    let within = |line, within: &str| ExchangeError::Truncated {
        line,
        within: within.to_owned(),
    };
    match part {
        Part::Format(line) => Err(within(line, "BEGIN_DATA_FORMAT")),
        Part::Data(line) => Err(within(line, "BEGIN_DATA")),
        Part::Head if taken.tables.is_empty() && !table.fields.is_empty() => {
            Err(within(table.fields[0].1, "its head, without BEGIN_DATA"))
        }
        Part::Head => Ok(taken),
    }
}

fn keyword(
    tokens: Vec<Token>,
    line: u64,
    table: &mut Table,
    taken: &mut Taken,
    budget: &mut Budget,
) -> Result<(), ExchangeError> {
    let mut texts = tokens.into_iter().map(|token| token.text);
    let name = texts.next().unwrap_or_default();
    let value = texts.collect::<Vec<_>>().join(" ");
    budget.texts(&[name.len(), value.len(), 0])?;
    match name.as_str() {
        // Says that a keyword is none of the standard; the keyword itself follows.
        "KEYWORD" => {}
        "NUMBER_OF_FIELDS" => table.field_count = Some((line, value)),
        "NUMBER_OF_SETS" => table.set_count = Some((line, value)),
        _ if UNIT_TITLES.contains(&name.to_lowercase().as_str()) => {
            let Ok(scale) = value.parse() else {
                let text = brief(&value);
                return Err(ExchangeError::UnknownUnit { line, text });
            };
            if taken.scale.is_some_and(|before| before != scale) {
                let text = brief(&value);
                return Err(ExchangeError::ConflictingUnits { line, text });
            }
            taken.scale = Some(scale);
        }
        _ => match packed::unpack(&name, &value) {
            Some(tags) => taken.tags.extend(tags),
            None => taken.tags.push(Tag::new(name, value)),
        },
    }
    Ok(())
}

/// The pieces of a line, parted by blanks and tabs; quotes hold blanks, a doubled quote stands
/// for one (from memory of the standard). A `#` outside quotes begins a comment.
fn tokens(written: &str, line: u64) -> Result<(Vec<Token>, Option<String>), ExchangeError> {
    let mut tokens = Vec::new();
    let mut rest = written.trim_start();
    while !rest.is_empty() {
        if let Some(comment) = rest.strip_prefix('#') {
            return Ok((tokens, Some(comment.trim().to_owned())));
        }
        let Some(mut quoted) = rest.strip_prefix('"') else {
            let end = rest.find(char::is_whitespace).unwrap_or(rest.len());
            tokens.push(Token {
                text: rest[..end].to_owned(),
                quoted: false,
            });
            rest = rest[end..].trim_start();
            continue;
        };
        let mut text = String::new();
        loop {
            let Some(end) = quoted.find('"') else {
                return Err(ExchangeError::Malformed {
                    line,
                    reason: "a quotation mark is not closed".to_owned(),
                });
            };
            text.push_str(&quoted[..end]);
            quoted = &quoted[end + 1..];
            match quoted.strip_prefix('"') {
                Some(after) => {
                    text.push('"');
                    quoted = after;
                }
                None => break,
            }
        }
        tokens.push(Token { text, quoted: true });
        rest = quoted.trim_start();
    }
    Ok((tokens, None))
}

fn check_fields(table: &Table, line: u64) -> Result<(), ExchangeError> {
    let mut seen = HashMap::new();
    for (field, line) in &table.fields {
        let paired =
            field == WAVELENGTH_FIELD || VALUE_FIELDS.iter().any(|(value, _)| value == field);
        if seen.insert(field, ()).is_some() && !paired {
            return Err(ExchangeError::DuplicateField {
                line: *line,
                field: brief(field),
            });
        }
    }
    match &table.field_count {
        None if table.fields.is_empty() => Err(ExchangeError::NoDataFormat { line }),
        None => Ok(()),
        Some(stated) => check_count("NUMBER_OF_FIELDS", stated, table.fields.len()),
    }
}

fn check_sets(table: &Table) -> Result<(), ExchangeError> {
    match &table.set_count {
        None => Ok(()),
        Some(stated) => check_count("NUMBER_OF_SETS", stated, table.sets.len()),
    }
}

fn check_count(keyword: &str, stated: &(u64, String), found: usize) -> Result<(), ExchangeError> {
    if stated.1.parse() == Ok(found) {
        return Ok(());
    }
    Err(ExchangeError::Count {
        line: stated.0,
        keyword: keyword.to_owned(),
        stated: brief(&stated.1),
        found,
    })
}

fn is_spectral(fields: &[(String, u64)]) -> bool {
    fields
        .iter()
        .any(|(field, _)| field == WAVELENGTH_FIELD || wavelength_title(field).is_some())
}

/// The one table with spectra, or the one asked for.
fn choose(
    mut spectral: Vec<Table>,
    others: &[Table],
    asked: Option<usize>,
    assumed: &mut Vec<String>,
) -> Result<Table, ExchangeError> {
    let count = spectral.len();
    let lines = |tables: &[Table]| {
        let lines: Vec<String> = tables.iter().map(|table| table.line.to_string()).collect();
        brief(&lines.join(", "))
    };
    match (count, asked) {
        (0, _) => Err(without_spectra(others)),
        (1, None) => Ok(spectral.remove(0)),
        (_, None) => Err(ExchangeError::SeveralTables {
            count,
            lines: lines(&spectral),
        }),
        (_, Some(asked)) if asked == 0 || asked > count => {
            Err(ExchangeError::NoSuchTable { asked, count })
        }
        (_, Some(asked)) => {
            let table = spectral.remove(asked - 1);
            if !spectral.is_empty() {
                note(
                    assumed,
                    format!(
                        "only table {asked} with spectra was read; data of the others begin in \
                         lines {}",
                        lines(&spectral)
                    ),
                );
            }
            Ok(table)
        }
    }
}

fn without_spectra(tables: &[Table]) -> ExchangeError {
    let fields: Vec<(&str, u64)> = tables
        .iter()
        .flat_map(|table| &table.fields)
        .map(|(field, line)| (field.as_str(), *line))
        .collect();
    let micrometers = fields.iter().find_map(|(field, line)| {
        let text = bare_wavelength(field);
        let value = number(&text)?.0;
        let of_light = field.len() > text.len() && (0.3..1.2).contains(&value);
        of_light.then_some(ExchangeError::Micrometers { line: *line, text })
    });
    micrometers.unwrap_or_else(|| {
        let names: Vec<&str> = fields.iter().map(|(field, _)| *field).collect();
        let holds = if names.is_empty() {
            "no table of values".to_owned()
        } else {
            brief(&names.join(", "))
        };
        ExchangeError::NoSpectra { holds }
    })
}

/// How the fields of a table are used.
struct Layout {
    /// Columns of the values, and of their wavelengths or the wavelengths themselves.
    values: Vec<(usize, Wavelength)>,
    name: Option<usize>,
    others: Vec<usize>,
    scale: Option<Scale>,
}

enum Wavelength {
    Named(String),
    In(usize),
}

fn layout(table: &Table) -> Result<Layout, ExchangeError> {
    let mut layout = Layout {
        values: Vec::new(),
        name: None,
        others: Vec::new(),
        scale: None,
    };
    let mut pending = None;
    for (column, (field, line)) in table.fields.iter().enumerate() {
        let upper = field.to_uppercase();
        let paired = VALUE_FIELDS.iter().find(|(value, _)| *value == upper);
        let mut scale = None;
        if field == WAVELENGTH_FIELD {
            pending = Some(column);
        } else if let (Some((_, unit)), Some(wavelength)) = (paired, pending.take()) {
            layout.values.push((column, Wavelength::In(wavelength)));
            scale = Some(*unit);
        } else if let Some(nm) = wavelength_title(field) {
            scale = VALUE_FIELDS
                .iter()
                .find_map(|(value, unit)| upper.starts_with(value).then_some(*unit));
            layout.values.push((column, Wavelength::Named(nm)));
        } else {
            layout.others.push(column);
        }
        match (layout.scale, scale) {
            (Some(before), Some(unit)) if before != unit => {
                return Err(ExchangeError::ConflictingUnits {
                    line: *line,
                    text: brief(field),
                });
            }
            _ => layout.scale = layout.scale.or(scale),
        }
    }
    layout.name = NAMES.iter().find_map(|name| {
        let is_it = |column: &usize| table.fields[*column].0 == *name;
        layout.others.iter().copied().find(is_it)
    });
    layout.others.retain(|column| Some(*column) != layout.name);
    Ok(layout)
}

fn spectra(
    table: Table,
    budget: &mut Budget,
    assumed: &mut Vec<String>,
) -> Result<(RawTable, Option<Scale>), ExchangeError> {
    let layout = layout(&table)?;
    if table.sets.is_empty() {
        return Err(ExchangeError::NoValues { line: table.line });
    }
    let mut wavelengths: Vec<Cell> = Vec::new();
    let mut samples = Vec::with_capacity(table.sets.len());
    let mut unnamed = 0;
    let mut not_used = Vec::new();
    for (number, (line, mut set)) in (1..).zip(table.sets) {
        let mut take = |column: usize| Cell {
            line,
            text: std::mem::take(&mut set[column]),
        };
        let nms = layout
            .values
            .iter()
            .map(|(column, wavelength)| match wavelength {
                Wavelength::Named(nm) => Cell {
                    line: table.fields[*column].1,
                    text: nm.clone(),
                },
                Wavelength::In(column) => take(*column),
            });
        // Named wavelengths are the same in every set; those in columns must be.
        if number == 1 {
            wavelengths = nms.collect();
        } else if layout
            .values
            .iter()
            .any(|(_, w)| matches!(w, Wavelength::In(_)))
        {
            for (first, other) in wavelengths.iter().zip(nms) {
                if first.text != other.text {
                    let text = brief(&other.text);
                    return Err(ExchangeError::UnlikeWavelength {
                        line,
                        text,
                        first: brief(&first.text),
                    });
                }
            }
        }
        let cells = layout
            .values
            .iter()
            .map(|(column, _)| take(*column))
            .collect();
        let written = layout
            .name
            .map(|column| take(column).text)
            .unwrap_or_default();
        unnamed += usize::from(written.is_empty());
        let mut tags = Vec::new();
        for column in &layout.others {
            keep(
                &table.fields[*column].0,
                take(*column).text,
                &mut tags,
                budget,
            )?;
        }
        for tag in &tags {
            if number == 1 && crate::exchange::stated::Key::of(&tag.name).is_none() {
                not_used.push(tag.name.clone());
            }
        }
        samples.push(RawSample {
            name: named(&written, number),
            line,
            cells,
            stated: Stated::default(),
            tags,
        });
    }
    if !not_used.is_empty() {
        let fields = brief(&not_used.join(", "));
        note(
            assumed,
            format!("fields kept with the readings but not used: {fields}"),
        );
    }
    note_unnamed(unnamed, assumed);
    let raw = RawTable {
        wavelengths,
        samples,
    };
    Ok((raw, layout.scale))
}

/// Keeps a value that is no spectrum.
fn keep(
    field: &str,
    text: String,
    tags: &mut Vec<Tag>,
    budget: &mut Budget,
) -> Result<(), ExchangeError> {
    if text.is_empty() {
        return Ok(());
    }
    budget.texts(&[field.len(), text.len(), 0])?;
    match packed::unpack(field, &text) {
        Some(unpacked) => tags.extend(unpacked),
        None => tags.push(Tag::new(field, text)),
    }
    Ok(())
}

/// Adds what a table without spectra says to the readings of the same name; the rest is kept
/// apart.
fn join(
    file: &mut RawFile,
    table: Table,
    budget: &mut Budget,
    assumed: &mut Vec<String>,
) -> Result<(), ExchangeError> {
    let fields = &table.fields;
    let key = |name: &&&str| fields.iter().any(|(field, _)| field == **name);
    let key = NAMES.iter().find(key).copied().unwrap_or_default();
    let key_column = fields.iter().position(|(field, _)| field == key);
    let mut places = HashMap::new();
    for (place, sample) in file.tables[0].samples.iter().enumerate() {
        let tagged = sample.tags.iter().find(|tag| tag.name == key);
        let id = tagged.map_or(sample.name.as_str(), |tag| tag.value.as_str());
        places.entry(id.to_owned()).or_insert(place);
    }
    let names: Vec<&str> = fields.iter().map(|(field, _)| field.as_str()).collect();
    note(
        assumed,
        format!(
            "the table in line {} holds no spectra; its values were kept with the readings of the \
             same name: {}",
            table.line,
            brief(&names.join(", "))
        ),
    );
    for (line, set) in table.sets {
        let id = key_column.map_or("", |column| set[column].as_str());
        let place = places.get(id).copied();
        let name = named(id, file.without_spectrum.len() + 1);
        let mut tags = Vec::new();
        for (column, text) in set.into_iter().enumerate() {
            if place.is_none() || Some(column) != key_column {
                keep(&fields[column].0, text, &mut tags, budget)?;
            }
        }
        match place {
            Some(place) => file.tables[0].samples[place].tags.extend(tags),
            None => file.without_spectrum.push(WithoutSpectrum {
                name,
                line,
                holds: "no spectrum".to_owned(),
                tags,
            }),
        }
    }
    Ok(())
}
