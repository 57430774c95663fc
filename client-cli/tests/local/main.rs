//! The verbs that need no server, through the real program: what it prints, and how it exits.
#![expect(clippy::unwrap_used, reason = "a test stops at the first surprise")]

mod color;
mod convert;
mod desk;
mod files;
mod library;
mod light;
mod typing;
