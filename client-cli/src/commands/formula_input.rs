//! A formula as the command line or a file gives it.

use std::path::{Path, PathBuf};

use color::Lab;
use formula::id::{ColorantId, RevisionId};
use formula::naming::Note;
use formula::quantity::{CanSize, ShotCount, ShotUnit, Shots};
use formula::sheen::SheenWord;
use formula::wire::v1::{Colorant, LabD65, NewFormula, Product, Revision, Sheen, ShotLine};
use serde::Deserialize;

use crate::amounts::{self, TypedShot};
use crate::exit::Failure;
use crate::reference;
use crate::remote::{Remote, fresh};
use crate::spectrum_file;
use crate::word::word;

/// Base, can size and shots, or a file with them.
#[derive(Debug, Clone, clap::Args)]
#[command(next_help_heading = "Formula")]
pub(crate) struct FormulaOptions {
    /// The base, by name or id
    #[arg(long, value_name = "BASE")]
    base: Option<String>,
    /// The can size that the shots are for
    #[arg(long, value_parser = word::<CanSize>())]
    size: Option<CanSize>,
    /// A colorant and its shots, such as PY42=24@1/48 or "PY42 24 x 1/48 fl oz"; repeat for more
    #[arg(long = "shot", value_name = "SHOT")]
    shots: Vec<TypedShot>,
    /// The sheen it was made in, when it is not the match's
    #[arg(long, value_parser = word::<SheenWord>())]
    formula_sheen: Option<SheenWord>,
    /// The color predicted for it: L,a,b under D65 and 10°
    #[arg(long, value_name = "L,a,b", value_parser = amounts::lab)]
    predicted_lab: Option<Lab>,
    /// A JSON file with base, size and shots
    #[arg(long = "formula", value_name = "FILE", conflicts_with_all = ["base", "size", "shots", "formula_sheen"])]
    file: Option<PathBuf>,
}

/// A formula file.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct FormulaFile {
    base: Option<String>,
    size: Option<CanSize>,
    sheen: Option<SheenWord>,
    #[serde(default)]
    shots: Vec<ShotEntry>,
    note: Option<Note>,
}

/// A shot in a formula file: as on the command line, or in parts.
#[derive(Debug, Deserialize)]
#[serde(untagged)]
enum ShotEntry {
    Text(String),
    Parts {
        colorant: String,
        count: ShotCount,
        unit: ShotUnit,
    },
}

/// A formula before its names are looked up.
#[derive(Debug, Clone)]
struct Typed {
    base: Option<String>,
    size: Option<CanSize>,
    sheen: Option<SheenWord>,
    shots: Vec<TypedShot>,
    note: Option<Note>,
}

/// What a formula stands in when it does not say otherwise.
#[derive(Debug, Clone, Copy)]
pub(super) struct Around<'a> {
    /// The product.
    pub(super) product: &'a Product,
    /// The match's sheen.
    pub(super) sheen: &'a Sheen,
    /// The revision that is corrected.
    pub(super) corrects: Option<&'a Revision>,
}

impl FormulaOptions {
    /// Whether anything of a formula was given.
    pub(super) fn given(&self) -> bool {
        self.base.is_some()
            || self.size.is_some()
            || !self.shots.is_empty()
            || self.formula_sheen.is_some()
            || self.predicted_lab.is_some()
            || self.file.is_some()
    }

    fn typed(&self) -> Result<Typed, Failure> {
        match &self.file {
            Some(path) => from_file(path),
            None => Ok(Typed {
                base: self.base.clone(),
                size: self.size,
                sheen: self.formula_sheen,
                shots: self.shots.clone(),
                note: None,
            }),
        }
    }

    /// The formula with its names looked up.
    ///
    /// # Errors
    /// When a part is missing or not known; names field, value and remedy.
    pub(super) fn read(
        &self,
        remote: &Remote,
        around: Around<'_>,
        note: Option<Note>,
    ) -> Result<NewFormula, Failure> {
        let typed = self.typed()?;
        let base_id = match (&typed.base, around.corrects) {
            (Some(base), _) => reference::base(remote, base, Some(around.product.id))?.id,
            (None, Some(revision)) => revision.base.id,
            (None, None) => {
                return Err(Failure::bad("base", "the formula names no base")
                    .remedy("give it with --base NAME"));
            }
        };
        let size = typed
            .size
            .or_else(|| around.corrects.map(|revision| revision.size))
            .ok_or_else(|| {
                Failure::bad("size", "the formula names no can size")
                    .remedy("give it with --size, such as --size gallon")
            })?;
        let sheen_id = match (typed.sheen, around.corrects) {
            (Some(word), _) => reference::sheen(around.product, word)?.id,
            (None, Some(revision)) => revision.sheen.id,
            (None, None) => around.sheen.id,
        };
        Ok(NewFormula {
            id: fresh!(RevisionId),
            base_id,
            sheen_id,
            size,
            shots: shot_lines(remote, &typed.shots)?,
            predicted_lab: self.predicted_lab.map(LabD65),
            note: note.or(typed.note),
        })
    }
}

fn from_file(path: &Path) -> Result<Typed, Failure> {
    let bytes = spectrum_file::bytes_of(path)?;
    let refused = |message: String| {
        Failure::bad("formula", message)
            .value(path.display().to_string())
            .remedy("write it like {\"base\":\"Deep\",\"size\":\"gallon\",\"shots\":[\"PY42=24@1/48\"]}")
    };
    let file: FormulaFile = serde_json::from_slice(&bytes)
        .map_err(|error| refused(format!("the formula file can't be read: {error}")))?;
    let shots = file
        .shots
        .into_iter()
        .map(|entry| match entry {
            ShotEntry::Text(text) => text
                .parse()
                .map_err(|error: amounts::AmountError| refused(error.to_string())),
            ShotEntry::Parts {
                colorant,
                count,
                unit,
            } => Ok(TypedShot {
                colorant,
                shots: Shots { count, unit },
            }),
        })
        .collect::<Result<_, Failure>>()?;
    Ok(Typed {
        base: file.base,
        size: file.size,
        sheen: file.sheen,
        shots,
        note: file.note,
    })
}

/// Shots with their colorants looked up, each once.
fn shot_lines(remote: &Remote, typed: &[TypedShot]) -> Result<Vec<ShotLine>, Failure> {
    let mut lines: Vec<ShotLine> = Vec::with_capacity(typed.len());
    if typed.is_empty() {
        return Ok(lines);
    }
    let known = remote.all::<Colorant>("/colorants")?;
    for shot in typed {
        let id = colorant(&known, &shot.colorant)?.id;
        if lines.iter().any(|line| line.colorant_id == id) {
            return Err(Failure::bad("shot", "this colorant stands there twice")
                .value(shot.to_string())
                .remedy("give each colorant once, with all its shots"));
        }
        lines.push(ShotLine {
            colorant_id: id,
            count: shot.shots.count,
            unit: shot.shots.unit,
        });
    }
    Ok(lines)
}

/// The colorant that is meant.
pub(super) fn colorant<'a>(known: &'a [Colorant], typed: &str) -> Result<&'a Colorant, Failure> {
    reference::pick::<Colorant>("colorant", typed, known)
}

/// The ids of colorants, for tints.
pub(super) fn colorant_id(known: &[Colorant], typed: &str) -> Result<ColorantId, Failure> {
    colorant(known, typed).map(|colorant| colorant.id)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_formula_file_is_read_in_both_forms_and_errors_name_the_shot() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("formula.json");
        let read = |text: &str| {
            std::fs::write(&path, text).unwrap();
            from_file(&path)
        };
        let good = read(
            r#"{"base":"Deep","size":"gallon","sheen":"satin",
                "shots":["PY42=24@1/48",{"colorant":"PBk7","count":3,"unit":"1/96 fl oz"}],"note":"second try"}"#,
        )
        .unwrap();
        let shots: Vec<String> = good.shots.iter().map(ToString::to_string).collect();
        assert_eq!(
            shots,
            [
                "PY42 24 × 1/48 fl oz (14.79 ml)",
                "PBk7 3 × 1/96 fl oz (0.92 ml)"
            ]
        );
        assert_eq!(good.size, Some(CanSize::Gallon));
        for (text, named) in [
            (
                r#"{"base":"Deep","shots":["PY42=2.5@1/48"]}"#,
                "PY42=5@1/96",
            ),
            (r#"{"base":"Deep","size":"bucket"}"#, "bucket"),
            (r#"{"bass":"Deep"}"#, "bass"),
            ("", "EOF"),
        ] {
            let failure = read(text).unwrap_err().to_string();
            assert!(failure.contains(named), "{failure}");
        }
    }
}
