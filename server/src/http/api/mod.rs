//! Handlers under `/api/v1`, one file a noun.

mod access_log;
mod auth;
mod bases;
mod colorants;
mod corrections;
mod customers;
mod drafts;
mod instruments;
mod matches;
mod measurements;
mod nearest;
mod persons;
mod products;
mod reorders;
mod stores;
mod tiles;
mod tints;
mod verdicts;

use actix_web::web;
use utoipa::OpenApi as _;

/// Mounts every noun.
pub fn routes(config: &mut web::ServiceConfig) {
    access_log::routes(config);
    auth::routes(config);
    bases::routes(config);
    colorants::routes(config);
    corrections::routes(config);
    customers::routes(config);
    drafts::routes(config);
    instruments::routes(config);
    matches::routes(config);
    measurements::routes(config);
    nearest::routes(config);
    persons::routes(config);
    products::routes(config);
    reorders::routes(config);
    stores::routes(config);
    tiles::routes(config);
    tints::routes(config);
    verdicts::routes(config);
}

/// The description of every noun.
pub fn descriptions() -> Vec<utoipa::openapi::OpenApi> {
    vec![
        access_log::Description::openapi(),
        auth::Description::openapi(),
        bases::Description::openapi(),
        colorants::Description::openapi(),
        corrections::Description::openapi(),
        customers::Description::openapi(),
        drafts::Description::openapi(),
        instruments::Description::openapi(),
        matches::Description::openapi(),
        measurements::Description::openapi(),
        nearest::Description::openapi(),
        persons::Description::openapi(),
        products::Description::openapi(),
        reorders::Description::openapi(),
        stores::Description::openapi(),
        tiles::Description::openapi(),
        tints::Description::openapi(),
        verdicts::Description::openapi(),
    ]
}
