//! Candidates of a search, chain-wide. Only staff search, so the caller narrows nothing; ranking is the use case's.
//!
//! Folded texts hold letters, digits, marks and blanks only, so none of them can be a pattern of its own in LIKE.

use formula::id::{CustomerId, JobId};
use formula::label::LabelCode;
use formula::phone::PhoneNumber;
use uuid::Uuid;

use super::read_back::{id, kept};
use super::{Conn, StoreResult};
use crate::app::Caller;

/// A customer whose folded name, or whose job's folded label, is a candidate.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Candidate {
    /// The customer.
    pub customer: CustomerId,
    /// The job, when its label is the candidate.
    pub job: Option<JobId>,
    /// The text to rank by.
    pub folded: String,
}

struct Row {
    customer_id: Uuid,
    job_id: Option<Uuid>,
    folded: String,
}

fn candidates(rows: Vec<Row>) -> StoreResult<Vec<Candidate>> {
    rows.into_iter()
        .map(|row| {
            Ok(Candidate {
                customer: id(row.customer_id)?,
                job: row.job_id.map(id).transpose()?,
                folded: row.folded,
            })
        })
        .collect()
}

fn customers(ids: Vec<Uuid>) -> StoreResult<Vec<CustomerId>> {
    ids.into_iter().map(id).collect()
}

/// Customers with a match of this label code. Two matches can share a code.
///
/// # Errors
/// When the database can't be read.
pub async fn by_label(
    conn: &mut Conn,
    _caller: &Caller,
    label: LabelCode,
) -> StoreResult<Vec<CustomerId>> {
    customers(
        sqlx::query_scalar!(
            "SELECT DISTINCT customer_id FROM match WHERE label_code = $1 ORDER BY customer_id",
            label.compact()
        )
        .fetch_all(conn)
        .await?,
    )
}

/// Those of the codes that stand on a match, in the order given.
///
/// # Errors
/// When the database can't be read.
pub async fn existing_labels(
    conn: &mut Conn,
    _caller: &Caller,
    labels: &[LabelCode],
) -> StoreResult<Vec<LabelCode>> {
    if labels.is_empty() {
        return Ok(Vec::new());
    }
    let wanted: Vec<String> = labels.iter().map(|label| label.compact()).collect();
    let there = sqlx::query_scalar!(
        "SELECT DISTINCT label_code FROM match WHERE label_code = ANY ($1)",
        &wanted
    )
    .fetch_all(conn)
    .await?
    .iter()
    .map(|code| kept(code))
    .collect::<StoreResult<Vec<LabelCode>>>()?;
    Ok(labels
        .iter()
        .copied()
        .filter(|label| there.contains(label))
        .collect())
}

/// Customers with this phone.
///
/// # Errors
/// When the database can't be read.
pub async fn by_phone(
    conn: &mut Conn,
    _caller: &Caller,
    phone: &PhoneNumber,
    limit: i64,
) -> StoreResult<Vec<CustomerId>> {
    customers(
        sqlx::query_scalar!(
            "SELECT DISTINCT customer_id FROM customer_phone WHERE e164 = $1 ORDER BY customer_id LIMIT $2",
            phone.as_str(),
            limit
        )
        .fetch_all(conn)
        .await?,
    )
}

/// Customers with a phone of these last seven digits.
///
/// # Errors
/// When the database can't be read.
pub async fn by_last_seven(
    conn: &mut Conn,
    _caller: &Caller,
    digits: &str,
    limit: i64,
) -> StoreResult<Vec<CustomerId>> {
    customers(
        sqlx::query_scalar!(
            "SELECT DISTINCT customer_id FROM customer_phone WHERE last_seven = $1 ORDER BY customer_id LIMIT $2",
            digits,
            limit
        )
        .fetch_all(conn)
        .await?,
    )
}

/// The names of the customers with a phone of these last four digits.
///
/// # Errors
/// When the database can't be read.
pub async fn names_by_last_four(
    conn: &mut Conn,
    _caller: &Caller,
    digits: &str,
    limit: i64,
) -> StoreResult<Vec<Candidate>> {
    candidates(
        sqlx::query_as!(
            Row,
            r#"SELECT DISTINCT n.customer_id, NULL::uuid AS job_id, n.folded
               FROM customer_phone p JOIN customer_name n USING (customer_id)
               WHERE p.last_four = $1 ORDER BY n.customer_id LIMIT $2"#,
            digits,
            limit
        )
        .fetch_all(conn)
        .await?,
    )
}

/// For each beginning, the first names in order of text that begin with it.
///
/// # Errors
/// When the database can't be read.
pub async fn names_beginning(
    conn: &mut Conn,
    _caller: &Caller,
    beginnings: &[String],
    limit: i64,
) -> StoreResult<Vec<Candidate>> {
    // The bounds are LIKE 'beginning%' written out: with a value known only at run time, LIKE uses no index.
    candidates(
        sqlx::query_as!(
            Row,
            r#"SELECT n.customer_id AS "customer_id!", NULL::uuid AS job_id, n.folded AS "folded!"
               FROM unnest($1::text[]) AS beginning
               CROSS JOIN LATERAL (
                   SELECT customer_id, folded FROM customer_name
                   WHERE folded ~>=~ beginning AND folded ~<~ (beginning || chr(1114111))
                   ORDER BY folded USING ~<~ LIMIT $2
               ) n"#,
            beginnings,
            limit
        )
        .fetch_all(conn)
        .await?,
    )
}

/// Sets pg_trgm's threshold until the transaction ends. The index reads only the rarest of the text's trigrams, and
/// the higher the threshold, the fewer: at 300,000 names 0.5 costs half of what 0.4 does.
async fn set_threshold(conn: &mut Conn, least: f64) -> StoreResult<()> {
    sqlx::query!(
        "SELECT set_config('pg_trgm.word_similarity_threshold', $1, true)",
        least.to_string()
    )
    .fetch_one(conn)
    .await?;
    Ok(())
}

/// The names most like the text, of those whose word similarity is at least `least`.
///
/// # Errors
/// When the database can't be read.
pub async fn names_like(
    conn: &mut Conn,
    _caller: &Caller,
    folded: &str,
    least: f64,
    limit: i64,
) -> StoreResult<Vec<Candidate>> {
    set_threshold(conn, least).await?;
    // A word that thousands share is cut before it is sorted: any hundred of them answer such a question equally.
    candidates(
        sqlx::query_as!(
            Row,
            r#"SELECT customer_id, NULL::uuid AS job_id, folded
               FROM (SELECT customer_id, folded FROM customer_name WHERE $1 <% folded LIMIT 3000) n
               ORDER BY word_similarity($1, folded) DESC, customer_id LIMIT $2"#,
            folded,
            limit
        )
        .fetch_all(conn)
        .await?,
    )
}

/// Jobs whose label holds the text as it stands. Below three letters no trigram narrows the search, so the label
/// must begin with them.
///
/// # Errors
/// When the database can't be read.
pub async fn jobs_holding(
    conn: &mut Conn,
    _caller: &Caller,
    folded: &str,
    limit: i64,
) -> StoreResult<Vec<Candidate>> {
    let rows = if folded.chars().nth(2).is_some() {
        sqlx::query_as!(
            Row,
            r#"SELECT customer_id, id AS "job_id?", folded AS "folded!"
               FROM job WHERE folded LIKE '%' || $1 || '%' LIMIT $2"#,
            folded,
            limit
        )
        .fetch_all(conn)
        .await?
    } else {
        sqlx::query_as!(
            Row,
            r#"SELECT customer_id, id AS "job_id?", folded AS "folded!" FROM job
               WHERE folded ~>=~ $1 AND folded ~<~ ($1 || chr(1114111))
               ORDER BY folded USING ~<~ LIMIT $2"#,
            folded,
            limit
        )
        .fetch_all(conn)
        .await?
    };
    candidates(rows)
}

/// The jobs with the labels most like the text, of those whose word similarity is at least `least`.
///
/// # Errors
/// When the database can't be read.
pub async fn jobs_like(
    conn: &mut Conn,
    _caller: &Caller,
    folded: &str,
    least: f64,
    limit: i64,
) -> StoreResult<Vec<Candidate>> {
    set_threshold(conn, least).await?;
    candidates(
        sqlx::query_as!(
            Row,
            r#"SELECT customer_id, id AS "job_id?", folded AS "folded!"
               FROM (SELECT customer_id, id, folded FROM job WHERE $1 <% folded LIMIT 1000) j
               ORDER BY word_similarity($1, folded) DESC, id LIMIT $2"#,
            folded,
            limit
        )
        .fetch_all(conn)
        .await?,
    )
}
