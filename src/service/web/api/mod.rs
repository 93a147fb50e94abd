//! The HTTP interface, version 1.

mod admission;
mod answer;
pub mod body;
mod fault;
mod health;
mod metrics;
mod queue;
mod readiness;
mod request;
pub(in crate::service::web) mod serving;
mod sessions;
mod summary;
mod trail;

use crate::service::web::api::fault::Fault;
use crate::service::web::api::serving::Serving;
use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::http::{HeaderValue, StatusCode, header};
use axum::middleware;
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use std::sync::LazyLock;

/// The description of the interface: OpenAPI 3.1.
pub const OPENAPI: &str = include_str!("openapi.json");

/// All addresses.
pub(in crate::service::web) fn router(serving: Serving) -> Router {
    let admission = middleware::from_fn_with_state(serving.clone(), admission::admit);
    Router::new()
        .route("/v1/sessions", post(sessions::submit))
        .route("/v1/sessions/{session}", get(sessions::session))
        .route("/v1/sessions/{session}/summary", get(summary::summary))
        .route("/v1/queue", get(queue::items))
        .route("/v1/queue/{item}", get(queue::item))
        .route("/v1/queue/{item}/release", post(queue::release))
        .route("/v1/queue/{item}/drop", post(queue::give_up))
        .route("/v1/targets", get(queue::targets))
        .route("/v1/targets/{target}/pause", post(queue::pause))
        .route("/v1/targets/{target}/resume", post(queue::resume))
        .route("/v1/trail", get(trail::rows))
        .route("/v1/trail/verify", get(trail::verify))
        .route("/v1/trace", get(trail::trace))
        .route("/v1/metrics", get(metrics::metrics))
        .route(admission::LIVE, get(health::live))
        .route(admission::READY, get(health::ready))
        .route(admission::OPENAPI, get(openapi))
        .route(admission::SCHEMA, get(schema))
        .fallback(|| async { Fault::not_found("there is nothing at this address") })
        .method_not_allowed_fallback(|| async {
            Fault::new(
                StatusCode::METHOD_NOT_ALLOWED,
                "method-not-allowed",
                "this address does not take this method",
                "the header Allow says which it takes",
            )
        })
        // Bodies were read whole by then, within their limit.
        .layer(DefaultBodyLimit::disable())
        .layer(admission)
        .with_state(serving)
}

async fn openapi() -> Response {
    let kind = HeaderValue::from_static("application/json");
    ([(header::CONTENT_TYPE, kind)], OPENAPI).into_response()
}

/// The JSON Schema of a session document.
async fn schema() -> Response {
    static SCHEMA: LazyLock<String> =
        LazyLock::new(|| crate::examination::intake::forms::document_schema().to_string());
    let kind = HeaderValue::from_static("application/schema+json");
    ([(header::CONTENT_TYPE, kind)], SCHEMA.as_str()).into_response()
}
