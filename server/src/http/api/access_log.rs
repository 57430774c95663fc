//! `/access-log`

use actix_web::{HttpResponse, web};
use formula::wire::v1::{AccessEntry, Page};
use serde::Deserialize;
use utoipa::OpenApi;

use crate::app::App;
use crate::http::caller::LoggedIn;
use crate::http::error::ApiError;
use crate::http::openapi::ReadProblems;
use crate::http::request::{Query, page_ask};
use crate::http::response::shown;
use crate::http::routes::resource;

#[derive(OpenApi)]
#[openapi(paths(list))]
pub(super) struct Description;

pub(super) fn routes(config: &mut web::ServiceConfig) {
    config.service(resource("/access-log", "GET", [web::get().to(list)]));
}

/// Which part of the log.
#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(deny_unknown_fields)]
struct Part {
    limit: Option<u16>,
    after: Option<i64>,
}

/// Who opened another store's customer or match, which logins failed and what was refused, newest first: an admin
/// sees all of it, a manager what is about the own stores and their people.
#[utoipa::path(get, path = "/api/v1/access-log", tag = "access log",
    params(("limit" = Option<u16>, Query, minimum = 1, maximum = 200, description = "Rows at most; 50 if not given"),
           ("after" = Option<i64>, Query, description = "`next` of the page before")),
    responses((status = 200, body = Page<AccessEntry>), ReadProblems))]
async fn list(
    app: web::Data<App>,
    caller: LoggedIn,
    part: Query<Part>,
) -> Result<HttpResponse, ApiError> {
    let limit = page_ask(part.0.limit, None)?.limit;
    Ok(shown(&app.list_access(&caller, limit, part.0.after).await?))
}
