//! Reorders with their steps, tints with their shots, and marks on tints.
//! No caller here, as nobody can be logged in yet.

use time::OffsetDateTime;
use uuid::Uuid;

use super::{FaultRow, ReorderRow, TintRow, column, word};
use crate::store::{Conn, StoreError, StoreResult};

/// Adds reorders and what happened to them. The version counts the steps after the first.
///
/// # Errors
/// When a reorder has no step, or the database refuses or can't be reached.
pub async fn insert_reorders(conn: &mut Conn, rows: &[ReorderRow]) -> StoreResult<()> {
    for rows in rows.chunks(super::BATCH) {
        let ends = rows
            .iter()
            .map(|row| match row.steps.as_slice() {
                [first, .., last] => Ok((first, last)),
                [only] => Ok((only, only)),
                [] => Err(StoreError::Fault(format!(
                    "reorder {} has no step",
                    row.reorder.id
                ))),
            })
            .collect::<StoreResult<Vec<_>>>()?;
        sqlx::query!(
            "INSERT INTO reorder (id, match_id, revision_id, store_id, size, cans, state, placed_by, placed_at,
                                  received_at, version)
             SELECT id, match_id, revision_id, store_id, size, cans, state, placed_by, placed_at, placed_at, version
             FROM UNNEST($1::uuid[], $2::uuid[], $3::uuid[], $4::uuid[], $5::text[], $6::smallint[], $7::text[],
                         $8::uuid[], $9::timestamptz[], $10::integer[])
                  AS row (id, match_id, revision_id, store_id, size, cans, state, placed_by, placed_at, version)",
            &column(rows, |row| row.reorder.id.as_uuid()),
            &column(rows, |row| row.reorder.match_id.as_uuid()),
            &column(rows, |row| row.reorder.revision_id.map(Uuid::from)) as &[Option<Uuid>],
            &column(rows, |row| row.reorder.store_id.as_uuid()),
            &column(rows, |row| row.reorder.size.to_string()),
            &column(rows, |row| i16::try_from(row.reorder.cans).unwrap_or(i16::MAX)),
            &column(&ends, |(_, last)| last.to.to_string()),
            &column(&ends, |(first, _)| first.made_by.as_uuid()),
            &column(rows, |row| row.reorder.placed_at),
            &column(rows, |row| i32::try_from(row.steps.len()).unwrap_or(i32::MAX))
        )
        .execute(&mut *conn)
        .await?;
        insert_steps(conn, rows).await?;
    }
    Ok(())
}

async fn insert_steps(conn: &mut Conn, rows: &[ReorderRow]) -> StoreResult<()> {
    let (mut of, mut numbers, mut from, mut to) = (vec![], vec![], vec![], vec![]);
    let (mut made_by, mut at): (_, Vec<OffsetDateTime>) = (vec![], vec![]);
    for row in rows {
        let mut before = None;
        for (number, step) in (1_i32..).zip(&row.steps) {
            of.push(row.reorder.id.as_uuid());
            numbers.push(number);
            from.push(before.replace(step.to).map(|state| state.to_string()));
            to.push(step.to.to_string());
            made_by.push(step.made_by.as_uuid());
            at.push(step.at);
        }
    }
    sqlx::query!(
        "INSERT INTO reorder_step (reorder_id, number, from_state, to_state, made_by, at)
         SELECT * FROM UNNEST($1::uuid[], $2::integer[], $3::text[], $4::text[], $5::uuid[], $6::timestamptz[])",
        &of,
        &numbers,
        &from as &[Option<String>],
        &to,
        &made_by,
        &at
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// Adds cans with what went in.
///
/// # Errors
/// When the database refuses or can't be reached.
pub async fn insert_tints(conn: &mut Conn, rows: &[TintRow]) -> StoreResult<()> {
    for rows in rows.chunks(super::BATCH) {
        sqlx::query!(
            "INSERT INTO tint (id, match_id, revision_id, reorder_id, base_id, size, base_lot, made_by, store_id,
                               made_at, received_at)
             SELECT id, match_id, revision_id, reorder_id, base_id, size, base_lot, made_by, store_id, made_at, made_at
             FROM UNNEST($1::uuid[], $2::uuid[], $3::uuid[], $4::uuid[], $5::uuid[], $6::text[], $7::text[],
                         $8::uuid[], $9::uuid[], $10::timestamptz[])
                  AS row (id, match_id, revision_id, reorder_id, base_id, size, base_lot, made_by, store_id, made_at)",
            &column(rows, |row| row.tint.id.as_uuid()),
            &column(rows, |row| row.match_id.as_uuid()),
            &column(rows, |row| row.tint.revision_id.as_uuid()),
            &column(rows, |row| row.tint.reorder_id.map(Uuid::from)) as &[Option<Uuid>],
            &column(rows, |row| row.base_id.as_uuid()),
            &column(rows, |row| row.tint.size.to_string()),
            &column(rows, |row| row.tint.base_lot.as_ref().map(ToString::to_string)) as &[Option<String>],
            &column(rows, |row| row.author.person.as_uuid()),
            &column(rows, |row| row.author.store.as_uuid()),
            &column(rows, |row| row.tint.made_at)
        )
        .execute(&mut *conn)
        .await?;
        let shots: Vec<_> = rows
            .iter()
            .flat_map(|row| {
                (0_i16..)
                    .zip(row.tint.shots.iter().flatten())
                    .map(move |(at, shot)| (row, at, shot))
            })
            .collect();
        sqlx::query!(
            "INSERT INTO tint_shot (tint_id, position, colorant_id, count, unit, lot)
             SELECT * FROM UNNEST($1::uuid[], $2::smallint[], $3::uuid[], $4::integer[], $5::text[], $6::text[])",
            &column(&shots, |(row, _, _)| row.tint.id.as_uuid()),
            &column(&shots, |(_, at, _)| *at),
            &column(&shots, |(_, _, shot)| shot.colorant_id.as_uuid()),
            &column(&shots, |(_, _, shot)| shot.count.get().cast_signed()),
            &column(&shots, |(_, _, shot)| shot.unit.to_string()),
            &column(&shots, |(_, _, shot)| shot.lot.as_ref().map(ToString::to_string))
                as &[Option<String>]
        )
        .execute(&mut *conn)
        .await?;
    }
    Ok(())
}

/// Marks cans bad.
///
/// # Errors
/// When the database refuses or can't be reached.
pub async fn insert_faults(conn: &mut Conn, rows: &[FaultRow]) -> StoreResult<()> {
    let reasons = rows
        .iter()
        .map(|row| word(&row.fault.reason))
        .collect::<StoreResult<Vec<_>>>()?;
    sqlx::query!(
        "INSERT INTO tint_fault (id, tint_id, match_id, reason, made_by, store_id, made_at, received_at)
         SELECT id, tint_id, match_id, reason, made_by, store_id, made_at, made_at
         FROM UNNEST($1::uuid[], $2::uuid[], $3::uuid[], $4::text[], $5::uuid[], $6::uuid[], $7::timestamptz[])
              AS row (id, tint_id, match_id, reason, made_by, store_id, made_at)",
        &column(rows, |row| row.id),
        &column(rows, |row| row.tint_id.as_uuid()),
        &column(rows, |row| row.match_id.as_uuid()),
        &reasons,
        &column(rows, |row| row.author.person.as_uuid()),
        &column(rows, |row| row.author.store.as_uuid()),
        &column(rows, |row| row.made_at)
    )
    .execute(conn)
    .await?;
    Ok(())
}
