//! What an instrument makes of a film: digits in a file.

use formula::id::MeasurementId;
use formula::wire::v1::{Backing, NewMeasurement, ReadAs, SpectrumValues, Specular};
use time::OffsetDateTime;

use super::catalog::Catalog;
use super::paint::{BANDS, Curve, Eye, Film};
use super::seeded::Seeded;
use super::{Flaw, Ids, Library};
use crate::store::bulk::Author;

/// Noise of a reading, as a fraction: less than the last digit that the newer instruments print.
const NOISE: f64 = 0.000_05;
/// The old one is worse.
const OLD_NOISE: f64 = 0.000_4;

/// What is read, by whom and when.
pub(super) struct Reading {
    pub(super) author: Author,
    pub(super) at: OffsetDateTime,
    /// Gloss at 60° of the sheen.
    pub(super) gloss60: (u8, u8),
}

/// Reads the film on the instrument that the store had in use then.
pub(super) fn read(
    random: &mut Seeded,
    ids: &mut Ids,
    catalog: &Catalog,
    film: &Film,
    reading: &Reading,
) -> Result<NewMeasurement, Flaw> {
    let instrument = catalog.instrument(reading.author.store, reading.at)?;
    let is_old = instrument.retired_at.is_some();
    let reflectance = film.reflectance();
    // 16 bands of 20 nm as fractions, or 31 of 10 nm in percent.
    let (step, read_as) = if is_old {
        (2, ReadAs::Fraction)
    } else {
        (1, ReadAs::Percent)
    };
    let noise = if is_old { OLD_NOISE } else { NOISE };
    let digits: Vec<String> = reflectance
        .iter()
        .step_by(step)
        .map(|value| {
            let noisy = (value + noise * random.normal()).max(0.001);
            if is_old {
                format!("{noisy:.4}")
            } else {
                format!("{:.2}", noisy * 100.0)
            }
        })
        .collect();
    let (gloss_min, gloss_max) = (f64::from(reading.gloss60.0), f64::from(reading.gloss60.1));
    Ok(NewMeasurement {
        id: ids.at(reading.at, MeasurementId::from_parts),
        spectrum: SpectrumValues::even(
            400,
            if is_old { 20 } else { 10 },
            fractions(&digits, read_as)?,
        ),
        as_read: digits
            .iter()
            .map(|text| text.parse())
            .collect::<Result<_, _>>()
            .map_err(Flaw::of)?,
        read_as,
        ends_extended: false,
        geometry: Some(instrument.instrument.geometry),
        specular: Some(Specular::Included),
        aperture_mm: instrument.instrument.apertures_mm.first().copied(),
        backing: Some(Backing::Black),
        filter: None,
        readings: 3,
        each: Vec::new(),
        gloss60: Some((random.between(gloss_min, gloss_max) * 10.0).round() as f32 / 10.0),
        gloss85: None,
        instrument_id: Some(instrument.instrument.id),
        temperature_c: Some(random.between(19.0, 26.0).round() as f32),
        measured_at: Some(reading.at),
        file: None,
    })
}

/// The values that the digits say.
fn fractions(digits: &[String], read_as: ReadAs) -> Result<Vec<f64>, Flaw> {
    let scale = match read_as {
        ReadAs::Fraction => 1.0,
        ReadAs::Percent => 100.0,
    };
    digits
        .iter()
        .map(|text| {
            text.parse::<f64>()
                .map(|value| value / scale)
                .map_err(Flaw::of)
        })
        .collect()
}

/// Distance of the new chip from the verified match that it finds.
const CHIP_DISTANCE: f64 = 0.35;

/// The spectrum file of the story: the chip that the walk-in customer brings to South, in percent, read three times.
/// Its nearest formula is the story's match made at North.
///
/// # Errors
/// [`Flaw`] when the demo's own data break a rule.
pub fn new_chip_csv(library: &Library) -> Result<String, Flaw> {
    let eye = Eye::under(color::Illuminant::D65)?;
    let mut random = Seeded::new("the new chip");
    let drawdown = library
        .drawdowns
        .iter()
        .rfind(|row| row.match_id == library.story.made_at_north)
        .ok_or_else(|| Flaw("the story's match has no drawdown".to_owned()))?;
    let values = &drawdown.drawdown.measurement.spectrum.values;
    let measured: Curve = std::array::from_fn(|band| values.get(band).copied().unwrap_or(0.5));
    let chip = Film::of(&measured)
        .near(&mut random, &eye, CHIP_DISTANCE)?
        .reflectance();
    let mut text = String::from("name");
    for band in 0..BANDS {
        text.push_str(&format!(",R{}", 400 + 10 * band));
    }
    text.push('\n');
    text.push_str("new chip");
    for value in chip {
        text.push_str(&format!(
            ",{:.2}",
            (value + NOISE * random.normal()) * 100.0
        ));
    }
    text.push('\n');
    Ok(text)
}
