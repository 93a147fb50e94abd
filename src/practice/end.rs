//! What was begun is done to the end.

use crate::practice::outcome::Fault;
use axum::extract::Request;
use axum::http::StatusCode;
use axum::middleware::Next;
use axum::response::{IntoResponse as _, Response};

/// Runs a request to its end, also when whoever asked is gone: a record server does not undo
/// what it was sent, and a statement that is given up would take the connection with it, in which a
/// store in memory lives.
pub(super) async fn to_the_end(request: Request, next: Next) -> Response {
    let done = tokio::spawn(next.run(request)).await;
    done.unwrap_or_else(|_panicked| {
        let rule = "the practice server failed";
        Fault::new(StatusCode::INTERNAL_SERVER_ERROR, "exception", rule).into_response()
    })
}
