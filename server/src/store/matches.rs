//! Rows of `match`.

use formula::id::{CustomerId, JobId, MatchId, MeasurementId, ProductId, RevisionId, StoreId};
use formula::label::LabelCode;
use formula::wire::v1::{FoundBy, Job, LabD65, Match, MatchHit, Named, NewMatch};
use time::OffsetDateTime;
use uuid::Uuid;

use super::read_back::{id, kept};
use super::revisions::{self, Beside, sheen};
use super::write::PageAsk;
use super::{Conn, StoreError, StoreResult, measurements, notes};
use crate::app::Caller;

/// A match without what hangs on it.
#[derive(Debug, Clone)]
pub struct MatchRow {
    /// Its id.
    pub id: MatchId,
    /// Its customer.
    pub customer_id: CustomerId,
    /// Its product.
    pub product_id: ProductId,
    /// The store that made it.
    pub store_id: StoreId,
    /// Its version.
    pub version: i32,
}

/// The match held until the transaction ends, if the caller may see it.
///
/// # Errors
/// When the database can't be read.
pub async fn lock(
    conn: &mut Conn,
    caller: &Caller,
    wanted: MatchId,
) -> StoreResult<Option<MatchRow>> {
    let row = sqlx::query!(
        "SELECT m.id, m.customer_id, m.product_id, m.store_id, m.version FROM match m
         WHERE m.id = $1
           AND ($2::uuid IS NULL OR EXISTS
                (SELECT FROM customer_link l WHERE l.person_id = $2 AND l.customer_id = m.customer_id))
         FOR UPDATE OF m",
        wanted.as_uuid(),
        caller.contractor().map(|person| person.as_uuid())
    )
    .fetch_optional(conn)
    .await?;
    row.map(|row| {
        Ok(MatchRow {
            id: id(row.id)?,
            customer_id: id(row.customer_id)?,
            product_id: id(row.product_id)?,
            store_id: id(row.store_id)?,
            version: row.version,
        })
    })
    .transpose()
}

/// Adds a match whose sample is kept already.
///
/// # Errors
/// When the id is taken, or what it names does not exist.
pub async fn insert(
    conn: &mut Conn,
    caller: &Caller,
    at_store: StoreId,
    new: &NewMatch,
) -> StoreResult<()> {
    sqlx::query!(
        "INSERT INTO match (id, label_code, customer_id, job_id, product_id, sheen_id, store_id, sample_id, made_by,
             made_at)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)",
        new.id.as_uuid(),
        LabelCode::from(new.id).compact(),
        new.customer_id.as_uuid(),
        new.job_id.map(JobId::as_uuid),
        new.product_id.as_uuid(),
        new.sheen_id.as_uuid(),
        at_store.as_uuid(),
        new.sample.id.as_uuid(),
        caller.person_id.as_uuid(),
        new.made_at
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// Whether the job is one of the customer's.
///
/// # Errors
/// When the database can't be read.
pub async fn job_fits(
    conn: &mut Conn,
    _caller: &Caller,
    job: JobId,
    customer: CustomerId,
) -> StoreResult<bool> {
    Ok(sqlx::query_scalar!(
        r#"SELECT EXISTS (SELECT FROM job WHERE id = $1 AND customer_id = $2) AS "fits!""#,
        job.as_uuid(),
        customer.as_uuid()
    )
    .fetch_one(conn)
    .await?)
}

/// Whether the customer exists and is not erased.
///
/// # Errors
/// When the database can't be read.
pub async fn customer_stands(
    conn: &mut Conn,
    _caller: &Caller,
    customer: CustomerId,
) -> StoreResult<bool> {
    Ok(sqlx::query_scalar!(
        r#"SELECT EXISTS (SELECT FROM customer WHERE id = $1 AND erased_at IS NULL) AS "stands!""#,
        customer.as_uuid()
    )
    .fetch_one(conn)
    .await?)
}

/// Gives a match that is held to another customer or job, and raises its version.
///
/// # Errors
/// When the customer or job does not exist.
pub async fn give_to(
    conn: &mut Conn,
    _caller: &Caller,
    moved: MatchId,
    customer: CustomerId,
    job: Option<JobId>,
) -> StoreResult<()> {
    sqlx::query!(
        "UPDATE match SET customer_id = $2, job_id = $3, version = version + 1 WHERE id = $1",
        moved.as_uuid(),
        customer.as_uuid(),
        job.map(JobId::as_uuid)
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// Sets which revision of a match that is held counts, and raises its version.
///
/// # Errors
/// When the revision does not exist.
pub async fn pick(
    conn: &mut Conn,
    _caller: &Caller,
    of: MatchId,
    revision: Option<RevisionId>,
) -> StoreResult<()> {
    sqlx::query!(
        "UPDATE match SET picked_revision_id = $2, version = version + 1 WHERE id = $1",
        of.as_uuid(),
        revision.map(RevisionId::as_uuid)
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// Removes a draft of the caller's own, if it is still there.
///
/// # Errors
/// When the database can't be written.
pub async fn drop_draft(
    conn: &mut Conn,
    caller: &Caller,
    draft: formula::id::DraftId,
) -> StoreResult<()> {
    sqlx::query!(
        "DELETE FROM draft WHERE id = $1 AND person_id = $2",
        draft.as_uuid(),
        caller.person_id.as_uuid()
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// The match as opened, if the caller may see it.
///
/// # Errors
/// When the database can't be read.
pub async fn open(conn: &mut Conn, caller: &Caller, wanted: MatchId) -> StoreResult<Option<Match>> {
    let row = sqlx::query!(
        r#"SELECT m.label_code, m.sample_id, m.picked_revision_id, m.made_at, m.version,
                  c.id AS customer_id, coalesce(c.name, '(erased)') AS "customer_name!",
                  j.id AS "job_id?", j.label AS "job_label?", j.version AS "job_version?",
                  d.id AS product_id, d.name AS product_name,
                  h.id AS sheen_id, h.word, h.gloss60_min, h.gloss60_max,
                  p.id AS person_id, p.display_name, s.id AS store_id, s.name AS store_name,
                  (SELECT count(*) FROM tint t WHERE t.match_id = m.id) AS "tints!",
                  (SELECT count(*) FROM tint_fault f WHERE f.match_id = m.id) AS "bad_tints!"
           FROM match m JOIN customer c ON c.id = m.customer_id LEFT JOIN job j ON j.id = m.job_id
           JOIN product d ON d.id = m.product_id JOIN sheen h ON h.id = m.sheen_id
           JOIN person p ON p.id = m.made_by JOIN store s ON s.id = m.store_id
           WHERE m.id = $1
             AND ($2::uuid IS NULL OR EXISTS
                  (SELECT FROM customer_link l WHERE l.person_id = $2 AND l.customer_id = m.customer_id))"#,
        wanted.as_uuid(),
        caller.contractor().map(|person| person.as_uuid())
    )
    .fetch_optional(&mut *conn)
    .await?;
    let Some(row) = row else { return Ok(None) };
    let mut measured = revisions::drawdown_measurements(conn, caller, wanted).await?;
    measured.push(row.sample_id);
    let measurements = measurements::load(conn, caller, &measured).await?;
    let notes = notes::of_match(conn, caller, wanted).await?;
    let sample_id: MeasurementId = id(row.sample_id)?;
    let sample = measurements
        .get(&sample_id)
        .cloned()
        .ok_or_else(|| StoreError::Fault("a match's sample has no color".to_owned()))?;
    let beside = Beside {
        wanted: sample.lab.0,
        measurements: &measurements,
        notes: &notes,
    };
    let revisions = revisions::of_match(conn, caller, wanted, &beside).await?;
    let picked: Option<RevisionId> = row.picked_revision_id.map(id).transpose()?;
    let forked = picked.is_none()
        && revisions.iter().enumerate().any(|(index, revision)| {
            revision.parent_id.is_some()
                && revisions
                    .iter()
                    .skip(index + 1)
                    .any(|other| other.parent_id == revision.parent_id)
        });
    let job = match (row.job_id, row.job_label, row.job_version) {
        (Some(job), Some(label), Some(version)) => Some(Job {
            id: id(job)?,
            label: kept(&label)?,
            version,
        }),
        _ => None,
    };
    Ok(Some(Match {
        id: wanted,
        label_code: kept(&row.label_code)?,
        customer: Named {
            id: id(row.customer_id)?,
            name: row.customer_name,
        },
        job,
        product: Named {
            id: id(row.product_id)?,
            name: row.product_name,
        },
        sheen: sheen(row.sheen_id, &row.word, row.gloss60_min, row.gloss60_max)?,
        sample,
        current_revision_id: picked.or_else(|| revisions.first().map(|revision| revision.id)),
        picked: picked.is_some(),
        forked,
        revisions,
        lights: Vec::new(),
        warnings: Vec::new(),
        tints: row.tints,
        bad_tints: row.bad_tints,
        note: notes.get(&wanted.as_uuid()).cloned(),
        made_by: Named {
            id: id(row.person_id)?,
            name: row.display_name,
        },
        store: Named {
            id: id(row.store_id)?,
            name: row.store_name,
        },
        made_at: row.made_at,
        version: row.version,
    }))
}

/// Which matches are wanted, of those that the caller may see.
#[derive(Debug, Clone, Copy)]
pub enum Wanted<'a> {
    /// Every one, or every one of a customer, in order of id.
    Listed {
        /// Only of this customer.
        customer: Option<CustomerId>,
        /// Which part of the list.
        ask: PageAsk,
    },
    /// Those of these ids, in the order given.
    These(&'a [Uuid]),
}

struct HitRow {
    id: Uuid,
    label_code: String,
    customer_id: Uuid,
    customer_name: String,
    job: Option<String>,
    product_id: Uuid,
    product_name: String,
    word: String,
    store_id: Uuid,
    store_name: String,
    made_at: OffsetDateTime,
    l: f64,
    a: f64,
    b: f64,
    current_id: Option<Uuid>,
    verified: bool,
    tints: i64,
    bad_tints: i64,
}

/// Matches in short.
///
/// # Errors
/// When the database can't be read.
pub async fn hits(
    conn: &mut Conn,
    caller: &Caller,
    wanted: Wanted<'_>,
    found_by: FoundBy,
) -> StoreResult<Vec<MatchHit>> {
    let (ids, customer, after, limit) = match wanted {
        Wanted::Listed { customer, ask } => (None, customer, ask.after, ask.fetch()),
        Wanted::These(ids) => (
            Some(ids),
            None,
            None,
            i64::try_from(ids.len()).unwrap_or(i64::MAX),
        ),
    };
    let rows = sqlx::query_as!(
        HitRow,
        r#"SELECT m.id, m.label_code, c.id AS customer_id, coalesce(c.name, '(erased)') AS "customer_name!",
                  j.label AS "job?", d.id AS product_id, d.name AS product_name, h.word,
                  s.id AS store_id, s.name AS store_name, m.made_at, k.l, k.a, k.b,
                  r.id AS "current_id?",
                  EXISTS (SELECT FROM drawdown w WHERE w.revision_id = r.id AND w.dry) AS "verified!",
                  (SELECT count(*) FROM tint t WHERE t.match_id = m.id) AS "tints!",
                  (SELECT count(*) FROM tint_fault f WHERE f.match_id = m.id) AS "bad_tints!"
           FROM match m JOIN customer c ON c.id = m.customer_id LEFT JOIN job j ON j.id = m.job_id
           JOIN product d ON d.id = m.product_id JOIN sheen h ON h.id = m.sheen_id JOIN store s ON s.id = m.store_id
           JOIN measurement_color k ON k.measurement_id = m.sample_id AND k.light = 'D65' AND k.observer = 10
           LEFT JOIN LATERAL (SELECT v.id FROM revision v WHERE v.match_id = m.id
                              ORDER BY v.id = m.picked_revision_id DESC NULLS LAST, v.number DESC LIMIT 1) r ON true
           WHERE ($1::uuid[] IS NULL OR m.id = ANY ($1))
             AND ($2::uuid IS NULL OR m.customer_id = $2)
             AND ($3::uuid IS NULL OR m.id > $3)
             AND ($5::uuid IS NULL OR EXISTS
                  (SELECT FROM customer_link l WHERE l.person_id = $5 AND l.customer_id = m.customer_id))
           ORDER BY array_position($1::uuid[], m.id), m.id LIMIT $4"#,
        ids,
        customer.map(CustomerId::as_uuid),
        after,
        limit,
        caller.contractor().map(|person| person.as_uuid())
    )
    .fetch_all(conn)
    .await?;
    rows.into_iter().map(|row| shown(row, found_by)).collect()
}

fn shown(row: HitRow, found_by: FoundBy) -> StoreResult<MatchHit> {
    Ok(MatchHit {
        id: id(row.id)?,
        label_code: kept(&row.label_code)?,
        customer: Named {
            id: id(row.customer_id)?,
            name: row.customer_name,
        },
        job: row.job,
        product: Named {
            id: id(row.product_id)?,
            name: row.product_name,
        },
        sheen: kept(&row.word)?,
        store: Named {
            id: id(row.store_id)?,
            name: row.store_name,
        },
        made_at: row.made_at,
        wanted: LabD65(color::Lab {
            l: row.l,
            a: row.a,
            b: row.b,
        }),
        current_revision_id: row.current_id.map(id).transpose()?,
        verified: row.verified,
        tints: row.tints,
        bad_tints: row.bad_tints,
        found_by,
    })
}

/// Matches that carry the label code and may be seen by the caller: one, save for a chance in thousands of libraries.
///
/// # Errors
/// When the database can't be read.
pub async fn with_label(
    conn: &mut Conn,
    caller: &Caller,
    code: LabelCode,
) -> StoreResult<Vec<Uuid>> {
    Ok(sqlx::query_scalar!(
        "SELECT m.id FROM match m
         WHERE m.label_code = $1
           AND ($2::uuid IS NULL OR EXISTS
                (SELECT FROM customer_link l WHERE l.person_id = $2 AND l.customer_id = m.customer_id))
         ORDER BY m.id LIMIT 20",
        code.compact(),
        caller.contractor().map(|person| person.as_uuid())
    )
    .fetch_all(conn)
    .await?)
}

/// The latest matches of these customers, in the customers' order; those of the job that stands beside a customer
/// come before the customer's others.
///
/// # Errors
/// When the database can't be read.
pub async fn of_customers(
    conn: &mut Conn,
    caller: &Caller,
    asked: &[(Uuid, Option<Uuid>)],
    each: usize,
) -> StoreResult<Vec<Uuid>> {
    let customers: Vec<Uuid> = asked.iter().map(|(customer, _)| *customer).collect();
    let jobs: Vec<Option<Uuid>> = asked.iter().map(|(_, job)| *job).collect();
    Ok(sqlx::query_scalar!(
        r#"SELECT m.id AS "id!"
           FROM unnest($1::uuid[], $2::uuid[]) WITH ORDINALITY AS asked (customer, job, place)
           CROSS JOIN LATERAL
                (SELECT x.id, x.made_at, x.customer_id, x.job_id IS NOT DISTINCT FROM asked.job AS of_job
                 FROM match x WHERE x.customer_id = asked.customer
                 ORDER BY of_job DESC, x.made_at DESC LIMIT $3) m
           WHERE $4::uuid IS NULL OR EXISTS
                (SELECT FROM customer_link l WHERE l.person_id = $4 AND l.customer_id = m.customer_id)
           ORDER BY asked.place, m.of_job DESC, m.made_at DESC"#,
        &customers,
        &jobs as &[Option<Uuid>],
        i64::try_from(each).unwrap_or(i64::MAX),
        caller.contractor().map(|person| person.as_uuid())
    )
    .fetch_all(conn)
    .await?)
}
