//! Sessions: what a login opens, and what logout, suspension or a role change ends.

use super::{App, AppError, AppResult, Caller};
use crate::store::sessions;

impl App {
    /// The caller behind an access token. The session is looked up each time: one that ended a moment ago is out.
    ///
    /// # Errors
    /// [`AppError::TokenExpired`] or [`AppError::NotLoggedIn`].
    pub async fn authenticate(&self, token: &str) -> AppResult<Caller> {
        let claims = self.tokens.check(token)?;
        let mut read = self.db.one().await?;
        sessions::open_caller(&mut read, claims.sub, claims.sid)
            .await?
            .ok_or(AppError::NotLoggedIn("the session has ended"))
    }
}
