//! What the black-box tests stand on: fresh databases and real processes.
//!
//! Nothing here calls code of the server or the CLI; the tests see what a
//! person or another machine sees.

#![expect(
    clippy::unwrap_used,
    reason = "a test stops at the first surprise, with its place"
)]

pub mod chain;
pub mod cluster;
pub mod http;
pub mod process;
pub mod proxy;
