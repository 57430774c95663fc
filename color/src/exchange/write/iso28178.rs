//! ISO 28178 text.

use crate::exchange::delimited::{self, UNIT_TITLES};
use crate::exchange::document::{SpectraFile, Tag};
use crate::exchange::packed;
use crate::exchange::stated::Key;
use crate::exchange::write::{Places, nanometers, plan, values};

/// Keywords that the standard has (from memory of it); others are announced by `KEYWORD`.
const KNOWN: [&str; 20] = [
    "ORIGINATOR",
    "FILE_DESCRIPTOR",
    "DESCRIPTOR",
    "CREATED",
    "MANUFACTURER",
    "MANUFACTURE",
    "PROD_DATE",
    "SERIAL",
    "MATERIAL",
    "INSTRUMENTATION",
    "MEASUREMENT_SOURCE",
    "MEASUREMENT_GEOMETRY",
    "MEASUREMENT_APERTURE",
    "PRINT_CONDITIONS",
    "SAMPLE_BACKING",
    "FILTER",
    "POLARIZATION",
    "WEIGHTING_FUNCTION",
    "COMPUTATIONAL_PARAMETER",
    "TARGET_TYPE",
];
/// Words with a meaning of their own.
const RESERVED: [&str; 10] = [
    "KEYWORD",
    "BEGIN_DATA_FORMAT",
    "END_DATA_FORMAT",
    "BEGIN_DATA",
    "END_DATA",
    "NUMBER_OF_FIELDS",
    "NUMBER_OF_SETS",
    "SAMPLE_NAME",
    "SPECTRAL_NM",
    packed::NAME,
];

const PLACES: Places = Places {
    in_head: |tag| is_word(&tag.name) && is_one_line(&tag.value),
    in_column: |tag| {
        is_word(&tag.name) && is_one_line(&tag.value) && !tag.value.is_empty() && is_field(tag)
    },
    name_of: Key::keyword,
};

/// Whether a name can stand without quotes and means nothing else.
fn is_word(name: &str) -> bool {
    let lower = name.to_lowercase();
    let allowed = |c: char| c.is_alphanumeric() || "_-.:/@".contains(c);
    !name.is_empty()
        && name.chars().all(allowed)
        && !RESERVED.iter().any(|word| name.eq_ignore_ascii_case(word))
        && !UNIT_TITLES.contains(&lower.as_str())
}

fn is_field(tag: &Tag) -> bool {
    delimited::wavelength_title(&tag.name).is_none()
}

fn is_one_line(value: &str) -> bool {
    !value.contains(char::is_control)
}

fn quote(text: &str) -> String {
    format!(
        "\"{}\"",
        text.replace(char::is_control, " ").replace('"', "\"\"")
    )
}

pub(super) fn write(file: &SpectraFile) -> String {
    let plan = plan(file, &PLACES);
    let mut lines = vec!["ISO28178".to_owned()];
    for comment in &file.comments {
        let line = format!("# {}", comment.replace('\n', " "));
        lines.push(line.trim_end().to_owned());
    }
    let unit = ("UNIT".to_owned(), file.scale.to_string());
    for (name, value) in plan.head.iter().chain([&unit]) {
        if !KNOWN.contains(&name.as_str()) {
            lines.push(format!("KEYWORD {}", quote(name)));
        }
        lines.push(format!("{name} {}", quote(value)));
    }
    let wavelengths = file.readings.first().map(nanometers).unwrap_or_default();
    let mut fields = vec!["SAMPLE_NAME".to_owned()];
    fields.extend(plan.columns);
    fields.extend(wavelengths.iter().map(|nm| format!("SPECTRAL_NM{nm}")));
    lines.push(format!("NUMBER_OF_FIELDS {}", fields.len()));
    lines.push("BEGIN_DATA_FORMAT".to_owned());
    lines.push(fields.join("\t"));
    lines.push("END_DATA_FORMAT".to_owned());
    lines.push(format!("NUMBER_OF_SETS {}", file.readings.len()));
    lines.push("BEGIN_DATA".to_owned());
    for (reading, cells) in file.readings.iter().zip(plan.rows) {
        let mut set = vec![quote(&reading.name)];
        set.extend(cells.iter().map(|cell| quote(cell)));
        set.extend(values(reading, file.scale));
        lines.push(set.join("\t"));
    }
    lines.push("END_DATA\n".to_owned());
    lines.join("\n")
}
