//! Customers with phones and jobs, and contractors' links to them.
//! No caller here, as nobody can be logged in yet.

use formula::folding::{fold_company, fold_person};
use formula::phone::PhoneRegion;
use formula::wire::v1::CustomerKind;

use super::{CustomerRow, LinkRow, column, made_at, word};
use crate::store::{Conn, StoreError, StoreResult};

/// Adds customers with their phones, jobs and folded names. Phones without a country code are read as `region`'s.
///
/// # Errors
/// When a phone number is none, or the database refuses or can't be reached.
pub async fn insert_customers(
    conn: &mut Conn,
    rows: &[CustomerRow],
    region: PhoneRegion,
) -> StoreResult<()> {
    for rows in rows.chunks(super::BATCH) {
        let created = rows
            .iter()
            .map(|row| made_at(row.customer.id.unix_ms()))
            .collect::<StoreResult<Vec<_>>>()?;
        let kinds = rows
            .iter()
            .map(|row| word(&row.customer.kind))
            .collect::<StoreResult<Vec<_>>>()?;
        let ids = column(rows, |row| row.customer.id.as_uuid());
        sqlx::query!(
            "INSERT INTO customer (id, kind, name, note, store_id, created_by, created_at, updated_at)
             SELECT id, kind, name, note, store_id, created_by, created_at, created_at
             FROM UNNEST($1::uuid[], $2::text[], $3::text[], $4::text[], $5::uuid[], $6::uuid[], $7::timestamptz[])
                  AS row (id, kind, name, note, store_id, created_by, created_at)",
            &ids,
            &kinds,
            &column(rows, |row| row.customer.name.to_string()),
            &column(rows, |row| row.customer.note.as_ref().map(ToString::to_string))
                as &[Option<String>],
            &column(rows, |row| row.author.store.as_uuid()),
            &column(rows, |row| row.author.person.as_uuid()),
            &created
        )
        .execute(&mut *conn)
        .await?;
        sqlx::query!(
            "INSERT INTO customer_name (customer_id, folded) SELECT * FROM UNNEST($1::uuid[], $2::text[])",
            &ids,
            &column(rows, |row| match row.customer.kind {
                CustomerKind::Person => fold_person(row.customer.name.as_str()),
                CustomerKind::Company => fold_company(row.customer.name.as_str()),
            })
        )
        .execute(&mut *conn)
        .await?;
        insert_phones(conn, rows, region).await?;
        insert_jobs(conn, rows).await?;
    }
    Ok(())
}

async fn insert_phones(
    conn: &mut Conn,
    rows: &[CustomerRow],
    region: PhoneRegion,
) -> StoreResult<()> {
    let (mut of, mut positions, mut numbers, mut labels) = (vec![], vec![], vec![], vec![]);
    for row in rows {
        for (position, phone) in (1_i16..).zip(&row.customer.phones) {
            let number = phone
                .number
                .normalize(region)
                .map_err(|error| StoreError::Fault(format!("phone number {position}: {error}")))?;
            of.push(row.customer.id.as_uuid());
            positions.push(position);
            numbers.push(number.to_string());
            labels.push(phone.label.as_ref().map(ToString::to_string));
        }
    }
    sqlx::query!(
        "INSERT INTO customer_phone (customer_id, position, e164, label)
         SELECT * FROM UNNEST($1::uuid[], $2::smallint[], $3::text[], $4::text[])",
        &of,
        &positions,
        &numbers,
        &labels as &[Option<String>]
    )
    .execute(conn)
    .await?;
    Ok(())
}

async fn insert_jobs(conn: &mut Conn, rows: &[CustomerRow]) -> StoreResult<()> {
    let jobs: Vec<_> = rows
        .iter()
        .flat_map(|row| row.customer.jobs.iter().map(move |job| (row, job)))
        .collect();
    let created = jobs
        .iter()
        .map(|(_, job)| made_at(job.id.unix_ms()))
        .collect::<StoreResult<Vec<_>>>()?;
    sqlx::query!(
        "INSERT INTO job (id, customer_id, label, folded, created_by, created_at)
         SELECT * FROM UNNEST($1::uuid[], $2::uuid[], $3::text[], $4::text[], $5::uuid[], $6::timestamptz[])",
        &column(&jobs, |(_, job)| job.id.as_uuid()),
        &column(&jobs, |(row, _)| row.customer.id.as_uuid()),
        &column(&jobs, |(_, job)| job.label.to_string()),
        &column(&jobs, |(_, job)| fold_company(job.label.as_str())),
        &column(&jobs, |(row, _)| row.author.person.as_uuid()),
        &created
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// Links contractors to the customers their logins stand for.
///
/// # Errors
/// When the database refuses or can't be reached.
pub async fn insert_links(conn: &mut Conn, rows: &[LinkRow]) -> StoreResult<()> {
    sqlx::query!(
        "INSERT INTO customer_link (id, person_id, customer_id, linked_by, linked_at)
         SELECT * FROM UNNEST($1::uuid[], $2::uuid[], $3::uuid[], $4::uuid[], $5::timestamptz[])",
        &column(rows, |row| row.id),
        &column(rows, |row| row.person_id.as_uuid()),
        &column(rows, |row| row.customer_id.as_uuid()),
        &column(rows, |row| row.linked_by.as_uuid()),
        &column(rows, |row| row.linked_at)
    )
    .execute(conn)
    .await?;
    Ok(())
}
