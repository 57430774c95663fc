//! CSV: a row for each sample.

use crate::exchange::delimited;
use crate::exchange::document::{SpectraFile, Tag};
use crate::exchange::packed;
use crate::exchange::stated::Key;
use crate::exchange::write::{Places, nanometers, plan, values};

const PLACES: Places = Places {
    in_head: |tag| {
        let comment = format!("{}: {}", tag.name, tag.value);
        let back = delimited::comment_tag(&comment);
        is_plain(tag) && back == Some((&tag.name, &tag.value))
    },
    in_column: is_plain,
    name_of: Key::column,
};

/// Whether a tag comes back from a column or comment as it is.
fn is_plain(tag: &Tag) -> bool {
    let trimmed = |text: &str| !text.is_empty() && text.trim() == text;
    let one_line = |text: &str| !text.contains(char::is_control);
    trimmed(&tag.name)
        && trimmed(&tag.value)
        && one_line(&tag.name)
        && one_line(&tag.value)
        && delimited::is_tag_title(&tag.name)
        && !tag.name.eq_ignore_ascii_case(packed::NAME)
}

pub(super) fn write(file: &SpectraFile) -> String {
    let plan = plan(file, &PLACES);
    let mut text = String::new();
    for comment in &file.comments {
        let mark = match delimited::comment_tag(comment) {
            Some(_) => "##",
            None => "#",
        };
        text.push_str(format!("{mark} {}", comment.replace('\n', " ")).trim_end());
        text.push('\n');
    }
    text.push_str(&format!("# unit: {}\n", file.scale));
    for (name, value) in &plan.head {
        text.push_str(&format!("# {name}: {value}\n"));
    }
    let mut row = |cells: Vec<String>| {
        let quoted: Vec<String> = cells
            .iter()
            .map(|cell| match cell.parse::<f64>() {
                Ok(_) => cell.clone(),
                Err(_) => format!("\"{}\"", cell.replace('"', "\"\"")),
            })
            .collect();
        text.push_str(&quoted.join(","));
        text.push('\n');
    };
    let wavelengths = file.readings.first().map(nanometers).unwrap_or_default();
    let mut titles = vec!["name".to_owned()];
    titles.extend(plan.columns);
    titles.extend(wavelengths.iter().map(|nm| format!("R{nm}")));
    row(titles);
    for (reading, cells) in file.readings.iter().zip(plan.rows) {
        let mut line = vec![reading.name.clone()];
        line.extend(cells);
        line.extend(values(reading, file.scale));
        row(line);
    }
    text
}
