//! Handlers under `/api/v1`, one file a noun.

mod access_log;
mod auth;
mod bases;
mod colorants;
mod customers;
mod drafts;
mod instruments;
mod matches;
mod nearest;
mod persons;
mod products;
mod reorders;
mod stores;
mod tints;
mod verdicts;

use actix_web::web;
use utoipa::OpenApi as _;

/// Mounts every noun.
pub fn routes(config: &mut web::ServiceConfig) {
    auth::routes(config);
    persons::routes(config);
    access_log::routes(config);
    bases::routes(config);
    colorants::routes(config);
    customers::routes(config);
    instruments::routes(config);
    products::routes(config);
    stores::routes(config);
    matches::routes(config);
    nearest::routes(config);
    verdicts::routes(config);
    drafts::routes(config);
    reorders::routes(config);
    tints::routes(config);
}

/// The description of every noun.
pub fn descriptions() -> Vec<utoipa::openapi::OpenApi> {
    vec![
        auth::Description::openapi(),
        persons::Description::openapi(),
        access_log::Description::openapi(),
        stores::Description::openapi(),
        bases::Description::openapi(),
        colorants::Description::openapi(),
        customers::Description::openapi(),
        instruments::Description::openapi(),
        matches::Description::openapi(),
        nearest::Description::openapi(),
        products::Description::openapi(),
        verdicts::Description::openapi(),
        drafts::Description::openapi(),
        reorders::Description::openapi(),
        tints::Description::openapi(),
    ]
}
