//! Version 1 of the wire. Times are RFC 3339 in UTC; ids are UUIDv7 made by whoever creates the record.

mod auth;
mod corrections;
mod customers;
mod drafts;
mod instruments;
mod light;
mod matches;
mod measurement_file;
mod nearest;
mod orders;
mod people;
mod products;
mod tiles;

pub use auth::*;
pub use corrections::*;
pub use customers::*;
pub use drafts::*;
pub use instruments::*;
pub use light::*;
pub use matches::*;
pub use measurement_file::*;
pub use nearest::*;
pub use orders::*;
pub use people::*;
pub use products::*;
pub use tiles::*;

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// A page of a list in the order of its keys.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Page<T> {
    /// The rows of this page.
    pub items: Vec<T>,
    /// Give this as `after` for the next page; absent on the last one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub next: Option<String>,
}

/// An id with the name a person reads.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Named<I> {
    /// The id.
    pub id: I,
    /// The name.
    pub name: String,
}
