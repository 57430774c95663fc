//! `library build`, and the search of `nearest --library`.

use std::path::{Path, PathBuf};

use color::{Illuminant, Lab, Observer, Viewing};
use indicatif::{ProgressBar, ProgressStyle};
use serde::Serialize;

use super::Run;
use crate::exit::{Exit, Failure};
use crate::local_library::{Builder, LocalHit, LocalLibrary};
use crate::output::{Screen, Table};
use crate::spectrum_file::{self, ReadingOptions, SampleOptions};

/// `library`.
#[derive(Debug, clap::Subcommand)]
pub(crate) enum Library {
    /// Build a library from files of spectra
    #[command(
        after_help = "Example:\n  secondcan library build --spectra chips-1.csv chips-2.csv --out chips"
    )]
    Build(Build),
}

/// `library build`.
#[derive(Debug, clap::Args)]
pub(crate) struct Build {
    /// Files of spectra; one or more
    #[arg(long, value_name = "FILE", required = true, num_args = 1..)]
    spectra: Vec<PathBuf>,
    /// The folder of the library
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
    /// Take the place of a library that is there already
    #[arg(long)]
    replace: bool,
    #[command(flatten)]
    reading: ReadingOptions,
}

#[derive(Serialize)]
struct Built {
    library: String,
    count: u64,
    files: usize,
}

impl Library {
    pub(super) fn run(self, run: &Run) -> Result<Exit, Failure> {
        let Self::Build(build) = self;
        let mut builder = Builder::begin(&build.out, build.replace)?;
        let progress = progress(build.spectra.len());
        for path in &build.spectra {
            let shown = path.display().to_string();
            progress.set_message(shown.clone());
            let file = progress.suspend(|| spectrum_file::read(path, build.reading))?;
            for reading in &file.readings {
                builder.add(&shown, reading.line, &reading.name, &reading.spectrum)?;
            }
            progress.inc(1);
        }
        progress.finish_and_clear();
        let built = Built {
            library: build.out.display().to_string(),
            count: builder.end()?,
            files: build.spectra.len(),
        };
        run.output().show(&built, |screen| {
            screen.line(format!(
                "{} spectra from {} files in {}",
                built.count, built.files, built.library
            ));
        })?;
        Ok(Exit::Done)
    }
}

/// A bar on stderr; nothing where stderr is no terminal.
fn progress(files: usize) -> ProgressBar {
    let bar = ProgressBar::new(files as u64);
    match ProgressStyle::with_template("{bar:30} {pos}/{len} files  {eta}  {wide_msg}") {
        Ok(style) => bar.with_style(style),
        Err(_) => bar,
    }
}

/// What is asked of a library.
pub(super) struct Ask<'a> {
    /// Its folder.
    pub(super) folder: &'a Path,
    /// A measured sample.
    pub(super) sample: &'a SampleOptions,
    /// A color.
    pub(super) lab: Option<Lab>,
    /// A file of many.
    pub(super) queries: Option<&'a Path>,
    /// How many at most.
    pub(super) limit: usize,
}

#[derive(Serialize)]
struct Query {
    #[serde(skip_serializing_if = "Option::is_none")]
    name: Option<String>,
    lab: Lab,
    light: Illuminant,
    observer: Observer,
}

#[derive(Serialize)]
struct Answer {
    query: Query,
    results: Vec<LocalHit>,
    examined: usize,
}

#[derive(Serialize)]
struct Answers<'a> {
    answers: &'a [Answer],
}

impl Ask<'_> {
    pub(super) fn run(&self, run: &Run) -> Result<Exit, Failure> {
        let library = LocalLibrary::open(self.folder)?;
        let viewing = library.viewing();
        if let Some(path) = self.queries {
            let answers = queries(path, self.sample.reading, viewing)?
                .into_iter()
                .map(|(name, lab)| self.answer(&library, name, lab))
                .collect::<Result<Vec<_>, _>>()?;
            let nothing = answers.iter().all(|answer| answer.results.is_empty());
            run.output()
                .show(&Answers { answers: &answers }, |screen| {
                    for answer in &answers {
                        draw(screen, answer);
                        screen.gap();
                    }
                })?;
            return Ok(found(nothing));
        }
        let (name, lab) = match (self.sample.read()?, self.lab) {
            (Some(one), _) => (Some(one.reading.name), one.reading.spectrum.lab(viewing)),
            (None, Some(lab)) => (None, lab),
            (None, None) => return Err(Failure::bad("query", "no color was given")),
        };
        let answer = self.answer(&library, name, lab)?;
        run.output().show(&answer, |screen| draw(screen, &answer))?;
        Ok(found(answer.results.is_empty()))
    }

    fn answer(
        &self,
        library: &LocalLibrary,
        name: Option<String>,
        lab: Lab,
    ) -> Result<Answer, Failure> {
        Ok(Answer {
            query: Query {
                name,
                lab,
                light: library.viewing().light,
                observer: library.viewing().observer,
            },
            results: library.nearest(lab, self.limit)?,
            examined: library.len(),
        })
    }
}

const fn found(nothing: bool) -> Exit {
    if nothing {
        Exit::NothingFound
    } else {
        Exit::Done
    }
}

fn draw(screen: &mut Screen, answer: &Answer) {
    screen.color(
        "asked for",
        answer.query.lab,
        &answer
            .query
            .name
            .as_ref()
            .map_or(String::new(), |name| format!("  {name}")),
    );
    if answer.results.is_empty() {
        screen.line("the library is empty");
        return;
    }
    let mut table = Table::new(&[">ΔE00", "verdict", "it is", "name", ">id"]);
    for hit in &answer.results {
        table.row([
            format!("{:.2}", hit.de2000),
            hit.verdict.phrase().to_owned(),
            hit.direction.clone(),
            hit.name.clone(),
            hit.id.clone(),
        ]);
    }
    screen.table(&table);
    screen.line(format!("{} spectra examined", answer.examined));
}

/// A color and the name that its file gives it.
type NamedColor = (Option<String>, Lab);

/// The colors of a file of queries: Lab where it has columns L, a and b, else spectra.
fn queries(
    path: &Path,
    options: ReadingOptions,
    viewing: Viewing,
) -> Result<Vec<NamedColor>, Failure> {
    let bytes = spectrum_file::bytes_of(path)?;
    if let Some(colors) = lab_rows(&bytes)? {
        return Ok(colors);
    }
    let file = spectrum_file::parse(&bytes, path, options)?;
    Ok(file
        .readings
        .into_iter()
        .map(|reading| (Some(reading.name), reading.spectrum.lab(viewing)))
        .collect())
}

/// Rows of L, a, b and maybe a name; nothing when the headings are not those.
fn lab_rows(bytes: &[u8]) -> Result<Option<Vec<NamedColor>>, Failure> {
    let mut reader = csv::ReaderBuilder::new()
        .trim(csv::Trim::All)
        .from_reader(bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes));
    let Ok(headings) = reader.headers().cloned() else {
        return Ok(None);
    };
    let column = |names: &[&str]| {
        headings
            .iter()
            .position(|heading| names.iter().any(|name| heading.eq_ignore_ascii_case(name)))
    };
    let (Some(l), Some(a), Some(b)) = (
        column(&["L", "L*"]),
        column(&["a", "a*"]),
        column(&["b", "b*"]),
    ) else {
        return Ok(None);
    };
    let name = column(&["name", "id"]);
    let mut colors = Vec::new();
    for row in reader.records() {
        let row = row.map_err(|error| Failure::bad("queries", error.to_string()))?;
        let line = row.position().map_or(0, csv::Position::line);
        let part = |at: usize, field: &str| {
            let text = row.get(at).unwrap_or_default();
            text.parse::<f64>().map_err(|_| {
                Failure::bad(field, format!("line {line}: this is not a number"))
                    .value(text)
                    .remedy("write numbers like 52.1")
            })
        };
        let lab = Lab::new(part(l, "L")?, part(a, "a")?, part(b, "b")?)
            .map_err(|error| Failure::bad("queries", format!("line {line}: {error}")))?;
        colors.push((name.and_then(|at| row.get(at)).map(str::to_owned), lab));
    }
    Ok(Some(colors))
}
