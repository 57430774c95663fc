//! The API over HTTP, against the real application on a real Postgres with the two roles of production. One database
//! a test. `SECONDCAN_TEST_CLUSTER` names the cluster; `./test` starts one.
#![expect(
    clippy::unwrap_used,
    reason = "a test that can't go on ends with the fault itself"
)]

mod accounts;
mod catalog;
mod chain;
mod customers;
mod demo;
mod drafts;
mod find;
mod instrument_care;
mod instruments;
mod light;
mod pool_guard;
mod reorders;
mod schema_rules;
mod slow_bodies;
mod support;
mod tiles;
mod tints;
mod wavelengths;
