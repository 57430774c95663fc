//! Figures in the terminal: braille lines and letters, drawn by the canvas of ratatui.
//!
//! The canvas is rendered into memory and written as text; nothing takes over the terminal, so it works in a pipe too.

use ratatui_core::buffer::Buffer;
use ratatui_core::layout::Rect;
use ratatui_core::style::Color;
use ratatui_core::symbols::Marker as Symbol;
use ratatui_core::widgets::Widget as _;
use ratatui_widgets::canvas::{Canvas, Line, Points};
use unicode_width::UnicodeWidthStr as _;

use super::{Axis, Figure, LevelKind, Look};
use crate::output::{Paint, plain};

/// Columns taken when stdout is no terminal and says nothing else.
const COLUMNS: u16 = 80;
/// Narrowest and widest drawn: below nothing can be read, above the eye loses the curve.
const WIDTHS: (u16, u16) = (40, 120);
/// Rows of the plot itself.
const ROWS: u16 = 18;

/// How wide to draw: the terminal that stdout is, else `COLUMNS`, else 80.
pub(crate) fn width() -> u16 {
    let columns = terminal_size::terminal_size_of(std::io::stdout())
        .map(|(width, _)| width.0)
        .or_else(|| std::env::var("COLUMNS").ok()?.parse().ok())
        .unwrap_or(COLUMNS);
    columns.clamp(WIDTHS.0, WIDTHS.1)
}

/// The figure as lines of text, each at most `columns` wide; a curve has a color only where `paint` allows.
pub(crate) fn draw(figure: &Figure, paint: Paint, columns: u16) -> String {
    let columns = columns.clamp(WIDTHS.0, WIDTHS.1);
    let labels: Vec<(u16, String)> = figure
        .y
        .ticks()
        .map(|tick| (row(&figure.y, tick), (figure.y.written)(tick)))
        .collect();
    let margin = labels
        .iter()
        .map(|(_, text)| text.width())
        .max()
        .unwrap_or(0);
    let inner = columns.saturating_sub(u16::try_from(margin).unwrap_or(0) + 2);
    let area = Rect::new(0, 0, inner, ROWS);
    let mut buffer = Buffer::empty(area);
    canvas(figure, inner).render(area, &mut buffer);

    let mut text = String::new();
    let mut line = |line: &str| {
        text.push_str(line.trim_end());
        text.push('\n');
    };
    line(&paint.bold(&plain(&figure.title)));
    line(&plain(&figure.y.label));
    for y in 0..ROWS {
        let label = labels.iter().find(|(row, _)| *row == y);
        let (label, edge) = match label {
            Some((_, text)) => (text.as_str(), '┤'),
            None => ("", '│'),
        };
        let mut drawn = format!("{}{label} {edge}", " ".repeat(margin - label.width()));
        let cells: Vec<(&str, Option<usize>)> = (0..inner)
            .map(|x| {
                let cell = &buffer[(x, y)];
                match cell.symbol() {
                    // Braille without dots is no blank in every font.
                    "\u{2800}" | " " => (" ", None),
                    symbol => (symbol, series_of(cell.fg)),
                }
            })
            .collect();
        for run in cells.chunk_by(|one, next| one.1 == next.1) {
            let symbols: String = run.iter().map(|(symbol, _)| *symbol).collect();
            match run[0].1 {
                Some(series) => drawn.push_str(&paint.series(&symbols, series)),
                None => drawn.push_str(&symbols),
            }
        }
        line(&drawn);
    }
    let indent = " ".repeat(margin + 1);
    let (ticks, written) = bottom(&figure.x, usize::from(inner));
    line(&format!("{indent}└{ticks}"));
    line(&format!("{indent} {written}"));
    let right = margin + 2 + usize::from(inner);
    let label = plain(&figure.x.label);
    line(&format!(
        "{}{label}",
        " ".repeat(right.saturating_sub(label.width()))
    ));
    let mut series = 0..figure.series.len();
    for (sign, name) in figure.legend() {
        let sign = series
            .next()
            .map_or_else(|| sign.clone(), |series| paint.series(&sign, series));
        line(&format!("{indent} {sign}  {}", plain(name)));
    }
    text
}

/// Row of a value on the y axis, from the top.
fn row(axis: &Axis, value: f64) -> u16 {
    cell(1.0 - axis.share(value), ROWS)
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a share of 0 to 1 of at most 120"
)]
fn cell(share: f64, count: u16) -> u16 {
    (share.clamp(0.0, 1.0) * f64::from(count - 1)).round() as u16
}

/// Levels lie at the bottom, then lines, then letters, so that nothing is hidden that the legend names.
fn canvas(
    figure: &Figure,
    columns: u16,
) -> Canvas<'_, impl Fn(&mut ratatui_widgets::canvas::Context<'_>)> {
    Canvas::default()
        .x_bounds([figure.x.from, figure.x.to])
        .y_bounds([figure.y.from, figure.y.to])
        .marker(Symbol::Braille)
        .paint(move |context| {
            for level in &figure.levels {
                let every = match level.kind {
                    LevelKind::Center => 2,
                    LevelKind::Limit => 1,
                };
                let span = figure.x.to - figure.x.from;
                let coords: Vec<(f64, f64)> = (0..columns)
                    .step_by(every)
                    .map(|column| {
                        let share = f64::from(column) / f64::from(columns - 1);
                        (figure.x.from + share * span, level.at)
                    })
                    .collect();
                context.marker(Symbol::Custom(level.kind.letter()));
                context.draw(&Points {
                    coords: &coords,
                    color: Color::Reset,
                });
            }
            context.layer();
            context.marker(Symbol::Braille);
            for (at, series) in figure.series.iter().enumerate() {
                if matches!(series.look, Look::Solid | Look::Joined(_)) {
                    for pair in series.points.windows(2) {
                        let [(x1, y1), (x2, y2)] = [pair[0], pair[1]];
                        let color = color_of(at);
                        context.draw(&Line {
                            x1,
                            y1,
                            x2,
                            y2,
                            color,
                        });
                    }
                }
            }
            for (at, series) in figure.series.iter().enumerate() {
                if let Look::Marked(marker) | Look::Joined(marker) | Look::Points(marker) =
                    series.look
                {
                    context.layer();
                    context.marker(Symbol::Custom(marker.letter()));
                    context.draw(&Points {
                        coords: &series.points,
                        color: color_of(at),
                    });
                }
            }
        })
}

/// Which series a cell shows is carried through the canvas as its color.
fn color_of(series: usize) -> Color {
    Color::Indexed(u8::try_from(series).unwrap_or(u8::MAX))
}

fn series_of(color: Color) -> Option<usize> {
    match color {
        Color::Indexed(series) => Some(usize::from(series)),
        _ => None,
    }
}

/// The x axis: its line with ticks, and what is written under them, as far as there is room.
fn bottom(axis: &Axis, columns: usize) -> (String, String) {
    let mut ticks: Vec<char> = vec!['─'; columns];
    let mut written = String::new();
    for tick in axis.ticks() {
        let at = usize::from(cell(
            axis.share(tick),
            u16::try_from(columns).unwrap_or(u16::MAX),
        ));
        let text = (axis.written)(tick);
        let width = text.width();
        let start = at
            .saturating_sub(width / 2)
            .min(columns.saturating_sub(width));
        let taken = written.width();
        if start < taken + usize::from(taken > 0) {
            continue;
        }
        ticks[at] = '┬';
        written.push_str(&" ".repeat(start - taken));
        written.push_str(&text);
    }
    (ticks.into_iter().collect(), written)
}
