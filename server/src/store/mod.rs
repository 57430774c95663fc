//! The only place with SQL. Every call takes `&Caller`, or says why not.

pub mod acceptances;
pub mod access;
pub mod bases;
pub mod bulk;
pub mod claims;
pub mod colorants;
pub mod corrections;
pub mod customer_links;
pub mod customers;
pub mod drafts;
mod error;
pub mod find;
pub mod formulas;
pub mod instrument_care;
pub mod instruments;
pub mod jobs;
pub mod library;
pub mod logins;
pub mod matches;
pub mod measurement_files;
pub mod measurements;
pub mod notes;
pub mod offer;
pub mod persons;
pub mod products;
mod read_back;
pub mod reorders;
pub mod revisions;
pub mod schema;
pub mod sessions;
pub mod setup;
pub mod stores;
pub mod throttle;
pub mod tiles;
pub mod tints;
pub mod verdicts;
pub mod write;

use std::str::FromStr;
use std::time::Duration;

use sqlx::postgres::{PgConnectOptions, PgPool, PgPoolOptions};
use sqlx::{Connection, Executor, PgConnection};

pub use error::StoreError;

/// Result of a store call.
pub type StoreResult<T> = Result<T, StoreError>;

/// A connection, inside a transaction or not.
pub type Conn = PgConnection;

/// The migrations, embedded in the binary.
pub static MIGRATIONS: sqlx::migrate::Migrator = sqlx::migrate!("../migrations");

/// The database, as the app role.
#[derive(Clone)]
pub struct Database {
    pool: PgPool,
}

impl Database {
    /// Opens a pool; connections are made when first needed.
    ///
    /// # Errors
    /// When the URL can't be read.
    pub fn open(url: &str, connections: u32) -> StoreResult<Self> {
        let options = PgConnectOptions::from_str(url)
            .map_err(|error| StoreError::Fault(format!("DATABASE_URL can't be read: {error}")))?
            .application_name("secondcan-server")
            .options([
                ("lock_timeout", "5s"),
                ("statement_timeout", "30s"),
                // A transaction whose owner is gone must not hold its locks for ever.
                ("idle_in_transaction_session_timeout", "30s"),
                ("timezone", "UTC"),
                // The rollback after each use would warn that there was nothing to roll back.
                ("client_min_messages", "error"),
                // The default 0.6 misses two swapped letters in a short name.
                ("pg_trgm.word_similarity_threshold", "0.4"),
            ]);
        let pool = PgPoolOptions::new()
            .max_connections(connections)
            .acquire_timeout(Duration::from_secs(5))
            .max_lifetime(Duration::from_secs(1800))
            .after_release(|connection, _| {
                Box::pin(async move {
                    // A `begin` cancelled at the wrong moment leaves its transaction open on a pooled connection
                    // (sqlx issue 4393); whoever got it next would write into a transaction that never commits.
                    connection.execute("ROLLBACK").await?;
                    Ok(true)
                })
            })
            .connect_lazy_with(options);
        Ok(Self { pool })
    }

    /// A read-only snapshot: every statement in it sees the same state. What is read in it takes the caller.
    ///
    /// # Errors
    /// When the database can't be reached.
    pub async fn read(&self) -> StoreResult<ReadTx> {
        let tx = self
            .pool
            .begin_with("BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY")
            .await?;
        Ok(ReadTx { tx })
    }

    /// A connection outside any transaction, for a single statement, which takes the caller or says why not.
    ///
    /// # Errors
    /// When the database can't be reached.
    pub async fn one(&self) -> StoreResult<impl std::ops::DerefMut<Target = Conn> + Send + use<>> {
        Ok(self.pool.acquire().await?)
    }

    /// A plain transaction without a receipt, for what has no caller yet (logins) or needs no receipt.
    ///
    /// # Errors
    /// When the database can't be reached.
    pub async fn plain(&self) -> StoreResult<PlainTx> {
        Ok(PlainTx {
            tx: self.pool.begin().await?,
        })
    }

    /// Whether the database answers: no caller, since `/ready` is open to all.
    ///
    /// # Errors
    /// When it does not.
    pub async fn ping(&self) -> StoreResult<()> {
        self.pool.acquire().await?.ping().await?;
        Ok(())
    }

    /// Waits for the connections in use, then closes them all; no caller, since the server stops.
    pub async fn close(&self) {
        self.pool.close().await;
    }
}

/// A read-only snapshot.
pub struct ReadTx {
    tx: sqlx::Transaction<'static, sqlx::Postgres>,
}

impl std::ops::Deref for ReadTx {
    type Target = Conn;
    fn deref(&self) -> &Conn {
        &self.tx
    }
}

impl std::ops::DerefMut for ReadTx {
    fn deref_mut(&mut self) -> &mut Conn {
        &mut self.tx
    }
}

/// A transaction without a receipt; it rolls back unless committed.
pub struct PlainTx {
    tx: sqlx::Transaction<'static, sqlx::Postgres>,
}

impl PlainTx {
    /// The connection to work on.
    pub fn conn(&mut self) -> &mut Conn {
        &mut self.tx
    }

    /// Makes it last, for whichever caller it was begun.
    ///
    /// # Errors
    /// When the database refuses or can't be reached.
    pub async fn commit(self) -> StoreResult<()> {
        self.tx.commit().await?;
        Ok(())
    }
}
