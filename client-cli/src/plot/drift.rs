//! How a tile's readings move over time: points, center line and control limits.

use std::sync::Arc;

use time::{Date, Duration, OffsetDateTime, UtcOffset};

use super::scale;
use super::{Axis, Figure, Level, LevelKind, Look, Marker, Series};

/// Days between ticks of the time axis: the smallest that leaves at most [`MOST_TICKS`].
const DAY_STEPS: [u32; 10] = [1, 2, 7, 14, 28, 91, 182, 365, 730, 1825];
const MOST_TICKS: u32 = 5;
/// Smallest span of ΔE worth drawing: finer is the noise of a good instrument (common practice, no source).
const LEAST_SPAN: f64 = 0.2;

/// A chart of a verification tile over time.
#[derive(Debug, Clone)]
pub(crate) struct DriftChart {
    /// The tile, and on which instrument.
    pub(crate) tile: String,
    /// What the values are, with the formula: `ΔE00 from the mean of its own history`.
    pub(crate) value: String,
    /// When and how much, in rising time.
    pub(crate) points: Vec<(OffsetDateTime, f64)>,
    /// The center line.
    pub(crate) center: f64,
    /// Values above are out of control.
    pub(crate) upper: f64,
    /// Values below are out of control too; `None` for a value that can't be too small, such as ΔE.
    pub(crate) lower: Option<f64>,
}

impl DriftChart {
    fn out_of_control(&self, value: f64) -> bool {
        value > self.upper || self.lower.is_some_and(|lower| value < lower)
    }

    /// The chart, for [`super::PlotOptions`].
    pub(crate) fn figure(&self) -> Figure {
        let start = self
            .points
            .iter()
            .map(|(at, _)| at.to_offset(UtcOffset::UTC).date())
            .min()
            .unwrap_or(OffsetDateTime::UNIX_EPOCH.date());
        let day = |at: OffsetDateTime| (at - start.midnight().assume_utc()) / Duration::DAY;
        let placed: Vec<(f64, f64)> = self
            .points
            .iter()
            .map(|(at, value)| (day(*at), *value))
            .collect();
        let outside: Vec<(f64, f64)> = placed
            .iter()
            .copied()
            .filter(|(_, value)| self.out_of_control(*value))
            .collect();
        let last = placed.iter().map(|(day, _)| *day).fold(0.0, f64::max);
        let around = placed
            .iter()
            .map(|(_, value)| *value)
            .chain([self.center, self.upper])
            .chain(self.lower);
        // ΔE starts at 0; what can be negative does not.
        let zero = self.lower.is_none().then_some(0.0);
        let y = scale::over(&self.value, around.chain(zero), LEAST_SPAN);
        let mut series = vec![Series {
            name: "readings".to_owned(),
            points: placed,
            look: Look::Joined(Marker::Circle),
        }];
        if !outside.is_empty() {
            series.push(Series {
                name: "readings outside the limits".to_owned(),
                points: outside,
                look: Look::Points(Marker::Cross),
            });
        }
        let level = |name: &str, at: f64, kind| Level {
            name: format!("{name} {at:.2}"),
            at,
            kind,
        };
        let mut levels = vec![
            level("center", self.center, LevelKind::Center),
            level("upper control limit", self.upper, LevelKind::Limit),
        ];
        if let Some(lower) = self.lower {
            levels.push(level("lower control limit", lower, LevelKind::Limit));
        }
        Figure {
            title: self.tile.clone(),
            x: time_axis(start, last),
            y,
            series,
            levels,
        }
    }
}

/// Days from `start`, written as dates.
fn time_axis(start: Date, last: f64) -> Axis {
    let step = DAY_STEPS
        .into_iter()
        .find(|step| last <= f64::from(step * MOST_TICKS))
        .map_or(last / f64::from(MOST_TICKS), f64::from);
    let to = ((last / step).ceil() * step).max(step);
    Axis {
        label: "date (UTC)".to_owned(),
        from: 0.0,
        to,
        step,
        written: Arc::new(move |days| {
            start
                .checked_add(Duration::DAY * days.round())
                .map_or_else(String::new, |date| date.to_string())
        }),
    }
}

#[cfg(test)]
mod tests {
    use time::macros::datetime;

    use super::*;
    use crate::output::{ColorMode, Paint};
    use crate::plot::{picture, terminal};

    fn chart() -> DriftChart {
        DriftChart {
            tile: "tile 4 (red) on bench sphere 2".to_owned(),
            value: "ΔE00 from its own mean".to_owned(),
            points: (0..12)
                .map(|week| {
                    let value = if week == 9 {
                        0.61
                    } else {
                        0.1 + 0.015 * f64::from(week)
                    };
                    (
                        datetime!(2026-03-02 08:10 UTC) + Duration::WEEK * week,
                        value,
                    )
                })
                .collect(),
            center: 0.17,
            upper: 0.42,
            lower: None,
        }
    }

    fn plain() -> Paint {
        Paint::decide(ColorMode::Never, true, |_| None)
    }

    #[test]
    fn drift_in_the_terminal() {
        insta::assert_snapshot!(terminal::draw(&chart().figure(), plain(), 80));
    }

    #[test]
    fn a_narrow_terminal_gets_a_narrow_chart() {
        let drawn = terminal::draw(&chart().figure(), plain(), 44);
        for line in drawn.lines() {
            assert!(unicode_width::UnicodeWidthStr::width(line) <= 44, "{line}");
        }
    }

    #[test]
    fn one_reading_and_none_are_drawn_too() {
        let mut chart = chart();
        chart.points.truncate(1);
        let drawn = terminal::draw(&chart.figure(), plain(), 80);
        assert!(drawn.contains("2026-03-02"), "{drawn}");
        chart.points.clear();
        let drawn = terminal::draw(&chart.figure(), plain(), 80);
        assert!(drawn.contains("upper control limit 0.42"), "{drawn}");
        assert!(picture::svg(&[chart.figure()]).starts_with("<svg"));
    }

    #[test]
    fn pictures_carry_legend_levels_and_units() {
        let drawn = picture::svg(&[chart().figure()]);
        for text in [
            "readings outside the limits",
            "upper control limit 0.42",
            "center 0.17",
            "ΔE00 from its own mean",
            "date (UTC)",
            "2026-03-02",
        ] {
            assert!(drawn.contains(text), "{text} in {drawn}");
        }
        let bytes = picture::png(&[chart().figure()]).unwrap();
        assert_eq!(&bytes[..8], b"\x89PNG\r\n\x1a\n");
    }
}
