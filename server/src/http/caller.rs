//! Who is asking: the bearer token becomes a [`Caller`] whose session is looked up anew for each request, so that a
//! logout, a suspension or a role change holds from the next request on, on every server.

use std::future::Future;
use std::net::IpAddr;
use std::ops::Deref;
use std::pin::Pin;

use actix_web::body::MessageBody;
use actix_web::dev::{Payload, ServiceRequest, ServiceResponse};
use actix_web::http::{StatusCode, header};
use actix_web::middleware::Next;
use actix_web::{FromRequest, HttpMessage as _, HttpRequest, web};

use super::error::ApiError;
use crate::app::{App, AppError, Caller};

/// A request with an open session.
pub struct LoggedIn(pub Caller);

impl Deref for LoggedIn {
    type Target = Caller;
    fn deref(&self) -> &Caller {
        &self.0
    }
}

impl FromRequest for LoggedIn {
    type Error = ApiError;
    type Future = Pin<Box<dyn Future<Output = Result<Self, ApiError>>>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let app = request.app_data::<web::Data<App>>().cloned();
        let token = bearer(request);
        let request = request.clone();
        Box::pin(async move {
            let app = app.ok_or_else(|| AppError::Internal("no App in the routes".to_owned()))?;
            let token = token.ok_or(AppError::NotLoggedIn(
                "this needs a login: no bearer token was sent",
            ))?;
            let caller = app.authenticate(&token).await?;
            request.extensions_mut().insert(caller.clone());
            Ok(Self(caller))
        })
    }
}

fn bearer(request: &HttpRequest) -> Option<String> {
    let value = request
        .headers()
        .get(header::AUTHORIZATION)?
        .to_str()
        .ok()?;
    let (scheme, token) = value.split_once(' ')?;
    scheme
        .eq_ignore_ascii_case("bearer")
        .then(|| token.trim().to_owned())
}

/// Notes in the access log when somebody who is logged in was refused by the role: one place for every route.
pub(super) async fn note_refusals(
    request: ServiceRequest,
    next: Next<impl MessageBody>,
) -> Result<ServiceResponse<impl MessageBody>, actix_web::Error> {
    let app = request.app_data::<web::Data<App>>().cloned();
    let response = next.call(request).await?;
    if response.status() == StatusCode::FORBIDDEN
        && let Some(app) = app
    {
        let caller = response.request().extensions().get::<Caller>().cloned();
        if let Some(caller) = caller
            && let Err(error) = app.note_refused(&caller).await
        {
            tracing::error!(%error, "a refusal is missing from the access log");
        }
    }
    Ok(response)
}

/// Where the request came from, as the connection says. Headers that a proxy adds are not believed: anybody can send
/// them.
pub struct ClientAddress(pub IpAddr);

impl FromRequest for ClientAddress {
    type Error = ApiError;
    type Future = std::future::Ready<Result<Self, ApiError>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let address = request.peer_addr().map(|peer| Self(peer.ip()));
        std::future::ready(
            address.ok_or_else(|| {
                AppError::Internal("the connection has no address".to_owned()).into()
            }),
        )
    }
}
