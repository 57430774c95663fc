//! `/reorders`

use actix_web::{HttpResponse, web};
use formula::id::{CustomerId, IdempotencyKey, MatchId, ReorderId, StoreId};
use formula::reorder::ReorderState;
use formula::wire::v1::{NewReorder, Page, Reorder, ReorderAdvance};
use serde::Deserialize;
use utoipa::OpenApi;
use uuid::Uuid;

use crate::app::App;
use crate::app::reorders::Filter;
use crate::http::caller::LoggedIn;
use crate::http::error::ApiError;
use crate::http::openapi::{EditProblems, ReadProblems, WriteProblems};
use crate::http::request::{Body, Ids, IfMatch, Query, WriteHead, page_ask};
use crate::http::response::{shielded, shown, shown_at, written};
use crate::http::routes::resource;

#[derive(OpenApi)]
#[openapi(paths(list, show, place, advance))]
pub(super) struct Description;

pub(super) fn routes(config: &mut web::ServiceConfig) {
    config
        .service(resource(
            "/reorders",
            "GET, POST",
            [web::get().to(list), web::post().to(place)],
        ))
        .service(resource("/reorders/{id}", "GET", [web::get().to(show)]))
        .service(resource(
            "/reorders/{id}/advance",
            "POST",
            [web::post().to(advance)],
        ));
}

type Answer = Result<HttpResponse, ApiError>;

#[derive(Debug, Deserialize, utoipa::IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct Asked {
    /// Where they are picked up.
    store_id: Option<StoreId>,
    /// Where they stand.
    state: Option<ReorderState>,
    /// Of which match.
    match_id: Option<MatchId>,
    /// Whose.
    customer_id: Option<CustomerId>,
    /// Rows at most.
    #[param(minimum = 1, maximum = 200, default = 50)]
    limit: Option<u16>,
    /// `next` of the page before.
    after: Option<Uuid>,
}

/// Reorders; a contractor's are those of linked customers.
#[utoipa::path(get, path = "/api/v1/reorders", tag = "reorders", params(Asked),
    responses((status = 200, body = Page<Reorder>), ReadProblems))]
async fn list(app: web::Data<App>, caller: LoggedIn, Query(asked): Query<Asked>) -> Answer {
    let filter = Filter {
        store: asked.store_id,
        state: asked.state,
        match_id: asked.match_id,
        customer: asked.customer_id,
    };
    let ask = page_ask(asked.limit, asked.after)?;
    Ok(shown(&app.list_reorders(&caller, filter, ask).await?))
}

/// One reorder.
#[utoipa::path(get, path = "/api/v1/reorders/{id}", tag = "reorders", params(("id" = ReorderId, Path)),
    responses((status = 200, body = Reorder), ReadProblems))]
async fn show(app: web::Data<App>, caller: LoggedIn, Ids(id): Ids<ReorderId>) -> Answer {
    let reorder = app.show_reorder(&caller, id).await?;
    Ok(shown_at(&reorder, reorder.version))
}

/// Places a reorder.
#[utoipa::path(post, path = "/api/v1/reorders", tag = "reorders", request_body = NewReorder,
    params(("Idempotency-Key" = IdempotencyKey, Header)),
    responses((status = 201, body = Reorder), WriteProblems))]
async fn place(
    app: web::Data<App>,
    caller: LoggedIn,
    head: WriteHead,
    body: Body<NewReorder>,
) -> Answer {
    let key = head.with(&body);
    Ok(written(
        shielded(async move { app.place_reorder(&caller, key, body.value).await }).await?,
    ))
}

/// Moves a reorder on, or cancels it.
#[utoipa::path(post, path = "/api/v1/reorders/{id}/advance", tag = "reorders", request_body = ReorderAdvance,
    params(("id" = ReorderId, Path), ("Idempotency-Key" = IdempotencyKey, Header), ("If-Match" = inline(IfMatch), Header)),
    responses((status = 200, body = Reorder), WriteProblems, EditProblems))]
async fn advance(
    app: web::Data<App>,
    caller: LoggedIn,
    Ids(id): Ids<ReorderId>,
    head: WriteHead,
    IfMatch(version): IfMatch,
    body: Body<ReorderAdvance>,
) -> Answer {
    let key = head.with(&body);
    Ok(written(
        shielded(async move {
            app.advance_reorder(&caller, key, id, version, body.value)
                .await
        })
        .await?,
    ))
}
