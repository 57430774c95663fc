//! The counter that a write is made at.

use formula::id::StoreId;

use super::{AppError, AppResult, Caller};

impl Caller {
    /// The store at whose counter the session was opened: what records made there are stamped with.
    ///
    /// # Errors
    /// [`AppError::StateConflict`] for a session without one.
    pub fn counter(&self) -> AppResult<StoreId> {
        self.store_id.ok_or_else(|| AppError::StateConflict {
            problem:
                "this login was made without a store, and the record must say where it was made"
                    .to_owned(),
            remedy: "log in again and name the store whose counter you stand at".to_owned(),
        })
    }
}
