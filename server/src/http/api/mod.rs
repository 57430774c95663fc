//! Handlers under `/api/v1`, one file a noun.

mod drafts;
mod reorders;
mod stores;
mod tints;

use actix_web::web;
use utoipa::OpenApi as _;

/// Mounts every noun.
pub fn routes(config: &mut web::ServiceConfig) {
    drafts::routes(config);
    reorders::routes(config);
    stores::routes(config);
    tints::routes(config);
}

/// The description of every noun.
pub fn descriptions() -> Vec<utoipa::openapi::OpenApi> {
    vec![
        drafts::Description::openapi(),
        reorders::Description::openapi(),
        stores::Description::openapi(),
        tints::Description::openapi(),
    ]
}
