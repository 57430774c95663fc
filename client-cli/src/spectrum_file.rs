//! Measured spectra from files and from stdin.

use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};

use color::exchange::FileFormat;
use color::{Ends, MAX_FILE_BYTES, ReadOptions, Reading, Scale, SpectraFile, Spectrum, Tag};

use crate::averaging::Averaged;
use crate::exit::Failure;
use crate::output;

/// How the numbers in a file are to be read.
#[derive(Debug, Clone, Copy, Default, clap::Args)]
pub(crate) struct ReadingOptions {
    /// Unit of the values, when the file does not state it: fraction or percent
    #[arg(long, value_name = "UNIT")]
    pub(crate) scale: Option<Scale>,
    /// Which table with spectra, when a file of ISO 28178 has several
    #[arg(long, value_name = "N")]
    pub(crate) table: Option<usize>,
    /// Take the end values for missing ends of the range up to 400 and 700 nm
    #[arg(long)]
    pub(crate) extend_ends: bool,
}

impl ReadingOptions {
    fn for_reading(self) -> ReadOptions {
        ReadOptions {
            scale: self.scale,
            table: self.table,
            ends: if self.extend_ends {
                Ends::Extend
            } else {
                Ends::Refuse
            },
        }
    }
}

/// The bytes of a file, at most as many as a spectra file may have; `-` is stdin.
///
/// # Errors
/// When it can't be opened, is no plain file, or is too large; a large file is not read.
pub(crate) fn bytes_of(path: &Path) -> Result<Vec<u8>, Failure> {
    let shown = path.display().to_string();
    let refused = |message: String| Failure::bad("file", message).value(shown.clone());
    let too_large = |size: u64| {
        refused(format!(
            "the file has {size} bytes, more than the {MAX_FILE_BYTES} that are read at once"
        ))
        .remedy("split it, or give the file that the instrument exported")
    };
    let limit = MAX_FILE_BYTES as u64;
    let mut bytes = Vec::new();
    if path == Path::new("-") {
        io::stdin()
            .lock()
            .take(limit + 1)
            .read_to_end(&mut bytes)
            .map_err(|error| refused(format!("stdin can't be read: {error}")))?;
    } else {
        let unreadable = |error: io::Error| {
            refused(format!("the file can't be read: {error}"))
                .remedy("check the path, and that you may read it")
        };
        // Asked before opening: opening a pipe without a writer would wait for ever.
        let about = std::fs::metadata(path).map_err(unreadable)?;
        if !about.is_file() {
            return Err(
                refused("this is no plain file".to_owned()).remedy("give a file, or - for stdin")
            );
        }
        if about.len() > limit {
            return Err(too_large(about.len()));
        }
        File::open(path)
            .map_err(unreadable)?
            .take(limit + 1)
            .read_to_end(&mut bytes)
            .map_err(unreadable)?;
    }
    if bytes.len() as u64 > limit {
        return Err(too_large(bytes.len() as u64));
    }
    Ok(bytes)
}

/// Reads all spectra of a file. What had to be assumed is told on stderr.
///
/// # Errors
/// When the file can't be read or is no spectra file; names line, field, value and remedy.
pub(crate) fn read(path: &Path, options: ReadingOptions) -> Result<SpectraFile, Failure> {
    parse(&bytes_of(path)?, path, options)
}

/// The same of bytes that were read already.
///
/// # Errors
/// As [`read`].
pub(crate) fn parse(
    bytes: &[u8],
    path: &Path,
    options: ReadingOptions,
) -> Result<SpectraFile, Failure> {
    let file = parse_quietly(bytes, path, options)?;
    let name = path.display();
    for assumed in &file.assumed {
        output::say(&format!("{name}: {assumed}"));
    }
    for reading in &file.readings {
        for warning in reading.spectrum.warnings() {
            output::say(&format!("{name}: {}: {warning}", reading.name));
        }
    }
    Ok(file)
}

/// The same, where nobody is to be told yet: a file that is still being written is read again.
///
/// # Errors
/// As [`read`].
pub(crate) fn parse_quietly(
    bytes: &[u8],
    path: &Path,
    options: ReadingOptions,
) -> Result<SpectraFile, Failure> {
    color::read_spectra(bytes, &options.for_reading()).map_err(|error| {
        Failure::bad("spectrum", error.to_string()).value(path.display().to_string())
    })
}

/// A file of which one sample is wanted.
#[derive(Debug, Clone, clap::Args)]
pub(crate) struct SampleOptions {
    /// File with the measured spectrum (CxF3, CGATS.17 or CSV, told by its content); - is stdin
    #[arg(long, value_name = "FILE")]
    pub(crate) spectrum: Option<PathBuf>,
    /// Which sample of the file, when it holds several
    #[arg(long, value_name = "NAME", requires = "spectrum")]
    pub(crate) sample: Option<String>,
    /// The samples of the file are readings of one: average them, and keep each beside the average
    #[arg(long, requires = "spectrum")]
    pub(crate) average: bool,
    #[command(flatten)]
    pub(crate) reading: ReadingOptions,
}

/// One reading and what its file says of all.
#[derive(Debug, Clone)]
pub(crate) struct OneReading {
    /// The reading, or the average of several.
    pub(crate) reading: Reading,
    /// The several that were averaged; empty for one.
    pub(crate) each: Vec<Spectrum>,
    /// The unit of the values in the file.
    pub(crate) scale: Scale,
    /// The file's format.
    pub(crate) format: FileFormat,
    /// What the file states about all of it.
    pub(crate) tags: Vec<Tag>,
    /// What had to be assumed.
    pub(crate) assumed: Vec<String>,
}

impl OneReading {
    /// The one sample of a file: that of the name, the average of all (or of all of that name), or the only one.
    ///
    /// # Errors
    /// When it is not clear which sample is meant, or those to be averaged differ in wavelengths.
    pub(crate) fn of(
        file: SpectraFile,
        name: Option<&str>,
        average: bool,
    ) -> Result<Self, Failure> {
        let SpectraFile {
            format,
            scale,
            readings,
            tags,
            assumed,
            ..
        } = file;
        let (reading, each) = if average {
            let readings = match name {
                Some(name) => named(readings, name)?,
                None => readings,
            };
            let averaged = Averaged::of(&readings)?;
            let several = readings.len() > 1;
            let each = readings.iter().map(|one| one.spectrum.clone());
            let each = each.filter(|_| several).collect();
            let reading = readings
                .into_iter()
                .next()
                .map(|first| averaged.as_reading(first))
                .ok_or_else(|| Failure::bad("spectrum", "the file holds no sample"))?;
            (reading, each)
        } else {
            (choose(readings, name)?, Vec::new())
        };
        Ok(Self {
            reading,
            each,
            scale,
            format,
            tags,
            assumed,
        })
    }
}

impl SampleOptions {
    /// Reads the sample, when a file was given.
    ///
    /// # Errors
    /// When the file can't be read, or it is not clear which sample is meant.
    pub(crate) fn read(&self) -> Result<Option<OneReading>, Failure> {
        let Some(path) = &self.spectrum else {
            return Ok(None);
        };
        let file = read(path, self.reading)?;
        OneReading::of(file, self.sample.as_deref(), self.average).map(Some)
    }
}

/// All samples of that name.
///
/// # Errors
/// When there is none.
pub(crate) fn named(readings: Vec<Reading>, name: &str) -> Result<Vec<Reading>, Failure> {
    let is_it = |reading: &Reading| reading.name.to_lowercase() == name.trim().to_lowercase();
    if !readings.iter().any(is_it) {
        return choose(readings, Some(name)).map(|one| vec![one]);
    }
    Ok(readings.into_iter().filter(is_it).collect())
}

/// The sample of that name, or the only one.
///
/// # Errors
/// When there is none or several; lists the names.
pub(crate) fn choose(readings: Vec<Reading>, name: Option<&str>) -> Result<Reading, Failure> {
    let names = |readings: &[Reading]| {
        let mut names: Vec<String> = readings
            .iter()
            .take(20)
            .map(|reading| reading.name.clone())
            .collect();
        if readings.len() > names.len() {
            names.push(format!("and {} more", readings.len() - names.len()));
        }
        names
    };
    let wanted: Vec<&Reading> = readings
        .iter()
        .filter(|reading| {
            name.is_none_or(|name| reading.name.to_lowercase() == name.trim().to_lowercase())
        })
        .collect();
    match (&wanted[..], name) {
        ([one], _) => Ok((*one).clone()),
        ([], Some(name)) => Err(
            Failure::bad("sample", "the file has no sample of that name")
                .value(name)
                .remedy("give one of these with --sample")
                .candidates(names(&readings)),
        ),
        (_, Some(name)) => Err(Failure::bad(
            "sample",
            format!("the file has {} samples of that name", wanted.len()),
        )
        .value(name)
        .remedy("give each sample a name of its own in the file")),
        (_, None) => Err(Failure::bad(
            "sample",
            format!(
                "the file holds {} samples, and one is needed",
                readings.len()
            ),
        )
        .remedy("say which one with --sample NAME")
        .candidates(names(&readings))),
    }
}
