//! `--plot`, `--svg` and `--png`, the same for every verb that can draw.

use std::path::{Path, PathBuf};

use super::{Figure, picture};
use crate::exit::Failure;
use crate::output::Screen;

/// Where to draw to.
#[derive(Debug, Clone, Default, clap::Args)]
#[command(next_help_heading = "Charts")]
pub(crate) struct PlotOptions {
    /// Draw it in the terminal too
    #[arg(long)]
    plot: bool,
    /// Draw it into an SVG file
    #[arg(long, value_name = "FILE")]
    svg: Option<PathBuf>,
    /// Draw it into a PNG file
    #[arg(long, value_name = "FILE")]
    png: Option<PathBuf>,
}

impl PlotOptions {
    /// Whether anything is to be drawn, so that what only a chart needs is not asked for without.
    pub(crate) const fn wanted(&self) -> bool {
        self.plot || self.svg.is_some() || self.png.is_some()
    }

    /// Writes the files that were asked for, in place of such that are there.
    ///
    /// # Errors
    /// When one can't be written.
    pub(crate) fn write(&self, figures: &[Figure]) -> Result<(), Failure> {
        if let Some(path) = &self.svg {
            keep("svg", path, picture::svg(figures).as_bytes())?;
        }
        if let Some(path) = &self.png {
            keep("png", path, &picture::png(figures)?)?;
        }
        Ok(())
    }

    /// Draws on the screen, when that was asked for.
    pub(crate) fn draw(&self, screen: &mut Screen, figures: &[Figure]) {
        if self.plot {
            for figure in figures {
                screen.gap();
                screen.figure(figure);
            }
        }
    }
}

fn keep(field: &'static str, path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    std::fs::write(path, bytes).map_err(|error| {
        Failure::bad(field, format!("the picture can't be written: {error}"))
            .value(path.display().to_string())
            .remedy("name a file in a folder that you may write to")
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_picture_that_cannot_be_written_is_told() {
        let folder = tempfile::tempdir().unwrap();
        let options = PlotOptions {
            plot: false,
            svg: Some(folder.path().join("missing").join("a.svg")),
            png: None,
        };
        let error = options.write(&[]).unwrap_err();
        assert!(error.to_string().contains("can't be written"), "{error}");
    }
}
