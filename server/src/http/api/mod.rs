//! Handlers under `/api/v1`, one file a noun.

mod access_log;
mod auth;
mod matches;
mod nearest;
mod persons;
mod stores;

use actix_web::web;
use utoipa::OpenApi as _;

/// Mounts every noun.
pub fn routes(config: &mut web::ServiceConfig) {
    auth::routes(config);
    persons::routes(config);
    access_log::routes(config);
    stores::routes(config);
    matches::routes(config);
    nearest::routes(config);
}

/// The description of every noun.
pub fn descriptions() -> Vec<utoipa::openapi::OpenApi> {
    vec![
        auth::Description::openapi(),
        persons::Description::openapi(),
        access_log::Description::openapi(),
        stores::Description::openapi(),
        matches::Description::openapi(),
        nearest::Description::openapi(),
    ]
}
