//! Whether the service lives, and whether it can take documents.

use crate::base::json::{object, text};
use crate::service::web::api::fault::Fault;
use crate::service::web::api::{Desk, json};
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;

pub(super) async fn live() -> Response {
    json(StatusCode::OK, &object([("status", text("live"))]))
}

/// Ready means: a document that holds is accepted. A record server that sleeps does not count, because
/// what is accepted waits for it.
pub(super) async fn ready(State(desk): State<Desk>) -> Result<Response, Fault> {
    let title = "the service cannot take documents";
    let not_ready = |detail: &str| Fault::unavailable("not-ready", title, detail.to_owned());
    if let Err(cause) = desk.outbox.targets().await {
        tracing::error!(error = %cause, "the store failed");
        return Err(not_ready("the store does not answer"));
    }
    if let Err(cause) = desk.tokens.usable() {
        tracing::error!(error = %cause, "the token file cannot be used");
        return Err(not_ready("the token file cannot be used"));
    }
    Ok(json(StatusCode::OK, &object([("status", text("ready"))])))
}
