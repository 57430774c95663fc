//! `/measurements`

use actix_web::{HttpResponse, web};
use formula::id::{IdempotencyKey, MeasurementId};
use formula::wire::v1::{Measurement, NewAcceptance};
use utoipa::OpenApi;

use crate::app::App;
use crate::http::caller::LoggedIn;
use crate::http::error::ApiError;
use crate::http::openapi::WriteProblems;
use crate::http::request::{Body, Ids, WriteHead};
use crate::http::response::{shielded, written};
use crate::http::routes::resource;

#[derive(OpenApi)]
#[openapi(paths(accept))]
pub(super) struct Description;

pub(super) fn routes(config: &mut web::ServiceConfig) {
    config.service(resource(
        "/measurements/{id}/accept",
        "POST",
        [web::post().to(accept)],
    ));
}

/// Accepts a reading at which something was due at its instrument.
#[utoipa::path(post, path = "/api/v1/measurements/{id}/accept", tag = "measurements", request_body = NewAcceptance,
    params(("id" = MeasurementId, Path), ("Idempotency-Key" = IdempotencyKey, Header)),
    responses((status = 201, body = Measurement), WriteProblems))]
async fn accept(
    app: web::Data<App>,
    caller: LoggedIn,
    Ids(id): Ids<MeasurementId>,
    head: WriteHead,
    body: Body<NewAcceptance>,
) -> Result<HttpResponse, ApiError> {
    let key = head.with(&body);
    Ok(written(
        shielded(async move { app.accept_reading(&caller, key, id, body.value).await }).await?,
    ))
}
