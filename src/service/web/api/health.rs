//! Whether the service lives, and whether it can take documents.

use crate::base::json::{object, text};
use crate::service::web::api::answer::json;
use crate::service::web::api::fault::Fault;
use crate::service::web::api::serving::Serving;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;

pub(super) async fn live() -> Response {
    json(StatusCode::OK, &object([("status", text("live"))]))
}

/// Ready means: a document that holds is accepted. A record server that sleeps does not count, because
/// what is accepted waits for it.
pub(super) async fn ready(State(serving): State<Serving>) -> Result<Response, Fault> {
    let seen = serving.readiness.seen(look(&serving)).await;
    seen.map_err(|detail| {
        let title = "the service cannot take documents";
        Fault::unavailable("not-ready", title, detail.to_owned())
    })?;
    Ok(json(StatusCode::OK, &object([("status", text("ready"))])))
}

async fn look(serving: &Serving) -> Result<(), &'static str> {
    if let Err(cause) = serving.outbox.targets().await {
        tracing::error!(error = %cause, "the store failed");
        return Err("the store does not answer");
    }
    if let Err(cause) = serving.tokens.usable() {
        tracing::error!(error = %cause, "the token file cannot be used");
        return Err("the token file cannot be used");
    }
    Ok(())
}
