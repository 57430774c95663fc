//! The formula library's server. `http` speaks actix-web and the wire, `app` decides what a caller may do, `store`
//! is the only place with SQL.
//!
//! With no `DATABASE_URL` it runs a private Postgres cluster of its own in its data folder ([`embedded`]).

pub mod app;
pub mod config;
pub mod data_folder;
pub mod demo;
pub mod embedded;
pub mod http;
pub mod listen;
pub mod privileges;
pub mod shutdown;
pub mod startup;
pub mod store;
pub mod telemetry;
