//! What every answer in JSON carries.

use crate::base::json::Node;
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};

/// An answer in JSON. What is told here may be about a person, so nobody may keep it on the way.
pub(super) fn json(status: StatusCode, node: &Node) -> Response {
    let kind = HeaderValue::from_static("application/json");
    let store = HeaderValue::from_static("no-store");
    let headers = [(header::CONTENT_TYPE, kind), (header::CACHE_CONTROL, store)];
    (status, headers, node.compact()).into_response()
}
