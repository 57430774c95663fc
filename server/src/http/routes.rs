//! Where requests go.

use actix_web::dev::HttpServiceFactory;
use actix_web::middleware::from_fn;
use actix_web::{HttpResponse, Resource, Route, web};
use formula::wire::error_code::ErrorCode;

use super::error::ApiError;
use super::{api, caller, openapi};
use crate::app::App;

/// Mounts everything on an application that holds [`App`] as data.
pub fn mount(config: &mut web::ServiceConfig) {
    config
        .service(resource("/health", "GET", [web::get().to(health)]))
        .service(resource("/ready", "GET", [web::get().to(ready)]))
        .service(resource(
            "/api/openapi.json",
            "GET",
            [web::get().to(description)],
        ))
        .service(
            web::scope("/api/v1")
                .wrap(from_fn(caller::note_refusals))
                .configure(api::routes),
        )
        .default_service(web::to(nothing_here));
}

/// A path with its methods; any other method is answered with the list of those that are taken.
pub fn resource<const N: usize>(
    path: &str,
    allow: &'static str,
    routes: [Route; N],
) -> impl HttpServiceFactory + use<N> {
    let mut resource: Resource = web::resource(path);
    for route in routes {
        resource = resource.route(route);
    }
    resource.default_service(web::to(move || async move {
        Err::<HttpResponse, _>(ApiError::Method { allow })
    }))
}

async fn nothing_here() -> Result<HttpResponse, ApiError> {
    Err(ApiError::request(
        ErrorCode::NotFound,
        "there is nothing at this path",
        "see /api/openapi.json for what there is",
    ))
}

/// Live: the process answers.
async fn health() -> HttpResponse {
    HttpResponse::Ok().json(serde_json::json!({ "live": true }))
}

/// Ready: the database answers too.
async fn ready(app: web::Data<App>) -> Result<HttpResponse, ApiError> {
    app.db.ping().await.map_err(crate::app::AppError::from)?;
    Ok(HttpResponse::Ok().json(serde_json::json!({ "ready": true })))
}

async fn description() -> HttpResponse {
    HttpResponse::Ok().json(openapi::description())
}
