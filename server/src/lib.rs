//! The formula library's server: an HTTP API over Postgres.
//!
//! With no `DATABASE_URL` it runs a private Postgres cluster of its own in
//! its data folder ([`embedded`]).

pub mod config;
pub mod data_folder;
pub mod embedded;
pub mod listen;
pub mod privileges;
pub mod shutdown;
pub mod startup;
pub mod telemetry;

/// The only place with SQL.
pub mod store {
    pub mod setup;
}
