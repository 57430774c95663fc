//! `/instruments`

use actix_web::{HttpResponse, web};
use formula::id::{IdempotencyKey, InstrumentId, StoreId, TileId};
use formula::wire::v1::{
    Calibration, Instrument, InstrumentEdit, InstrumentStart, NewCalibration, NewInstrument,
    NewInstrumentStart, NewTileReading, Page, TileReading,
};
use serde::Deserialize;
use utoipa::OpenApi;
use uuid::Uuid;

use crate::app::App;
use crate::http::caller::LoggedIn;
use crate::http::error::ApiError;
use crate::http::openapi::{EditProblems, ReadProblems, WriteProblems};
use crate::http::request::{Body, Ids, IfMatch, Paging, Query, WriteHead, page_ask};
use crate::http::response::{shielded, shown, shown_at, written};
use crate::http::routes::resource;

#[derive(OpenApi)]
#[openapi(paths(
    list,
    show,
    add,
    edit,
    list_calibrations,
    record_calibration,
    tell_start,
    list_tile_readings,
    record_tile_reading
))]
pub(super) struct Description;

pub(super) fn routes(config: &mut web::ServiceConfig) {
    config
        .service(resource(
            "/instruments",
            "GET, POST",
            [web::get().to(list), web::post().to(add)],
        ))
        .service(resource(
            "/instruments/{id}",
            "GET, PATCH",
            [web::get().to(show), web::patch().to(edit)],
        ))
        .service(resource(
            "/instruments/{id}/calibrations",
            "GET, POST",
            [
                web::get().to(list_calibrations),
                web::post().to(record_calibration),
            ],
        ))
        .service(resource(
            "/instruments/{id}/starts",
            "POST",
            [web::post().to(tell_start)],
        ))
        .service(resource(
            "/instruments/{id}/tile-readings",
            "GET, POST",
            [
                web::get().to(list_tile_readings),
                web::post().to(record_tile_reading),
            ],
        ));
}

type Answer = Result<HttpResponse, ApiError>;

/// Which instruments are wanted.
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

/// Instruments, retired ones too.
#[utoipa::path(get, path = "/api/v1/instruments", tag = "instruments", params(Wanted),
    responses((status = 200, body = Page<Instrument>), ReadProblems))]
async fn list(app: web::Data<App>, caller: LoggedIn, Query(wanted): Query<Wanted>) -> Answer {
    let ask = page_ask(wanted.limit, wanted.after)?;
    Ok(shown(
        &app.list_instruments(&caller, wanted.store_id, ask).await?,
    ))
}

/// One instrument.
#[utoipa::path(get, path = "/api/v1/instruments/{id}", tag = "instruments", params(("id" = InstrumentId, Path)),
    responses((status = 200, body = Instrument), ReadProblems))]
async fn show(app: web::Data<App>, caller: LoggedIn, Ids(id): Ids<InstrumentId>) -> Answer {
    let instrument = app.show_instrument(&caller, id).await?;
    Ok(shown_at(&instrument, instrument.version))
}

/// Registers an instrument.
#[utoipa::path(post, path = "/api/v1/instruments", tag = "instruments", request_body = NewInstrument,
    params(("Idempotency-Key" = IdempotencyKey, Header)),
    responses((status = 201, body = Instrument), WriteProblems))]
async fn add(
    app: web::Data<App>,
    caller: LoggedIn,
    head: WriteHead,
    body: Body<NewInstrument>,
) -> Answer {
    let key = head.with(&body);
    Ok(written(
        shielded(async move { app.add_instrument(&caller, key, body.value).await }).await?,
    ))
}

/// Renames an instrument, moves it, changes what its care asks for, retires it or takes it back.
#[utoipa::path(patch, path = "/api/v1/instruments/{id}", tag = "instruments", request_body = InstrumentEdit,
    params(("id" = InstrumentId, Path), ("Idempotency-Key" = IdempotencyKey, Header), ("If-Match" = inline(IfMatch), Header)),
    responses((status = 200, body = Instrument), WriteProblems, EditProblems))]
async fn edit(
    app: web::Data<App>,
    caller: LoggedIn,
    Ids(id): Ids<InstrumentId>,
    head: WriteHead,
    IfMatch(version): IfMatch,
    body: Body<InstrumentEdit>,
) -> Answer {
    let key = head.with(&body);
    Ok(written(
        shielded(async move {
            app.edit_instrument(&caller, key, id, version, body.value)
                .await
        })
        .await?,
    ))
}

/// The calibrations of an instrument.
#[utoipa::path(get, path = "/api/v1/instruments/{id}/calibrations", tag = "instruments",
    params(("id" = InstrumentId, Path), Paging),
    responses((status = 200, body = Page<Calibration>), ReadProblems))]
async fn list_calibrations(
    app: web::Data<App>,
    caller: LoggedIn,
    Ids(id): Ids<InstrumentId>,
    paging: Query<Paging>,
) -> Answer {
    let ask = paging.0.ask()?;
    Ok(shown(&app.list_calibrations(&caller, id, ask).await?))
}

/// Records a calibration of an instrument.
#[utoipa::path(post, path = "/api/v1/instruments/{id}/calibrations", tag = "instruments",
    request_body = NewCalibration,
    params(("id" = InstrumentId, Path), ("Idempotency-Key" = IdempotencyKey, Header)),
    responses((status = 201, body = Calibration), WriteProblems))]
async fn record_calibration(
    app: web::Data<App>,
    caller: LoggedIn,
    Ids(id): Ids<InstrumentId>,
    head: WriteHead,
    body: Body<NewCalibration>,
) -> Answer {
    let key = head.with(&body);
    Ok(written(
        shielded(async move { app.record_calibration(&caller, key, id, body.value).await }).await?,
    ))
}

/// Says when an instrument was switched on.
#[utoipa::path(post, path = "/api/v1/instruments/{id}/starts", tag = "instruments", request_body = NewInstrumentStart,
    params(("id" = InstrumentId, Path), ("Idempotency-Key" = IdempotencyKey, Header)),
    responses((status = 201, body = InstrumentStart), WriteProblems))]
async fn tell_start(
    app: web::Data<App>,
    caller: LoggedIn,
    Ids(id): Ids<InstrumentId>,
    head: WriteHead,
    body: Body<NewInstrumentStart>,
) -> Answer {
    let key = head.with(&body);
    Ok(written(
        shielded(async move {
            app.tell_instrument_start(&caller, key, id, body.value)
                .await
        })
        .await?,
    ))
}

/// Which readings of tiles are wanted.
#[derive(Debug, Deserialize, utoipa::IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct WantedReadings {
    /// Those of this tile only.
    tile_id: Option<TileId>,
    /// Rows at most.
    #[param(minimum = 1, maximum = 200, default = 50)]
    limit: Option<u16>,
    /// `next` of the page before.
    after: Option<Uuid>,
}

/// Readings of verification tiles, each judged against those of its tile before it.
#[utoipa::path(get, path = "/api/v1/instruments/{id}/tile-readings", tag = "instruments",
    params(("id" = InstrumentId, Path), WantedReadings),
    responses((status = 200, body = Page<TileReading>), ReadProblems))]
async fn list_tile_readings(
    app: web::Data<App>,
    caller: LoggedIn,
    Ids(id): Ids<InstrumentId>,
    Query(wanted): Query<WantedReadings>,
) -> Answer {
    let ask = page_ask(wanted.limit, wanted.after)?;
    Ok(shown(
        &app.list_tile_readings(&caller, id, wanted.tile_id, ask)
            .await?,
    ))
}

/// Keeps a reading of a verification tile.
#[utoipa::path(post, path = "/api/v1/instruments/{id}/tile-readings", tag = "instruments",
    request_body = NewTileReading,
    params(("id" = InstrumentId, Path), ("Idempotency-Key" = IdempotencyKey, Header)),
    responses((status = 201, body = TileReading), WriteProblems))]
async fn record_tile_reading(
    app: web::Data<App>,
    caller: LoggedIn,
    Ids(id): Ids<InstrumentId>,
    head: WriteHead,
    body: Body<NewTileReading>,
) -> Answer {
    let key = head.with(&body);
    Ok(written(
        shielded(async move { app.record_tile_reading(&caller, key, id, body.value).await })
            .await?,
    ))
}
