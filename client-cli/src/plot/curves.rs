//! Reflectance over wavelength, and differences of it.

use color::Spectrum;

use super::scale;
use super::{Figure, Level, LevelKind, Look, Marker, Series};
use crate::exit::Failure;

/// Most curves in one figure: a solid one and one for each marker.
pub(crate) const MAX_CURVES: usize = 1 + Marker::ALL.len();
/// Smallest span in percentage points worth drawing.
const LEAST_SPAN: f64 = 1.0;

/// Percent at each wavelength in nm.
fn percent(spectrum: &Spectrum) -> Vec<(f64, f64)> {
    spectrum
        .wavelengths()
        .iter()
        .zip(spectrum.values().iter().map(|value| value * 100.0))
        .collect()
}

/// Reflectance curves: the first solid, each other one dashed with a marker of its own.
///
/// # Errors
/// When there are more than [`MAX_CURVES`].
pub(crate) fn reflectance(title: &str, curves: &[(String, &Spectrum)]) -> Result<Figure, Failure> {
    if curves.len() > MAX_CURVES {
        return Err(Failure::bad(
            "samples",
            format!("{} curves in one picture can't be told apart", curves.len()),
        )
        .remedy(format!("draw at most {MAX_CURVES}")));
    }
    let series: Vec<Series> = curves
        .iter()
        .enumerate()
        .map(|(at, (name, spectrum))| Series {
            name: name.clone(),
            points: percent(spectrum),
            look: match at {
                0 => Look::Solid,
                at => Look::Marked(Marker::ALL[at - 1]),
            },
        })
        .collect();
    Ok(figure(title, "reflectance (%)", series, None))
}

/// Second minus first in percentage points, at the wavelengths that both have.
///
/// # Errors
/// When they have fewer than two wavelengths in common.
pub(crate) fn difference(
    title: &str,
    standard: (&str, &Spectrum),
    sample: (&str, &Spectrum),
) -> Result<Figure, Failure> {
    let (first, second) = (percent(standard.1), percent(sample.1));
    let points: Vec<(f64, f64)> = second
        .into_iter()
        .filter_map(|(nm, value)| {
            let (_, wanted) = first.iter().find(|(at, _)| (at - nm).abs() < 1e-6)?;
            Some((nm, value - wanted))
        })
        .collect();
    if points.len() < 2 {
        return Err(Failure::bad(
            "samples",
            format!(
                "{} and {} have fewer than two wavelengths in common",
                standard.0, sample.0
            ),
        )
        .remedy("export both with the same step"));
    }
    let series = vec![Series {
        name: format!("{} minus {}", sample.0, standard.0),
        points,
        look: Look::Joined(Marker::Circle),
    }];
    let none = Level {
        name: "no difference".to_owned(),
        at: 0.0,
        kind: LevelKind::Center,
    };
    Ok(figure(
        title,
        "difference (percentage points)",
        series,
        Some(none),
    ))
}

fn figure(title: &str, label: &str, series: Vec<Series>, level: Option<Level>) -> Figure {
    let over = |pick: fn(&(f64, f64)) -> f64| {
        series
            .iter()
            .flat_map(move |series| series.points.iter().map(pick))
    };
    let y = scale::over(
        label,
        over(|point| point.1).chain(level.as_ref().map(|level| level.at)),
        LEAST_SPAN,
    );
    let x = scale::over("wavelength (nm)", over(|point| point.0), 50.0).stepping(50.0);
    Figure {
        title: title.to_owned(),
        x,
        y,
        series,
        levels: level.into_iter().collect(),
    }
}

#[cfg(test)]
mod tests {
    use color::Ends;

    use super::*;
    use crate::output::{ColorMode, Paint};
    use crate::plot::{picture, terminal};

    fn spectrum(shift: f64) -> Spectrum {
        let values = (0..31)
            .map(|i| 0.4 + 0.3 * ((f64::from(i) * 10.0 - 150.0 + shift) / 80.0).tanh())
            .collect();
        Spectrum::new(400, 10, values, Ends::Refuse).unwrap()
    }

    fn plain() -> Paint {
        Paint::decide(ColorMode::Never, true, |_| None)
    }

    #[test]
    fn wanted_and_produced_are_told_apart_without_color() {
        let (wanted, produced) = (spectrum(0.0), spectrum(9.0));
        let curves = [
            ("wanted: porch door".to_owned(), &wanted),
            ("produced: drawdown 2".to_owned(), &produced),
        ];
        let figure = reflectance("Porch door", &curves).unwrap();
        insta::assert_snapshot!(terminal::draw(&figure, plain(), 80));
        let drawn = picture::svg(&[figure]);
        assert!(drawn.contains("stroke-dasharray"));
        assert!(drawn.contains("wavelength (nm)") && drawn.contains("reflectance (%)"));
    }

    #[test]
    fn a_difference_stands_around_zero() {
        let (wanted, produced) = (spectrum(0.0), spectrum(9.0));
        let figure =
            difference("Porch door", ("wanted", &wanted), ("produced", &produced)).unwrap();
        insta::assert_snapshot!(terminal::draw(&figure, plain(), 80));
    }

    #[test]
    fn names_are_text_in_a_picture_whatever_they_hold() {
        let one = spectrum(0.0);
        let names = ["<script>&\"$x^2$", "a\u{1b}[2J"];
        let figure = reflectance(names[0], &[(names[1].to_owned(), &one)]).unwrap();
        let drawn = picture::svg(&[figure]);
        assert!(drawn.contains("&lt;script&gt;&amp;"), "{drawn}");
        assert!(drawn.contains("$x^2$"));
        assert!(!drawn.contains("<script>") && !drawn.contains('\u{1b}'));
    }

    #[test]
    fn too_many_curves_are_refused() {
        let one = spectrum(0.0);
        let curves = vec![("a".to_owned(), &one); MAX_CURVES + 1];
        assert!(reflectance("", &curves).is_err());
    }

    #[test]
    fn other_wavelengths_make_no_difference() {
        let one = spectrum(0.0);
        let other = Spectrum::new(395, 10, vec![0.5; 32], Ends::Refuse).unwrap();
        let error = difference("", ("a", &one), ("b", &other)).unwrap_err();
        assert!(error.to_string().contains("in common"), "{error}");
    }
}
