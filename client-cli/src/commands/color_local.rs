//! `color` and `delta`: color arithmetic without a server.

use std::path::{Path, PathBuf};

use color::{
    Application94, Deltas, Direction, Illuminant, Lab, Observer, Spectrum, Verdict, VerdictLimits,
    Viewing, cie94, cmc, de76, de2000,
};
use serde::Serialize;
use serde_json::{Map, Value};

use super::Run;
use crate::amounts;
use crate::exit::{Exit, Failure};
use crate::output::{Screen, Table, lab_text};
use crate::plot::{self, PlotOptions};
use crate::spectrum_file::{self, ReadingOptions};

/// XYZ and Lab of measured spectra, under any of the usual lights
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example:\n  secondcan color --spectrum cushion.csv --light D65 --light A --observer 10"
)]
pub(crate) struct Color {
    /// File with the measured spectra (CSV); - is stdin
    #[arg(long, value_name = "FILE")]
    spectrum: PathBuf,
    /// Only this sample of the file
    #[arg(long, value_name = "NAME")]
    sample: Option<String>,
    /// Light: A, C, D50, D55, D65, D75, F2, F7, F11, LED-B1 to LED-B5; repeat for more
    #[arg(long = "light", value_name = "LIGHT", default_value = "D65")]
    lights: Vec<Illuminant>,
    /// Observer: 2 or 10 degrees; repeat for both
    #[arg(long = "observer", value_name = "DEGREES", default_value = "10")]
    observers: Vec<Observer>,
    #[command(flatten)]
    reading: ReadingOptions,
    #[command(flatten)]
    plot: PlotOptions,
}

#[derive(Serialize)]
struct Reading {
    name: String,
    light: Illuminant,
    observer: Observer,
    xyz: color::Xyz,
    lab: Lab,
    method: &'static str,
}

#[derive(Serialize)]
struct Readings {
    readings: Vec<Reading>,
    scale: color::Scale,
    assumed: Vec<String>,
}

impl Color {
    pub(super) fn run(self, run: &Run) -> Result<Exit, Failure> {
        let file = spectrum_file::read(&self.spectrum, self.reading)?;
        let samples = match &self.sample {
            Some(name) => vec![spectrum_file::choose(file.readings, Some(name))?],
            None => file.readings,
        };
        let figures = if self.plot.wanted() {
            let curves: Vec<(String, &Spectrum)> = samples
                .iter()
                .map(|sample| (sample.name.clone(), &sample.spectrum))
                .collect();
            vec![plot::reflectance(
                &self.spectrum.display().to_string(),
                &curves,
            )?]
        } else {
            Vec::new()
        };
        self.plot.write(&figures)?;
        let mut readings = Vec::new();
        for sample in &samples {
            for &light in &self.lights {
                for &observer in &self.observers {
                    let viewing = Viewing::new(light, observer);
                    readings.push(Reading {
                        name: sample.name.clone(),
                        light,
                        observer,
                        xyz: sample.spectrum.xyz(viewing),
                        lab: sample.spectrum.lab(viewing),
                        method: color::METHOD,
                    });
                }
            }
        }
        let answer = Readings {
            readings,
            scale: file.scale,
            assumed: file.assumed,
        };
        run.output().show(&answer, |screen| {
            let mut table = Table::new(&["name", "light", "observer", ">X", ">Y", ">Z", "Lab"]);
            for reading in &answer.readings {
                table.row([
                    reading.name.clone(),
                    reading.light.to_string(),
                    reading.observer.to_string(),
                    format!("{:.3}", reading.xyz.x),
                    format!("{:.3}", reading.xyz.y),
                    format!("{:.3}", reading.xyz.z),
                    lab_text(reading.lab),
                ]);
            }
            screen.table(&table);
            self.plot.draw(screen, &figures);
        })?;
        Ok(Exit::Done)
    }
}

/// A color-difference formula.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub(crate) enum DeltaFormula {
    /// CIEDE2000 (CIE 142, ISO 11664-6)
    De2000,
    /// CIE94 for graphic arts (CIE 116)
    De94,
    /// CMC 2:1 (ISO 105-J03)
    Cmc,
    /// CIE 1976
    De76,
}

impl DeltaFormula {
    const fn name(self) -> &'static str {
        match self {
            Self::De2000 => "de2000",
            Self::De94 => "de94",
            Self::Cmc => "cmc",
            Self::De76 => "de76",
        }
    }

    fn between(self, standard: Lab, sample: Lab) -> f64 {
        match self {
            Self::De2000 => de2000(standard, sample),
            Self::De94 => cie94(standard, sample, Application94::GraphicArts),
            Self::Cmc => cmc(standard, sample, 2.0, 1.0),
            Self::De76 => de76(standard, sample),
        }
    }
}

/// The difference of two colors, in numbers and words
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  secondcan delta --lab 52.1,-3.4,10 --lab 51.8,-3.1,10.6\n  \
    secondcan delta --spectrum standard.csv --spectrum sample.csv --formula de2000 --formula cmc\n  \
    secondcan delta --pairs pairs.csv --json\n\n\
    The first color is the standard, the second the sample. CMC is 2:1; CIE94 is that for graphic arts."
)]
#[command(group = clap::ArgGroup::new("colors").required(true).multiple(false).args(["labs", "spectra", "pairs"]))]
pub(crate) struct Delta {
    /// A color: L,a,b; give two
    #[arg(long = "lab", value_name = "L,a,b", value_parser = amounts::lab)]
    labs: Vec<Lab>,
    /// A file with one measured sample; give two; compared under D65 and 10°
    #[arg(long = "spectrum", value_name = "FILE")]
    spectra: Vec<PathBuf>,
    /// CSV with columns L1,a1,b1,L2,a2,b2
    #[arg(long, value_name = "FILE")]
    pairs: Option<PathBuf>,
    /// Formula; repeat for more
    #[arg(long = "formula", value_enum, default_value = "de2000")]
    formulas: Vec<DeltaFormula>,
    #[command(flatten)]
    reading: ReadingOptions,
    #[command(flatten)]
    plot: PlotOptions,
}

#[derive(Serialize)]
struct Difference {
    #[serde(skip_serializing_if = "Option::is_none")]
    row: Option<usize>,
    delta: Map<String, Value>,
    components: Deltas,
    direction: Direction,
    verdict: Verdict,
}

#[derive(Serialize)]
struct Differences {
    results: Vec<Difference>,
}

impl Delta {
    pub(super) fn run(self, run: &Run) -> Result<Exit, Failure> {
        if let Some(path) = &self.pairs {
            let results = pairs(path)?
                .into_iter()
                .enumerate()
                .map(|(at, (standard, sample))| self.difference(Some(at + 1), standard, sample))
                .collect();
            let answer = Differences { results };
            run.output().show(&answer, |screen| {
                for difference in &answer.results {
                    draw(screen, difference);
                }
            })?;
            return Ok(Exit::Done);
        }
        let read = self
            .spectra
            .iter()
            .map(|path| {
                let file = spectrum_file::read(path, self.reading)?;
                spectrum_file::choose(file.readings, None)
            })
            .collect::<Result<Vec<_>, Failure>>()?;
        let colors = if read.is_empty() {
            self.labs.clone()
        } else {
            read.iter()
                .map(|reading| reading.spectrum.lab(Viewing::default()))
                .collect()
        };
        let figures = match &read[..] {
            [standard, sample] if self.plot.wanted() => {
                let (standard, sample) = (
                    (format!("standard: {}", standard.name), &standard.spectrum),
                    (format!("sample: {}", sample.name), &sample.spectrum),
                );
                vec![
                    plot::reflectance("Reflectance", &[standard.clone(), sample.clone()])?,
                    plot::difference("Difference", ("standard", standard.1), ("sample", sample.1))?,
                ]
            }
            _ if self.plot.wanted() => {
                return Err(Failure::bad("plot", "a chart needs two measured spectra")
                    .remedy("give them with --spectrum"));
            }
            _ => Vec::new(),
        };
        self.plot.write(&figures)?;
        let [standard, sample] = colors[..] else {
            return Err(Failure::bad(
                "colors",
                format!("two colors are compared, and {} given", colors.len()),
            )
            .remedy("give the standard first and the sample second, each with --lab or each with --spectrum"));
        };
        let answer = self.difference(None, standard, sample);
        run.output().show(&answer, |screen| {
            screen.color("standard", standard, "");
            screen.color("sample", sample, "");
            draw(screen, &answer);
            self.plot.draw(screen, &figures);
        })?;
        Ok(Exit::Done)
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
            delta,
            components: Deltas::between(standard, sample),
            direction: Direction::between(standard, sample),
            verdict: VerdictLimits::default().judge(de2000(standard, sample)),
        }
    }
}

fn draw(screen: &mut Screen, difference: &Difference) {
    let row = difference
        .row
        .map_or(String::new(), |row| format!("row {row}: "));
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
