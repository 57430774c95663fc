//! A library of spectra in a folder of this machine: a manifest, the points that are searched, and the spectra behind
//! them. All is plain text; a checksum tells damage, a version tells a newer program's work.
//!
//! `library.json` names the other files, whose names hold a part of their checksum: writing the manifest is the one step
//! by which a rebuilt library takes the place of the old one.

use std::fs::File;
use std::io::{self, BufWriter, Write as _};
use std::path::{Path, PathBuf};

use color::{
    Direction, Lab, PointId, Spectrum, Verdict, VerdictLimits, Viewing, WeightTable, de2000,
};
use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};

use crate::exit::{Exit, Failure};
use crate::platform;

const FORMAT: &str = "secondcan-library";
const VERSION: u32 = 1;
const MANIFEST: &str = "library.json";
/// The search keeps colors as `f32`; this is more than such rounding moves a ΔE00, and bounds how many are ranked again.
const ROUNDING: f64 = 1e-3;

/// Why a library can't be made or read.
#[derive(Debug, thiserror::Error)]
pub(crate) enum LibraryError {
    /// There is none.
    #[error("{folder} holds no library")]
    Missing {
        /// Its folder.
        folder: String,
    },
    /// There is one already.
    #[error("{folder} holds a library already")]
    Exists {
        /// Its folder.
        folder: String,
    },
    /// Made by a newer program.
    #[error("the library {folder} is of version {version}; this program reads version {VERSION}")]
    Newer {
        /// Its folder.
        folder: String,
        /// Its version.
        version: u64,
    },
    /// Something is not as it was written.
    #[error("the library {folder} is damaged: {why}")]
    Damaged {
        /// Its folder.
        folder: String,
        /// What is wrong.
        why: String,
    },
    /// A file can't be read or written.
    #[error("{path}: {source}")]
    File {
        /// Which.
        path: String,
        /// Why.
        source: io::Error,
    },
}

impl From<LibraryError> for Failure {
    fn from(error: LibraryError) -> Self {
        let said = error.to_string();
        match error {
            LibraryError::Missing { folder } => Self::bad("library", said)
                .value(folder)
                .remedy("make one with `secondcan library build`"),
            LibraryError::Exists { folder } => Self::bad("out", said)
                .value(folder)
                .remedy("choose another folder, or add --replace"),
            LibraryError::Newer { folder, .. } => Self::new(Exit::Internal, "newer-library", said)
                .value(folder)
                .remedy("update secondcan, or build the library again"),
            LibraryError::Damaged { folder, .. } => {
                Self::new(Exit::Internal, "damaged-library", said)
                    .value(folder)
                    .remedy("build it again from its spectra files")
            }
            LibraryError::File { path, source } => Self::machine(&path, &source),
        }
    }
}

#[derive(Debug, Serialize, Deserialize)]
struct Manifest {
    format: String,
    version: u64,
    /// How Lab was computed.
    method: String,
    viewing: Viewing,
    count: u64,
    points: Part,
    spectra: Part,
}

#[derive(Debug, Serialize, Deserialize)]
struct Part {
    file: String,
    bytes: u64,
    sha256: String,
}

/// A spectrum's color, as searched.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Point {
    id: String,
    name: String,
    lab: Lab,
}

#[derive(Serialize)]
struct Kept<'a> {
    id: &'a str,
    file: &'a str,
    line: u64,
    spectrum: &'a Spectrum,
}

/// A part being written, under a passing name until its checksum is known.
struct PartWriter {
    file: BufWriter<File>,
    scratch: PathBuf,
    digest: Sha256,
    bytes: u64,
}

impl PartWriter {
    fn begin(folder: &Path, name: &str) -> Result<Self, LibraryError> {
        let scratch = folder.join(format!(".{name}.{}.part", std::process::id()));
        let file = File::create(&scratch).map_err(|source| at(&scratch, source))?;
        Ok(Self {
            file: BufWriter::new(file),
            scratch,
            digest: Sha256::new(),
            bytes: 0,
        })
    }

    fn line(&mut self, value: &impl Serialize) -> Result<(), LibraryError> {
        let mut line = serde_json::to_vec(value)
            .map_err(|error| at(&self.scratch, io::Error::other(error.to_string())))?;
        line.push(b'\n');
        self.digest.update(&line);
        self.bytes += line.len() as u64;
        self.file
            .write_all(&line)
            .map_err(|source| at(&self.scratch, source))
    }

    fn end(self, folder: &Path, name: &str) -> Result<Part, LibraryError> {
        let sha256 = hex(&self.digest.finalize());
        let file = format!("{name}-{}.ndjson", &sha256[..12]);
        let synced = self
            .file
            .into_inner()
            .map_err(io::IntoInnerError::into_error)
            .and_then(|file| file.sync_all());
        synced
            .and_then(|()| std::fs::rename(&self.scratch, folder.join(&file)))
            .map_err(|source| at(&self.scratch, source))?;
        Ok(Part {
            file,
            bytes: self.bytes,
            sha256,
        })
    }
}

fn at(path: &Path, source: io::Error) -> LibraryError {
    LibraryError::File {
        path: path.display().to_string(),
        source,
    }
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// A library being made.
pub(crate) struct Builder {
    folder: PathBuf,
    viewing: Viewing,
    weights: Option<WeightTable>,
    points: PartWriter,
    spectra: PartWriter,
    count: u64,
}

impl Builder {
    /// In this folder, which is made when missing.
    ///
    /// # Errors
    /// When there is a library already and `replace` is not set, or the folder can't be written.
    pub(crate) fn begin(folder: &Path, replace: bool) -> Result<Self, LibraryError> {
        if folder.join(MANIFEST).exists() && !replace {
            return Err(LibraryError::Exists {
                folder: folder.display().to_string(),
            });
        }
        std::fs::create_dir_all(folder).map_err(|source| at(folder, source))?;
        Ok(Self {
            folder: folder.to_owned(),
            viewing: Viewing::default(),
            weights: None,
            points: PartWriter::begin(folder, "points")?,
            spectra: PartWriter::begin(folder, "spectra")?,
            count: 0,
        })
    }

    /// Adds a spectrum; ids are running numbers.
    ///
    /// # Errors
    /// When the folder can't be written.
    pub(crate) fn add(
        &mut self,
        file: &str,
        line: u64,
        name: &str,
        spectrum: &Spectrum,
    ) -> Result<(), LibraryError> {
        self.count += 1;
        let id = self.count.to_string();
        let known = self
            .weights
            .as_ref()
            .and_then(|table| table.lab(spectrum).ok());
        let lab = match known {
            Some(lab) => lab,
            None => {
                let lab = spectrum.lab(self.viewing);
                self.weights = Some(WeightTable::new(self.viewing, spectrum.wavelengths()));
                lab
            }
        };
        self.spectra.line(&Kept {
            id: &id,
            file,
            line,
            spectrum,
        })?;
        self.points.line(&Point {
            id,
            name: name.to_owned(),
            lab,
        })
    }

    /// Makes it the folder's library.
    ///
    /// # Errors
    /// When the folder can't be written; an old library stays as it was then.
    pub(crate) fn end(self) -> Result<u64, LibraryError> {
        let folder = self.folder;
        let old = read_manifest(&folder).ok();
        let manifest = Manifest {
            format: FORMAT.to_owned(),
            version: u64::from(VERSION),
            method: color::METHOD.to_owned(),
            viewing: self.viewing,
            count: self.count,
            points: self.points.end(&folder, "points")?,
            spectra: self.spectra.end(&folder, "spectra")?,
        };
        let path = folder.join(MANIFEST);
        let mut text = serde_json::to_vec_pretty(&manifest)
            .map_err(|error| at(&path, io::Error::other(error.to_string())))?;
        text.push(b'\n');
        platform::write_public(&path, &text).map_err(|source| at(&path, source))?;
        for part in old.iter().flat_map(|old| [&old.points, &old.spectra]) {
            if part.file != manifest.points.file && part.file != manifest.spectra.file {
                // Left behind it only takes room.
                let _ = std::fs::remove_file(folder.join(&part.file));
            }
        }
        Ok(self.count)
    }
}

fn read_manifest(folder: &Path) -> Result<Manifest, LibraryError> {
    let shown = || folder.display().to_string();
    let damaged = |why: &str| LibraryError::Damaged {
        folder: shown(),
        why: why.to_owned(),
    };
    let path = folder.join(MANIFEST);
    let bytes = match std::fs::read(&path) {
        Ok(bytes) => bytes,
        Err(error)
            if matches!(
                error.kind(),
                io::ErrorKind::NotFound | io::ErrorKind::NotADirectory
            ) =>
        {
            return Err(LibraryError::Missing { folder: shown() });
        }
        Err(source) => return Err(at(&path, source)),
    };
    let value: serde_json::Value =
        serde_json::from_slice(&bytes).map_err(|_| damaged("library.json is no JSON"))?;
    if value.get("format").and_then(serde_json::Value::as_str) != Some(FORMAT) {
        return Err(damaged("library.json is no manifest of a library"));
    }
    match value.get("version").and_then(serde_json::Value::as_u64) {
        Some(version) if version == u64::from(VERSION) => {}
        Some(version) => {
            return Err(LibraryError::Newer {
                folder: shown(),
                version,
            });
        }
        None => return Err(damaged("library.json names no version")),
    }
    let manifest: Manifest = serde_json::from_value(value)
        .map_err(|error| damaged(&format!("library.json: {error}")))?;
    for part in [&manifest.points, &manifest.spectra] {
        let plain = Path::new(&part.file)
            .file_name()
            .is_some_and(|name| name == part.file.as_str());
        if !plain {
            return Err(damaged("library.json names a file outside the folder"));
        }
    }
    Ok(manifest)
}

/// A library, ready to be searched.
pub(crate) struct LocalLibrary {
    points: Vec<Point>,
    index: color::Library,
    viewing: Viewing,
}

/// A spectrum near the one asked for.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(crate) struct LocalHit {
    /// Its running number in the library.
    pub(crate) id: String,
    /// Its name in the file.
    pub(crate) name: String,
    /// CIELAB, not rounded.
    pub(crate) lab: Lab,
    /// CIEDE2000 from the color asked for.
    pub(crate) de2000: f64,
    /// How near that is.
    pub(crate) verdict: Verdict,
    /// How it differs, in words.
    pub(crate) direction: String,
}

impl LocalLibrary {
    /// Reads a library and checks it.
    ///
    /// # Errors
    /// When there is none, it is damaged, or a newer program made it.
    pub(crate) fn open(folder: &Path) -> Result<Self, LibraryError> {
        let damaged = |why: String| LibraryError::Damaged {
            folder: folder.display().to_string(),
            why,
        };
        let manifest = read_manifest(folder)?;
        let spectra = folder.join(&manifest.spectra.file);
        let there = std::fs::metadata(&spectra).map_or(0, |about| about.len());
        if there != manifest.spectra.bytes {
            return Err(damaged(format!(
                "{} has {there} bytes, not {}",
                manifest.spectra.file, manifest.spectra.bytes
            )));
        }
        let path = folder.join(&manifest.points.file);
        let bytes = std::fs::read(&path).map_err(|error| match error.kind() {
            io::ErrorKind::NotFound => damaged(format!("{} is missing", manifest.points.file)),
            _ => at(&path, error),
        })?;
        if hex(&Sha256::digest(&bytes)) != manifest.points.sha256 {
            return Err(damaged(format!(
                "the checksum of {} does not fit",
                manifest.points.file
            )));
        }
        let count = usize::try_from(manifest.count).unwrap_or(0);
        // The count is not yet proven, so it must not decide how much memory is taken.
        let mut points: Vec<Point> = Vec::new();
        let mut index = color::Library::with_capacity(count.min(bytes.len() / 16));
        for (at, line) in bytes.split(|byte| *byte == b'\n').enumerate() {
            if line.is_empty() {
                continue;
            }
            let point: Point = serde_json::from_slice(line)
                .map_err(|error| damaged(format!("line {} of the points: {error}", at + 1)))?;
            index
                .insert(point_id(points.len()), point.lab)
                .map_err(|error| damaged(format!("line {} of the points: {error}", at + 1)))?;
            points.push(point);
        }
        if points.len() != count {
            return Err(damaged(format!(
                "it holds {} points, not {count}",
                points.len()
            )));
        }
        Ok(Self {
            points,
            index,
            viewing: manifest.viewing,
        })
    }

    /// Light and observer of its colors.
    pub(crate) const fn viewing(&self) -> Viewing {
        self.viewing
    }

    /// How many spectra it holds.
    pub(crate) fn len(&self) -> usize {
        self.points.len()
    }

    /// The nearest spectra, nearest first; equal distances in the order of the library.
    ///
    /// # Errors
    /// When the color asked for is none.
    pub(crate) fn nearest(&self, query: Lab, limit: usize) -> Result<Vec<LocalHit>, Failure> {
        let failed = |error: color::NearestError| Failure::bad("query", error.to_string());
        let near = self.index.nearest(query, limit, |_| true).map_err(failed)?;
        let Some(last) = near.last() else {
            return Ok(Vec::new());
        };
        // Rounding to f32 can swap neighbors at the limit: rank all that could belong here by their exact colors.
        let around = self
            .index
            .within(query, last.de2000 + ROUNDING, |_| true)
            .map_err(failed)?;
        let mut ranked: Vec<(f64, usize)> = around
            .iter()
            .filter_map(|hit| {
                let at = place(hit.id);
                self.points
                    .get(at)
                    .map(|point| (de2000(query, point.lab), at))
            })
            .collect();
        ranked.sort_by(|one, other| one.0.total_cmp(&other.0).then(one.1.cmp(&other.1)));
        ranked.truncate(limit);
        let limits = VerdictLimits::default();
        Ok(ranked
            .into_iter()
            .map(|(apart, at)| {
                let point = &self.points[at];
                LocalHit {
                    id: point.id.clone(),
                    name: point.name.clone(),
                    lab: point.lab,
                    de2000: apart,
                    verdict: limits.judge(apart),
                    direction: Direction::between(query, point.lab).to_string(),
                }
            })
            .collect())
    }
}

fn point_id(at: usize) -> PointId {
    PointId((at as u128).to_be_bytes())
}

fn place(id: PointId) -> usize {
    usize::try_from(u128::from_be_bytes(id.0)).unwrap_or(usize::MAX)
}
