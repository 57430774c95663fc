//! What a run prints: one JSON document, or a screen for a person; messages go to stderr.

mod paint;
mod swatch;
mod table;

use std::fmt::Write as _;
use std::io::{self, IsTerminal as _, Write as _};

use serde::Serialize;
use time::OffsetDateTime;
use time::macros::format_description;

use crate::exit::Failure;
use crate::plot;
pub(crate) use paint::{ColorMode, Paint};
pub(crate) use table::Table;

/// Where a run prints to, and how.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Output {
    json: bool,
    paint: Paint,
}

impl Output {
    /// As asked for on the command line.
    pub(crate) fn new(json: bool, mode: ColorMode) -> Self {
        Self {
            json,
            paint: Paint::decide(mode, io::stdout().is_terminal(), |name| {
                std::env::var(name).ok()
            }),
        }
    }

    /// Whether a document is wanted, and no screen.
    pub(crate) const fn is_json(self) -> bool {
        self.json
    }

    /// Prints the document, or the screen when no JSON was asked for.
    ///
    /// # Errors
    /// When stdout can't be written; a reader that closed the pipe early is no error.
    pub(crate) fn show<T: Serialize>(
        self,
        document: &T,
        screen: impl FnOnce(&mut Screen),
    ) -> Result<(), Failure> {
        if self.json {
            let mut text = serde_json::to_string(document).map_err(|error| {
                Failure::new(
                    crate::exit::Exit::Internal,
                    "internal",
                    format!("the answer can't be written as JSON: {error}"),
                )
            })?;
            text.push('\n');
            return raw(text.as_bytes());
        }
        let mut drawn = Screen {
            text: String::new(),
            paint: self.paint,
        };
        screen(&mut drawn);
        raw(drawn.text.as_bytes())
    }

    /// Says something to the person, beside the answer.
    pub(crate) fn say(self, message: &str) {
        say(message);
    }

    /// Reports a failure: in words on stderr, and as the document when JSON was asked for.
    pub(crate) fn fail(self, failure: &Failure) {
        say(failure.to_string().trim_end());
        if self.json {
            #[derive(Serialize)]
            struct Document<'a> {
                error: &'a Failure,
            }
            let shown = self.show(&Document { error: failure }, |_| {});
            if let Err(second) = shown {
                say(&second.to_string());
            }
        }
    }
}

/// Writes to stderr; there is nobody left to tell when that fails.
pub(crate) fn say(message: &str) {
    let _ = writeln!(io::stderr().lock(), "{message}");
}

/// Writes bytes to stdout as they are.
///
/// # Errors
/// When stdout can't be written; a closed pipe is no error.
pub(crate) fn raw(bytes: &[u8]) -> Result<(), Failure> {
    let mut stdout = io::stdout().lock();
    match stdout.write_all(bytes).and_then(|()| stdout.flush()) {
        Err(error) if error.kind() == io::ErrorKind::BrokenPipe => Ok(()),
        Err(error) => Err(Failure::machine("writing the answer to stdout", &error)),
        Ok(()) => Ok(()),
    }
}

/// Text that is being drawn for a person.
#[derive(Debug)]
pub(crate) struct Screen {
    text: String,
    paint: Paint,
}

impl Screen {
    /// A line.
    pub(crate) fn line(&mut self, text: impl AsRef<str>) {
        self.text.push_str(&plain(text.as_ref()));
        self.text.push('\n');
    }

    /// A line that stands out.
    pub(crate) fn bold(&mut self, text: impl AsRef<str>) {
        let text = self.paint.bold(&plain(text.as_ref()));
        self.text.push_str(&text);
        self.text.push('\n');
    }

    /// A warning: in words, so that it stands out without color too.
    pub(crate) fn warn(&mut self, text: impl AsRef<str>) {
        let text = self.paint.warning(&format!("! {}", plain(text.as_ref())));
        self.text.push_str(&text);
        self.text.push('\n');
    }

    /// A name and its value, the values in one column.
    pub(crate) fn pair(&mut self, name: &str, value: impl AsRef<str>) {
        let _ = writeln!(self.text, "{name:<12} {}", plain(value.as_ref()));
    }

    /// A name and a color: a block of it where the terminal can, and its numbers.
    pub(crate) fn color(&mut self, name: &str, lab: color::Lab, words: &str) {
        let block = swatch::block(self.paint, lab);
        let _ = writeln!(
            self.text,
            "{name:<12} {block}{}{}",
            lab_text(lab),
            plain(words)
        );
    }

    /// A table.
    pub(crate) fn table(&mut self, table: &Table) {
        table.draw(&mut self.text, self.paint);
    }

    /// A chart, as wide as the terminal allows.
    pub(crate) fn figure(&mut self, figure: &plot::Figure) {
        self.text
            .push_str(&plot::draw(figure, self.paint, plot::width()));
    }

    /// An empty line.
    pub(crate) fn gap(&mut self) {
        self.text.push('\n');
    }

    #[cfg(test)]
    pub(crate) fn for_test(paint: Paint) -> Self {
        Self {
            text: String::new(),
            paint,
        }
    }

    #[cfg(test)]
    pub(crate) fn text(&self) -> &str {
        &self.text
    }
}

/// A Lab color in words.
pub(crate) fn lab_text(lab: color::Lab) -> String {
    // Adding zero turns -0.0, which would print as "-0.00", into 0.0.
    let shown = |value: f64| (value * 100.0).round() / 100.0 + 0.0;
    format!(
        "L* {:.2}  a* {:.2}  b* {:.2}",
        shown(lab.l),
        shown(lab.a),
        shown(lab.b)
    )
}

/// A time as a counter reads it.
pub(crate) fn time_text(at: OffsetDateTime) -> String {
    at.to_offset(time::UtcOffset::UTC)
        .format(format_description!(
            "[year]-[month]-[day] [hour]:[minute] UTC"
        ))
        .unwrap_or_else(|_| at.unix_timestamp().to_string())
}

/// Text without what could steer the terminal: control characters, and characters that turn the
/// direction of the text after them (Unicode Standard Annex 9).
pub(crate) fn plain(text: &str) -> String {
    text.chars()
        .map(|c| {
            let steers = c.is_control() && c != '\n'
                || matches!(c, '\u{202A}'..='\u{202E}' | '\u{2066}'..='\u{2069}');
            if steers { '\u{FFFD}' } else { c }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_from_elsewhere_cannot_steer_the_terminal() {
        assert_eq!(
            plain("a\u{1b}[2Jb\u{202e}c\u{7}\r"),
            "a\u{fffd}[2Jb\u{fffd}c\u{fffd}\u{fffd}"
        );
        assert_eq!(plain("Žofie 李 \nعمر"), "Žofie 李 \nعمر");
    }

    #[test]
    fn small_negative_values_do_not_print_a_minus_before_zero() {
        let lab = color::Lab::new(50.0, -0.001, 0.0).unwrap();
        assert_eq!(lab_text(lab), "L* 50.00  a* 0.00  b* 0.00");
    }
}
