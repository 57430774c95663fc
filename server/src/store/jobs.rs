//! Rows of `job`.

use formula::folding::fold_company;
use formula::id::{CustomerId, JobId};
use formula::naming::JobLabel;
use formula::wire::v1::{Job, NewJob};
use uuid::Uuid;

use super::read_back::{id, kept};
use super::{Conn, StoreResult};
use crate::app::Caller;

struct Row {
    id: Uuid,
    label: String,
    version: i32,
}

impl Row {
    fn shown(self) -> StoreResult<Job> {
        Ok(Job {
            id: id(self.id)?,
            label: kept(&self.label)?,
            version: self.version,
        })
    }
}

/// The jobs of a customer, oldest first. Whether the caller may see the customer was decided when it was loaded.
///
/// # Errors
/// When the database can't be read.
pub async fn of_customer(
    conn: &mut Conn,
    _caller: &Caller,
    customer: CustomerId,
) -> StoreResult<Vec<Job>> {
    sqlx::query_as!(
        Row,
        r#"SELECT id, label AS "label!", version FROM job
           WHERE customer_id = $1 AND erased_at IS NULL ORDER BY id"#,
        customer.as_uuid()
    )
    .fetch_all(conn)
    .await?
    .into_iter()
    .map(Row::shown)
    .collect()
}

/// One job, held until the transaction ends. Only staff edit jobs, of whatever customer.
///
/// # Errors
/// When the database can't be read.
pub async fn lock(conn: &mut Conn, _caller: &Caller, job: JobId) -> StoreResult<Option<Job>> {
    sqlx::query_as!(
        Row,
        r#"SELECT id, label AS "label!", version FROM job WHERE id = $1 AND erased_at IS NULL FOR UPDATE"#,
        job.as_uuid()
    )
    .fetch_optional(conn)
    .await?
    .map(Row::shown)
    .transpose()
}

/// Adds a job of a customer.
///
/// # Errors
/// When the id is taken.
pub async fn insert(
    conn: &mut Conn,
    caller: &Caller,
    customer: CustomerId,
    new: &NewJob,
) -> StoreResult<Job> {
    sqlx::query!(
        "INSERT INTO job (id, customer_id, label, folded, created_by) VALUES ($1, $2, $3, $4, $5)",
        new.id.as_uuid(),
        customer.as_uuid(),
        new.label.as_str(),
        fold_company(new.label.as_str()),
        caller.person_id.as_uuid()
    )
    .execute(conn)
    .await?;
    Ok(Job {
        id: new.id,
        label: new.label.clone(),
        version: 1,
    })
}

/// Gives a job that is held another label, and raises its version.
///
/// # Errors
/// When the database refuses or can't be reached.
pub async fn relabel(
    conn: &mut Conn,
    _caller: &Caller,
    now: Job,
    label: JobLabel,
) -> StoreResult<Job> {
    let next = Job {
        id: now.id,
        label,
        version: now.version + 1,
    };
    sqlx::query!(
        "UPDATE job SET label = $2, folded = $3, version = $4 WHERE id = $1",
        next.id.as_uuid(),
        next.label.as_str(),
        fold_company(next.label.as_str()),
        next.version
    )
    .execute(conn)
    .await?;
    Ok(next)
}
