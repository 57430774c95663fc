//! Figures as SVG and PNG, drawn by kuva. Its DejaVu Sans (Bitstream Vera license) is part of the program, so that a
//! machine without fonts draws letters too.

use kuva::backend::png::PngBackend;
use kuva::backend::svg::SvgBackend;
use kuva::plot::scatter::MarkerShape;
use kuva::plot::{LegendEntry, LegendPosition, LegendShape, LinePlot, LineStyle, ScatterPlot};
use kuva::render::figure::Figure as Panels;
use kuva::render::layout::{Layout, TickFormat};
use kuva::render::plots::Plot;
use kuva::render::render::Scene;

use super::{Axis, Figure, LevelKind, Look, Marker};
use crate::exit::Failure;
use crate::output::plain;

/// Colors of the series: Okabe & Ito 2008, "Color Universal Design", told apart by most people who see colors
/// differently.
const COLORS: [&str; 6] = [
    "#0072B2", "#D55E00", "#009E73", "#CC79A7", "#56B4E9", "#E69F00",
];
/// Of levels.
const LEVEL_COLOR: &str = "#555555";
/// Size of a figure in SVG units.
const SIZE: (f64, f64) = (760.0, 480.0);
/// Pixels of a PNG for one SVG unit.
const PNG_SCALE: f32 = 2.0;

/// The figures, one below the other, as an SVG document.
pub(super) fn svg(figures: &[Figure]) -> String {
    SvgBackend.render_scene(&scene(figures))
}

/// The same as a PNG, 2 pixels for each unit of the SVG.
///
/// # Errors
/// When the picture can't be made, which is a fault of the program.
pub(super) fn png(figures: &[Figure]) -> Result<Vec<u8>, Failure> {
    PngBackend::new()
        .with_scale(PNG_SCALE)
        .render_scene(&scene(figures))
        .map_err(|error| {
            Failure::new(
                crate::exit::Exit::Internal,
                "internal",
                format!("the picture can't be drawn: {error}"),
            )
        })
}

fn scene(figures: &[Figure]) -> Scene {
    let (plots, layouts) = figures
        .iter()
        .map(|figure| {
            let plots = plots(figure);
            let layout = layout(figure, &plots);
            (plots, layout)
        })
        .unzip();
    Panels::new(figures.len(), 1)
        .with_plots(plots)
        .with_layouts(layouts)
        .with_cell_size(SIZE.0, SIZE.1)
        .render()
}

/// Text as it stands; kuva would set what is between dollar signs as a formula.
fn text(raw: &str) -> String {
    plain(raw).replace('$', "\\$")
}

fn plots(figure: &Figure) -> Vec<Plot> {
    let mut plots: Vec<Plot> = figure
        .levels
        .iter()
        .map(|level| {
            LinePlot::new()
                .with_data([(figure.x.from, level.at), (figure.x.to, level.at)])
                .with_color(LEVEL_COLOR)
                .with_stroke_width(1.5)
                .with_line_style(dashes(level.kind))
                .into()
        })
        .collect();
    for (at, series) in figure.series.iter().enumerate() {
        let color = COLORS[at % COLORS.len()];
        let points = || series.points.iter().copied();
        let line = LinePlot::new().with_data(points()).with_color(color);
        match series.look {
            Look::Solid => plots.push(line.into()),
            Look::Marked(_) => plots.push(line.with_line_style(LineStyle::Dashed).into()),
            Look::Joined(_) => plots.push(line.with_stroke_width(1.5).into()),
            Look::Points(_) => {}
        }
        if let Look::Marked(marker) | Look::Joined(marker) | Look::Points(marker) = series.look {
            plots.push(
                ScatterPlot::new()
                    .with_data(points())
                    .with_color(color)
                    .with_marker(shape(marker))
                    // Points alone stand on top of others and must be seen there.
                    .with_size(if matches!(series.look, Look::Points(_)) {
                        8.0
                    } else {
                        4.0
                    })
                    .into(),
            );
        }
    }
    plots
}

const fn dashes(kind: LevelKind) -> LineStyle {
    match kind {
        LevelKind::Center => LineStyle::Dotted,
        LevelKind::Limit => LineStyle::DashDot,
    }
}

/// Named one by one: kuva's own count of them leaves too little room below the figure.
fn legend(figure: &Figure) -> Vec<LegendEntry> {
    let entry = |name: &str, color: &str, shape, style: LineStyle| LegendEntry {
        label: text(name),
        color: color.to_owned(),
        shape,
        dasharray: style.dasharray(),
    };
    let series = figure.series.iter().enumerate().map(|(at, series)| {
        let shape = match series.look {
            Look::Solid => LegendShape::Line,
            Look::Marked(marker) | Look::Joined(marker) | Look::Points(marker) => {
                LegendShape::Marker(shape(marker))
            }
        };
        let color = COLORS[at % COLORS.len()];
        entry(&series.name, color, shape, LineStyle::Solid)
    });
    let levels = figure.levels.iter().map(|level| {
        let style = dashes(level.kind);
        entry(&level.name, LEVEL_COLOR, LegendShape::Line, style)
    });
    series.chain(levels).collect()
}

const fn shape(marker: Marker) -> MarkerShape {
    match marker {
        Marker::Circle => MarkerShape::Circle,
        Marker::Cross => MarkerShape::Cross,
        Marker::Plus => MarkerShape::Plus,
        Marker::Triangle => MarkerShape::Triangle,
        Marker::Square => MarkerShape::Square,
    }
}

fn layout(figure: &Figure, plots: &[Plot]) -> Layout {
    let format = |axis: &Axis| TickFormat::Custom(axis.written.clone());
    let (x, y) = (&figure.x, &figure.y);
    // It picks ranges of its own, which are then set to those of the figure.
    Layout::auto_from_plots(plots)
        .with_title(text(&figure.title))
        .with_x_label(text(&x.label))
        .with_y_label(text(&y.label))
        .with_x_axis_min(x.from)
        .with_x_axis_max(x.to)
        .with_y_axis_min(y.from)
        .with_y_axis_max(y.to)
        .with_x_tick_step(x.step)
        .with_y_tick_step(y.step)
        .with_x_tick_format(format(x))
        .with_y_tick_format(format(y))
        .with_legend_entries(legend(figure))
        .with_legend_position(LegendPosition::OutsideBottomColumns)
        .with_legend_col_limit(1)
        .with_legend_box(false)
}

#[cfg(test)]
mod tests {
    use color::{Ends, Spectrum};

    use super::*;
    use crate::plot::{MAX_CURVES, reflectance};

    /// Text that lies below the canvas stands in the document and is seen by nobody.
    #[test]
    fn every_name_of_the_fullest_figure_lies_on_the_canvas() {
        let gray = Spectrum::new(400, 10, vec![0.5; 31], Ends::Refuse).unwrap();
        let curves: Vec<(String, &Spectrum)> = (0..MAX_CURVES)
            .map(|at| {
                (
                    format!("curve {at} of a long name, read at the counter"),
                    &gray,
                )
            })
            .collect();
        let figure = reflectance("Grays", &curves).unwrap();
        let drawn = svg(&[figure.clone(), figure]);
        let number = |text: &str, name: &str| -> f64 {
            let (_, after) = text.split_once(&format!(" {name}=\"")).unwrap();
            after.split_once('"').unwrap().0.parse().unwrap()
        };
        let mut seen = 0;
        for panel in drawn.split("<g transform=\"translate(").skip(1) {
            let top: f64 = panel
                .split_once(')')
                .unwrap()
                .0
                .split_once(',')
                .unwrap()
                .1
                .parse()
                .unwrap();
            for text in panel.split("<text").skip(1) {
                let y = number(text, "y");
                assert!(y < SIZE.1, "{y} of {}: {text}", SIZE.1);
                assert!(top + y < number(&drawn, "height"), "{text}");
                seen += usize::from(text.contains(">curve "));
            }
        }
        assert_eq!(seen, 2 * MAX_CURVES);
    }
}
