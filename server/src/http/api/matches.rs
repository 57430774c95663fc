//! `/matches`, `/revisions`

use actix_web::{HttpResponse, web};
use formula::id::{CustomerId, IdempotencyKey, MatchId, RevisionId};
use formula::wire::v1::{
    Drawdown, Found, Match, MatchHit, MatchMove, NewDrawdown, NewMatch, NewRevision, Page,
    Revision, RevisionPick,
};
use serde::Deserialize;
use utoipa::OpenApi;
use uuid::Uuid;

use crate::app::App;
use crate::http::caller::LoggedIn;
use crate::http::error::ApiError;
use crate::http::openapi::{EditProblems, ReadProblems, WriteProblems};
use crate::http::request::{Body, Ids, IfMatch, Looking, Query, WriteHead, page_ask};
use crate::http::response::{shielded, shown, shown_at, written};
use crate::http::routes::resource;

#[derive(OpenApi)]
#[openapi(paths(list, find, record, show, revise, give, pick, draw_down))]
pub(super) struct Description;

pub(super) fn routes(config: &mut web::ServiceConfig) {
    config
        .service(resource(
            "/matches",
            "GET, POST",
            [web::get().to(list), web::post().to(record)],
        ))
        .service(resource("/matches/find", "GET", [web::get().to(find)]))
        .service(resource("/matches/{id}", "GET", [web::get().to(show)]))
        .service(resource(
            "/matches/{id}/revisions",
            "POST",
            [web::post().to(revise)],
        ))
        .service(resource(
            "/matches/{id}/move",
            "POST",
            [web::post().to(give)],
        ))
        .service(resource(
            "/matches/{id}/pick",
            "POST",
            [web::post().to(pick)],
        ))
        .service(resource(
            "/revisions/{id}/drawdowns",
            "POST",
            [web::post().to(draw_down)],
        ));
}

type Answer = Result<HttpResponse, ApiError>;

/// Which matches are listed.
#[derive(Debug, Deserialize, utoipa::IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct MatchList {
    /// Only of this customer.
    customer_id: Option<CustomerId>,
    /// Rows at most.
    #[param(minimum = 1, maximum = 200, default = 50)]
    limit: Option<u16>,
    /// `next` of the page before.
    after: Option<Uuid>,
}

/// Matches in short, in order of id.
#[utoipa::path(get, path = "/api/v1/matches", tag = "matches", params(MatchList),
    responses((status = 200, body = Page<MatchHit>), ReadProblems))]
async fn list(app: web::Data<App>, caller: LoggedIn, query: Query<MatchList>) -> Answer {
    let ask = page_ask(query.0.limit, query.0.after)?;
    Ok(shown(
        &app.list_matches(&caller, query.0.customer_id, ask).await?,
    ))
}

/// Matches by label code, customer, phone or job.
#[utoipa::path(get, path = "/api/v1/matches/find", tag = "matches", params(Looking),
    responses((status = 200, body = Found<MatchHit>), ReadProblems))]
async fn find(app: web::Data<App>, caller: LoggedIn, query: Query<Looking>) -> Answer {
    let (text, limit) = query.0.checked()?;
    Ok(shown(&app.find_matches(&caller, &text, limit).await?))
}

/// Records a match: the sample as measured, with a formula, a reused one, or none yet.
#[utoipa::path(post, path = "/api/v1/matches", tag = "matches", request_body = NewMatch,
    params(("Idempotency-Key" = IdempotencyKey, Header)),
    responses((status = 201, body = Match), WriteProblems))]
async fn record(
    app: web::Data<App>,
    caller: LoggedIn,
    head: WriteHead,
    body: Body<NewMatch>,
) -> Answer {
    let key = head.with(&body);
    Ok(written(
        shielded(async move { app.record_match(&caller, key, body.value).await }).await?,
    ))
}

/// One match with its revisions and drawdowns.
#[utoipa::path(get, path = "/api/v1/matches/{id}", tag = "matches", params(("id" = MatchId, Path)),
    responses((status = 200, body = Match), ReadProblems))]
async fn show(app: web::Data<App>, caller: LoggedIn, Ids(id): Ids<MatchId>) -> Answer {
    let opened = app.open_match(&caller, id).await?;
    Ok(shown_at(&opened, opened.version))
}

/// Adds a formula; the earlier ones stay.
#[utoipa::path(post, path = "/api/v1/matches/{id}/revisions", tag = "matches", request_body = NewRevision,
    params(("id" = MatchId, Path), ("Idempotency-Key" = IdempotencyKey, Header)),
    responses((status = 201, body = Revision), WriteProblems))]
async fn revise(
    app: web::Data<App>,
    caller: LoggedIn,
    Ids(id): Ids<MatchId>,
    head: WriteHead,
    body: Body<NewRevision>,
) -> Answer {
    let key = head.with(&body);
    Ok(written(
        shielded(async move { app.revise_match(&caller, key, id, body.value).await }).await?,
    ))
}

/// Gives a match to another customer or job.
#[utoipa::path(post, path = "/api/v1/matches/{id}/move", tag = "matches", request_body = MatchMove,
    params(("id" = MatchId, Path), ("Idempotency-Key" = IdempotencyKey, Header), ("If-Match" = inline(IfMatch), Header)),
    responses((status = 200, body = Match), WriteProblems, EditProblems))]
async fn give(
    app: web::Data<App>,
    caller: LoggedIn,
    Ids(id): Ids<MatchId>,
    head: WriteHead,
    IfMatch(version): IfMatch,
    body: Body<MatchMove>,
) -> Answer {
    let key = head.with(&body);
    Ok(written(
        shielded(async move { app.move_match(&caller, key, id, version, body.value).await })
            .await?,
    ))
}

/// Says which revision counts.
#[utoipa::path(post, path = "/api/v1/matches/{id}/pick", tag = "matches", request_body = RevisionPick,
    params(("id" = MatchId, Path), ("Idempotency-Key" = IdempotencyKey, Header), ("If-Match" = inline(IfMatch), Header)),
    responses((status = 200, body = Match), WriteProblems, EditProblems))]
async fn pick(
    app: web::Data<App>,
    caller: LoggedIn,
    Ids(id): Ids<MatchId>,
    head: WriteHead,
    IfMatch(version): IfMatch,
    body: Body<RevisionPick>,
) -> Answer {
    let key = head.with(&body);
    Ok(written(
        shielded(async move {
            app.pick_revision(&caller, key, id, version, body.value)
                .await
        })
        .await?,
    ))
}

/// Records a measured drawdown of a revision.
#[utoipa::path(post, path = "/api/v1/revisions/{id}/drawdowns", tag = "matches", request_body = NewDrawdown,
    params(("id" = RevisionId, Path), ("Idempotency-Key" = IdempotencyKey, Header)),
    responses((status = 201, body = Drawdown), WriteProblems))]
async fn draw_down(
    app: web::Data<App>,
    caller: LoggedIn,
    Ids(id): Ids<RevisionId>,
    head: WriteHead,
    body: Body<NewDrawdown>,
) -> Answer {
    let key = head.with(&body);
    Ok(written(
        shielded(async move { app.record_drawdown(&caller, key, id, body.value).await }).await?,
    ))
}
