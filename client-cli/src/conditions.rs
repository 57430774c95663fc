//! A measurement as the command line gives it: the spectrum file and the conditions of the reading.

use std::fmt::Debug;

use color::{Reading, Scale};
use formula::id::MeasurementId;
use formula::reading::{AsRead, FileText, FileTextError};
use formula::wire::v1::{
    Backing, FileTag, Filter, Geometry, Instrument, MeasurementFile, NewMeasurement, ReadAs,
    SpectrumValues, Specular,
};
use time::OffsetDateTime;
use time::format_description::well_known::Rfc3339;

use crate::exit::Failure;
use crate::output;
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
    /// Light that fell on the sample (ISO 13655)
    #[arg(long, value_parser = word::<Filter>())]
    pub(crate) filter: Option<Filter>,
    /// How many readings were averaged; 1 when neither you nor the file says, with --average those of the file
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
        let (conditions, details) = (&one.reading.conditions, &one.reading.details);
        Ok(NewMeasurement {
            id: MeasurementId::from_parts(crate::remote::now_ms(), crate::remote::random_tail()),
            spectrum: SpectrumValues::from(&one.reading.spectrum),
            as_read: as_read(one)?,
            read_as: match one.scale {
                Scale::Fraction => ReadAs::Fraction,
                Scale::Percent => ReadAs::Percent,
            },
            ends_extended: one.reading.spectrum.ends_extended(),
            geometry: settle(
                "geometry",
                self.geometry,
                conditions.geometry.map(Into::into),
            ),
            specular: settle(
                "specular",
                self.specular,
                conditions.specular.map(Into::into),
            ),
            aperture_mm: settle("aperture", self.aperture, conditions.aperture_mm),
            backing: settle("backing", self.backing, conditions.backing.map(Into::into)),
            filter: settle("filter", self.filter, conditions.filter.map(Into::into)),
            readings: match u16::try_from(one.each.len()) {
                Ok(0) => settle("readings", self.readings, details.readings).unwrap_or(1),
                averaged => averaged.unwrap_or(u16::MAX),
            },
            each: one.each.iter().map(|one| one.values().to_vec()).collect(),
            gloss60: settle("gloss60", self.gloss60, details.gloss60),
            gloss85: settle("gloss85", self.gloss85, details.gloss85),
            instrument_id,
            temperature_c: self.temperature,
            measured_at: settle("measured-at", self.measured_at, self.time_in(&one.reading)),
            file: Some(kept_file(one)?),
        })
    }

    /// When the file says it was read, if it says so in full; a person is told when it does not.
    fn time_in(&self, reading: &Reading) -> Option<OffsetDateTime> {
        let written = reading.details.date.as_deref()?;
        let time = OffsetDateTime::parse(written, &Rfc3339).ok();
        if time.is_none() && self.measured_at.is_none() {
            output::say(&format!(
                "the file's date {written:?} is no full time; it is kept as it stands: give --measured-at if you know it"
            ));
        }
        time
    }
}

/// What was typed, else what the file says; the person who types something else is told.
fn settle<T: Copy + PartialEq + Debug>(
    flag: &str,
    typed: Option<T>,
    in_file: Option<T>,
) -> Option<T> {
    if let (Some(typed), Some(in_file)) = (typed, in_file)
        && typed != in_file
    {
        output::say(&format!(
            "warning: --{flag} says {typed:?}, the file says {in_file:?}; what you typed was taken"
        ));
    }
    typed.or(in_file)
}

/// What of the file goes along with the measurement, as much as the server keeps.
fn kept_file(one: &OneReading) -> Result<MeasurementFile, Failure> {
    /// Characters of tags that go along: a request holds more than that beside.
    const MOST_CHARACTERS: usize = 60_000;
    let text = |written: &str| -> Option<FileText> { written.parse().ok() };
    let mut tags = Vec::new();
    let (mut characters, mut left) = (0, 0);
    for tag in one.tags.iter().chain(&one.reading.tags) {
        characters += tag.group.len() + tag.name.len() + tag.value.len();
        let kept = match (text(&tag.group), text(&tag.name), text(&tag.value)) {
            (Some(group), Some(name), Some(value)) => Some(FileTag {
                group: Some(group).filter(|group| !group.as_str().is_empty()),
                name,
                value,
            }),
            _ => None,
        };
        let fits = characters <= MOST_CHARACTERS && tags.len() < MeasurementFile::MOST_TAGS;
        match kept.filter(|_| fits) {
            Some(tag) => tags.push(tag),
            None => left += 1,
        }
    }
    if left > 0 {
        output::say(&format!(
            "{left} tag(s) of the file are too long or too many to be kept with the measurement; keep the file"
        ));
    }
    let instrument = &one.reading.details.instrument;
    let word = |written: &Option<String>| written.as_deref().and_then(text);
    let brief: String = one.reading.name.chars().take(FileText::MOST).collect();
    Ok(MeasurementFile {
        format: one.format.into(),
        sample: brief.parse().map_err(|error: FileTextError| {
            Failure::bad("sample", error.to_string())
                .remedy("give the sample another name in the file")
        })?,
        maker: word(&instrument.maker),
        model: word(&instrument.model),
        serial: word(&instrument.serial),
        date: word(&one.reading.details.date),
        tags,
        assumed: one.assumed.iter().filter_map(|said| text(said)).collect(),
    })
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
