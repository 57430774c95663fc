//! Why a use case did not go through.

use std::time::Duration;

use crate::store::StoreError;

/// Result of a use case.
pub type AppResult<T> = Result<T, AppError>;

/// Why a use case did not go through, in words for the person who asked.
#[derive(Debug, thiserror::Error)]
pub enum AppError {
    /// No such thing, or none that the caller may see: the two are not told apart.
    #[error("no such {0}")]
    NotFound(&'static str),
    /// The caller's roles don't allow it.
    #[error("{0}")]
    NotAllowed(String),
    /// No session, or one that has ended.
    #[error("{0}")]
    NotLoggedIn(&'static str),
    /// The access token has run out.
    #[error("the access token has run out")]
    TokenExpired,
    /// Name and password don't fit.
    #[error("name and password don't fit")]
    WrongCredentials,
    /// A field's value is refused.
    #[error("{field}: {problem}")]
    Invalid {
        /// Path of the field.
        field: String,
        /// What is wrong, with the value.
        problem: String,
        /// What to do.
        remedy: String,
    },
    /// More colorant than the base has room for.
    #[error("{problem}")]
    OverBaseRoom {
        /// By how much.
        problem: String,
        /// What to do, another base named when one has room.
        remedy: String,
    },
    /// Something of that id or name exists already.
    #[error("{0}")]
    AlreadyExists(String),
    /// The record's state does not allow it.
    #[error("{problem}")]
    StateConflict {
        /// Which state, and what was asked.
        problem: String,
        /// What is possible.
        remedy: String,
    },
    /// Somebody changed the record since it was read.
    #[error("the {what} was changed by somebody else: it is at version {now}, not {given}")]
    VersionMismatch {
        /// Kind of record.
        what: &'static str,
        /// The version in force.
        now: i32,
        /// The version given.
        given: i32,
    },
    /// The idempotency key came before with another request.
    #[error("this Idempotency-Key was used before with another request")]
    KeyReused,
    /// Too many tries.
    #[error("too many tries")]
    TooManyTries {
        /// When to try again.
        wait: Duration,
    },
    /// Not now.
    #[error("{reason}")]
    Unavailable {
        /// Why, in general words.
        reason: &'static str,
    },
    /// A fault of the server; details go to its log only.
    #[error("internal: {0}")]
    Internal(String),
}

impl AppError {
    /// A refused value.
    pub fn invalid(
        field: impl Into<String>,
        problem: impl Into<String>,
        remedy: impl Into<String>,
    ) -> Self {
        Self::Invalid {
            field: field.into(),
            problem: problem.into(),
            remedy: remedy.into(),
        }
    }
}

impl AppError {
    /// Lets an edit go on when it was made on the version in force.
    ///
    /// # Errors
    /// [`AppError::VersionMismatch`] when it was not.
    pub fn unless_version(what: &'static str, now: i32, given: i32) -> AppResult<()> {
        if now == given {
            return Ok(());
        }
        Err(Self::VersionMismatch { what, now, given })
    }

    /// Refuses a list with too few or too many entries.
    ///
    /// # Errors
    /// [`AppError::Invalid`] naming the field, its length and the range.
    pub fn unless_within(
        field: &str,
        count: usize,
        allowed: std::ops::RangeInclusive<usize>,
    ) -> AppResult<()> {
        if allowed.contains(&count) {
            return Ok(());
        }
        Err(Self::invalid(
            field,
            format!("has {count} entries"),
            format!("give {} to {} entries", allowed.start(), allowed.end()),
        ))
    }
}

impl From<StoreError> for AppError {
    fn from(error: StoreError) -> Self {
        match error {
            StoreError::Unavailable => Self::Unavailable {
                reason: "the database can't be reached",
            },
            StoreError::DiskFull => Self::Unavailable {
                reason: "the database's disk is full; an admin must free space",
            },
            StoreError::Busy => Self::Unavailable {
                reason: "the record is busy; try again",
            },
            StoreError::KeyReused => Self::KeyReused,
            StoreError::Taken { constraint } => Self::AlreadyExists(taken(&constraint)),
            StoreError::Dangling { constraint } => dangling(&constraint),
            StoreError::Fault(fault) => Self::Internal(fault),
        }
    }
}

/// Words for a unique constraint that refused a row.
fn taken(constraint: &str) -> String {
    let what = match constraint {
        "store_name_key" => "a store of this name",
        "person_login_key" => "a login of this name",
        "colorant_ci_name_pigment_key" => "a colorant of this Colour Index name and pigment",
        "product_name_key" => "a product of this name",
        "sheen_product_id_word_key" => "this sheen of the product",
        "base_product_id_name_key" => "a base of this name in the product",
        "instrument_model_serial_key" => "an instrument of this model and serial number",
        "tile_store_id_name_key" => "a tile of this name at the store",
        "measurement_acceptance_measurement_id_key" => "an acceptance of this reading",
        "instrument_correction_in_force"
        | "instrument_correction_instrument_id_reference_id_version_key" => {
            "another correction of these instruments, put in force at the same moment, and"
        }
        "customer_phone_customer_id_e164_key" => "this phone number of the customer",
        "tint_fault_tint_id_key" => "a mark on this tint",
        _ => "a record of this id",
    };
    format!("{what} exists already")
}

/// A foreign key that pointed nowhere: the caller named something that is not there.
fn dangling(constraint: &str) -> AppError {
    let column = constraint.trim_end_matches("_fkey");
    AppError::invalid(
        column.to_owned(),
        "names something that does not exist",
        "look the id up again and send the request anew",
    )
}
