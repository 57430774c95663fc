//! Handlers under `/api/v1`, one file a noun.

mod drafts;
mod stores;

use actix_web::web;
use utoipa::OpenApi as _;

/// Mounts every noun.
pub fn routes(config: &mut web::ServiceConfig) {
    drafts::routes(config);
    stores::routes(config);
}

/// The description of every noun.
pub fn descriptions() -> Vec<utoipa::openapi::OpenApi> {
    vec![
        drafts::Description::openapi(),
        stores::Description::openapi(),
    ]
}
