//! `/bases`

use actix_web::{HttpResponse, web};
use formula::id::{BaseId, IdempotencyKey, ProductId};
use formula::wire::v1::{Base, BaseEdit, NewBase, Page};
use serde::Deserialize;
use utoipa::OpenApi;
use uuid::Uuid;

use crate::app::App;
use crate::http::caller::LoggedIn;
use crate::http::error::ApiError;
use crate::http::openapi::{EditProblems, ReadProblems, WriteProblems};
use crate::http::request::{Body, Ids, IfMatch, Query, WriteHead, page_ask};
use crate::http::response::{shielded, shown, shown_at, written};
use crate::http::routes::resource;

#[derive(OpenApi)]
#[openapi(paths(list, show, add, edit))]
pub(super) struct Description;

pub(super) fn routes(config: &mut web::ServiceConfig) {
    config
        .service(resource(
            "/bases",
            "GET, POST",
            [web::get().to(list), web::post().to(add)],
        ))
        .service(resource(
            "/bases/{id}",
            "GET, PATCH",
            [web::get().to(show), web::patch().to(edit)],
        ));
}

type Answer = Result<HttpResponse, ApiError>;

/// Which bases are wanted.
#[derive(Debug, Deserialize, utoipa::IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct Wanted {
    /// Those of this product only.
    product_id: Option<ProductId>,
    /// Rows at most.
    #[param(minimum = 1, maximum = 200, default = 50)]
    limit: Option<u16>,
    /// `next` of the page before.
    after: Option<Uuid>,
}

/// Bases with fill and room by can size, retired ones too.
#[utoipa::path(get, path = "/api/v1/bases", tag = "bases", params(Wanted),
    responses((status = 200, body = Page<Base>), ReadProblems))]
async fn list(app: web::Data<App>, caller: LoggedIn, Query(wanted): Query<Wanted>) -> Answer {
    let ask = page_ask(wanted.limit, wanted.after)?;
    Ok(shown(
        &app.list_bases(&caller, wanted.product_id, ask).await?,
    ))
}

/// One base.
#[utoipa::path(get, path = "/api/v1/bases/{id}", tag = "bases", params(("id" = BaseId, Path)),
    responses((status = 200, body = Base), ReadProblems))]
async fn show(app: web::Data<App>, caller: LoggedIn, Ids(id): Ids<BaseId>) -> Answer {
    let base = app.show_base(&caller, id).await?;
    Ok(shown_at(&base, base.version))
}

/// Adds a base.
#[utoipa::path(post, path = "/api/v1/bases", tag = "bases", request_body = NewBase,
    params(("Idempotency-Key" = IdempotencyKey, Header)),
    responses((status = 201, body = Base), WriteProblems))]
async fn add(
    app: web::Data<App>,
    caller: LoggedIn,
    head: WriteHead,
    body: Body<NewBase>,
) -> Answer {
    let key = head.with(&body);
    Ok(written(
        shielded(async move { app.add_base(&caller, key, body.value).await }).await?,
    ))
}

/// Renames a base, sets its rooms anew, retires it or takes it back.
#[utoipa::path(patch, path = "/api/v1/bases/{id}", tag = "bases", request_body = BaseEdit,
    params(("id" = BaseId, Path), ("Idempotency-Key" = IdempotencyKey, Header), ("If-Match" = inline(IfMatch), Header)),
    responses((status = 200, body = Base), WriteProblems, EditProblems))]
async fn edit(
    app: web::Data<App>,
    caller: LoggedIn,
    Ids(id): Ids<BaseId>,
    head: WriteHead,
    IfMatch(version): IfMatch,
    body: Body<BaseEdit>,
) -> Answer {
    let key = head.with(&body);
    Ok(written(
        shielded(async move { app.edit_base(&caller, key, id, version, body.value).await }).await?,
    ))
}
