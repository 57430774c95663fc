//! `color`: XYZ and Lab of measured spectra, without a server.

use std::path::PathBuf;

use color::{Illuminant, Lab, Observer, Spectrum, Spread, Viewing};
use serde::Serialize;

use super::Run;
use crate::averaging::Averaged;
use crate::exit::{Exit, Failure};
use crate::output::{Screen, Table, lab_text};
use crate::plot::{self, PlotOptions};
use crate::spectrum_file::{self, ReadingOptions};

/// XYZ and Lab of measured spectra, under any of the usual lights
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  secondcan color --spectrum cushion.csv --light D65,A,LED-B3 --observer 10\n  \
        secondcan color --spectrum five-readings.csv --average --plot"
)]
pub(crate) struct Color {
    /// File with the measured spectra; - is stdin
    #[arg(long, value_name = "FILE")]
    spectrum: PathBuf,
    /// Only this sample of the file
    #[arg(long, value_name = "NAME")]
    sample: Option<String>,
    /// The samples of the file are readings of one sample: average them and tell their spread
    #[arg(long)]
    average: bool,
    /// Light: A, C, D50, D55, D65, D75, F2, F7, F11, LED-B1 to LED-B5; repeat or separate by commas for more
    #[arg(
        long = "light",
        value_name = "LIGHT",
        value_delimiter = ',',
        default_value = "D65"
    )]
    lights: Vec<Illuminant>,
    /// Observer: 2 or 10 degrees; repeat for both
    #[arg(
        long = "observer",
        value_name = "DEGREES",
        value_delimiter = ',',
        default_value = "10"
    )]
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
    #[serde(skip_serializing_if = "Option::is_none")]
    spread: Option<Spread>,
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
            Some(name) if self.average => spectrum_file::named(file.readings, name)?,
            Some(name) => vec![spectrum_file::choose(file.readings, Some(name))?],
            None => file.readings,
        };
        let averaged = self.average.then(|| Averaged::of(&samples)).transpose()?;
        let spectra: Vec<(String, &Spectrum)> = match &averaged {
            Some(averaged) => vec![(averaged.name.clone(), &averaged.mean)],
            None => samples
                .iter()
                .map(|sample| (sample.name.clone(), &sample.spectrum))
                .collect(),
        };
        let figures = if self.plot.wanted() {
            let mut curves = spectra.clone();
            if averaged.is_some() && samples.len() < plot::MAX_CURVES {
                let each = samples
                    .iter()
                    .map(|sample| (sample.name.clone(), &sample.spectrum));
                curves.extend(each);
            }
            vec![plot::reflectance(
                &self.spectrum.display().to_string(),
                &curves,
            )?]
        } else {
            Vec::new()
        };
        self.plot.write(&figures)?;
        let mut readings = Vec::new();
        for (name, spectrum) in &spectra {
            for &light in &self.lights {
                for &observer in &self.observers {
                    let viewing = Viewing::new(light, observer);
                    readings.push(Reading {
                        name: name.clone(),
                        light,
                        observer,
                        xyz: spectrum.xyz(viewing),
                        lab: spectrum.lab(viewing),
                        method: color::METHOD,
                        spread: averaged.as_ref().map(|averaged| averaged.spread(viewing)),
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
            draw(screen, &answer.readings);
            if let (Some(averaged), Some(first)) = (&averaged, answer.readings.first())
                && let Some(spread) = &first.spread
            {
                screen.gap();
                averaged.draw(screen, spread, first.light, first.observer);
            }
            self.plot.draw(screen, &figures);
        })?;
        Ok(Exit::Done)
    }
}

fn draw(screen: &mut Screen, readings: &[Reading]) {
    let mut table = Table::new(&["name", "light", "observer", ">X", ">Y", ">Z", "Lab"]);
    for reading in readings {
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
}
