//! Charts: reflectance curves, differences and drift over time, in the terminal and as SVG or PNG.
//!
//! A [`Figure`] says what is drawn; [`terminal`] and [`picture`] draw the same figure. Curves differ by stroke and
//! marker first and by color second, so that they can be told apart in print, on a terminal without color, and by
//! people who see colors differently.

mod curves;
mod drift;
mod options;
mod picture;
mod scale;
mod terminal;

use std::fmt;
use std::sync::Arc;

pub(crate) use curves::{MAX_CURVES, difference, reflectance};
pub(crate) use drift::DriftChart;
pub(crate) use options::PlotOptions;
pub(crate) use terminal::{draw, width};

/// What is drawn.
#[derive(Debug, Clone)]
pub(crate) struct Figure {
    title: String,
    x: Axis,
    y: Axis,
    series: Vec<Series>,
    levels: Vec<Level>,
}

/// One axis. Ticks stand at `from`, `from + step` and so on up to `to`.
#[derive(Clone)]
struct Axis {
    /// What is counted, with its unit.
    label: String,
    from: f64,
    to: f64,
    step: f64,
    /// How a tick is written.
    written: Arc<dyn Fn(f64) -> String + Send + Sync>,
}

impl fmt::Debug for Axis {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Axis")
            .field("label", &self.label)
            .field("from", &self.from)
            .field("to", &self.to)
            .field("step", &self.step)
            .finish_non_exhaustive()
    }
}

impl Axis {
    fn ticks(&self) -> impl Iterator<Item = f64> + '_ {
        (0..=u32::MAX)
            .map(|i| self.from + f64::from(i) * self.step)
            .take_while(|tick| *tick <= self.to + self.step * 1e-6)
    }

    /// Where a value lies, from 0 at the start to 1 at the end.
    fn share(&self, value: f64) -> f64 {
        (value - self.from) / (self.to - self.from)
    }
}

/// Points in rising x and how they are drawn.
#[derive(Debug, Clone)]
struct Series {
    name: String,
    points: Vec<(f64, f64)>,
    look: Look,
}

/// How a series looks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Look {
    /// A solid line without markers.
    Solid,
    /// A dashed line with a marker at each point; in the terminal the markers only.
    Marked(Marker),
    /// A solid line with a marker at each point.
    Joined(Marker),
    /// Markers only.
    Points(Marker),
}

/// What stands at a point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Marker {
    Circle,
    Cross,
    Plus,
    Triangle,
    Square,
}

impl Marker {
    const ALL: [Self; 5] = [
        Self::Circle,
        Self::Cross,
        Self::Plus,
        Self::Triangle,
        Self::Square,
    ];

    /// In the terminal: plain ASCII, which every font has.
    const fn letter(self) -> char {
        match self {
            Self::Circle => 'o',
            Self::Cross => 'x',
            Self::Plus => '+',
            Self::Triangle => '^',
            Self::Square => '#',
        }
    }
}

/// A horizontal line that the points are judged by.
#[derive(Debug, Clone)]
struct Level {
    name: String,
    at: f64,
    kind: LevelKind,
}

/// How a level is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum LevelKind {
    /// Dotted.
    Center,
    /// Dashed.
    Limit,
}

impl LevelKind {
    const fn letter(self) -> char {
        match self {
            Self::Center => '.',
            Self::Limit => '-',
        }
    }
}

impl Figure {
    /// What each curve and level is, with its letter in the terminal.
    fn legend(&self) -> impl Iterator<Item = (String, &str)> {
        let series = self.series.iter().map(|series| {
            let sign = match series.look {
                Look::Solid => "⠤⠤⠤".to_owned(),
                Look::Joined(marker) => format!("{}⠤{}", marker.letter(), marker.letter()),
                Look::Marked(marker) | Look::Points(marker) => {
                    format!("{} {}", marker.letter(), marker.letter())
                }
            };
            (sign, series.name.as_str())
        });
        let levels = self.levels.iter().map(|level| {
            let sign = String::from_iter([level.kind.letter(); 3]);
            (sign, level.name.as_str())
        });
        series.chain(levels)
    }
}
