//! Whether the service lives, and whether it can take documents.

use crate::base::json::{Node, object, text};
use crate::delivery::outbox::kept::MOST_NAMED;
use crate::service::app::kept;
use crate::service::web::api::fault::Fault;
use crate::service::web::api::{Desk, json};
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;

pub(super) async fn live() -> Response {
    json(StatusCode::OK, &object([("status", text("live"))]))
}

/// Ready means: a document that holds is accepted. A record server that sleeps does not count, because
/// what is accepted waits for it. Kept rows that do not read are named: they stand for themselves and what
/// depends on them, so the service stays ready for everybody else.
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
    let unread = match kept::unread(&desk.outbox).await {
        Ok(unread) => unread,
        Err(cause) => {
            tracing::error!(error = %cause, "the store failed");
            return Err(not_ready("the store does not answer"));
        }
    };
    let mut answer = vec![("status", text("ready"))];
    if !unread.is_empty() {
        // Whatever depends on one of these is refused; everything else is taken.
        let rows = unread.iter().map(|one| text(one.to_string()));
        answer.push(("unread", Node::List(rows.take(MOST_NAMED).collect())));
    }
    Ok(json(StatusCode::OK, &object(answer)))
}
