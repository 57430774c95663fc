//! `/verdicts`

use actix_web::{HttpResponse, web};
use formula::id::IdempotencyKey;
use formula::wire::v1::{Verdicts, VerdictsInForce};
use utoipa::OpenApi;

use crate::app::App;
use crate::http::caller::LoggedIn;
use crate::http::error::ApiError;
use crate::http::openapi::{EditProblems, ReadProblems, WriteProblems};
use crate::http::request::{Body, IfMatch, WriteHead};
use crate::http::response::{shielded, shown_at, written};
use crate::http::routes::resource;

#[derive(OpenApi)]
#[openapi(paths(show, set))]
pub(super) struct Description;

pub(super) fn routes(config: &mut web::ServiceConfig) {
    config.service(resource(
        "/verdicts",
        "GET, PUT",
        [web::get().to(show), web::put().to(set)],
    ));
}

type Answer = Result<HttpResponse, ApiError>;

/// The verdict limits in force.
#[utoipa::path(get, path = "/api/v1/verdicts", tag = "verdicts",
    responses((status = 200, body = VerdictsInForce), ReadProblems))]
async fn show(app: web::Data<App>, caller: LoggedIn) -> Answer {
    let in_force = app.show_verdicts(&caller).await?;
    Ok(shown_at(&in_force, in_force.version))
}

/// Sets all verdict limits.
#[utoipa::path(put, path = "/api/v1/verdicts", tag = "verdicts", request_body = Verdicts,
    params(("Idempotency-Key" = IdempotencyKey, Header), ("If-Match" = inline(IfMatch), Header)),
    responses((status = 200, body = VerdictsInForce), WriteProblems, EditProblems))]
async fn set(
    app: web::Data<App>,
    caller: LoggedIn,
    head: WriteHead,
    IfMatch(version): IfMatch,
    body: Body<Verdicts>,
) -> Answer {
    let key = head.with(&body);
    Ok(written(
        shielded(async move { app.set_verdicts(&caller, key, version, body.value).await }).await?,
    ))
}
