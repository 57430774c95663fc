//! From a measurement as sent to one that may be kept: the spectrum is checked by `color`, the conditions by range.

use color::{Ends, Lab, Spectrum, Viewing};
use formula::id::MeasurementId;
use formula::wire::v1::{Measurement, MeasurementFile, NewMeasurement, SpectrumValues};

use super::{AppError, AppResult, Caller};
use crate::store::{Conn, measurements};

/// More readings of one sample are not kept one by one.
const MOST_READINGS: usize = 50;
/// How far an average may lie from the readings' own, as a fraction: instruments write four digits.
const ROUNDING: f64 = 1e-4;

/// The spectrum of a request, checked.
///
/// # Errors
/// [`AppError::Invalid`] with the wavelength, the value and the remedy.
pub fn spectrum(field: &str, sent: &SpectrumValues, ends_extended: bool) -> AppResult<Spectrum> {
    let ends = if ends_extended {
        Ends::Extend
    } else {
        Ends::Refuse
    };
    sent.checked(ends).map_err(|error| {
        AppError::invalid(
            field,
            error.to_string(),
            "measure again, or mend the file and send it again",
        )
    })
}

/// CIELAB under D65 and the 10° observer, by which everything here is compared.
#[must_use]
pub fn lab(spectrum: &Spectrum) -> Lab {
    spectrum.lab(Viewing::default())
}

/// Checks a measurement and gives its color.
///
/// # Errors
/// [`AppError::Invalid`] naming the field under `field`.
pub fn check(field: &str, new: &NewMeasurement) -> AppResult<Lab> {
    let spectrum = spectrum(
        &format!("{field}.spectrum"),
        &new.spectrum,
        new.ends_extended,
    )?;
    if !new.as_read.is_empty() && new.as_read.len() != new.spectrum.values.len() {
        return Err(AppError::invalid(
            format!("{field}.as_read"),
            format!(
                "{} values as read stand beside {} values",
                new.as_read.len(),
                new.spectrum.values.len()
            ),
            "send one text for each value, or none at all",
        ));
    }
    let range = |name: &str, value: Option<f32>, least: f32, most: f32, unit: &str| match value {
        Some(value) if !(least..=most).contains(&value) => Err(AppError::invalid(
            format!("{field}.{name}"),
            format!("{value} is not {least} to {most} {unit}"),
            "give the value in that unit, or leave it out",
        )),
        _ => Ok(()),
    };
    range("aperture_mm", new.aperture_mm, 0.5, 100.0, "mm")?;
    range("gloss60", new.gloss60, 0.0, 200.0, "gloss units")?;
    range("gloss85", new.gloss85, 0.0, 200.0, "gloss units")?;
    range("temperature_c", new.temperature_c, -40.0, 80.0, "°C")?;
    if !(1..=1000).contains(&new.readings) {
        return Err(AppError::invalid(
            format!("{field}.readings"),
            format!("{} is not 1 to 1000", new.readings),
            "give how many readings were averaged; 1 for a single one",
        ));
    }
    if let Some(file) = &new.file {
        let most = |name: &str, count: usize, most: usize| match count {
            _ if count <= most => Ok(()),
            _ => Err(AppError::invalid(
                format!("{field}.file.{name}"),
                format!("there are {count}, and {most} are kept at most"),
                "send the first of them, and keep the file",
            )),
        };
        most("tags", file.tags.len(), MeasurementFile::MOST_TAGS)?;
        most("assumed", file.assumed.len(), MeasurementFile::MOST_ASSUMED)?;
    }
    check_each(field, new, &spectrum)?;
    Ok(lab(&spectrum))
}

/// Readings one by one must be as many as were averaged, and their average must be what was sent.
fn check_each(field: &str, new: &NewMeasurement, mean: &Spectrum) -> AppResult<()> {
    if new.each.is_empty() {
        return Ok(());
    }
    let field = format!("{field}.each");
    if new.each.len() > MOST_READINGS || new.each.len() != usize::from(new.readings) {
        return Err(AppError::invalid(
            field,
            format!(
                "{} readings one by one stand beside `readings` {}",
                new.each.len(),
                new.readings
            ),
            "send each of the readings that were averaged, 50 at most, or none of them",
        ));
    }
    let mut each = Vec::with_capacity(new.each.len());
    for (at, values) in new.each.iter().enumerate() {
        let sent = SpectrumValues {
            values: values.clone(),
            ..new.spectrum.clone()
        };
        each.push(spectrum(
            &format!("{field}[{at}]"),
            &sent,
            new.ends_extended,
        )?);
    }
    let each: Vec<&Spectrum> = each.iter().collect();
    let average = color::average(&each).map_err(|error| {
        AppError::invalid(&field, error.to_string(), "send readings of one kind")
    })?;
    let pairs = average.values().iter().zip(mean.values());
    if pairs
        .clone()
        .any(|(one, other)| (one - other).abs() > ROUNDING)
    {
        return Err(AppError::invalid(
            field,
            "the average of the readings is not the spectrum beside them",
            "average them in reflectance, wavelength by wavelength",
        ));
    }
    Ok(())
}

/// What a person should know before relying on a reading, from what was due at its instrument.
#[must_use]
pub fn cautions(read: &Measurement) -> Vec<String> {
    if read.instrument_due.is_empty() || read.accepted.is_some() {
        return Vec::new();
    }
    let due: Vec<&str> = read.instrument_due.iter().map(|due| due.words()).collect();
    vec![format!(
        "read while something was due at the instrument ({}): read it again, or let a manager or the color lead \
         accept it",
        due.join(", ")
    )]
}

/// A measurement as kept, with its cautions. The caller has been shown to be allowed to see its match.
///
/// # Errors
/// [`AppError::Internal`] when it is not there.
pub(super) async fn kept(
    conn: &mut Conn,
    caller: &Caller,
    id: MeasurementId,
) -> AppResult<Measurement> {
    let mut found = measurements::load(conn, caller, &[id.as_uuid()]).await?;
    let mut read = found
        .remove(&id)
        .ok_or_else(|| AppError::Internal("a measurement is not there".to_owned()))?;
    read.cautions = cautions(&read);
    Ok(read)
}
