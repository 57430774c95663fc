//! `metamerism`: whether two samples that match under one light part under another.

use std::path::PathBuf;

use color::metamerism::{Difference, Metamerism as Index, TwoLights};
use color::{Illuminant, Inconstancy, Observer, Reading, Viewing};
use serde::Serialize;

use super::Run;
use crate::exit::{Exit, Failure};
use crate::output::Table;
use crate::plot::{self, PlotOptions};
use crate::spectrum_file::{self, ReadingOptions};

/// Whether samples that match under one light part under another (ISO 18314-4)
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example:\n  secondcan metamerism --standard chip.csv --sample drawdown.csv --reference D65 --test A,LED-B3\n\n\
        The index takes off what is left of a mismatch under the reference light first: in XYZ (multiplicative) or\n\
        in L*a*b* (additive). Inconstancy is how much one sample changes with the light for an eye that has adapted\n\
        (CAT16)."
)]
pub(crate) struct Metamerism {
    /// File with the measured standard; - is stdin
    #[arg(long, value_name = "FILE")]
    standard: PathBuf,
    /// Which sample of that file is the standard, when it holds several
    #[arg(long, value_name = "NAME")]
    standard_name: Option<String>,
    /// File with one or more measured samples
    #[arg(long, value_name = "FILE")]
    sample: PathBuf,
    /// Only this sample of that file
    #[arg(long, value_name = "NAME")]
    sample_name: Option<String>,
    /// Light where they should match
    #[arg(long, value_name = "LIGHT", default_value = "D65")]
    reference: Illuminant,
    /// Light of interest; repeat or separate by commas for more
    #[arg(
        long = "test",
        value_name = "LIGHT",
        value_delimiter = ',',
        default_values = ["A", "LED-B3"]
    )]
    tests: Vec<Illuminant>,
    /// Observer: 2 or 10 degrees
    #[arg(long, value_name = "DEGREES", default_value = "10")]
    observer: Observer,
    #[command(flatten)]
    reading: ReadingOptions,
    #[command(flatten)]
    plot: PlotOptions,
}

#[derive(Serialize)]
struct Answer {
    standard: String,
    reference: Illuminant,
    observer: Observer,
    results: Vec<Of>,
}

/// One sample under one test light.
#[derive(Serialize)]
struct Of {
    sample: String,
    test: Illuminant,
    #[serde(flatten)]
    index: Index,
    inconstancy: Inconstancies,
    /// Why the figures are to be taken with care.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    warnings: Vec<String>,
}

/// CIEDE2000 of each with itself between the two lights, adapted.
#[derive(Serialize)]
struct Inconstancies {
    standard: f64,
    sample: f64,
}

impl Metamerism {
    pub(super) fn run(self, run: &Run) -> Result<Exit, Failure> {
        let standards = spectrum_file::read(&self.standard, self.reading)?.readings;
        let standard = spectrum_file::choose(standards, self.standard_name.as_deref())?;
        let samples = spectrum_file::read(&self.sample, self.reading)?.readings;
        let samples = match &self.sample_name {
            Some(name) => vec![spectrum_file::choose(samples, Some(name))?],
            None => samples,
        };
        let mut results = Vec::new();
        for sample in &samples {
            for &test in &self.tests {
                results.push(self.of(&standard, sample, test)?);
            }
        }
        let figures = if self.plot.wanted() {
            let mut curves = vec![(format!("standard: {}", standard.name), &standard.spectrum)];
            curves.extend(
                samples
                    .iter()
                    .map(|sample| (format!("sample: {}", sample.name), &sample.spectrum)),
            );
            vec![plot::reflectance("Reflectance", &curves)?]
        } else {
            Vec::new()
        };
        self.plot.write(&figures)?;
        let answer = Answer {
            standard: standard.name,
            reference: self.reference,
            observer: self.observer,
            results,
        };
        run.output().show(&answer, |screen| {
            screen.line(format!(
                "against {}, matched under {}, {}; ΔE00 (ΔE76)",
                answer.standard, answer.reference, answer.observer
            ));
            let mut table = Table::new(&[
                "sample",
                "light",
                ">under it",
                ">multiplicative",
                ">additive",
                ">inconstancy",
            ]);
            for of in &answer.results {
                table.row([
                    of.sample.clone(),
                    of.test.to_string(),
                    both(of.index.under_test),
                    both(of.index.multiplicative),
                    both(of.index.additive),
                    format!("{:.2}", of.inconstancy.sample),
                ]);
            }
            screen.table(&table);
            for of in answer.results.iter().filter(|of| of.test == self.tests[0]) {
                for warning in &of.warnings {
                    screen.warn(format!("{}: {warning}", of.sample));
                }
            }
            self.plot.draw(screen, &figures);
        })?;
        Ok(Exit::Done)
    }

    fn of(&self, standard: &Reading, sample: &Reading, test: Illuminant) -> Result<Of, Failure> {
        let lights = TwoLights {
            reference: Viewing::new(self.reference, self.observer),
            test: Viewing::new(test, self.observer),
        };
        let index = Index::between(&standard.spectrum, &sample.spectrum, lights)
            .map_err(|error| Failure::bad("sample", error.to_string()).value(&sample.name))?;
        Ok(Of {
            sample: sample.name.clone(),
            test,
            index,
            warnings: standard
                .conditions
                .unlike(&sample.conditions)
                .iter()
                .map(ToString::to_string)
                .collect(),
            inconstancy: Inconstancies {
                standard: Inconstancy::of(&standard.spectrum, lights).de2000,
                sample: Inconstancy::of(&sample.spectrum, lights).de2000,
            },
        })
    }
}

fn both(difference: Difference) -> String {
    format!("{:.2} ({:.2})", difference.de2000, difference.de76)
}
