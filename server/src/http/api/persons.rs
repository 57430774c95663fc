//! `/persons`

use actix_web::{HttpResponse, web};
use formula::id::{CustomerId, IdempotencyKey, PersonId};
use formula::wire::v1::{
    CustomerLink, NewPerson, OneTimeToken, Page, Person, PersonAdded, PersonEdit,
};
use utoipa::OpenApi;

use crate::app::App;
use crate::http::caller::LoggedIn;
use crate::http::error::ApiError;
use crate::http::openapi::{EditProblems, ReadProblems, WriteProblems};
use crate::http::request::{Body, Ids, IfMatch, Paging, Query, WriteHead};
use crate::http::response::{shielded, shown, shown_at, written};
use crate::http::routes::resource;

#[derive(OpenApi)]
#[openapi(paths(list, show, add, edit, reset, links, link, unlink))]
pub(super) struct Description;

pub(super) fn routes(config: &mut web::ServiceConfig) {
    config
        .service(resource(
            "/persons",
            "GET, POST",
            [web::get().to(list), web::post().to(add)],
        ))
        .service(resource(
            "/persons/{id}",
            "GET, PATCH",
            [web::get().to(show), web::patch().to(edit)],
        ))
        .service(resource(
            "/persons/{id}/reset",
            "POST",
            [web::post().to(reset)],
        ))
        .service(resource(
            "/persons/{id}/customers",
            "GET",
            [web::get().to(links)],
        ))
        .service(resource(
            "/persons/{id}/customers/{customer_id}",
            "PUT, DELETE",
            [web::put().to(link), web::delete().to(unlink)],
        ));
}

type Answer = Result<HttpResponse, ApiError>;

/// The logins that one may see: an admin all, a manager those of contractors and of clerks of the own stores.
#[utoipa::path(get, path = "/api/v1/persons", tag = "persons", params(Paging),
    responses((status = 200, body = Page<Person>), ReadProblems))]
async fn list(app: web::Data<App>, caller: LoggedIn, paging: Query<Paging>) -> Answer {
    Ok(shown(&app.list_persons(&caller, paging.0.ask()?).await?))
}

/// One login.
#[utoipa::path(get, path = "/api/v1/persons/{id}", tag = "persons", params(("id" = PersonId, Path)),
    responses((status = 200, body = Person), ReadProblems))]
async fn show(app: web::Data<App>, caller: LoggedIn, Ids(id): Ids<PersonId>) -> Answer {
    let person = app.show_person(&caller, id).await?;
    Ok(shown_at(&person, person.version))
}

/// Adds a login. The answer holds a one-time token, shown once, by which its person chooses a password.
#[utoipa::path(post, path = "/api/v1/persons", tag = "persons", request_body = NewPerson,
    params(("Idempotency-Key" = IdempotencyKey, Header)),
    responses((status = 201, body = PersonAdded), WriteProblems))]
async fn add(
    app: web::Data<App>,
    caller: LoggedIn,
    head: WriteHead,
    body: Body<NewPerson>,
) -> Answer {
    let key = head.with(&body);
    Ok(written(
        shielded(async move { app.add_person(&caller, key, body.value).await }).await?,
    ))
}

/// Renames, moves, promotes, suspends or lets in again.
#[utoipa::path(patch, path = "/api/v1/persons/{id}", tag = "persons", request_body = PersonEdit,
    params(("id" = PersonId, Path), ("Idempotency-Key" = IdempotencyKey, Header), ("If-Match" = inline(IfMatch), Header)),
    responses((status = 200, body = Person), WriteProblems, EditProblems))]
async fn edit(
    app: web::Data<App>,
    caller: LoggedIn,
    Ids(id): Ids<PersonId>,
    head: WriteHead,
    IfMatch(version): IfMatch,
    body: Body<PersonEdit>,
) -> Answer {
    let key = head.with(&body);
    Ok(written(
        shielded(async move { app.edit_person(&caller, key, id, version, body.value).await })
            .await?,
    ))
}

/// Hands out a one-time token for a new password; the person's sessions end. It is shown once: the same request
/// again is refused with 409.
#[utoipa::path(post, path = "/api/v1/persons/{id}/reset", tag = "persons",
    params(("id" = PersonId, Path), ("Idempotency-Key" = IdempotencyKey, Header)),
    responses((status = 200, body = OneTimeToken), WriteProblems))]
async fn reset(
    app: web::Data<App>,
    caller: LoggedIn,
    Ids(id): Ids<PersonId>,
    head: WriteHead,
) -> Answer {
    let key = head.bare();
    Ok(written(
        shielded(async move { app.reset_person(&caller, key, id).await }).await?,
    ))
}

/// The customers that a contractor's login stands for.
#[utoipa::path(get, path = "/api/v1/persons/{id}/customers", tag = "persons",
    params(("id" = PersonId, Path), Paging),
    responses((status = 200, body = Page<CustomerLink>), ReadProblems))]
async fn links(
    app: web::Data<App>,
    caller: LoggedIn,
    Ids(id): Ids<PersonId>,
    paging: Query<Paging>,
) -> Answer {
    let ask = paging.0.ask()?;
    Ok(shown(&app.list_customer_links(&caller, id, ask).await?))
}

/// Lets a contractor's login see a customer.
#[utoipa::path(put, path = "/api/v1/persons/{id}/customers/{customer_id}", tag = "persons",
    params(("id" = PersonId, Path), ("customer_id" = CustomerId, Path),
           ("Idempotency-Key" = IdempotencyKey, Header)),
    responses((status = 200, body = CustomerLink), WriteProblems))]
async fn link(
    app: web::Data<App>,
    caller: LoggedIn,
    Ids((id, customer)): Ids<(PersonId, CustomerId)>,
    head: WriteHead,
) -> Answer {
    let key = head.bare();
    Ok(written(
        shielded(async move { app.link_customer(&caller, key, id, customer).await }).await?,
    ))
}

/// Takes a customer out of a contractor's sight.
#[utoipa::path(delete, path = "/api/v1/persons/{id}/customers/{customer_id}", tag = "persons",
    params(("id" = PersonId, Path), ("customer_id" = CustomerId, Path),
           ("Idempotency-Key" = IdempotencyKey, Header)),
    responses((status = 204), WriteProblems))]
async fn unlink(
    app: web::Data<App>,
    caller: LoggedIn,
    Ids((id, customer)): Ids<(PersonId, CustomerId)>,
    head: WriteHead,
) -> Answer {
    let key = head.bare();
    Ok(written(
        shielded(async move { app.unlink_customer(&caller, key, id, customer).await }).await?,
    ))
}
