//! `/tiles`

use actix_web::{HttpResponse, web};
use formula::id::{IdempotencyKey, StoreId, TileId};
use formula::wire::v1::{NewTile, Page, Tile, TileEdit};
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
            "/tiles",
            "GET, POST",
            [web::get().to(list), web::post().to(add)],
        ))
        .service(resource(
            "/tiles/{id}",
            "GET, PATCH",
            [web::get().to(show), web::patch().to(edit)],
        ));
}

type Answer = Result<HttpResponse, ApiError>;

/// Which tiles are wanted.
#[derive(Debug, Deserialize, utoipa::IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct Wanted {
    /// Those of this store only.
    store_id: Option<StoreId>,
    /// Rows at most.
    #[param(minimum = 1, maximum = 200, default = 50)]
    limit: Option<u16>,
    /// `next` of the page before.
    after: Option<Uuid>,
}

/// Verification tiles, retired ones too.
#[utoipa::path(get, path = "/api/v1/tiles", tag = "tiles", params(Wanted),
    responses((status = 200, body = Page<Tile>), ReadProblems))]
async fn list(app: web::Data<App>, caller: LoggedIn, Query(wanted): Query<Wanted>) -> Answer {
    let ask = page_ask(wanted.limit, wanted.after)?;
    Ok(shown(&app.list_tiles(&caller, wanted.store_id, ask).await?))
}

/// One tile.
#[utoipa::path(get, path = "/api/v1/tiles/{id}", tag = "tiles", params(("id" = TileId, Path)),
    responses((status = 200, body = Tile), ReadProblems))]
async fn show(app: web::Data<App>, caller: LoggedIn, Ids(id): Ids<TileId>) -> Answer {
    let tile = app.show_tile(&caller, id).await?;
    Ok(shown_at(&tile, tile.version))
}

/// Adds a tile.
#[utoipa::path(post, path = "/api/v1/tiles", tag = "tiles", request_body = NewTile,
    params(("Idempotency-Key" = IdempotencyKey, Header)),
    responses((status = 201, body = Tile), WriteProblems))]
async fn add(
    app: web::Data<App>,
    caller: LoggedIn,
    head: WriteHead,
    body: Body<NewTile>,
) -> Answer {
    let key = head.with(&body);
    Ok(written(
        shielded(async move { app.add_tile(&caller, key, body.value).await }).await?,
    ))
}

/// Renames a tile, says its hue, retires it or takes it back.
#[utoipa::path(patch, path = "/api/v1/tiles/{id}", tag = "tiles", request_body = TileEdit,
    params(("id" = TileId, Path), ("Idempotency-Key" = IdempotencyKey, Header), ("If-Match" = inline(IfMatch), Header)),
    responses((status = 200, body = Tile), WriteProblems, EditProblems))]
async fn edit(
    app: web::Data<App>,
    caller: LoggedIn,
    Ids(id): Ids<TileId>,
    head: WriteHead,
    IfMatch(version): IfMatch,
    body: Body<TileEdit>,
) -> Answer {
    let key = head.with(&body);
    Ok(written(
        shielded(async move { app.edit_tile(&caller, key, id, version, body.value).await }).await?,
    ))
}
