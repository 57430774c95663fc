//! Matches, revisions, drawdowns, their measurements, and remarks.
//! No caller here, as nobody can be logged in yet.

use color::spectrum::Ends;
use color::{Lab, Viewing, WeightTable};
use formula::label::LabelCode;
use formula::wire::v1::NewMeasurement;
use time::OffsetDateTime;
use uuid::Uuid;

use super::{Author, DrawdownRow, MatchRow, NoteRow, RevisionRow, array, column, word};
use crate::store::measurements::start_nm;
use crate::store::{Conn, StoreError, StoreResult};

/// The light and observer that every color is kept for.
const LIGHT: &str = "D65";
const OBSERVER: i16 = 10;

struct MeasurementRow<'a> {
    read: &'a NewMeasurement,
    author: Author,
    received_at: OffsetDateTime,
}

/// Colors of many spectra. Weights for wavelengths are made once; neighbors mostly share theirs.
#[derive(Default)]
struct Colors {
    weights: Option<WeightTable>,
}

impl Colors {
    fn lab(&mut self, read: &NewMeasurement) -> StoreResult<Lab> {
        let fault =
            |problem: String| StoreError::Fault(format!("measurement {}: {problem}", read.id));
        let ends = if read.ends_extended {
            Ends::Extend
        } else {
            Ends::Refuse
        };
        let spectrum = read
            .spectrum
            .checked(ends)
            .map_err(|error| fault(error.to_string()))?;
        let wavelengths = spectrum.wavelengths();
        if self
            .weights
            .as_ref()
            .is_none_or(|weights| weights.wavelengths() != wavelengths)
        {
            self.weights = Some(WeightTable::new(Viewing::default(), wavelengths));
        }
        match &self.weights {
            Some(weights) => weights
                .lab(&spectrum)
                .map_err(|error| fault(error.to_string())),
            None => Err(fault("no weights".to_owned())),
        }
    }
}

async fn insert_measurements(
    conn: &mut Conn,
    colors: &mut Colors,
    rows: &[MeasurementRow<'_>],
) -> StoreResult<()> {
    let ids = column(rows, |row| row.read.id.as_uuid());
    let starts = rows
        .iter()
        .map(|row| start_nm(&row.read.spectrum))
        .collect::<StoreResult<Vec<_>>>()?;
    let read_as = rows
        .iter()
        .map(|row| word(&row.read.read_as))
        .collect::<StoreResult<Vec<_>>>()?;
    let geometries = words(rows, |read| read.geometry.as_ref())?;
    let speculars = words(rows, |read| read.specular.as_ref())?;
    let backings = words(rows, |read| read.backing.as_ref())?;
    sqlx::query!(
        "INSERT INTO measurement
             (id, start_nm, step_nm, wavelengths_nm, reflectance, as_read, read_as, ends_extended, geometry, specular, aperture_mm,
              backing, readings, gloss60, gloss85, instrument_id, temperature_c, measured_at, made_by, store_id,
              received_at, filter)
         SELECT id, start_nm, step_nm, wavelengths_nm::double precision[], reflectance::real[], as_read::text[], read_as, ends_extended, geometry,
                specular, aperture_mm, backing, readings, gloss60, gloss85, instrument_id, temperature_c, measured_at,
                made_by, store_id, received_at, filter
         FROM UNNEST($1::uuid[], $2::real[], $3::real[], $4::text[], $5::text[], $6::text[], $7::boolean[],
                     $8::text[], $9::text[], $10::real[], $11::text[], $12::smallint[], $13::real[], $14::real[],
                     $15::uuid[], $16::real[], $17::timestamptz[], $18::uuid[], $19::uuid[], $20::timestamptz[],
                     $21::text[], $22::text[])
              AS row (id, start_nm, step_nm, reflectance, as_read, read_as, ends_extended, geometry, specular,
                      aperture_mm, backing, readings, gloss60, gloss85, instrument_id, temperature_c, measured_at,
                      made_by, store_id, received_at, wavelengths_nm, filter)",
        &ids,
        &starts,
        &column(rows, |row| row.read.spectrum.step_nm.map(f32::from)) as &[Option<f32>],
        &column(rows, |row| array(row.read.spectrum.values.iter().map(|value| *value as f32))),
        &column(rows, |row| array(&row.read.as_read)),
        &read_as,
        &column(rows, |row| row.read.ends_extended),
        &geometries as &[Option<String>],
        &speculars as &[Option<String>],
        &column(rows, |row| row.read.aperture_mm) as &[Option<f32>],
        &backings as &[Option<String>],
        &column(rows, |row| i16::try_from(row.read.readings).unwrap_or(i16::MAX)),
        &column(rows, |row| row.read.gloss60) as &[Option<f32>],
        &column(rows, |row| row.read.gloss85) as &[Option<f32>],
        &column(rows, |row| row.read.instrument_id.map(Uuid::from)) as &[Option<Uuid>],
        &column(rows, |row| row.read.temperature_c) as &[Option<f32>],
        &column(rows, |row| row.read.measured_at) as &[Option<OffsetDateTime>],
        &column(rows, |row| row.author.person.as_uuid()),
        &column(rows, |row| row.author.store.as_uuid()),
        &column(rows, |row| row.received_at),
        &column(rows, |row| row.read.spectrum.wavelengths_nm.as_ref().map(array)) as &[Option<String>],
        &words(rows, |read| read.filter.as_ref())? as &[Option<String>]
    )
    .execute(&mut *conn)
    .await?;
    let labs = rows
        .iter()
        .map(|row| colors.lab(row.read))
        .collect::<StoreResult<Vec<_>>>()?;
    sqlx::query!(
        "INSERT INTO measurement_color (measurement_id, light, observer, method, l, a, b)
         SELECT id, $2, $3, $4, l, a, b
         FROM UNNEST($1::uuid[], $5::double precision[], $6::double precision[], $7::double precision[])
              AS row (id, l, a, b)",
        &ids,
        LIGHT,
        OBSERVER,
        color::METHOD,
        &column(&labs, |lab| lab.l),
        &column(&labs, |lab| lab.a),
        &column(&labs, |lab| lab.b)
    )
    .execute(conn)
    .await?;
    Ok(())
}

fn words<T: serde::Serialize>(
    rows: &[MeasurementRow<'_>],
    value: impl Fn(&NewMeasurement) -> Option<&T>,
) -> StoreResult<Vec<Option<String>>> {
    rows.iter()
        .map(|row| value(row.read).map(word).transpose())
        .collect()
}

/// Adds matches with their samples and the samples' colors. A picked revision is set later, by
/// [`insert_revisions`], since it does not exist yet.
///
/// # Errors
/// When a spectrum is refused, or the database refuses or can't be reached.
pub async fn insert_matches(conn: &mut Conn, rows: &[MatchRow]) -> StoreResult<()> {
    let mut colors = Colors::default();
    for rows in rows.chunks(super::BATCH) {
        let samples = column(rows, |row| MeasurementRow {
            read: &row.found.sample,
            author: row.author,
            received_at: row.found.made_at,
        });
        insert_measurements(conn, &mut colors, &samples).await?;
        sqlx::query!(
            "INSERT INTO match (id, label_code, customer_id, job_id, product_id, sheen_id, store_id, sample_id,
                                made_by, made_at, received_at)
             SELECT id, label_code, customer_id, job_id, product_id, sheen_id, store_id, sample_id, made_by, made_at,
                    made_at
             FROM UNNEST($1::uuid[], $2::text[], $3::uuid[], $4::uuid[], $5::uuid[], $6::uuid[], $7::uuid[],
                         $8::uuid[], $9::uuid[], $10::timestamptz[])
                  AS row (id, label_code, customer_id, job_id, product_id, sheen_id, store_id, sample_id, made_by,
                          made_at)",
            &column(rows, |row| row.found.id.as_uuid()),
            &column(rows, |row| LabelCode::from(row.found.id).compact()),
            &column(rows, |row| row.found.customer_id.as_uuid()),
            &column(rows, |row| row.found.job_id.map(Uuid::from)) as &[Option<Uuid>],
            &column(rows, |row| row.found.product_id.as_uuid()),
            &column(rows, |row| row.found.sheen_id.as_uuid()),
            &column(rows, |row| row.author.store.as_uuid()),
            &column(rows, |row| row.found.sample.id.as_uuid()),
            &column(rows, |row| row.author.person.as_uuid()),
            &column(rows, |row| row.found.made_at)
        )
        .execute(&mut *conn)
        .await?;
    }
    Ok(())
}

/// Adds revisions with their shots, then sets the revisions picked in `matches`.
///
/// # Errors
/// When the database refuses or can't be reached.
pub async fn insert_revisions(
    conn: &mut Conn,
    rows: &[RevisionRow],
    matches: &[MatchRow],
) -> StoreResult<()> {
    for rows in rows.chunks(super::BATCH) {
        let predicted = column(rows, |row| {
            row.revision.formula.predicted_lab.map(|lab| lab.0)
        });
        sqlx::query!(
            "INSERT INTO revision (id, match_id, parent_id, reused_from, number, base_id, sheen_id, size, predicted_l,
                                   predicted_a, predicted_b, made_by, store_id, made_at, received_at)
             SELECT id, match_id, parent_id, reused_from, number, base_id, sheen_id, size, l, a, b, made_by, store_id,
                    made_at, made_at
             FROM UNNEST($1::uuid[], $2::uuid[], $3::uuid[], $4::uuid[], $5::integer[], $6::uuid[], $7::uuid[],
                         $8::text[], $9::double precision[], $10::double precision[], $11::double precision[],
                         $12::uuid[], $13::uuid[], $14::timestamptz[])
                  AS row (id, match_id, parent_id, reused_from, number, base_id, sheen_id, size, l, a, b, made_by,
                          store_id, made_at)",
            &column(rows, |row| row.revision.formula.id.as_uuid()),
            &column(rows, |row| row.match_id.as_uuid()),
            &column(rows, |row| row.revision.parent_id.map(Uuid::from)) as &[Option<Uuid>],
            &column(rows, |row| row.reused_from.map(Uuid::from)) as &[Option<Uuid>],
            &column(rows, |row| row.number),
            &column(rows, |row| row.revision.formula.base_id.as_uuid()),
            &column(rows, |row| row.revision.formula.sheen_id.as_uuid()),
            &column(rows, |row| row.revision.formula.size.to_string()),
            &column(&predicted, |lab| lab.map(|lab| lab.l)) as &[Option<f64>],
            &column(&predicted, |lab| lab.map(|lab| lab.a)) as &[Option<f64>],
            &column(&predicted, |lab| lab.map(|lab| lab.b)) as &[Option<f64>],
            &column(rows, |row| row.author.person.as_uuid()),
            &column(rows, |row| row.author.store.as_uuid()),
            &column(rows, |row| row.revision.made_at)
        )
        .execute(&mut *conn)
        .await?;
        let shots: Vec<_> = rows
            .iter()
            .flat_map(|row| {
                (0_i16..)
                    .zip(&row.revision.formula.shots)
                    .map(move |(at, shot)| (row, at, shot))
            })
            .collect();
        sqlx::query!(
            "INSERT INTO revision_shot (revision_id, position, colorant_id, count, unit)
             SELECT * FROM UNNEST($1::uuid[], $2::smallint[], $3::uuid[], $4::integer[], $5::text[])",
            &column(&shots, |(row, _, _)| row.revision.formula.id.as_uuid()),
            &column(&shots, |(_, at, _)| *at),
            &column(&shots, |(_, _, shot)| shot.colorant_id.as_uuid()),
            &column(&shots, |(_, _, shot)| shot.count.get().cast_signed()),
            &column(&shots, |(_, _, shot)| shot.unit.to_string())
        )
        .execute(&mut *conn)
        .await?;
    }
    let picked: Vec<_> = matches
        .iter()
        .filter_map(|row| row.picked.map(|picked| (row.found.id, picked)))
        .collect();
    sqlx::query!(
        "UPDATE match SET picked_revision_id = row.picked, version = version + 1
         FROM UNNEST($1::uuid[], $2::uuid[]) AS row (id, picked) WHERE match.id = row.id",
        &column(&picked, |(id, _)| id.as_uuid()),
        &column(&picked, |(_, picked)| picked.as_uuid())
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// Adds drawdowns with their measurements and colors.
///
/// # Errors
/// When a spectrum is refused, or the database refuses or can't be reached.
pub async fn insert_drawdowns(conn: &mut Conn, rows: &[DrawdownRow]) -> StoreResult<()> {
    let mut colors = Colors::default();
    for rows in rows.chunks(super::BATCH) {
        let measured = column(rows, |row| MeasurementRow {
            read: &row.drawdown.measurement,
            author: row.author,
            received_at: row.drawdown.made_at,
        });
        insert_measurements(conn, &mut colors, &measured).await?;
        sqlx::query!(
            "INSERT INTO drawdown (id, revision_id, match_id, measurement_id, dry, made_by, store_id, made_at,
                                   received_at)
             SELECT id, revision_id, match_id, measurement_id, dry, made_by, store_id, made_at, made_at
             FROM UNNEST($1::uuid[], $2::uuid[], $3::uuid[], $4::uuid[], $5::boolean[], $6::uuid[], $7::uuid[],
                         $8::timestamptz[])
                  AS row (id, revision_id, match_id, measurement_id, dry, made_by, store_id, made_at)",
            &column(rows, |row| row.drawdown.id.as_uuid()),
            &column(rows, |row| row.revision_id.as_uuid()),
            &column(rows, |row| row.match_id.as_uuid()),
            &column(rows, |row| row.drawdown.measurement.id.as_uuid()),
            &column(rows, |row| row.drawdown.dry),
            &column(rows, |row| row.author.person.as_uuid()),
            &column(rows, |row| row.author.store.as_uuid()),
            &column(rows, |row| row.drawdown.made_at)
        )
        .execute(&mut *conn)
        .await?;
    }
    Ok(())
}

/// Adds remarks.
///
/// # Errors
/// When the database refuses or can't be reached.
pub async fn insert_notes(conn: &mut Conn, rows: &[NoteRow]) -> StoreResult<()> {
    for rows in rows.chunks(super::BATCH) {
        sqlx::query!(
            "INSERT INTO note (id, match_id, about, about_id, body, made_by, made_at)
             SELECT * FROM UNNEST($1::uuid[], $2::uuid[], $3::text[], $4::uuid[], $5::text[], $6::uuid[],
                                  $7::timestamptz[])",
            &column(rows, |row| row.id),
            &column(rows, |row| row.match_id.as_uuid()),
            &column(rows, |row| row.about.to_owned()),
            &column(rows, |row| row.about_id),
            &column(rows, |row| row.body.clone()),
            &column(rows, |row| row.made_by.as_uuid()),
            &column(rows, |row| row.made_at)
        )
        .execute(&mut *conn)
        .await?;
    }
    Ok(())
}
