//! Stores, logins, colorants, products, bases, instruments.
//! No caller here, as nobody can be logged in yet.

use formula::id::StoreId;
use formula::wire::v1::{NewBase, NewColorant, NewProduct, NewStore};
use time::OffsetDateTime;

use super::{CalibrationRow, InstrumentRow, PersonRow, array, column, made_at, word};
use crate::store::{Conn, StoreResult};

/// Adds stores.
///
/// # Errors
/// When the database refuses or can't be reached.
pub async fn insert_stores(conn: &mut Conn, rows: &[NewStore]) -> StoreResult<()> {
    let created = rows
        .iter()
        .map(|row| made_at(row.id.unix_ms()))
        .collect::<StoreResult<Vec<_>>>()?;
    sqlx::query!(
        "INSERT INTO store (id, name, phone_region, created_at)
         SELECT * FROM UNNEST($1::uuid[], $2::text[], $3::text[], $4::timestamptz[])",
        &column(rows, |row| row.id.as_uuid()),
        &column(rows, |row| row.name.to_string()),
        &column(rows, |row| row.phone_region.to_string()),
        &created
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// Adds logins with their passwords, and the stores they work at. Passwords count as set when the login was made.
///
/// # Errors
/// When the database refuses or can't be reached.
pub async fn insert_persons(conn: &mut Conn, rows: &[PersonRow]) -> StoreResult<()> {
    let created = rows
        .iter()
        .map(|row| made_at(row.person.id.unix_ms()))
        .collect::<StoreResult<Vec<OffsetDateTime>>>()?;
    sqlx::query!(
        "INSERT INTO person (id, login, display_name, roles, password_hash, password_set_at, created_at)
         SELECT id, login, display_name, roles::text[], password_hash, created_at, created_at
         FROM UNNEST($1::uuid[], $2::text[], $3::text[], $4::text[], $5::text[], $6::timestamptz[])
              AS row (id, login, display_name, roles, password_hash, created_at)",
        &column(rows, |row| row.person.id.as_uuid()),
        &column(rows, |row| row.person.login.to_string()),
        &column(rows, |row| row.person.display_name.to_string()),
        &column(rows, |row| array(&row.person.roles)),
        &column(rows, |row| row.password_hash.clone()),
        &created
    )
    .execute(&mut *conn)
    .await?;
    let works_at: Vec<(uuid::Uuid, StoreId)> = rows
        .iter()
        .flat_map(|row| {
            row.person
                .stores
                .iter()
                .map(|&store| (row.person.id.as_uuid(), store))
        })
        .collect();
    sqlx::query!(
        "INSERT INTO person_store (person_id, store_id) SELECT * FROM UNNEST($1::uuid[], $2::uuid[])",
        &column(&works_at, |row| row.0),
        &column(&works_at, |row| row.1.as_uuid())
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// Adds colorants.
///
/// # Errors
/// When the database refuses or can't be reached.
pub async fn insert_colorants(conn: &mut Conn, rows: &[NewColorant]) -> StoreResult<()> {
    let created = rows
        .iter()
        .map(|row| made_at(row.id.unix_ms()))
        .collect::<StoreResult<Vec<_>>>()?;
    sqlx::query!(
        "INSERT INTO colorant (id, ci_name, pigment, created_at)
         SELECT * FROM UNNEST($1::uuid[], $2::text[], $3::text[], $4::timestamptz[])",
        &column(rows, |row| row.id.as_uuid()),
        &column(rows, |row| row.ci_name.to_string()),
        &column(rows, |row| row.pigment.to_string()),
        &created
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// Adds products with their sheens.
///
/// # Errors
/// When the database refuses or can't be reached.
pub async fn insert_products(conn: &mut Conn, rows: &[NewProduct]) -> StoreResult<()> {
    let created = rows
        .iter()
        .map(|row| made_at(row.id.unix_ms()))
        .collect::<StoreResult<Vec<_>>>()?;
    let carriers = rows
        .iter()
        .map(|row| word(&row.carrier))
        .collect::<StoreResult<Vec<_>>>()?;
    sqlx::query!(
        "INSERT INTO product (id, name, carrier, created_at)
         SELECT * FROM UNNEST($1::uuid[], $2::text[], $3::text[], $4::timestamptz[])",
        &column(rows, |row| row.id.as_uuid()),
        &column(rows, |row| row.name.to_string()),
        &carriers,
        &created
    )
    .execute(&mut *conn)
    .await?;
    let sheens: Vec<_> = rows
        .iter()
        .flat_map(|row| row.sheens.iter().map(|sheen| (row.id, sheen)))
        .collect();
    sqlx::query!(
        "INSERT INTO sheen (id, product_id, word, gloss60_min, gloss60_max)
         SELECT * FROM UNNEST($1::uuid[], $2::uuid[], $3::text[], $4::smallint[], $5::smallint[])",
        &column(&sheens, |(_, sheen)| sheen.id.as_uuid()),
        &column(&sheens, |(product, _)| product.as_uuid()),
        &column(&sheens, |(_, sheen)| sheen.word.to_string()),
        &column(&sheens, |(_, sheen)| i16::from(sheen.gloss60_min)),
        &column(&sheens, |(_, sheen)| i16::from(sheen.gloss60_max))
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// Adds bases with their rooms.
///
/// # Errors
/// When the database refuses or can't be reached.
pub async fn insert_bases(conn: &mut Conn, rows: &[NewBase]) -> StoreResult<()> {
    let created = rows
        .iter()
        .map(|row| made_at(row.id.unix_ms()))
        .collect::<StoreResult<Vec<_>>>()?;
    sqlx::query!(
        "INSERT INTO base (id, product_id, name, kind, created_at)
         SELECT * FROM UNNEST($1::uuid[], $2::uuid[], $3::text[], $4::text[], $5::timestamptz[])",
        &column(rows, |row| row.id.as_uuid()),
        &column(rows, |row| row.product_id.as_uuid()),
        &column(rows, |row| row.name.to_string()),
        &column(rows, |row| row.kind.to_string()),
        &created
    )
    .execute(&mut *conn)
    .await?;
    let rooms: Vec<_> = rows
        .iter()
        .flat_map(|row| row.rooms.iter().map(|room| (row.id, room)))
        .collect();
    sqlx::query!(
        "INSERT INTO base_room (base_id, size, fill_centiml, room_centiml)
         SELECT * FROM UNNEST($1::uuid[], $2::text[], $3::integer[], $4::integer[])",
        &column(&rooms, |(base, _)| base.as_uuid()),
        &column(&rooms, |(_, room)| room.size().to_string()),
        &column(&rooms, |(_, room)| room.fill().get().cast_signed()),
        &column(&rooms, |(_, room)| room.room().get().cast_signed())
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// Adds instruments.
///
/// # Errors
/// When the database refuses or can't be reached.
pub async fn insert_instruments(conn: &mut Conn, rows: &[InstrumentRow]) -> StoreResult<()> {
    let created = rows
        .iter()
        .map(|row| made_at(row.instrument.id.unix_ms()))
        .collect::<StoreResult<Vec<_>>>()?;
    let geometries = rows
        .iter()
        .map(|row| word(&row.instrument.geometry))
        .collect::<StoreResult<Vec<_>>>()?;
    sqlx::query!(
        "INSERT INTO instrument (id, store_id, name, model, serial, geometry, apertures_mm, retired_at, created_at)
         SELECT id, store_id, name, model, serial, geometry, apertures_mm::real[], retired_at, created_at
         FROM UNNEST($1::uuid[], $2::uuid[], $3::text[], $4::text[], $5::text[], $6::text[], $7::text[],
                     $8::timestamptz[], $9::timestamptz[])
              AS row (id, store_id, name, model, serial, geometry, apertures_mm, retired_at, created_at)",
        &column(rows, |row| row.instrument.id.as_uuid()),
        &column(rows, |row| row.instrument.store_id.as_uuid()),
        &column(rows, |row| row.instrument.name.to_string()),
        &column(rows, |row| row.instrument.model.to_string()),
        &column(rows, |row| row.instrument.serial.to_string()),
        &geometries,
        &column(rows, |row| array(&row.instrument.apertures_mm)),
        &column(rows, |row| row.retired_at) as &[Option<OffsetDateTime>],
        &created
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// Adds calibrations.
///
/// # Errors
/// When the database refuses or can't be reached.
pub async fn insert_calibrations(conn: &mut Conn, rows: &[CalibrationRow]) -> StoreResult<()> {
    for rows in rows.chunks(super::BATCH) {
        sqlx::query!(
            "INSERT INTO calibration
                 (id, instrument_id, made_by, made_at, received_at, white_read, black_read, temperature_c)
             SELECT id, instrument_id, made_by, made_at, made_at, white_read, black_read, temperature_c
             FROM UNNEST($1::uuid[], $2::uuid[], $3::uuid[], $4::timestamptz[], $5::boolean[], $6::boolean[],
                         $7::real[])
                  AS row (id, instrument_id, made_by, made_at, white_read, black_read, temperature_c)",
            &column(rows, |row| row.calibration.id.as_uuid()),
            &column(rows, |row| row.instrument_id.as_uuid()),
            &column(rows, |row| row.made_by.as_uuid()),
            &column(rows, |row| row.calibration.made_at),
            &column(rows, |row| row.calibration.white_read),
            &column(rows, |row| row.calibration.black_read),
            &column(rows, |row| row.calibration.temperature_c) as &[Option<f32>]
        )
        .execute(&mut *conn)
        .await?;
    }
    Ok(())
}
