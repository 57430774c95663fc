//! `/customers` and `/jobs`

use actix_web::{HttpResponse, web};
use formula::id::{CustomerId, IdempotencyKey, JobId, StoreId};
use formula::wire::v1::{
    Customer, CustomerEdit, CustomerHit, CustomerInBrief, Found, Job, JobEdit, NewCustomer, NewJob,
    Page,
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
#[openapi(paths(list, find, open, add, edit, add_job, edit_job))]
pub(super) struct Description;

pub(super) fn routes(config: &mut web::ServiceConfig) {
    config
        .service(resource(
            "/customers",
            "GET, POST",
            [web::get().to(list), web::post().to(add)],
        ))
        .service(resource("/customers/find", "GET", [web::get().to(find)]))
        .service(resource(
            "/customers/{id}",
            "GET, PATCH",
            [web::get().to(open), web::patch().to(edit)],
        ))
        .service(resource(
            "/customers/{id}/jobs",
            "POST",
            [web::post().to(add_job)],
        ))
        .service(resource("/jobs/{id}", "PATCH", [web::patch().to(edit_job)]));
}

type Answer = Result<HttpResponse, ApiError>;

/// Which customers are wanted.
#[derive(Debug, Deserialize, utoipa::IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct Wanted {
    /// Those that this store added; without it, those of the caller's own stores.
    store_id: Option<StoreId>,
    /// Rows at most.
    #[param(minimum = 1, maximum = 200, default = 50)]
    limit: Option<u16>,
    /// `next` of the page before.
    after: Option<Uuid>,
}

/// Customers in brief: for staff those of a store, for a contractor those linked to the login.
#[utoipa::path(get, path = "/api/v1/customers", tag = "customers", params(Wanted),
    responses((status = 200, body = Page<CustomerInBrief>), ReadProblems))]
async fn list(app: web::Data<App>, caller: LoggedIn, Query(wanted): Query<Wanted>) -> Answer {
    let ask = page_ask(wanted.limit, wanted.after)?;
    Ok(shown(
        &app.list_customers(&caller, wanted.store_id, ask).await?,
    ))
}

/// Looks for customers chain-wide: by label code, phone (whole, last seven digits, last four with a part of the
/// name), name with typos, or job label.
#[utoipa::path(get, path = "/api/v1/customers/find", tag = "customers", params(Looking),
    responses((status = 200, body = Found<CustomerHit>), ReadProblems))]
async fn find(app: web::Data<App>, caller: LoggedIn, looking: Query<Looking>) -> Answer {
    let (text, limit) = looking.0.checked()?;
    Ok(shown(&app.find_customers(&caller, &text, limit).await?))
}

/// Opens a customer. Staff may open any; another store's is noted in the access log.
#[utoipa::path(get, path = "/api/v1/customers/{id}", tag = "customers", params(("id" = CustomerId, Path)),
    responses((status = 200, body = Customer), ReadProblems))]
async fn open(app: web::Data<App>, caller: LoggedIn, Ids(id): Ids<CustomerId>) -> Answer {
    let customer = shielded(async move { app.open_customer(&caller, id).await }).await?;
    Ok(shown_at(&customer, customer.version))
}

/// Adds a customer of the session's store.
#[utoipa::path(post, path = "/api/v1/customers", tag = "customers", request_body = NewCustomer,
    params(("Idempotency-Key" = IdempotencyKey, Header)),
    responses((status = 201, body = Customer), WriteProblems))]
async fn add(
    app: web::Data<App>,
    caller: LoggedIn,
    head: WriteHead,
    body: Body<NewCustomer>,
) -> Answer {
    let key = head.with(&body);
    Ok(written(
        shielded(async move { app.add_customer(&caller, key, body.value).await }).await?,
    ))
}

/// Edits a customer.
#[utoipa::path(patch, path = "/api/v1/customers/{id}", tag = "customers", request_body = CustomerEdit,
    params(("id" = CustomerId, Path), ("Idempotency-Key" = IdempotencyKey, Header), ("If-Match" = inline(IfMatch), Header)),
    responses((status = 200, body = Customer), WriteProblems, EditProblems))]
async fn edit(
    app: web::Data<App>,
    caller: LoggedIn,
    Ids(id): Ids<CustomerId>,
    head: WriteHead,
    IfMatch(version): IfMatch,
    body: Body<CustomerEdit>,
) -> Answer {
    let key = head.with(&body);
    Ok(written(
        shielded(async move {
            app.edit_customer(&caller, key, id, version, body.value)
                .await
        })
        .await?,
    ))
}

/// Adds a job of a customer.
#[utoipa::path(post, path = "/api/v1/customers/{id}/jobs", tag = "customers", request_body = NewJob,
    params(("id" = CustomerId, Path), ("Idempotency-Key" = IdempotencyKey, Header)),
    responses((status = 201, body = Job), WriteProblems))]
async fn add_job(
    app: web::Data<App>,
    caller: LoggedIn,
    Ids(id): Ids<CustomerId>,
    head: WriteHead,
    body: Body<NewJob>,
) -> Answer {
    let key = head.with(&body);
    Ok(written(
        shielded(async move { app.add_job(&caller, key, id, body.value).await }).await?,
    ))
}

/// Gives a job another label.
#[utoipa::path(patch, path = "/api/v1/jobs/{id}", tag = "customers", request_body = JobEdit,
    params(("id" = JobId, Path), ("Idempotency-Key" = IdempotencyKey, Header), ("If-Match" = inline(IfMatch), Header)),
    responses((status = 200, body = Job), WriteProblems, EditProblems))]
async fn edit_job(
    app: web::Data<App>,
    caller: LoggedIn,
    Ids(id): Ids<JobId>,
    head: WriteHead,
    IfMatch(version): IfMatch,
    body: Body<JobEdit>,
) -> Answer {
    let key = head.with(&body);
    Ok(written(
        shielded(async move { app.edit_job(&caller, key, id, version, body.value).await }).await?,
    ))
}
