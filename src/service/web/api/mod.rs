//! The HTTP interface, version 1.

mod door;
mod fault;
mod health;
mod metrics;
mod queue;
mod request;
mod sessions;
mod summary;
mod trail;

use crate::base::clock::Clock;
use crate::base::json::Node;
use crate::delivery::outbox::Outbox;
use crate::service::app::alert::Refusals;
use crate::service::web::Outside;
use crate::service::web::api::fault::Fault;
use crate::service::web::api::metrics::Meters;
use crate::service::web::tokens::Tokens;
use crate::tables::catalogue::Catalogue;
use axum::Router;
use axum::http::{HeaderValue, StatusCode, header};
use axum::middleware;
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use std::sync::Arc;
use tokio::sync::Semaphore;

/// The description of the interface: OpenAPI 3.1.
pub const OPENAPI: &str = include_str!("openapi.json");
/// The largest document that is read: 8 MiB, in bytes. A session with every measure has 0.3.
pub const LARGEST_BODY: usize = 8 * 1024 * 1024;
/// Requests that are worked on at the same time; one more is told to come again.
pub const MOST_REQUESTS: usize = 64;

/// What every request is answered with.
#[derive(Debug, Clone)]
pub struct Desk {
    outbox: Outbox,
    catalogue: Arc<Catalogue>,
    outside: Arc<Outside>,
    /// Refusals that were told of already.
    refusals: Arc<Refusals>,
    tokens: Tokens,
    clock: Arc<dyn Clock>,
    meters: Arc<Meters>,
    room: Arc<Semaphore>,
}

impl Desk {
    pub(super) fn new(
        outbox: Outbox,
        catalogue: Catalogue,
        outside: Outside,
        tokens: Tokens,
        clock: Arc<dyn Clock>,
    ) -> Self {
        Self {
            outbox,
            catalogue: Arc::new(catalogue),
            outside: Arc::new(outside),
            refusals: Arc::default(),
            tokens,
            clock,
            meters: Arc::default(),
            room: Arc::new(Semaphore::new(MOST_REQUESTS)),
        }
    }
}

/// All addresses.
pub(super) fn router(desk: Desk) -> Router {
    let door = middleware::from_fn_with_state(desk.clone(), door::door);
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
        .route(door::LIVE, get(health::live))
        .route(door::READY, get(health::ready))
        .route(door::OPENAPI, get(openapi))
        .route(door::SCHEMA, get(schema))
        .fallback(|| async { Fault::not_found("there is nothing at this address") })
        .method_not_allowed_fallback(|| async {
            Fault::new(
                StatusCode::METHOD_NOT_ALLOWED,
                "method-not-allowed",
                "this address does not take this method",
                "the header Allow says which it takes",
            )
        })
        .layer(door)
        .with_state(desk)
}

async fn openapi() -> Response {
    let kind = HeaderValue::from_static("application/json");
    ([(header::CONTENT_TYPE, kind)], OPENAPI).into_response()
}

/// The JSON Schema of a session document.
async fn schema() -> Response {
    let kind = HeaderValue::from_static("application/schema+json");
    let schema = crate::examination::intake::schema::document_schema().to_string();
    ([(header::CONTENT_TYPE, kind)], schema).into_response()
}

/// An answer in JSON. What is told here may be about a person, so nobody may keep it on the way.
fn json(status: StatusCode, node: &Node) -> Response {
    let kind = HeaderValue::from_static("application/json");
    let store = HeaderValue::from_static("no-store");
    let headers = [(header::CONTENT_TYPE, kind), (header::CACHE_CONTROL, store)];
    (status, headers, node.compact()).into_response()
}
