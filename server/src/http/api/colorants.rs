//! `/colorants`

use actix_web::{HttpResponse, web};
use formula::id::{ColorantId, IdempotencyKey};
use formula::wire::v1::{Colorant, ColorantEdit, NewColorant, Page};
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
            "/colorants",
            "GET, POST",
            [web::get().to(list), web::post().to(add)],
        ))
        .service(resource(
            "/colorants/{id}",
            "GET, PATCH",
            [web::get().to(show), web::patch().to(edit)],
        ));
}

type Answer = Result<HttpResponse, ApiError>;

/// Every colorant, retired ones too.
#[utoipa::path(get, path = "/api/v1/colorants", tag = "colorants", params(Paging),
    responses((status = 200, body = Page<Colorant>), ReadProblems))]
async fn list(app: web::Data<App>, caller: LoggedIn, paging: Query<Paging>) -> Answer {
    Ok(shown(&app.list_colorants(&caller, paging.0.ask()?).await?))
}

/// One colorant.
#[utoipa::path(get, path = "/api/v1/colorants/{id}", tag = "colorants", params(("id" = ColorantId, Path)),
    responses((status = 200, body = Colorant), ReadProblems))]
async fn show(app: web::Data<App>, caller: LoggedIn, Ids(id): Ids<ColorantId>) -> Answer {
    let colorant = app.show_colorant(&caller, id).await?;
    Ok(shown_at(&colorant, colorant.version))
}

/// Adds a colorant.
#[utoipa::path(post, path = "/api/v1/colorants", tag = "colorants", request_body = NewColorant,
    params(("Idempotency-Key" = IdempotencyKey, Header)),
    responses((status = 201, body = Colorant), WriteProblems))]
async fn add(
    app: web::Data<App>,
    caller: LoggedIn,
    head: WriteHead,
    body: Body<NewColorant>,
) -> Answer {
    let key = head.with(&body);
    Ok(written(
        shielded(async move { app.add_colorant(&caller, key, body.value).await }).await?,
    ))
}

/// Renames a colorant's pigment, retires it or takes it back.
#[utoipa::path(patch, path = "/api/v1/colorants/{id}", tag = "colorants", request_body = ColorantEdit,
    params(("id" = ColorantId, Path), ("Idempotency-Key" = IdempotencyKey, Header), ("If-Match" = inline(IfMatch), Header)),
    responses((status = 200, body = Colorant), WriteProblems, EditProblems))]
async fn edit(
    app: web::Data<App>,
    caller: LoggedIn,
    Ids(id): Ids<ColorantId>,
    head: WriteHead,
    IfMatch(version): IfMatch,
    body: Body<ColorantEdit>,
) -> Answer {
    let key = head.with(&body);
    Ok(written(
        shielded(async move {
            app.edit_colorant(&caller, key, id, version, body.value)
                .await
        })
        .await?,
    ))
}
