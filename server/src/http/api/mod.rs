//! Handlers under `/api/v1`, one file a noun.

mod matches;
mod nearest;
mod stores;

use actix_web::web;
use utoipa::OpenApi as _;

/// Mounts every noun.
pub fn routes(config: &mut web::ServiceConfig) {
    stores::routes(config);
    matches::routes(config);
    nearest::routes(config);
}

/// The description of every noun.
pub fn descriptions() -> Vec<utoipa::openapi::OpenApi> {
    vec![
        stores::Description::openapi(),
        matches::Description::openapi(),
        nearest::Description::openapi(),
    ]
}
