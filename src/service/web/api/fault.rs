//! What went wrong, as a problem document (RFC 9457).

use crate::base::json::{Node, object, text};
use crate::delivery::outbox::OutboxError;
use crate::examination::intake::sheet::rows::Rows;
use crate::service::app::encode::Held;
use crate::service::app::shown;
use crate::tables::catalogue::CANONICAL;
use axum::http::{HeaderName, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};

/// A problem document with its status and headers.
#[derive(Debug)]
pub(super) struct Fault {
    status: StatusCode,
    kind: &'static str,
    title: &'static str,
    detail: String,
    more: Vec<(&'static str, Node)>,
    headers: Vec<(HeaderName, HeaderValue)>,
}

impl Fault {
    pub(super) fn new(
        status: StatusCode,
        kind: &'static str,
        title: &'static str,
        detail: impl Into<String>,
    ) -> Self {
        Self {
            status,
            kind,
            title,
            detail: detail.into(),
            more: Vec::new(),
            headers: Vec::new(),
        }
    }

    pub(super) fn not_found(detail: &'static str) -> Self {
        Self::new(StatusCode::NOT_FOUND, "not-found", "not found", detail)
    }

    pub(super) fn bad_request(detail: impl Into<String>) -> Self {
        let title = "the request is not understood";
        Self::new(StatusCode::BAD_REQUEST, "bad-request", title, detail)
    }

    /// The service cannot answer now, and may later.
    pub(super) fn unavailable(kind: &'static str, title: &'static str, detail: String) -> Self {
        Self::new(StatusCode::SERVICE_UNAVAILABLE, kind, title, detail).asked_for_again()
    }

    /// Says when to ask again.
    pub(super) fn asked_for_again(self) -> Self {
        self.with_header(header::RETRY_AFTER, HeaderValue::from_static("1"))
    }

    /// A document that was not accepted, with every problem at once.
    pub(super) fn held(
        status: StatusCode,
        kind: &'static str,
        title: &'static str,
        detail: &'static str,
        held: &Held,
        rows: Option<&Rows>,
    ) -> Self {
        let mut fault = Self::new(status, kind, title, detail);
        let problems = shown::problems(&held.problems, rows);
        fault.more.push(("problems", problems));
        if !held.urgent.is_empty() {
            let codes = held.urgent.iter().map(|code| text(code.clone()));
            fault.more.push(("urgent", Node::List(codes.collect())));
            fault.detail.push_str(
                "; it holds something urgent: tell the treating team by telephone or in person",
            );
        }
        fault
    }

    pub(super) fn with_header(mut self, name: HeaderName, value: HeaderValue) -> Self {
        self.headers.push((name, value));
        self
    }
}

impl From<OutboxError> for Fault {
    fn from(error: OutboxError) -> Self {
        if let OutboxError::Unread(unread) = error {
            // It stands in the log already: whoever reads a kept text says so.
            return Self::new(
                StatusCode::INTERNAL_SERVER_ERROR,
                "kept-unread",
                "what is kept does not read, and this depends on it",
                format!(
                    "{unread}; nothing was changed, and nothing goes on as if it were not there: its keeper \
                     has to put it right, or to bring this node up to date"
                ),
            );
        }
        // The sentence of the store names no content.
        tracing::error!(error = %error, "the store failed");
        Self::new(
            StatusCode::INTERNAL_SERVER_ERROR,
            "fault",
            "a fault of the service or the machine",
            "nothing was changed; the log of the service says more, under the same request id",
        )
    }
}

impl IntoResponse for Fault {
    fn into_response(self) -> Response {
        let mut members = vec![
            ("type", text(format!("{CANONICAL}/problem/{}", self.kind))),
            ("title", text(self.title)),
            ("status", shown::number(self.status.as_u16())),
            ("detail", text(self.detail)),
        ];
        members.extend(self.more);
        let mut response = (self.status, object(members).compact()).into_response();
        let headers = response.headers_mut();
        // RFC 9457, section 3: "its media type is application/problem+json".
        headers.insert(
            header::CONTENT_TYPE,
            HeaderValue::from_static("application/problem+json"),
        );
        headers.insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
        headers.extend(self.headers);
        response
    }
}
