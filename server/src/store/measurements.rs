//! Rows of `measurement`, and the color derived from each.

use std::collections::HashMap;

use color::gloss::{GlossAnswer, GlossLevel, GlossReading};
use color::{Ends, Lab, Spread, Viewing};
use formula::id::{MeasurementId, StoreId};
use formula::reading::AsRead;
use formula::wire::v1::{
    Acceptance, Backing, Filter, Geometry, InstrumentDue, LabD65, Measurement, Named,
    NewMeasurement, ReadAs, SpectrumValues, Specular,
};
use uuid::Uuid;

use super::instrument_care::due_at;
use super::read_back::{id, kept};
use super::{Conn, StoreError, StoreResult, measurement_files};
use crate::app::Caller;

/// The light and observer that every color here is kept for.
const LIGHT: &str = "D65";
const OBSERVER: i16 = 10;

fn geometry_word(geometry: Geometry) -> &'static str {
    match geometry {
        Geometry::Deg45To0 => "45:0",
        Geometry::Annular45To0 => "45a:0",
        Geometry::DiffuseTo8 => "d:8",
    }
}

fn geometry_read(word: &str) -> StoreResult<Geometry> {
    match word {
        "45:0" => Ok(Geometry::Deg45To0),
        "45a:0" => Ok(Geometry::Annular45To0),
        "d:8" => Ok(Geometry::DiffuseTo8),
        _ => Err(StoreError::Fault(
            "a stored geometry is none of the known ones".to_owned(),
        )),
    }
}

pub(super) fn specular_word(specular: Specular) -> &'static str {
    match specular {
        Specular::Included => "included",
        Specular::Excluded => "excluded",
    }
}

pub(super) fn specular_read(word: &str) -> Specular {
    if word == "included" {
        Specular::Included
    } else {
        Specular::Excluded
    }
}

fn backing_word(backing: Backing) -> &'static str {
    match backing {
        Backing::Black => "black",
        Backing::White => "white",
        Backing::Sample => "sample",
    }
}

fn read_as_word(read_as: ReadAs) -> &'static str {
    match read_as {
        ReadAs::Fraction => "fraction",
        ReadAs::Percent => "percent",
    }
}

/// Reflectances as their column takes them. f64 on the wire and in the arithmetic, f32 in the row: 24 bits hold far
/// more than any instrument reads.
#[expect(
    clippy::cast_possible_truncation,
    reason = "the column is real; see above"
)]
pub(super) fn stored_digits(values: &[f64]) -> Vec<f32> {
    values.iter().map(|value| *value as f32).collect()
}

/// A spectrum from its columns. The digits of the row's f32 are those that tell it from its neighbors: 0.123, not
/// 0.12300000339746475.
pub(super) fn spectrum_back(
    start_nm: f32,
    step_nm: Option<f32>,
    wavelengths_nm: Option<Vec<f64>>,
    reflectance: &[f32],
) -> StoreResult<SpectrumValues> {
    Ok(SpectrumValues {
        start_nm: step_nm.map(|_| whole(start_nm)).transpose()?,
        step_nm: step_nm.map(whole).transpose()?,
        wavelengths_nm,
        values: digits_back(reflectance),
    })
}

fn digits_back(values: &[f32]) -> Vec<f64> {
    values
        .iter()
        .map(|value| value.to_string().parse().unwrap_or(f64::from(*value)))
        .collect()
}

/// Keeps a measurement, what is due at its instrument, and its color under D65 and the 10° observer.
///
/// # Errors
/// When the id is taken, or the instrument does not exist.
pub async fn insert(
    conn: &mut Conn,
    caller: &Caller,
    at_store: StoreId,
    new: &NewMeasurement,
    lab: Lab,
) -> StoreResult<()> {
    let due: Vec<String> = match new.instrument_id {
        Some(instrument) => due_at(conn, caller, instrument, new.measured_at)
            .await?
            .into_iter()
            .map(|due| due.to_string())
            .collect(),
        None => Vec::new(),
    };
    let reflectance = stored_digits(&new.spectrum.values);
    let as_read: Vec<String> = new
        .as_read
        .iter()
        .map(|value| value.as_str().to_owned())
        .collect();
    sqlx::query!(
        "INSERT INTO measurement (id, start_nm, step_nm, wavelengths_nm, reflectance, as_read, read_as, ends_extended, geometry,
             specular, aperture_mm, backing, readings, gloss60, gloss85, instrument_id, temperature_c, measured_at,
             made_by, store_id, instrument_due, filter)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19, $20, $21, $22)",
        new.id.as_uuid(),
        start_nm(&new.spectrum)?,
        new.spectrum.step_nm.map(f32::from),
        new.spectrum.wavelengths_nm.as_deref(),
        &reflectance,
        &as_read,
        read_as_word(new.read_as),
        new.ends_extended,
        new.geometry.map(geometry_word),
        new.specular.map(specular_word),
        new.aperture_mm,
        new.backing.map(backing_word),
        i16::try_from(new.readings).unwrap_or(i16::MAX),
        new.gloss60,
        new.gloss85,
        new.instrument_id.map(|id| id.as_uuid()),
        new.temperature_c,
        new.measured_at,
        caller.person_id.as_uuid(),
        at_store.as_uuid(),
        &due,
        new.filter.map(Filter::as_str)
    )
    .execute(&mut *conn)
    .await?;
    sqlx::query!(
        "INSERT INTO measurement_color (measurement_id, light, observer, method, l, a, b)
         VALUES ($1, $2, $3, $4, $5, $6, $7)",
        new.id.as_uuid(),
        LIGHT,
        OBSERVER,
        color::METHOD,
        lab.l,
        lab.a,
        lab.b
    )
    .execute(&mut *conn)
    .await?;
    for (number, reading) in (1_i16..).zip(&new.each) {
        sqlx::query!(
            "INSERT INTO measurement_reading (measurement_id, number, reflectance) VALUES ($1, $2, $3)",
            new.id.as_uuid(),
            number,
            &stored_digits(reading)
        )
        .execute(&mut *conn)
        .await?;
    }
    match &new.file {
        Some(file) => measurement_files::insert(conn, caller, new.id, file).await,
        None => Ok(()),
    }
}

/// Each reading of these measurements, in their order.
async fn each_of(conn: &mut Conn, ids: &[Uuid]) -> StoreResult<HashMap<Uuid, Vec<Vec<f64>>>> {
    let rows = sqlx::query!(
        "SELECT measurement_id, reflectance FROM measurement_reading
         WHERE measurement_id = ANY ($1) ORDER BY measurement_id, number",
        ids
    )
    .fetch_all(conn)
    .await?;
    let mut found: HashMap<Uuid, Vec<Vec<f64>>> = HashMap::new();
    for row in rows {
        found
            .entry(row.measurement_id)
            .or_default()
            .push(digits_back(&row.reflectance));
    }
    Ok(found)
}

/// How far the readings of a measurement lie apart, where each is known. One that no check let in tells nothing.
fn spread(read: &NewMeasurement, lab: Lab) -> Option<Spread> {
    if read.each.is_empty() {
        return None;
    }
    let ends = if read.ends_extended {
        Ends::Extend
    } else {
        Ends::Refuse
    };
    let labs = read
        .each
        .iter()
        .map(|values| {
            let sent = SpectrumValues {
                values: values.clone(),
                ..read.spectrum.clone()
            };
            Some(sent.checked(ends).ok()?.lab(Viewing::default()))
        })
        .collect::<Option<Vec<Lab>>>()?;
    Some(Spread::around(lab, &labs))
}

/// The gloss level, where gloss was read.
fn gloss_level(read: &NewMeasurement) -> Option<GlossAnswer> {
    let reading = GlossReading::new(read.gloss60?.into(), read.gloss85.map(Into::into)).ok()?;
    Some(GlossLevel::of(reading))
}

/// The measurements of these ids, whose match the caller has been shown to be allowed to see.
///
/// # Errors
/// When the database can't be read.
pub async fn load(
    conn: &mut Conn,
    caller: &Caller,
    ids: &[Uuid],
) -> StoreResult<HashMap<MeasurementId, Measurement>> {
    let mut files = measurement_files::load(conn, caller, ids).await?;
    let rows = sqlx::query!(
        r#"SELECT m.id, start_nm, step_nm, wavelengths_nm, reflectance, as_read, read_as, ends_extended, geometry, specular,
                  aperture_mm, backing, filter, readings, gloss60, gloss85, instrument_id, temperature_c, measured_at,
                  instrument_due, c.method, c.l, c.a, c.b, x.id AS "acceptance_id?", x.accepted_at AS "accepted_at?",
                  p.id AS "acceptor_id?", p.display_name AS "acceptor?", n.body AS acceptance_note
           FROM measurement m
           JOIN measurement_color c ON c.measurement_id = m.id AND c.light = $2 AND c.observer = $3
           LEFT JOIN measurement_acceptance x ON x.measurement_id = m.id
           LEFT JOIN person p ON p.id = x.accepted_by
           LEFT JOIN note n ON n.about = 'acceptance' AND n.about_id = x.id
           WHERE m.id = ANY ($1)"#,
        ids,
        LIGHT,
        OBSERVER
    )
    .fetch_all(&mut *conn)
    .await?;
    let mut each = each_of(conn, ids).await?;
    let mut found = HashMap::with_capacity(rows.len());
    for row in rows {
        let measurement_id: MeasurementId = id(row.id)?;
        let read = NewMeasurement {
            id: measurement_id,
            spectrum: spectrum_back(
                row.start_nm,
                row.step_nm,
                row.wavelengths_nm,
                &row.reflectance,
            )?,
            as_read: row
                .as_read
                .iter()
                .map(|value| kept::<AsRead>(value))
                .collect::<StoreResult<_>>()?,
            read_as: if row.read_as == "percent" {
                ReadAs::Percent
            } else {
                ReadAs::Fraction
            },
            ends_extended: row.ends_extended,
            geometry: row.geometry.as_deref().map(geometry_read).transpose()?,
            specular: row.specular.as_deref().map(specular_read),
            aperture_mm: row.aperture_mm,
            backing: row.backing.map(|word| match word.as_str() {
                "black" => Backing::Black,
                "white" => Backing::White,
                _ => Backing::Sample,
            }),
            filter: row.filter.as_deref().map(kept).transpose()?,
            readings: u16::try_from(row.readings).unwrap_or(1),
            each: each.remove(&row.id).unwrap_or_default(),
            gloss60: row.gloss60,
            gloss85: row.gloss85,
            instrument_id: row.instrument_id.map(id).transpose()?,
            temperature_c: row.temperature_c,
            measured_at: row.measured_at,
            file: files.remove(&row.id),
        };
        let lab = Lab {
            l: row.l,
            a: row.a,
            b: row.b,
        };
        let instrument_due = row
            .instrument_due
            .iter()
            .map(|word| kept::<InstrumentDue>(word))
            .collect::<StoreResult<_>>()?;
        let accepted = match (
            row.acceptance_id,
            row.accepted_at,
            row.acceptor_id,
            row.acceptor,
        ) {
            (Some(acceptance), Some(at), Some(person), Some(name)) => Some(Acceptance {
                id: id(acceptance)?,
                by: Named {
                    id: id(person)?,
                    name,
                },
                at,
                note: row.acceptance_note.as_deref().map(kept).transpose()?,
            }),
            _ => None,
        };
        found.insert(
            measurement_id,
            Measurement {
                spread: spread(&read, lab),
                gloss_level: gloss_level(&read),
                read,
                lab: LabD65(lab),
                method: row.method,
                instrument_due,
                accepted,
                cautions: Vec::new(),
            },
        );
    }
    Ok(found)
}

/// The first wavelength of a checked spectrum, for its column.
///
/// # Errors
/// When it has none, which no check lets through.
pub(super) fn start_nm(spectrum: &SpectrumValues) -> StoreResult<f32> {
    let listed = || spectrum.wavelengths_nm.as_ref()?.first().copied();
    #[expect(
        clippy::cast_possible_truncation,
        reason = "the column is real; the wavelengths themselves are kept in full"
    )]
    let first = match spectrum.start_nm {
        Some(nm) => Some(f32::from(nm)),
        None => listed().map(|nm| nm as f32),
    };
    first.ok_or_else(|| StoreError::Fault("a spectrum without wavelengths".to_owned()))
}

/// A wavelength or step from its column.
fn whole(nm: f32) -> StoreResult<u16> {
    let rounded = nm.round();
    if (1.0..=2000.0).contains(&rounded) {
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "1 to 2000, just checked"
        )]
        let value = rounded as u16;
        Ok(value)
    } else {
        Err(StoreError::Fault(
            "a stored wavelength is out of range".to_owned(),
        ))
    }
}
