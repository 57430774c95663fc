//! `convert`: measured spectra from one file format into another.

use std::path::PathBuf;

use color::exchange::{Details, FileFormat, WithoutSpectrum};
use color::{Conditions, Reading, Scale, Spectrum, Tag, WriteFormat, write_spectra};
use serde::Serialize;

use super::Run;
use crate::exit::{Exit, Failure};
use crate::output::{self, Table};
use crate::platform;
use crate::spectrum_file::{self, ReadingOptions};

/// Measured spectra from one file format into another, digit by digit
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  secondcan convert chips.csv --to iso17972 --out chips.cxf\n  \
    secondcan convert export.cxf --to csv\n  \
    secondcan convert export.cxf --to iso28178 --sample door --out door.txt --json\n\n\
    Formats: iso17972 is CxF3, iso28178 is CGATS.17, csv has a row for each sample. What is read is told by its \
    content, not by its name.\n\
    All digits and tags are kept. Without --out the file goes to standard output. A file that is there is not \
    replaced without --force.\n\n\
    Conditions in CSV stand in columns, or in lines such as `# geometry: d:8`, named geometry, specular, aperture, \
    backing, filter, readings, gloss60, gloss85, instrument, instrument serial, measured at."
)]
pub(crate) struct Convert {
    /// File with measured spectra (CxF3, CGATS.17 or CSV); - is stdin
    #[arg(value_name = "FILE")]
    spectrum: PathBuf,
    /// The format to write: iso17972, iso28178 or csv
    #[arg(long, value_name = "FORMAT")]
    to: WriteFormat,
    /// Where to write it; standard output when left out
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    /// Replace the file when it is there
    #[arg(long, requires = "out")]
    force: bool,
    /// Only this sample of the file
    #[arg(long, value_name = "NAME")]
    sample: Option<String>,
    #[command(flatten)]
    reading: ReadingOptions,
}

#[derive(Serialize)]
struct Document<'a> {
    read: Read<'a>,
    assumed: &'a [String],
    written: Written<'a>,
}

#[derive(Serialize)]
struct Read<'a> {
    file: String,
    format: FileFormat,
    scale: Scale,
    readings: Vec<One<'a>>,
    without_spectrum: &'a [WithoutSpectrum],
    tags: &'a [Tag],
    comments: &'a [String],
}

#[derive(Serialize)]
struct One<'a> {
    name: &'a str,
    line: u64,
    spectrum: &'a Spectrum,
    as_read: &'a [String],
    conditions: &'a Conditions,
    details: &'a Details,
    tags: &'a [Tag],
}

#[derive(Serialize)]
struct Written<'a> {
    format: WriteFormat,
    bytes: usize,
    #[serde(skip_serializing_if = "Option::is_none")]
    out: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    text: Option<&'a str>,
    left_out: &'a [String],
}

impl Convert {
    pub(super) fn run(self, run: &Run) -> Result<Exit, Failure> {
        let mut file = spectrum_file::read(&self.spectrum, self.reading)?;
        if let Some(name) = &self.sample {
            file.readings = spectrum_file::named(file.readings, name)?;
            file.without_spectrum.clear();
        }
        let made = write_spectra(&file, self.to)
            .map_err(|error| Failure::bad("to", error.to_string()).value(self.to.to_string()))?;
        for left_out in &made.left_out {
            output::say(left_out);
        }
        if let Some(out) = &self.out {
            self.write(out, made.text.as_bytes())?;
        }
        let document = Document {
            read: Read {
                file: self.spectrum.display().to_string(),
                format: file.format,
                scale: file.scale,
                readings: file.readings.iter().map(One::of).collect(),
                without_spectrum: &file.without_spectrum,
                tags: &file.tags,
                comments: &file.comments,
            },
            assumed: &file.assumed,
            written: Written {
                format: self.to,
                bytes: made.text.len(),
                out: self.out.as_ref().map(|out| out.display().to_string()),
                text: self.out.is_none().then_some(&made.text),
                left_out: &made.left_out,
            },
        };
        let Some(out) = &self.out else {
            if run.output().is_json() {
                run.output().show(&document, |_| {})?;
            } else {
                output::raw(made.text.as_bytes())?;
            }
            return Ok(Exit::Done);
        };
        run.output().show(&document, |screen| {
            screen.line(format!(
                "{} reading(s) written to {} as {}; it was {}, values in {}",
                file.readings.len(),
                out.display(),
                self.to,
                file.format,
                file.scale
            ));
            let mut table = Table::new(&["sample", "wavelengths", "geometry", "aperture", "tags"]);
            for one in &file.readings {
                let known = &one.conditions;
                let word = |known: Option<String>| known.unwrap_or_else(|| "not stated".to_owned());
                table.row([
                    one.name.clone(),
                    one.spectrum.wavelengths().to_string(),
                    word(known.geometry.map(|geometry| geometry.to_string())),
                    word(known.aperture_mm.map(|mm| format!("{mm} mm"))),
                    one.tags.len().to_string(),
                ]);
            }
            screen.table(&table);
        })?;
        Ok(Exit::Done)
    }

    fn write(&self, out: &std::path::Path, bytes: &[u8]) -> Result<(), Failure> {
        let written = if self.force {
            platform::write_public(out, bytes)
        } else {
            platform::write_new(out, bytes)
        };
        written.map_err(|error| {
            let shown = out.display().to_string();
            match error.kind() {
                std::io::ErrorKind::AlreadyExists => {
                    Failure::bad("out", "a file of that name is there")
                        .value(shown)
                        .remedy("give another name, or --force to replace it")
                }
                _ => Failure::machine(&format!("writing {shown}"), &error),
            }
        })
    }
}

impl<'a> One<'a> {
    fn of(reading: &'a Reading) -> Self {
        Self {
            name: &reading.name,
            line: reading.line,
            spectrum: &reading.spectrum,
            as_read: &reading.as_read,
            conditions: &reading.conditions,
            details: &reading.details,
            tags: &reading.tags,
        }
    }
}
