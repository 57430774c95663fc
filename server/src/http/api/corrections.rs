//! `/corrections`

use actix_web::{HttpResponse, web};
use formula::id::{CorrectionId, IdempotencyKey, InstrumentId};
use formula::wire::v1::{InstrumentCorrection, NewCorrection, Page};
use serde::Deserialize;
use utoipa::OpenApi;
use uuid::Uuid;

use crate::app::App;
use crate::http::caller::LoggedIn;
use crate::http::error::ApiError;
use crate::http::openapi::{ReadProblems, WriteProblems};
use crate::http::request::{Body, Ids, Query, WriteHead, page_ask};
use crate::http::response::{shielded, shown, written};
use crate::http::routes::resource;

#[derive(OpenApi)]
#[openapi(paths(list, show, fit, retire))]
pub(super) struct Description;

pub(super) fn routes(config: &mut web::ServiceConfig) {
    config
        .service(resource(
            "/corrections",
            "GET, POST",
            [web::get().to(list), web::post().to(fit)],
        ))
        .service(resource("/corrections/{id}", "GET", [web::get().to(show)]))
        .service(resource(
            "/corrections/{id}/retire",
            "POST",
            [web::post().to(retire)],
        ));
}

type Answer = Result<HttpResponse, ApiError>;

/// Which corrections are wanted.
#[derive(Debug, Deserialize, utoipa::IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct Wanted {
    /// Those from or to this instrument only.
    instrument_id: Option<InstrumentId>,
    /// Rows at most.
    #[param(minimum = 1, maximum = 200, default = 50)]
    limit: Option<u16>,
    /// `next` of the page before.
    after: Option<Uuid>,
}

/// Corrections between instruments, retired ones too.
#[utoipa::path(get, path = "/api/v1/corrections", tag = "corrections", params(Wanted),
    responses((status = 200, body = Page<InstrumentCorrection>), ReadProblems))]
async fn list(app: web::Data<App>, caller: LoggedIn, Query(wanted): Query<Wanted>) -> Answer {
    let ask = page_ask(wanted.limit, wanted.after)?;
    Ok(shown(
        &app.list_corrections(&caller, wanted.instrument_id, ask)
            .await?,
    ))
}

/// One correction.
#[utoipa::path(get, path = "/api/v1/corrections/{id}", tag = "corrections", params(("id" = CorrectionId, Path)),
    responses((status = 200, body = InstrumentCorrection), ReadProblems))]
async fn show(app: web::Data<App>, caller: LoggedIn, Ids(id): Ids<CorrectionId>) -> Answer {
    Ok(shown(&app.show_correction(&caller, id).await?))
}

/// Fits a correction on the tiles that both instruments have read, and puts it in force.
#[utoipa::path(post, path = "/api/v1/corrections", tag = "corrections", request_body = NewCorrection,
    params(("Idempotency-Key" = IdempotencyKey, Header)),
    responses((status = 201, body = InstrumentCorrection), WriteProblems))]
async fn fit(
    app: web::Data<App>,
    caller: LoggedIn,
    head: WriteHead,
    body: Body<NewCorrection>,
) -> Answer {
    let key = head.with(&body);
    Ok(written(
        shielded(async move { app.fit_correction(&caller, key, body.value).await }).await?,
    ))
}

/// Takes a correction out of force.
#[utoipa::path(post, path = "/api/v1/corrections/{id}/retire", tag = "corrections",
    params(("id" = CorrectionId, Path), ("Idempotency-Key" = IdempotencyKey, Header)),
    responses((status = 200, body = InstrumentCorrection), WriteProblems))]
async fn retire(
    app: web::Data<App>,
    caller: LoggedIn,
    Ids(id): Ids<CorrectionId>,
    head: WriteHead,
) -> Answer {
    let key = head.bare();
    Ok(written(
        shielded(async move { app.retire_correction(&caller, key, id).await }).await?,
    ))
}
