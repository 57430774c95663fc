//! Who is asking: the bearer token becomes a [`Caller`] whose session is looked up anew for each request, so that a
//! logout, a suspension or a role change holds from the next request on, on every server.

use std::future::Future;
use std::ops::Deref;
use std::pin::Pin;

use actix_web::dev::Payload;
use actix_web::http::header;
use actix_web::{FromRequest, HttpRequest, web};

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
        Box::pin(async move {
            let app = app.ok_or_else(|| AppError::Internal("no App in the routes".to_owned()))?;
            let token = token.ok_or(AppError::NotLoggedIn(
                "this needs a login: no bearer token was sent",
            ))?;
            Ok(Self(app.authenticate(&token).await?))
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
