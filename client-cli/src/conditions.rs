//! A measurement as the command line gives it: the spectrum file and the conditions of the reading.

use color::Scale;
use formula::id::MeasurementId;
use formula::reading::AsRead;
use formula::wire::v1::{
    Backing, Geometry, Instrument, NewMeasurement, ReadAs, SpectrumValues, Specular,
};
use time::OffsetDateTime;
use time::format_description::well_known::Rfc3339;

use crate::exit::Failure;
use crate::reference;
use crate::remote::Remote;
use crate::spectrum_file::{OneReading, SampleOptions};
use crate::word::word;

/// A measured sample and how it was measured.
#[derive(Debug, Clone, clap::Args)]
#[command(next_help_heading = "Measurement")]
pub(crate) struct MeasurementOptions {
    #[command(flatten)]
    pub(crate) sample: SampleOptions,
    #[command(flatten)]
    pub(crate) conditions: ConditionOptions,
}

/// How a sample was measured, as far as its file does not say it.
#[derive(Debug, Clone, clap::Args)]
#[command(next_help_heading = "Measurement")]
pub(crate) struct ConditionOptions {
    /// Geometry of the instrument (CIE 15)
    #[arg(long, value_parser = word::<Geometry>())]
    pub(crate) geometry: Option<Geometry>,
    /// Whether a sphere instrument caught the mirror reflection
    #[arg(long, value_parser = word::<Specular>())]
    pub(crate) specular: Option<Specular>,
    /// Aperture in mm
    #[arg(long, value_name = "MM")]
    pub(crate) aperture: Option<f32>,
    /// What lay behind the sample
    #[arg(long, value_parser = word::<Backing>())]
    pub(crate) backing: Option<Backing>,
    /// How many readings were averaged; 1 when left out, with --average those of the file
    #[arg(long, value_name = "N", conflicts_with = "average")]
    pub(crate) readings: Option<u16>,
    /// Gloss at 60°, in gloss units (ISO 2813)
    #[arg(long, value_name = "GU")]
    pub(crate) gloss60: Option<f32>,
    /// Gloss at 85°, in gloss units
    #[arg(long, value_name = "GU")]
    pub(crate) gloss85: Option<f32>,
    /// The instrument, by name, serial number or id
    #[arg(long, value_name = "INSTRUMENT")]
    pub(crate) instrument: Option<String>,
    /// Temperature in °C
    #[arg(long, value_name = "C", allow_negative_numbers = true)]
    pub(crate) temperature: Option<f32>,
    /// When it was read, such as 2026-03-14T09:30:00Z
    #[arg(long, value_name = "TIME", value_parser = time)]
    pub(crate) measured_at: Option<OffsetDateTime>,
}

/// Reads a time.
///
/// # Errors
/// A sentence with the form.
pub(crate) fn time(text: &str) -> Result<OffsetDateTime, String> {
    OffsetDateTime::parse(text, &Rfc3339).map_err(|error| {
        format!("time {text:?} can't be read ({error}); write it like 2026-03-14T09:30:00Z or 2026-03-14T09:30:00+02:00")
    })
}

impl MeasurementOptions {
    /// The measurement, when a file was given.
    ///
    /// # Errors
    /// When the file can't be read or the instrument is not known.
    pub(crate) fn read(&self, remote: &Remote) -> Result<Option<NewMeasurement>, Failure> {
        let Some(one) = self.sample.read()? else {
            return Ok(None);
        };
        self.conditions.measurement(&one, remote).map(Some)
    }

    /// The measurement, which must have been given.
    ///
    /// # Errors
    /// As [`Self::read`], and when no file was given.
    pub(crate) fn require(&self, remote: &Remote) -> Result<NewMeasurement, Failure> {
        self.read(remote)?.ok_or_else(|| {
            Failure::bad("spectrum", "no measurement was given")
                .remedy("give the file that the instrument wrote with --spectrum FILE")
        })
    }
}

impl ConditionOptions {
    /// The measurement of a reading.
    ///
    /// # Errors
    /// When the instrument is not known, or the file has values that can't be kept as they stand.
    pub(crate) fn measurement(
        &self,
        one: &OneReading,
        remote: &Remote,
    ) -> Result<NewMeasurement, Failure> {
        let instrument_id = match &self.instrument {
            Some(typed) => {
                let all = remote.all::<Instrument>("/instruments")?;
                Some(reference::pick("instrument", typed, &all)?.id)
            }
            None => None,
        };
        Ok(NewMeasurement {
            id: MeasurementId::from_parts(crate::remote::now_ms(), crate::remote::random_tail()),
            spectrum: SpectrumValues::from(&one.reading.spectrum),
            as_read: as_read(one)?,
            read_as: match one.scale {
                Scale::Fraction => ReadAs::Fraction,
                Scale::Percent => ReadAs::Percent,
            },
            ends_extended: one.reading.spectrum.ends_extended(),
            geometry: self.geometry,
            specular: self.specular,
            aperture_mm: self.aperture,
            backing: self.backing,
            readings: match self.readings {
                Some(readings) => readings,
                None => u16::try_from(one.each.len().max(1)).unwrap_or(u16::MAX),
            },
            each: one.each.iter().map(|one| one.values().to_vec()).collect(),
            gloss60: self.gloss60,
            gloss85: self.gloss85,
            instrument_id,
            temperature_c: self.temperature,
            measured_at: self.measured_at,
        })
    }
}

fn as_read(one: &OneReading) -> Result<Vec<AsRead>, Failure> {
    one.reading
        .as_read
        .iter()
        .map(|cell| {
            let bare: String = cell.chars().filter(|c| !c.is_whitespace()).collect();
            AsRead::try_from(bare.as_str()).map_err(|error| {
                Failure::bad("spectrum", format!("{}: {error}", one.reading.name)).value(cell)
            })
        })
        .collect()
}
