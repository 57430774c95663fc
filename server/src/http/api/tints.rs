//! `/tints`

use actix_web::{HttpResponse, web};
use formula::id::{IdempotencyKey, MatchId, TintId};
use formula::wire::v1::{NewTint, NewTintFault, Page, Tint};
use serde::Deserialize;
use utoipa::OpenApi;
use uuid::Uuid;

use crate::app::App;
use crate::http::caller::LoggedIn;
use crate::http::error::ApiError;
use crate::http::openapi::{ReadProblems, WriteProblems};
use crate::http::request::{Body, Ids, Query, WriteHead, page_ask};
use crate::http::response::{shielded, shown, written};
use crate::http::routes::resource;

#[derive(OpenApi)]
#[openapi(paths(list, show, record, mark_bad))]
pub(super) struct Description;

pub(super) fn routes(config: &mut web::ServiceConfig) {
    config
        .service(resource(
            "/tints",
            "GET, POST",
            [web::get().to(list), web::post().to(record)],
        ))
        .service(resource("/tints/{id}", "GET", [web::get().to(show)]))
        .service(resource(
            "/tints/{id}/fault",
            "POST",
            [web::post().to(mark_bad)],
        ));
}

type Answer = Result<HttpResponse, ApiError>;

#[derive(Debug, Deserialize, utoipa::IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct Asked {
    /// Of which match.
    match_id: MatchId,
    /// Rows at most.
    #[param(minimum = 1, maximum = 200, default = 50)]
    limit: Option<u16>,
    /// `next` of the page before.
    after: Option<Uuid>,
}

/// The cans made of a match.
#[utoipa::path(get, path = "/api/v1/tints", tag = "tints", params(Asked),
    responses((status = 200, body = Page<Tint>), ReadProblems))]
async fn list(app: web::Data<App>, caller: LoggedIn, Query(asked): Query<Asked>) -> Answer {
    let ask = page_ask(asked.limit, asked.after)?;
    Ok(shown(&app.list_tints(&caller, asked.match_id, ask).await?))
}

/// One can.
#[utoipa::path(get, path = "/api/v1/tints/{id}", tag = "tints", params(("id" = TintId, Path)),
    responses((status = 200, body = Tint), ReadProblems))]
async fn show(app: web::Data<App>, caller: LoggedIn, Ids(id): Ids<TintId>) -> Answer {
    Ok(shown(&app.show_tint(&caller, id).await?))
}

/// Records a can really made: stored whatever it is like; what stands out is flagged.
#[utoipa::path(post, path = "/api/v1/tints", tag = "tints", request_body = NewTint,
    params(("Idempotency-Key" = IdempotencyKey, Header)),
    responses((status = 201, body = Tint), WriteProblems))]
async fn record(
    app: web::Data<App>,
    caller: LoggedIn,
    head: WriteHead,
    body: Body<NewTint>,
) -> Answer {
    let key = head.with(&body);
    Ok(written(
        shielded(async move { app.record_tint(&caller, key, body.value).await }).await?,
    ))
}

/// Marks a can bad, once and for good.
#[utoipa::path(post, path = "/api/v1/tints/{id}/fault", tag = "tints", request_body = NewTintFault,
    params(("id" = TintId, Path), ("Idempotency-Key" = IdempotencyKey, Header)),
    responses((status = 201, body = Tint), WriteProblems))]
async fn mark_bad(
    app: web::Data<App>,
    caller: LoggedIn,
    Ids(id): Ids<TintId>,
    head: WriteHead,
    body: Body<NewTintFault>,
) -> Answer {
    let key = head.with(&body);
    Ok(written(
        shielded(async move { app.mark_tint_bad(&caller, key, id, body.value).await }).await?,
    ))
}
