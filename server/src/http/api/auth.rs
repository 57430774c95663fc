//! `/auth`: logins and sessions. No `Idempotency-Key` here: each answer is a secret of its own.

use actix_web::http::header;
use actix_web::{HttpResponse, web};
use formula::wire::v1::{
    ClaimRequest, LoginRequest, PasswordRequest, RefreshRequest, Tokens, WhoAmI,
};
use utoipa::OpenApi;

use crate::app::App;
use crate::http::caller::{ClientAddress, LoggedIn};
use crate::http::error::ApiError;
use crate::http::openapi::{AuthProblems, BodyProblems, ReadProblems};
use crate::http::request::Body;
use crate::http::response::{shielded, shown};
use crate::http::routes::resource;

#[derive(OpenApi)]
#[openapi(paths(login, refresh, claim, logout, password, me))]
pub(super) struct Description;

pub(super) fn routes(config: &mut web::ServiceConfig) {
    config
        .service(resource("/auth/login", "POST", [web::post().to(login)]))
        .service(resource("/auth/refresh", "POST", [web::post().to(refresh)]))
        .service(resource("/auth/claim", "POST", [web::post().to(claim)]))
        .service(resource("/auth/logout", "POST", [web::post().to(logout)]))
        .service(resource(
            "/auth/password",
            "POST",
            [web::post().to(password)],
        ))
        .service(resource("/auth/me", "GET", [web::get().to(me)]));
}

type Answer = Result<HttpResponse, ApiError>;

fn done() -> HttpResponse {
    HttpResponse::NoContent()
        .insert_header((header::CACHE_CONTROL, "no-store"))
        .finish()
}

/// Opens a session by name and password.
#[utoipa::path(post, path = "/api/v1/auth/login", tag = "auth", request_body = LoginRequest, security(()),
    responses((status = 200, body = Tokens), AuthProblems, BodyProblems))]
async fn login(
    app: web::Data<App>,
    ClientAddress(address): ClientAddress,
    body: Body<LoginRequest>,
) -> Answer {
    let tokens = shielded(async move { app.log_in(body.value, address).await }).await?;
    Ok(shown(&tokens))
}

/// Exchanges a refresh token, which works once, for a new pair.
#[utoipa::path(post, path = "/api/v1/auth/refresh", tag = "auth", request_body = RefreshRequest, security(()),
    responses((status = 200, body = Tokens), AuthProblems, BodyProblems))]
async fn refresh(app: web::Data<App>, body: Body<RefreshRequest>) -> Answer {
    let tokens = shielded(async move { app.refresh(body.value).await }).await?;
    Ok(shown(&tokens))
}

/// Chooses a password by a one-time token; log in with it then. All sessions of the person end.
#[utoipa::path(post, path = "/api/v1/auth/claim", tag = "auth", request_body = ClaimRequest, security(()),
    responses((status = 204), AuthProblems, BodyProblems))]
async fn claim(app: web::Data<App>, body: Body<ClaimRequest>) -> Answer {
    shielded(async move { app.claim(body.value).await }).await?;
    Ok(done())
}

/// Ends the session.
#[utoipa::path(post, path = "/api/v1/auth/logout", tag = "auth",
    responses((status = 204), ReadProblems))]
async fn logout(app: web::Data<App>, caller: LoggedIn) -> Answer {
    shielded(async move { app.log_out(&caller).await }).await?;
    Ok(done())
}

/// Changes one's own password; all other sessions end.
#[utoipa::path(post, path = "/api/v1/auth/password", tag = "auth", request_body = PasswordRequest,
    responses((status = 204), AuthProblems, BodyProblems))]
async fn password(
    app: web::Data<App>,
    caller: LoggedIn,
    ClientAddress(address): ClientAddress,
    body: Body<PasswordRequest>,
) -> Answer {
    shielded(async move { app.change_password(&caller, body.value, address).await }).await?;
    Ok(done())
}

/// Who is logged in, and where.
#[utoipa::path(get, path = "/api/v1/auth/me", tag = "auth",
    responses((status = 200, body = WhoAmI), ReadProblems))]
async fn me(app: web::Data<App>, caller: LoggedIn) -> Answer {
    Ok(shown(&app.who_am_i(&caller).await?))
}
