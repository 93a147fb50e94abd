//! Whether the service lives, and whether it can take documents.

use crate::base::json::{Node, object, text};
use crate::delivery::outbox::kept::MOST_NAMED;
use crate::service::app::kept;
use crate::service::web::api::answer::json;
use crate::service::web::api::fault::Fault;
use crate::service::web::api::readiness::Look;
use crate::service::web::api::serving::Serving;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;

pub(super) async fn live() -> Response {
    json(StatusCode::OK, &object([("status", text("live"))]))
}

/// Ready means: a document that holds is accepted. A record server that sleeps does not count, because
/// what is accepted waits for it. Kept rows that do not read are named: they stand for themselves and what
/// depends on them, so the service stays ready for everybody else.
pub(super) async fn ready(State(serving): State<Serving>) -> Result<Response, Fault> {
    let seen = serving.readiness.seen(look(&serving)).await;
    let unread = seen.map_err(|detail| {
        let title = "the service cannot take documents";
        Fault::unavailable("not-ready", title, detail.to_owned())
    })?;
    let mut answer = vec![("status", text("ready"))];
    if !unread.is_empty() {
        // Whatever depends on one of these is refused; everything else is taken.
        let rows = unread.into_iter().map(text);
        answer.push(("unread", Node::List(rows.collect())));
    }
    Ok(json(StatusCode::OK, &object(answer)))
}

async fn look(serving: &Serving) -> Look {
    if let Err(cause) = serving.outbox.targets().await {
        tracing::error!(error = %cause, "the store failed");
        return Err("the store does not answer");
    }
    if let Err(cause) = serving.tokens.usable() {
        tracing::error!(error = %cause, "the token file cannot be used");
        return Err("the token file cannot be used");
    }
    let unread = kept::unread(&serving.outbox).await.map_err(|cause| {
        tracing::error!(error = %cause, "the store failed");
        "the store does not answer"
    })?;
    let rows = unread.iter().map(ToString::to_string);
    Ok(rows.take(MOST_NAMED).collect())
}
