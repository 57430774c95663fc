//! The formula library's server. `http` speaks actix-web and the wire, `app` decides what a caller may do, `store`
//! is the only place with SQL.

#![forbid(unsafe_code)]

pub mod app;
pub mod http;
pub mod startup;
pub mod store;
