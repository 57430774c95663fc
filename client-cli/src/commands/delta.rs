//! `delta`: color differences, without a server.

use std::path::{Path, PathBuf};

use color::{
    Application94, Deltas, Direction, HotellingT2, Illuminant, Lab, Observer, Spread, Verdict,
    VerdictLimits, Viewing, cie94, cmc, de76, de2000,
};
use serde::Serialize;
use serde_json::{Map, Value};

use super::Run;
use crate::amounts;
use crate::averaging::Averaged;
use crate::exit::{Exit, Failure};
use crate::output::Screen;
use crate::plot::{self, Figure, PlotOptions};
use crate::spectrum_file::{self, ReadingOptions};

/// A color-difference formula.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub(crate) enum DeltaFormula {
    /// CIEDE2000 (CIE 142, ISO 11664-6)
    De2000,
    /// CIE94 for graphic arts (CIE 116)
    De94,
    /// CIE94 for textiles
    De94Textile,
    /// CMC 2:1 (ISO 105-J03)
    Cmc,
    /// CMC 1:1
    CmcOne,
    /// CIE 1976
    De76,
}

impl DeltaFormula {
    const fn name(self) -> &'static str {
        match self {
            Self::De2000 => "de2000",
            Self::De94 => "de94",
            Self::De94Textile => "de94_textile",
            Self::Cmc => "cmc",
            Self::CmcOne => "cmc_one",
            Self::De76 => "de76",
        }
    }

    fn between(self, standard: Lab, sample: Lab) -> f64 {
        match self {
            Self::De2000 => de2000(standard, sample),
            Self::De94 => cie94(standard, sample, Application94::GraphicArts),
            Self::De94Textile => cie94(standard, sample, Application94::Textile),
            Self::Cmc => cmc(standard, sample, 2.0, 1.0),
            Self::CmcOne => cmc(standard, sample, 1.0, 1.0),
            Self::De76 => de76(standard, sample),
        }
    }
}

/// The difference of two colors, in numbers and words
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  secondcan delta --lab 52.1,-3.4,10 --lab 51.8,-3.1,10.6\n  \
    secondcan delta --spectrum standard.csv --spectrum sample.csv --formula de2000,cmc --light D65,A\n  \
    secondcan delta --pairs pairs.csv --json\n\n\
    The first color is the standard, the second the sample. `cmc` is 2:1, `cmc-one` 1:1; `de94` is that for\n\
    graphic arts."
)]
#[command(group = clap::ArgGroup::new("colors").required(true).multiple(false).args(["labs", "spectra", "pairs"]))]
pub(crate) struct Delta {
    /// A color: L,a,b; give two
    #[arg(long = "lab", value_name = "L,a,b", value_parser = amounts::lab)]
    labs: Vec<Lab>,
    /// A file with the measured standard, then one with samples
    #[arg(long = "spectrum", value_name = "FILE")]
    spectra: Vec<PathBuf>,
    /// CSV with columns L1,a1,b1,L2,a2,b2
    #[arg(long, value_name = "FILE")]
    pairs: Option<PathBuf>,
    /// Formula; repeat for more
    #[arg(
        long = "formula",
        value_enum,
        value_delimiter = ',',
        default_value = "de2000"
    )]
    formulas: Vec<DeltaFormula>,
    /// Light under which spectra are compared; repeat or separate by commas for more
    #[arg(
        long = "light",
        value_name = "LIGHT",
        value_delimiter = ',',
        default_value = "D65",
        conflicts_with_all = ["labs", "pairs"]
    )]
    lights: Vec<Illuminant>,
    /// Observer: 2 or 10 degrees
    #[arg(long, value_name = "DEGREES", default_value = "10", conflicts_with_all = ["labs", "pairs"])]
    observer: Observer,
    /// The samples of each file are readings of one: average them and tell their spread
    #[arg(long, conflicts_with_all = ["labs", "pairs"])]
    average: bool,
    #[command(flatten)]
    reading: ReadingOptions,
    #[command(flatten)]
    plot: PlotOptions,
}

#[derive(Serialize)]
struct Difference {
    #[serde(skip_serializing_if = "Option::is_none")]
    row: Option<usize>,
    #[serde(flatten)]
    seen: Option<Seen>,
    delta: Map<String, Value>,
    components: Deltas,
    direction: Direction,
    verdict: Verdict,
    #[serde(skip_serializing_if = "Option::is_none")]
    batch: Option<Batch>,
    /// Why the figures are to be taken with care.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    warnings: Vec<String>,
}

/// Which sample under which light.
#[derive(Serialize)]
struct Seen {
    sample: String,
    light: Illuminant,
    observer: Observer,
}

/// What averaged readings add.
#[derive(Serialize)]
struct Batch {
    standard: Spread,
    sample: Spread,
    /// The sample's readings against the mean of the standard's.
    t2: Option<HotellingT2>,
}

#[derive(Serialize)]
struct Differences<'a> {
    results: &'a [Difference],
}

impl Delta {
    pub(super) fn run(self, run: &Run) -> Result<Exit, Failure> {
        if !self.spectra.is_empty() {
            return self.of_spectra(run);
        }
        if self.plot.wanted() {
            return Err(Failure::bad("plot", "a chart needs measured spectra")
                .remedy("give the standard and the sample with --spectrum"));
        }
        if let Some(path) = &self.pairs {
            let results: Vec<Difference> = pairs(path)?
                .into_iter()
                .enumerate()
                .map(|(at, (standard, sample))| self.difference(Some(at + 1), standard, sample))
                .collect();
            let answer = Differences { results: &results };
            run.output().show(&answer, |screen| {
                for difference in answer.results {
                    draw(screen, difference);
                }
            })?;
            return Ok(Exit::Done);
        }
        let [standard, sample] = self.labs[..] else {
            return Err(two("colors", self.labs.len()));
        };
        let answer = self.difference(None, standard, sample);
        run.output().show(&answer, |screen| {
            screen.color("standard", standard, "");
            screen.color("sample", sample, "");
            draw(screen, &answer);
        })?;
        Ok(Exit::Done)
    }

    fn of_spectra(&self, run: &Run) -> Result<Exit, Failure> {
        let [first, second] = &self.spectra[..] else {
            return Err(two("spectra", self.spectra.len()));
        };
        let standards = spectrum_file::read(first, self.reading)?.readings;
        let samples = spectrum_file::read(second, self.reading)?.readings;
        let (standard, samples) = if self.average {
            (Averaged::of(&standards)?, vec![Averaged::of(&samples)?])
        } else {
            let standard = spectrum_file::choose(standards, None)?;
            let samples = samples.chunks(1).map(Averaged::of);
            (
                Averaged::of(&[standard])?,
                samples.collect::<Result<Vec<_>, Failure>>()?,
            )
        };
        let mut results = Vec::new();
        for sample in &samples {
            for &light in &self.lights {
                results.push(self.seen(&standard, sample, light));
            }
        }
        let figures = self.figures(&standard, &samples)?;
        self.plot.write(&figures)?;
        let screen = |screen: &mut Screen| {
            if let (Some(&light), [sample]) = (self.lights.first(), &samples[..]) {
                let viewing = Viewing::new(light, self.observer);
                screen.color("standard", standard.mean.lab(viewing), "");
                screen.color("sample", sample.mean.lab(viewing), "");
            }
            for difference in &results {
                draw(screen, difference);
            }
            self.plot.draw(screen, &figures);
        };
        match &results[..] {
            [one] => run.output().show(one, screen)?,
            results => run.output().show(&Differences { results }, screen)?,
        }
        Ok(Exit::Done)
    }

    fn seen(&self, standard: &Averaged, sample: &Averaged, light: Illuminant) -> Difference {
        let viewing = Viewing::new(light, self.observer);
        let wanted = standard.mean.lab(viewing);
        Difference {
            seen: Some(Seen {
                sample: sample.name.clone(),
                light,
                observer: self.observer,
            }),
            batch: self.average.then(|| Batch {
                standard: standard.spread(viewing),
                sample: sample.spread(viewing),
                t2: HotellingT2::of_mean(&sample.labs(viewing), wanted),
            }),
            warnings: standard.warnings(sample),
            ..self.difference(None, wanted, sample.mean.lab(viewing))
        }
    }

    fn figures(&self, standard: &Averaged, samples: &[Averaged]) -> Result<Vec<Figure>, Failure> {
        if !self.plot.wanted() {
            return Ok(Vec::new());
        }
        let mut curves = vec![(format!("standard: {}", standard.name), &standard.mean)];
        curves.extend(
            samples
                .iter()
                .map(|sample| (format!("sample: {}", sample.name), &sample.mean)),
        );
        let mut figures = vec![plot::reflectance("Reflectance", &curves)?];
        if let [sample] = samples {
            figures.push(plot::difference(
                "Difference",
                ("standard", &standard.mean),
                ("sample", &sample.mean),
            )?);
        }
        Ok(figures)
    }

    fn difference(&self, row: Option<usize>, standard: Lab, sample: Lab) -> Difference {
        let delta = self
            .formulas
            .iter()
            .map(|formula| {
                (
                    formula.name().to_owned(),
                    Value::from(formula.between(standard, sample)),
                )
            })
            .collect();
        Difference {
            row,
            seen: None,
            delta,
            components: Deltas::between(standard, sample),
            direction: Direction::between(standard, sample),
            verdict: VerdictLimits::default().judge(de2000(standard, sample)),
            batch: None,
            warnings: Vec::new(),
        }
    }
}

fn two(field: &str, given: usize) -> Failure {
    Failure::bad(
        field,
        format!("two {field} are compared, and {given} given"),
    )
    .remedy(
        "give the standard first and the sample second, each with --lab or each with --spectrum",
    )
}

fn draw(screen: &mut Screen, difference: &Difference) {
    let row = match (&difference.row, &difference.seen) {
        (Some(row), _) => format!("row {row}: "),
        (None, Some(seen)) => format!("{} under {}: ", seen.sample, seen.light),
        (None, None) => String::new(),
    };
    let numbers: Vec<String> = difference
        .delta
        .iter()
        .map(|(name, value)| format!("{name} {:.4}", value.as_f64().unwrap_or(f64::NAN)))
        .collect();
    screen.line(format!(
        "{row}{}; {}; {}",
        numbers.join(", "),
        difference.verdict.phrase(),
        difference.direction
    ));
    for warning in &difference.warnings {
        screen.warn(warning);
    }
    if let Some(batch) = &difference.batch {
        screen.pair("standard", spread_text(&batch.standard));
        screen.pair("sample", spread_text(&batch.sample));
        if let Some(t2) = batch.t2 {
            screen.pair(
                "T²",
                format!(
                    "{:.2}, F({}, {}) {:.2}: readings of the standard itself lie so far in {:.2} % of such sets",
                    t2.t2,
                    t2.degrees.0,
                    t2.degrees.1,
                    t2.f,
                    t2.p * 100.0
                ),
            );
        }
        for advice in batch.standard.advice.iter().chain(&batch.sample.advice) {
            screen.pair("note", advice.to_string());
        }
    }
}

fn spread_text(spread: &Spread) -> String {
    let outlier = spread.outlier.map_or(String::new(), |outlier| {
        format!("; reading {} does not belong to the others", outlier.at + 1)
    });
    match spread.mcdm {
        Some(mcdm) => format!(
            "{} readings, MCDM {:.3} ΔE00{outlier}",
            spread.readings, mcdm.de2000
        ),
        None => "one reading".to_owned(),
    }
}

fn pairs(path: &Path) -> Result<Vec<(Lab, Lab)>, Failure> {
    const COLUMNS: [&str; 6] = ["L1", "a1", "b1", "L2", "a2", "b2"];
    let bytes = spectrum_file::bytes_of(path)?;
    let mut reader = csv::ReaderBuilder::new()
        .trim(csv::Trim::All)
        .comment(Some(b'#'))
        .from_reader(bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(&bytes));
    let unreadable = |error: csv::Error| {
        Failure::bad("pairs", error.to_string()).value(path.display().to_string())
    };
    let headings = reader.headers().map_err(unreadable)?.clone();
    let mut places = [0; 6];
    for (place, column) in places.iter_mut().zip(COLUMNS) {
        *place = headings
            .iter()
            .position(|heading| heading.eq_ignore_ascii_case(column))
            .ok_or_else(|| {
                Failure::bad("pairs", format!("there is no column {column}"))
                    .value(path.display().to_string())
                    .remedy("head the columns L1,a1,b1,L2,a2,b2")
            })?;
    }
    let mut pairs = Vec::new();
    for row in reader.records() {
        let row = row.map_err(unreadable)?;
        let line = row.position().map_or(0, csv::Position::line);
        let mut numbers = [0.0; 6];
        for ((number, place), column) in numbers.iter_mut().zip(places).zip(COLUMNS) {
            let text = row.get(place).unwrap_or_default();
            *number = text.parse::<f64>().map_err(|_| {
                Failure::bad(column, format!("line {line}: this is not a number"))
                    .value(text)
                    .remedy("write numbers like 52.1")
            })?;
        }
        let [l1, a1, b1, l2, a2, b2] = numbers;
        let color = |l, a, b| {
            Lab::new(l, a, b)
                .map_err(|error| Failure::bad("pairs", format!("line {line}: {error}")))
        };
        pairs.push((color(l1, a1, b1)?, color(l2, a2, b2)?));
    }
    Ok(pairs)
}
