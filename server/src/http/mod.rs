//! The only place that names actix_web: routes, extractors, and the one error type that speaks to the wire.

pub mod api;
pub mod caller;
pub mod error;
pub mod openapi;
pub mod request;
pub mod response;
pub mod routes;

use std::net::TcpListener;
use std::time::Duration;

use actix_web::body::MessageBody;
use actix_web::dev::{Server, ServiceRequest, ServiceResponse};
use actix_web::http::header::{HeaderName, HeaderValue};
use actix_web::middleware::{self, Next};
use actix_web::{App as Routes, HttpServer, web};

use crate::app::App;

/// Finds a request in the server's log.
const REQUEST_ID: HeaderName = HeaderName::from_static("x-request-id");

/// The HTTP server over a bound socket; it runs once awaited. The caller handles signals.
///
/// # Errors
/// When the socket can't be used.
pub fn serve(app: App, listener: TcpListener) -> std::io::Result<Server> {
    let data = web::Data::new(app);
    let server = HttpServer::new(move || {
        Routes::new()
            .app_data(data.clone())
            .wrap(middleware::from_fn(trace))
            .wrap(
                middleware::DefaultHeaders::new()
                    .add(("X-Content-Type-Options", "nosniff"))
                    .add(("Referrer-Policy", "no-referrer"))
                    .add((
                        "Content-Security-Policy",
                        "default-src 'none'; frame-ancestors 'none'",
                    )),
            )
            .configure(routes::mount)
    })
    .workers(2)
    .max_connections(2048)
    // A client that dribbles its header holds a connection, no more.
    .client_request_timeout(Duration::from_secs(10))
    .client_disconnect_timeout(Duration::from_secs(2))
    .keep_alive(Duration::from_secs(75))
    .shutdown_timeout(20)
    .disable_signals()
    .listen(listener)?;
    Ok(server.run())
}

/// One log line a request, with an id that the answer carries: method, route, status, time. No query, no body, no
/// name: those can hold personal data.
async fn trace(
    request: ServiceRequest,
    next: Next<impl MessageBody>,
) -> Result<ServiceResponse<impl MessageBody>, actix_web::Error> {
    let id = uuid::Uuid::now_v7().simple().to_string();
    let begun = std::time::Instant::now();
    let method = request.method().clone();
    let span = tracing::info_span!("request", id);
    let mut response = tracing::Instrument::instrument(next.call(request), span).await?;
    let route = response
        .request()
        .match_pattern()
        .unwrap_or_else(|| "-".to_owned());
    let status = response.status().as_u16();
    let ms = u64::try_from(begun.elapsed().as_millis()).unwrap_or(u64::MAX);
    tracing::info!(id, %method, route, status, ms, "answered");
    if let Ok(value) = HeaderValue::from_str(&id) {
        response.headers_mut().insert(REQUEST_ID, value);
    }
    Ok(response)
}
