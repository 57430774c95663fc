//! `/stores`

use actix_web::{HttpResponse, web};
use formula::id::{IdempotencyKey, StoreId};
use formula::wire::v1::{NewStore, Page, Store, StoreEdit};
use utoipa::OpenApi;

use crate::app::App;
use crate::http::caller::LoggedIn;
use crate::http::error::ApiError;
use crate::http::openapi::{EditProblems, ReadProblems, WriteProblems};
use crate::http::request::{Body, Ids, IfMatch, Paging, Query, WriteHead};
use crate::http::response::{shielded, shown, shown_at, written};
use crate::http::routes::resource;

#[derive(OpenApi)]
#[openapi(paths(list, show, add, edit))]
pub(super) struct Description;

pub(super) fn routes(config: &mut web::ServiceConfig) {
    config
        .service(resource(
            "/stores",
            "GET, POST",
            [web::get().to(list), web::post().to(add)],
        ))
        .service(resource(
            "/stores/{id}",
            "GET, PATCH",
            [web::get().to(show), web::patch().to(edit)],
        ));
}

type Answer = Result<HttpResponse, ApiError>;

/// Every store of the chain.
#[utoipa::path(get, path = "/api/v1/stores", tag = "stores", params(Paging),
    responses((status = 200, body = Page<Store>), ReadProblems))]
async fn list(app: web::Data<App>, caller: LoggedIn, paging: Query<Paging>) -> Answer {
    Ok(shown(&app.list_stores(&caller, paging.0.ask()?).await?))
}

/// One store.
#[utoipa::path(get, path = "/api/v1/stores/{id}", tag = "stores", params(("id" = StoreId, Path)),
    responses((status = 200, body = Store), ReadProblems))]
async fn show(app: web::Data<App>, caller: LoggedIn, Ids(id): Ids<StoreId>) -> Answer {
    let store = app.show_store(&caller, id).await?;
    Ok(shown_at(&store, store.version))
}

/// Adds a store.
#[utoipa::path(post, path = "/api/v1/stores", tag = "stores", request_body = NewStore,
    params(("Idempotency-Key" = IdempotencyKey, Header)),
    responses((status = 201, body = Store), WriteProblems))]
async fn add(
    app: web::Data<App>,
    caller: LoggedIn,
    head: WriteHead,
    body: Body<NewStore>,
) -> Answer {
    let key = head.with(&body);
    Ok(written(
        shielded(async move { app.add_store(&caller, key, body.value).await }).await?,
    ))
}

/// Renames, closes or opens a store.
#[utoipa::path(patch, path = "/api/v1/stores/{id}", tag = "stores", request_body = StoreEdit,
    params(("id" = StoreId, Path), ("Idempotency-Key" = IdempotencyKey, Header), ("If-Match" = inline(IfMatch), Header)),
    responses((status = 200, body = Store), WriteProblems, EditProblems))]
async fn edit(
    app: web::Data<App>,
    caller: LoggedIn,
    Ids(id): Ids<StoreId>,
    head: WriteHead,
    IfMatch(version): IfMatch,
    body: Body<StoreEdit>,
) -> Answer {
    let key = head.with(&body);
    Ok(written(
        shielded(async move { app.edit_store(&caller, key, id, version, body.value).await })
            .await?,
    ))
}
