//! Whether the terminal takes colors.

/// `--color`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, clap::ValueEnum)]
pub(crate) enum ColorMode {
    /// When stdout is a terminal that can, and NO_COLOR is not set.
    #[default]
    Auto,
    /// Always, also into a pipe.
    Always,
    /// Never.
    Never,
}

/// What escape sequences may be written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Paint {
    ansi: bool,
    truecolor: bool,
}

impl Paint {
    /// From the option, the terminal, and the surroundings. An option outranks `NO_COLOR`
    /// (no-color.org: command-line options may override it).
    pub(crate) fn decide(
        mode: ColorMode,
        terminal: bool,
        surroundings: impl Fn(&str) -> Option<String>,
    ) -> Self {
        let truecolor = matches!(
            surroundings("COLORTERM").as_deref(),
            Some("truecolor" | "24bit")
        );
        match mode {
            ColorMode::Always => Self {
                ansi: true,
                truecolor: true,
            },
            ColorMode::Never => Self {
                ansi: false,
                truecolor: false,
            },
            ColorMode::Auto => {
                let refused = surroundings("NO_COLOR").is_some_and(|value| !value.is_empty())
                    || surroundings("TERM").as_deref() == Some("dumb");
                let ansi = terminal && !refused;
                Self {
                    ansi,
                    truecolor: ansi && truecolor,
                }
            }
        }
    }

    /// Whether 24-bit colors may be written.
    pub(crate) const fn truecolor(self) -> bool {
        self.truecolor
    }

    /// Bold.
    pub(crate) fn bold(self, text: &str) -> String {
        self.wrap(text, "1")
    }

    /// Bold red.
    pub(crate) fn warning(self, text: &str) -> String {
        self.wrap(text, "1;31")
    }

    /// Text that belongs to a series of a chart: cyan, yellow, green, magenta, blue, white by turns.
    pub(crate) fn series(self, text: &str, series: usize) -> String {
        const CODES: [&str; 6] = ["36", "33", "32", "35", "34", "37"];
        self.wrap(text, CODES[series % CODES.len()])
    }

    fn wrap(self, text: &str, code: &str) -> String {
        if self.ansi {
            format!("\u{1b}[{code}m{text}\u{1b}[0m")
        } else {
            text.to_owned()
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn decide(mode: ColorMode, terminal: bool, set: &[(&str, &str)]) -> (bool, bool) {
        let paint = Paint::decide(mode, terminal, |name| {
            set.iter()
                .find(|(key, _)| *key == name)
                .map(|(_, value)| (*value).to_owned())
        });
        (paint.ansi, paint.truecolor)
    }

    #[test]
    fn colors_follow_terminal_no_color_and_option() {
        use ColorMode::{Always, Auto, Never};
        let full = [("COLORTERM", "truecolor"), ("TERM", "xterm")];
        assert_eq!(decide(Auto, true, &full), (true, true));
        assert_eq!(decide(Auto, true, &[("TERM", "xterm")]), (true, false));
        assert_eq!(decide(Auto, false, &full), (false, false));
        assert_eq!(
            decide(Auto, true, &[("NO_COLOR", "1"), full[0]]),
            (false, false)
        );
        assert_eq!(
            decide(Auto, true, &[("NO_COLOR", ""), full[0]]),
            (true, true)
        );
        assert_eq!(
            decide(Auto, true, &[("TERM", "dumb"), full[0]]),
            (false, false)
        );
        assert_eq!(decide(Always, false, &[("NO_COLOR", "1")]), (true, true));
        assert_eq!(decide(Never, true, &full), (false, false));
    }
}
