//! From columns back to the types that guarded them on the way in. A value that no longer fits its type is a fault
//! of the database's content, named by type, never by value.

use uuid::Uuid;

use super::{StoreError, StoreResult};

/// An id column.
pub(super) fn id<I: TryFrom<Uuid>>(column: Uuid) -> StoreResult<I> {
    I::try_from(column).map_err(|_| fault::<I>())
}

/// A text column.
pub(super) fn kept<T: std::str::FromStr>(column: &str) -> StoreResult<T> {
    column.parse().map_err(|_| fault::<T>())
}

fn fault<T>() -> StoreError {
    StoreError::Fault(format!(
        "a stored value is not a {}",
        std::any::type_name::<T>()
    ))
}
