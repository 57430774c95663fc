//! Answers: a written record with its ETag, a read one, and the shield that lets a write end though its client hung up.

use std::future::Future;

use actix_web::http::StatusCode;
use actix_web::http::header;
use actix_web::{HttpResponse, HttpResponseBuilder};
use serde::Serialize;

use super::error::ApiError;
use crate::app::{AppError, AppResult};
use crate::store::write::Reply;

/// Runs a write to its end even when the client hangs up: a transaction dropped halfway could leave its connection
/// in a state that swallows later writes.
///
/// # Errors
/// What the use case says.
pub async fn shielded<T: Send + 'static>(
    work: impl Future<Output = AppResult<T>> + Send + 'static,
) -> Result<T, ApiError> {
    match tokio::spawn(work).await {
        Ok(result) => Ok(result?),
        Err(fault) => Err(AppError::Internal(format!("a write ended early: {fault}")).into()),
    }
}

/// A write's answer.
#[must_use]
pub fn written(reply: Reply) -> HttpResponse {
    let status = StatusCode::from_u16(reply.status).unwrap_or(StatusCode::OK);
    let mut response = HttpResponseBuilder::new(status);
    response.insert_header((header::CACHE_CONTROL, "no-store"));
    if let Some(etag) = reply.etag {
        response.insert_header((header::ETAG, etag));
    }
    if let Some(location) = reply.location {
        response.insert_header((header::LOCATION, location));
    }
    match reply.body {
        Some(body) => response.content_type("application/json").body(body),
        None => response.finish(),
    }
}

/// A record as read.
#[must_use]
pub fn shown<T: Serialize>(value: &T) -> HttpResponse {
    HttpResponse::Ok()
        .insert_header((header::CACHE_CONTROL, "no-store"))
        .json(value)
}

/// A record as read, with the version that an edit must name.
#[must_use]
pub fn shown_at<T: Serialize>(value: &T, version: i32) -> HttpResponse {
    HttpResponse::Ok()
        .insert_header((header::CACHE_CONTROL, "no-store"))
        .insert_header((header::ETAG, format!("\"{version}\"")))
        .json(value)
}
