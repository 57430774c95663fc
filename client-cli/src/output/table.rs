//! Tables whose columns stay in line, whatever script the cells are in.

use unicode_width::UnicodeWidthStr as _;

use super::{Paint, plain};

/// Rows under headings.
#[derive(Debug)]
pub(crate) struct Table {
    headings: Vec<String>,
    right: Vec<bool>,
    rows: Vec<Vec<String>>,
}

impl Table {
    /// Headings; one that starts with `>` is a column of numbers, set to the right.
    pub(crate) fn new<T: AsRef<str>>(headings: &[T]) -> Self {
        Self {
            right: headings
                .iter()
                .map(|text| text.as_ref().starts_with('>'))
                .collect(),
            headings: headings
                .iter()
                .map(|text| plain(text.as_ref().trim_start_matches('>')))
                .collect(),
            rows: Vec::new(),
        }
    }

    /// A row; as many cells as headings.
    pub(crate) fn row(&mut self, cells: impl IntoIterator<Item = String>) {
        let row: Vec<String> = cells
            .into_iter()
            .map(|cell| plain(&cell).replace('\n', " "))
            .collect();
        debug_assert_eq!(row.len(), self.headings.len(), "a cell for every heading");
        self.rows.push(row);
    }

    /// Whether it has no rows.
    pub(crate) fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    pub(super) fn draw(&self, text: &mut String, paint: Paint) {
        let mut widths: Vec<usize> = self.headings.iter().map(|cell| cell.width()).collect();
        for row in &self.rows {
            for (width, cell) in widths.iter_mut().zip(row) {
                *width = (*width).max(cell.width());
            }
        }
        let line = |cells: &mut dyn Iterator<Item = &str>| {
            let mut line = String::new();
            for (column, cell) in cells.enumerate() {
                if column > 0 {
                    line.push_str("  ");
                }
                let blank = " ".repeat(widths[column].saturating_sub(cell.width()));
                if self.right[column] {
                    line.push_str(&blank);
                    line.push_str(cell);
                } else {
                    line.push_str(cell);
                    line.push_str(&blank);
                }
            }
            line.trim_end().to_owned()
        };
        text.push_str(&paint.bold(&line(&mut self.headings.iter().map(String::as_str))));
        text.push('\n');
        for row in &self.rows {
            text.push_str(&line(&mut row.iter().map(String::as_str)));
            text.push('\n');
        }
    }
}

#[cfg(test)]
mod tests {
    use unicode_normalization::UnicodeNormalization as _;

    use super::*;
    use crate::output::{ColorMode, Screen};

    #[test]
    fn columns_stay_in_line_for_wide_and_combining_characters() {
        let mut table = Table::new(&["name", ">cans", "store"]);
        // The second one has its accent as a character of its own.
        for (name, cans) in [
            ("Zoe\u{308} Tamm", "2"),
            ("Zoë Tamm", "12"),
            ("李 三多", "7"),
        ] {
            table.row([name.to_owned(), cans.to_owned(), "North Quay".to_owned()]);
        }
        let paint = Paint::decide(ColorMode::Never, false, |_| None);
        let mut screen = Screen::for_test(paint);
        screen.table(&table);
        let composed: String = screen.text().nfc().collect();
        insta::assert_snapshot!(composed, @r"
        name      cans  store
        Zoë Tamm     2  North Quay
        Zoë Tamm    12  North Quay
        李 三多      7  North Quay
        ");
    }
}
