//! Why the database did not do it.

/// Why the database did not do it.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// It can't be reached, or went away.
    #[error("the database can't be reached")]
    Unavailable,
    /// Its disk is full.
    #[error("the database's disk is full")]
    DiskFull,
    /// A lock was not to be had in time, or two writers blocked each other.
    #[error("the record is busy")]
    Busy,
    /// The idempotency key came before with another request.
    #[error("the idempotency key was used before with another request")]
    KeyReused,
    /// A unique constraint refused the row.
    #[error("taken: {constraint}")]
    Taken {
        /// Name of the constraint.
        constraint: String,
    },
    /// A foreign key pointed nowhere.
    #[error("dangling: {constraint}")]
    Dangling {
        /// Name of the constraint.
        constraint: String,
    },
    /// Anything else: a fault.
    #[error("{0}")]
    Fault(String),
}

impl From<sqlx::Error> for StoreError {
    fn from(error: sqlx::Error) -> Self {
        let Some(refusal) = error.as_database_error() else {
            return match error {
                sqlx::Error::Io(_)
                | sqlx::Error::Tls(_)
                | sqlx::Error::PoolTimedOut
                | sqlx::Error::PoolClosed
                | sqlx::Error::WorkerCrashed
                | sqlx::Error::Protocol(_) => Self::Unavailable,
                other => Self::Fault(other.to_string()),
            };
        };
        let constraint = || refusal.constraint().unwrap_or_default().to_owned();
        // SQLSTATE classes, PostgreSQL manual, appendix A.
        match refusal.code().as_deref().unwrap_or_default() {
            "23505" => Self::Taken {
                constraint: constraint(),
            },
            // Constraint names are table_column_fkey: what the caller knows is the column.
            "23503" => Self::Dangling {
                constraint: refusal
                    .table()
                    .and_then(|table| refusal.constraint()?.strip_prefix(table)?.strip_prefix('_'))
                    .map_or_else(constraint, str::to_owned),
            },
            "53100" => Self::DiskFull,
            "40001" | "40P01" | "55P03" | "57014" => Self::Busy,
            code if code.starts_with("08") || code.starts_with("57P") || code.starts_with("53") => {
                Self::Unavailable
            }
            // The message of a refusal can quote values: only its code and names go further.
            code => Self::Fault(format!(
                "database refused with {code} (table {}, constraint {})",
                refusal.table().unwrap_or("-"),
                refusal.constraint().unwrap_or("-")
            )),
        }
    }
}
