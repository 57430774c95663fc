//! Who is asking.

use formula::id::{PersonId, SessionId, StoreId};
use formula::role::Role;

use super::{AppError, AppResult};

/// A person with an open session, as loaded for this request.
#[derive(Debug, Clone)]
pub struct Caller {
    /// The person.
    pub person_id: PersonId,
    /// The session.
    pub session_id: SessionId,
    /// The store at whose counter the session was opened.
    pub store_id: Option<StoreId>,
    /// What the person may do.
    pub roles: Vec<Role>,
    /// The stores the person works at.
    pub stores: Vec<StoreId>,
}

impl Caller {
    /// Whether the person holds the role.
    #[must_use]
    pub fn is(&self, role: Role) -> bool {
        self.roles.contains(&role)
    }

    /// For queries that show only what is linked to a contractor: the contractor's id, or none for staff.
    #[must_use]
    pub fn contractor(&self) -> Option<PersonId> {
        self.is(Role::Contractor).then_some(self.person_id)
    }

    /// Whether the person works at the store, or everywhere.
    #[must_use]
    pub fn works_at(&self, store: StoreId) -> bool {
        self.is(Role::Admin) || self.stores.contains(&store)
    }

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
