//! Rows of `note`: text beside a fact, which erasure can clear without touching the fact.

use std::collections::HashMap;

use formula::id::MatchId;
use formula::naming::Note;
use uuid::Uuid;

use super::read_back::kept;
use super::{Conn, StoreResult};
use crate::app::Caller;

/// What a note stands beside.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum About {
    /// A match.
    Match,
    /// A revision.
    Revision,
    /// A drawdown.
    Drawdown,
    /// A tint.
    Tint,
    /// A mark on a tint.
    TintFault,
    /// The acceptance of a measurement.
    Acceptance,
}

impl About {
    fn word(self) -> &'static str {
        match self {
            Self::Match => "match",
            Self::Revision => "revision",
            Self::Drawdown => "drawdown",
            Self::Tint => "tint",
            Self::TintFault => "tint_fault",
            Self::Acceptance => "acceptance",
        }
    }
}

/// Adds a note beside a record of the match.
///
/// # Errors
/// When the record has one already.
pub async fn insert(
    conn: &mut Conn,
    caller: &Caller,
    of_match: MatchId,
    about: About,
    about_id: Uuid,
    body: &Note,
) -> StoreResult<()> {
    sqlx::query!(
        "INSERT INTO note (id, match_id, about, about_id, body, made_by) VALUES ($1, $2, $3, $4, $5, $6)",
        Uuid::now_v7(),
        of_match.as_uuid(),
        about.word(),
        about_id,
        body.as_str(),
        caller.person_id.as_uuid()
    )
    .execute(conn)
    .await?;
    Ok(())
}

/// Every note of the match, by what it stands beside.
///
/// # Errors
/// When the database can't be read.
pub async fn of_match(
    conn: &mut Conn,
    _caller: &Caller,
    id: MatchId,
) -> StoreResult<HashMap<Uuid, Note>> {
    let rows = sqlx::query!(
        r#"SELECT about_id, body AS "body!" FROM note WHERE match_id = $1 AND body IS NOT NULL"#,
        id.as_uuid()
    )
    .fetch_all(conn)
    .await?;
    rows.into_iter()
        .map(|row| Ok((row.about_id, kept(&row.body)?)))
        .collect()
}
