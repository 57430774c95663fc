//! `/nearest`

use actix_web::{HttpResponse, web};
use formula::wire::v1::{NearestAnswer, NearestRequest};
use utoipa::OpenApi;

use crate::app::App;
use crate::http::caller::LoggedIn;
use crate::http::error::ApiError;
use crate::http::openapi::{BodyProblems, ReadProblems};
use crate::http::request::Body;
use crate::http::response::shown;
use crate::http::routes::resource;

#[derive(OpenApi)]
#[openapi(paths(nearest))]
pub(super) struct Description;

pub(super) fn routes(config: &mut web::ServiceConfig) {
    config.service(resource("/nearest", "POST", [web::post().to(nearest)]));
}

/// The nearest formulas to a color. It writes nothing, and is a POST only because a spectrum is too long for a query.
#[utoipa::path(post, path = "/api/v1/nearest", tag = "nearest", request_body = NearestRequest,
    responses((status = 200, body = NearestAnswer), ReadProblems, BodyProblems))]
async fn nearest(
    app: web::Data<App>,
    caller: LoggedIn,
    body: Body<NearestRequest>,
) -> Result<HttpResponse, ApiError> {
    Ok(shown(&app.nearest(&caller, body.value).await?))
}
