//! Handlers under `/api/v1`, one file a noun.

mod access_log;
mod auth;
mod bases;
mod colorants;
mod customers;
mod instruments;
mod matches;
mod nearest;
mod persons;
mod products;
mod stores;
mod verdicts;

use actix_web::web;
use utoipa::OpenApi as _;

/// Mounts every noun.
pub fn routes(config: &mut web::ServiceConfig) {
    access_log::routes(config);
    auth::routes(config);
    bases::routes(config);
    colorants::routes(config);
    customers::routes(config);
    instruments::routes(config);
    matches::routes(config);
    nearest::routes(config);
    persons::routes(config);
    products::routes(config);
    stores::routes(config);
    verdicts::routes(config);
}

/// The description of every noun.
pub fn descriptions() -> Vec<utoipa::openapi::OpenApi> {
    vec![
        access_log::Description::openapi(),
        auth::Description::openapi(),
        bases::Description::openapi(),
        colorants::Description::openapi(),
        customers::Description::openapi(),
        instruments::Description::openapi(),
        matches::Description::openapi(),
        nearest::Description::openapi(),
        persons::Description::openapi(),
        products::Description::openapi(),
        stores::Description::openapi(),
        verdicts::Description::openapi(),
    ]
}
