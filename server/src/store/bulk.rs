//! Many rows at once, into an empty library: one statement a thousand rows. No caller here: these calls load
//! the demo, in whose library nobody can be logged in yet.
//!
//! When a record was made follows from the time in its id where it has no time of its own, so that a bulk load does
//! not date everything with the minute in which it ran.

mod catalog;
mod customers;
mod matches;
mod orders;

use formula::id::{
    BaseId, CustomerId, InstrumentId, MatchId, PersonId, RevisionId, StoreId, TintId,
};
use formula::reorder::ReorderState;
use formula::wire::v1::{
    NewCalibration, NewCustomer, NewDrawdown, NewInstrument, NewMatch, NewPerson, NewReorder,
    NewRevision, NewTint, NewTintFault,
};
use serde::Serialize;
use time::OffsetDateTime;
use uuid::Uuid;

use super::{Conn, StoreError, StoreResult};

pub use catalog::{
    insert_bases, insert_calibrations, insert_colorants, insert_instruments, insert_persons,
    insert_products, insert_stores,
};
pub use customers::{insert_customers, insert_links};
pub use matches::{insert_drawdowns, insert_matches, insert_notes, insert_revisions};
pub use orders::{insert_faults, insert_reorders, insert_tints};

/// Rows a statement.
const BATCH: usize = 1000;

/// Who made a record, and where.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Author {
    /// The person.
    pub person: PersonId,
    /// At which store's counter.
    pub store: StoreId,
}

/// A login with the hash of its password.
pub struct PersonRow {
    /// The login.
    pub person: NewPerson,
    /// Its argon2id hash, as a PHC string.
    pub password_hash: String,
}

/// An instrument, perhaps out of use.
#[derive(Debug, Clone, PartialEq)]
pub struct InstrumentRow {
    /// The instrument.
    pub instrument: NewInstrument,
    /// Since when it is out of use.
    pub retired_at: Option<OffsetDateTime>,
}

/// A calibration of an instrument.
#[derive(Debug, Clone, PartialEq)]
pub struct CalibrationRow {
    /// The instrument.
    pub instrument_id: InstrumentId,
    /// The calibration.
    pub calibration: NewCalibration,
    /// Who made it.
    pub made_by: PersonId,
}

/// A customer, with phones and jobs.
#[derive(Debug, Clone, PartialEq)]
pub struct CustomerRow {
    /// The customer.
    pub customer: NewCustomer,
    /// Who added it, and which store it belongs to.
    pub author: Author,
}

/// A contractor's login stands for a customer.
#[derive(Debug, Clone, PartialEq)]
pub struct LinkRow {
    /// Its id.
    pub id: Uuid,
    /// The contractor.
    pub person_id: PersonId,
    /// The customer.
    pub customer_id: CustomerId,
    /// Who linked them.
    pub linked_by: PersonId,
    /// When.
    pub linked_at: OffsetDateTime,
}

/// A match and its sample. Formulas and remarks are rows of their own: `formula`, `reuse` and `note` are not read.
#[derive(Debug, Clone, PartialEq)]
pub struct MatchRow {
    /// The match.
    pub found: NewMatch,
    /// Who recorded it.
    pub author: Author,
    /// The revision that a person picked.
    pub picked: Option<RevisionId>,
}

/// A revision. Remarks are rows of their own: `formula.note` is not read.
#[derive(Debug, Clone, PartialEq)]
pub struct RevisionRow {
    /// The match.
    pub match_id: MatchId,
    /// Running number within the match.
    pub number: i32,
    /// The revision it was taken over from.
    pub reused_from: Option<RevisionId>,
    /// The formula and what it corrects.
    pub revision: NewRevision,
    /// Who made it.
    pub author: Author,
}

/// A drawdown. Remarks are rows of their own: `drawdown.note` is not read.
#[derive(Debug, Clone, PartialEq)]
pub struct DrawdownRow {
    /// The match.
    pub match_id: MatchId,
    /// The revision it shows.
    pub revision_id: RevisionId,
    /// The drawdown and its measurement.
    pub drawdown: NewDrawdown,
    /// Who made it.
    pub author: Author,
}

/// A remark beside a record.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NoteRow {
    /// Its id.
    pub id: Uuid,
    /// The match it belongs to.
    pub match_id: MatchId,
    /// `match`, `revision`, `drawdown`, `tint` or `tint_fault`.
    pub about: &'static str,
    /// The record.
    pub about_id: Uuid,
    /// What it says.
    pub body: String,
    /// Who wrote it.
    pub made_by: PersonId,
    /// When.
    pub made_at: OffsetDateTime,
}

/// A step of a reorder.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct StepRow {
    /// The state it went to.
    pub to: ReorderState,
    /// Who moved it.
    pub made_by: PersonId,
    /// When.
    pub at: OffsetDateTime,
}

/// A reorder with its steps, the first of which places it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ReorderRow {
    /// The reorder.
    pub reorder: NewReorder,
    /// What happened to it, in order.
    pub steps: Vec<StepRow>,
}

/// A can. `tint.shots` says all that went in; remarks are rows of their own.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TintRow {
    /// The match.
    pub match_id: MatchId,
    /// The base that was used.
    pub base_id: BaseId,
    /// The can.
    pub tint: NewTint,
    /// Who made it.
    pub author: Author,
}

/// A can's mark.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FaultRow {
    /// Its id.
    pub id: Uuid,
    /// The can.
    pub tint_id: TintId,
    /// The match.
    pub match_id: MatchId,
    /// Why.
    pub fault: NewTintFault,
    /// Who marked it.
    pub author: Author,
    /// When.
    pub made_at: OffsetDateTime,
}

/// What stands in the library already.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Content {
    /// Nothing that a person entered.
    Empty,
    /// The store asked about, among whatever else.
    HasStore,
    /// Something, but not the store asked about.
    Other,
}

/// Looks what stands in the library. The second of two loads at once waits here until the first is done.
///
/// # Errors
/// When the database can't be read.
pub async fn content(conn: &mut Conn, store: StoreId) -> StoreResult<Content> {
    // A lock that only bulk loads take, beside the change log's own; ordinary work is not in its way.
    sqlx::query!("SELECT pg_advisory_xact_lock(7310002)")
        .execute(&mut *conn)
        .await?;
    let found = sqlx::query!(
        r#"SELECT EXISTS (SELECT FROM store WHERE id = $1) AS "has_store!",
                  EXISTS (SELECT FROM store) OR EXISTS (SELECT FROM person) OR EXISTS (SELECT FROM product)
                  OR EXISTS (SELECT FROM colorant) OR EXISTS (SELECT FROM customer) AS "has_other!""#,
        store.as_uuid()
    )
    .fetch_one(conn)
    .await?;
    Ok(match (found.has_store, found.has_other) {
        (true, _) => Content::HasStore,
        (false, true) => Content::Other,
        (false, false) => Content::Empty,
    })
}

/// One column of the rows.
fn column<'a, R, T>(rows: &'a [R], value: impl Fn(&'a R) -> T) -> Vec<T> {
    rows.iter().map(value).collect()
}

/// The time in an id.
fn made_at(unix_ms: u64) -> StoreResult<OffsetDateTime> {
    OffsetDateTime::from_unix_timestamp_nanos(i128::from(unix_ms) * 1_000_000)
        .map_err(|error| StoreError::Fault(format!("the time in an id: {error}")))
}

/// The wire's word for a value of a closed list, which is the column's word too.
fn word(value: &impl Serialize) -> StoreResult<String> {
    match serde_json::to_value(value) {
        Ok(serde_json::Value::String(word)) => Ok(word),
        _ => Err(StoreError::Fault(
            "a value of a closed list is no word".to_owned(),
        )),
    }
}

/// An array as Postgres reads it from text: `UNNEST` would flatten arrays of arrays. Only for parts without quotes,
/// backslashes and braces: numbers, ids, words of closed lists.
fn array<T: std::fmt::Display>(parts: impl IntoIterator<Item = T>) -> String {
    let quoted: Vec<String> = parts
        .into_iter()
        .map(|part| format!("\"{part}\""))
        .collect();
    format!("{{{}}}", quoted.join(","))
}
