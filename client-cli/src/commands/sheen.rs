//! `sheen`: gloss levels, without a server.

use std::path::PathBuf;

use color::gloss::{GlossAnswer, GlossLevel, GlossReading, SpecularSign};
use serde::Serialize;

use super::Run;
use crate::exit::{Exit, Failure};
use crate::spectrum_file::{self, ReadingOptions};

/// The gloss level of a surface, from gloss units; or a rough sign of it from a sphere instrument's two modes
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  secondcan sheen --gloss60 22 --gloss85 35\n  \
        secondcan sheen --sci included.csv --sce excluded.csv\n\n\
        Gloss units are those of ISO 2813. Levels overlap at 60° alone; with 85° too, some readings lie between levels."
)]
#[command(group = clap::ArgGroup::new("read").required(true).multiple(true).args(["gloss60", "sci"]))]
pub(crate) struct Sheen {
    /// Gloss at 60°, in gloss units
    #[arg(long, value_name = "GU", allow_negative_numbers = true)]
    gloss60: Option<f64>,
    /// Gloss at 85°, in gloss units
    #[arg(
        long,
        value_name = "GU",
        requires = "gloss60",
        allow_negative_numbers = true
    )]
    gloss85: Option<f64>,
    /// File with the sample measured specular included
    #[arg(long, value_name = "FILE", requires = "sce")]
    sci: Option<PathBuf>,
    /// File with the same sample measured specular excluded
    #[arg(long, value_name = "FILE", requires = "sci")]
    sce: Option<PathBuf>,
    #[command(flatten)]
    reading: ReadingOptions,
}

#[derive(Serialize)]
struct Answer {
    #[serde(flatten)]
    gloss: Option<GlossAnswer>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    names: Vec<&'static str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    specular: Option<Rough>,
    told: Vec<String>,
}

/// Told as rough wherever it goes.
#[derive(Serialize)]
struct Rough {
    #[serde(flatten)]
    sign: SpecularSign,
    rough: bool,
}

impl Sheen {
    pub(super) fn run(self, run: &Run) -> Result<Exit, Failure> {
        let gloss = self
            .gloss60
            .map(|at60| {
                GlossReading::new(at60, self.gloss85)
                    .map(GlossLevel::of)
                    .map_err(|error| Failure::bad("gloss", error.to_string()))
            })
            .transpose()?;
        let specular = match (&self.sci, &self.sce) {
            (Some(included), Some(excluded)) => {
                let one = |path| {
                    let readings = spectrum_file::read(path, self.reading)?.readings;
                    spectrum_file::choose(readings, None)
                };
                let (included, excluded) = (one(included)?, one(excluded)?);
                let sign = SpecularSign::between(&included.spectrum, &excluded.spectrum)
                    .map_err(|error| Failure::bad("sce", error.to_string()))?;
                Some(Rough { sign, rough: true })
            }
            _ => None,
        };
        let answer = Answer {
            names: names(gloss.as_ref()),
            told: gloss
                .iter()
                .map(ToString::to_string)
                .chain(specular.iter().map(|rough| rough.sign.to_string()))
                .collect(),
            gloss,
            specular,
        };
        run.output().show(&answer, |screen| {
            for line in &answer.told {
                screen.line(line);
            }
        })?;
        Ok(Exit::Done)
    }
}

/// What the trade calls the levels, in their order; of the nearest when none fits.
fn names(gloss: Option<&GlossAnswer>) -> Vec<&'static str> {
    match gloss {
        Some(GlossAnswer::Levels { levels, .. }) => {
            levels.iter().map(|level| level.name()).collect()
        }
        Some(GlossAnswer::Between { nearest, .. }) => vec![nearest.name()],
        None => Vec::new(),
    }
}
