//! The access log: who opened another store's customer or match, which logins failed, what was refused.

use formula::wire::v1::{AccessEntry, Page};

use super::policy::{Act, require};
use super::{App, AppResult, Caller};
use crate::store::access;

impl App {
    /// The log, newest first: `below` is the running number of the last row seen.
    ///
    /// # Errors
    /// As [`AppError`](super::AppError) says.
    pub async fn list_access(
        &self,
        caller: &Caller,
        limit: i64,
        below: Option<i64>,
    ) -> AppResult<Page<AccessEntry>> {
        require(caller, Act::SeeAccessLog)?;
        let mut read = self.db.read().await?;
        Ok(access::list(&mut read, caller, limit, below).await?)
    }

    /// Notes that the caller asked for what the role does not allow.
    ///
    /// # Errors
    /// As [`AppError`](super::AppError) says.
    pub async fn note_refused(&self, caller: &Caller) -> AppResult<()> {
        let mut tx = self.db.plain().await?;
        access::note_refused(tx.conn(), caller).await?;
        Ok(tx.commit().await?)
    }
}
