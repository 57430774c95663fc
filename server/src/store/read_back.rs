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

/// A number column that its type keeps narrower than the database does.
pub(super) fn small<N: Copy, T: TryFrom<N>>(column: N) -> StoreResult<T> {
    T::try_from(column).map_err(|_| fault::<T>())
}

/// A row that was written a moment ago in the same transaction and is not there.
pub(super) fn vanished() -> StoreError {
    StoreError::Fault("a row just written can't be read".to_owned())
}
