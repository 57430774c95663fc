//! Readings of one sample as one.

use color::spread::ADVISED_FOR_T2;
use color::{
    AverageError, Conditions, Illuminant, Lab, Observer, Reading, Spectrum, Spread, Unlike, Viewing,
};

use crate::exit::Failure;
use crate::output::Screen;

/// Several readings of one sample, and their average in reflectance.
#[derive(Debug, Clone)]
pub(crate) struct Averaged {
    /// `average of 5 readings`, or the name of the only one.
    pub(crate) name: String,
    /// The average.
    pub(crate) mean: Spectrum,
    /// How it was read, as far as the file says it of the first reading.
    pub(crate) conditions: Conditions,
    /// Why the readings do not compare among themselves.
    pub(crate) unlike: Vec<Unlike>,
    names: Vec<String>,
    each: Vec<Spectrum>,
}

impl Averaged {
    /// Of readings, at least one.
    ///
    /// # Errors
    /// When their wavelengths differ; names the reading.
    pub(crate) fn of(readings: &[Reading]) -> Result<Self, Failure> {
        let spectra: Vec<&Spectrum> = readings.iter().map(|one| &one.spectrum).collect();
        let mean = color::average(&spectra).map_err(|error| {
            let failure = Failure::bad("spectrum", error.to_string());
            match error {
                AverageError::Wavelengths { number } => failure.value(&readings[number - 1].name),
                AverageError::None | AverageError::Spectrum(_) => failure,
            }
        })?;
        let name = match readings {
            [one] => one.name.clone(),
            all => format!("average of {} readings", all.len()),
        };
        let conditions = readings
            .first()
            .map_or_else(Conditions::default, |first| first.conditions);
        let mut unlike = Vec::new();
        for why in readings
            .iter()
            .flat_map(|one| conditions.unlike(&one.conditions))
        {
            if !unlike.contains(&why) {
                unlike.push(why);
            }
        }
        Ok(Self {
            name,
            mean,
            conditions,
            unlike,
            names: readings.iter().map(|one| one.name.clone()).collect(),
            each: readings.iter().map(|one| one.spectrum.clone()).collect(),
        })
    }

    /// The average in place of the readings it was made of. Digits as read belong to a reading, not to an average.
    pub(crate) fn as_reading(&self, first: Reading) -> Reading {
        if self.each.len() == 1 {
            return first;
        }
        Reading {
            name: self.name.clone(),
            spectrum: self.mean.clone(),
            as_read: Vec::new(),
            ..first
        }
    }

    /// Why this and that sample do not compare like with like, as sentences.
    pub(crate) fn warnings(&self, other: &Self) -> Vec<String> {
        self.unlike
            .iter()
            .copied()
            .chain(other.unlike.iter().copied())
            .chain(self.conditions.unlike(&other.conditions))
            .map(|why| why.to_string())
            .collect()
    }

    /// Each reading's color.
    pub(crate) fn labs(&self, viewing: Viewing) -> Vec<Lab> {
        self.each.iter().map(|one| one.lab(viewing)).collect()
    }

    /// How far they lie apart under a light.
    pub(crate) fn spread(&self, viewing: Viewing) -> Spread {
        Spread::around(self.mean.lab(viewing), &self.labs(viewing))
    }

    /// The spread in words, under the light it was computed for.
    pub(crate) fn draw(
        &self,
        screen: &mut Screen,
        spread: &Spread,
        light: Illuminant,
        observer: Observer,
    ) {
        draw(screen, spread, |at| self.names[at].clone());
        screen.pair("judged", format!("under {light}, {observer}"));
    }
}

/// A spread in words; `name` tells what a reading is called, from 0.
pub(crate) fn draw(screen: &mut Screen, spread: &Spread, name: impl Fn(usize) -> String) {
    screen.pair("readings", spread.readings.to_string());
    if let Some(mcdm) = spread.mcdm {
        screen.pair(
            "spread",
            format!(
                "{:.3} ΔE00, {:.3} ΔE76 from the mean on average (MCDM)",
                mcdm.de2000, mcdm.de76
            ),
        );
    }
    if let Some(within) = spread.mean_within {
        let few = if spread.readings < ADVISED_FOR_T2 {
            ", from few readings"
        } else {
            ""
        };
        screen.pair(
            "mean within",
            format!("{:.2} ΔE76 at 95 %{few} (Hotelling)", within.de76),
        );
    }
    if let Some(outlier) = spread.outlier {
        screen.warn(format!(
            "{} lies {:.2} ΔE00 from the others, which scatter by {:.2}: look at it, and leave it out if it was a slip",
            name(outlier.at),
            outlier.from_others,
            outlier.mcdm_of_others
        ));
    }
    for advice in &spread.advice {
        screen.pair("note", advice.to_string());
    }
}
