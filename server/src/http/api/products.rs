//! `/products`

use actix_web::{HttpResponse, web};
use formula::id::{IdempotencyKey, ProductId};
use formula::wire::v1::{NewProduct, Page, Product, ProductEdit};
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
            "/products",
            "GET, POST",
            [web::get().to(list), web::post().to(add)],
        ))
        .service(resource(
            "/products/{id}",
            "GET, PATCH",
            [web::get().to(show), web::patch().to(edit)],
        ));
}

type Answer = Result<HttpResponse, ApiError>;

/// Every product with its sheens, retired ones too.
#[utoipa::path(get, path = "/api/v1/products", tag = "products", params(Paging),
    responses((status = 200, body = Page<Product>), ReadProblems))]
async fn list(app: web::Data<App>, caller: LoggedIn, paging: Query<Paging>) -> Answer {
    Ok(shown(&app.list_products(&caller, paging.0.ask()?).await?))
}

/// One product.
#[utoipa::path(get, path = "/api/v1/products/{id}", tag = "products", params(("id" = ProductId, Path)),
    responses((status = 200, body = Product), ReadProblems))]
async fn show(app: web::Data<App>, caller: LoggedIn, Ids(id): Ids<ProductId>) -> Answer {
    let product = app.show_product(&caller, id).await?;
    Ok(shown_at(&product, product.version))
}

/// Adds a product with its sheens.
#[utoipa::path(post, path = "/api/v1/products", tag = "products", request_body = NewProduct,
    params(("Idempotency-Key" = IdempotencyKey, Header)),
    responses((status = 201, body = Product), WriteProblems))]
async fn add(
    app: web::Data<App>,
    caller: LoggedIn,
    head: WriteHead,
    body: Body<NewProduct>,
) -> Answer {
    let key = head.with(&body);
    Ok(written(
        shielded(async move { app.add_product(&caller, key, body.value).await }).await?,
    ))
}

/// Renames a product, adds sheens, retires it or takes it back.
#[utoipa::path(patch, path = "/api/v1/products/{id}", tag = "products", request_body = ProductEdit,
    params(("id" = ProductId, Path), ("Idempotency-Key" = IdempotencyKey, Header), ("If-Match" = inline(IfMatch), Header)),
    responses((status = 200, body = Product), WriteProblems, EditProblems))]
async fn edit(
    app: web::Data<App>,
    caller: LoggedIn,
    Ids(id): Ids<ProductId>,
    head: WriteHead,
    IfMatch(version): IfMatch,
    body: Body<ProductEdit>,
) -> Answer {
    let key = head.with(&body);
    Ok(written(
        shielded(async move {
            app.edit_product(&caller, key, id, version, body.value)
                .await
        })
        .await?,
    ))
}
