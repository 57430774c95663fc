//! Use cases: what a caller may do, one file a noun. No HTTP and no SQL here.

pub mod access;
pub mod bases;
pub mod caller;
pub mod claims;
pub mod colorants;
pub mod comparisons;
pub mod corrections;
pub mod customer_links;
pub mod customers;
pub mod drafts;
pub mod error;
pub mod find;
pub mod find_matches;
mod flags;
pub mod instrument_care;
pub mod instruments;
mod light;
pub mod matches;
pub mod measurements;
pub mod nearest;
mod one_time;
pub mod passwords;
pub mod persons;
pub mod policy;
pub mod products;
pub mod reorders;
pub mod sessions;
pub mod stores;
mod throttle;
pub mod tiles;
pub mod tints;
pub mod tokens;
pub mod verdicts;
mod warnings;

use crate::store::Database;

pub use caller::Caller;
pub use error::{AppError, AppResult};

/// What every use case works on; one a process.
#[derive(Clone)]
pub struct App {
    /// The database, as the app role.
    pub db: Database,
    /// Signs and checks access tokens.
    pub tokens: std::sync::Arc<tokens::TokenKeys>,
    /// Hashes and compares passwords.
    pub passwords: passwords::Passwords,
    /// Every formula by its color.
    pub index: nearest::ColorIndex,
}

impl App {
    /// Puts the parts together.
    ///
    /// # Errors
    /// When the system has no randomness.
    pub fn new(db: Database, tokens: std::sync::Arc<tokens::TokenKeys>) -> AppResult<Self> {
        let passwords = passwords::Passwords::new()?;
        Ok(Self {
            db,
            tokens,
            passwords,
            index: nearest::ColorIndex::default(),
        })
    }
}
