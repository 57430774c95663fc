//! `/drafts`

use actix_web::{HttpResponse, web};
use formula::id::{DraftId, IdempotencyKey};
use formula::wire::v1::{Draft, DraftEdit, NewDraft, Page};
use utoipa::OpenApi;

use crate::app::App;
use crate::http::caller::LoggedIn;
use crate::http::error::ApiError;
use crate::http::openapi::{EditProblems, ReadProblems, WriteProblems};
use crate::http::request::{Body, Ids, IfMatch, Paging, Query, WriteHead};
use crate::http::response::{shielded, shown, shown_at, written};
use crate::http::routes::resource;

#[derive(OpenApi)]
#[openapi(paths(list, show, add, edit, delete))]
pub(super) struct Description;

pub(super) fn routes(config: &mut web::ServiceConfig) {
    config
        .service(resource(
            "/drafts",
            "GET, POST",
            [web::get().to(list), web::post().to(add)],
        ))
        .service(resource(
            "/drafts/{id}",
            "GET, PATCH, DELETE",
            [
                web::get().to(show),
                web::patch().to(edit),
                web::delete().to(delete),
            ],
        ));
}

type Answer = Result<HttpResponse, ApiError>;

/// Your own drafts.
#[utoipa::path(get, path = "/api/v1/drafts", tag = "drafts", params(Paging),
    responses((status = 200, body = Page<Draft>), ReadProblems))]
async fn list(app: web::Data<App>, caller: LoggedIn, paging: Query<Paging>) -> Answer {
    Ok(shown(&app.list_drafts(&caller, paging.0.ask()?).await?))
}

/// One of your own drafts.
#[utoipa::path(get, path = "/api/v1/drafts/{id}", tag = "drafts", params(("id" = DraftId, Path)),
    responses((status = 200, body = Draft), ReadProblems))]
async fn show(app: web::Data<App>, caller: LoggedIn, Ids(id): Ids<DraftId>) -> Answer {
    let draft = app.show_draft(&caller, id).await?;
    Ok(shown_at(&draft, draft.version))
}

/// Keeps a draft.
#[utoipa::path(post, path = "/api/v1/drafts", tag = "drafts", request_body = NewDraft,
    params(("Idempotency-Key" = IdempotencyKey, Header)),
    responses((status = 201, body = Draft), WriteProblems))]
async fn add(
    app: web::Data<App>,
    caller: LoggedIn,
    head: WriteHead,
    body: Body<NewDraft>,
) -> Answer {
    let key = head.with(&body);
    Ok(written(
        shielded(async move { app.add_draft(&caller, key, body.value).await }).await?,
    ))
}

/// Puts a draft down again.
#[utoipa::path(patch, path = "/api/v1/drafts/{id}", tag = "drafts", request_body = DraftEdit,
    params(("id" = DraftId, Path), ("Idempotency-Key" = IdempotencyKey, Header), ("If-Match" = inline(IfMatch), Header)),
    responses((status = 200, body = Draft), WriteProblems, EditProblems))]
async fn edit(
    app: web::Data<App>,
    caller: LoggedIn,
    Ids(id): Ids<DraftId>,
    head: WriteHead,
    IfMatch(version): IfMatch,
    body: Body<DraftEdit>,
) -> Answer {
    let key = head.with(&body);
    Ok(written(
        shielded(async move { app.edit_draft(&caller, key, id, version, body.value).await })
            .await?,
    ))
}

/// Throws a draft away.
#[utoipa::path(delete, path = "/api/v1/drafts/{id}", tag = "drafts",
    params(("id" = DraftId, Path), ("Idempotency-Key" = IdempotencyKey, Header)),
    responses((status = 204, description = "It is gone."), WriteProblems))]
async fn delete(
    app: web::Data<App>,
    caller: LoggedIn,
    Ids(id): Ids<DraftId>,
    head: WriteHead,
) -> Answer {
    let key = head.bare();
    Ok(written(
        shielded(async move { app.delete_draft(&caller, key, id).await }).await?,
    ))
}
