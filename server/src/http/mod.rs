//! The only place that names actix_web: routes, extractors, and the one error type that speaks to the wire.

pub mod api;
pub mod caller;
pub mod error;
pub mod openapi;
pub mod request;
pub mod response;
pub mod routes;
