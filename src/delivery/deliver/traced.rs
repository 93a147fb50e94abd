//! The trace of one request to a record server.

use crate::delivery::deliver::unanswered::Unanswered;
use crate::delivery::deliver::wire::Response;
use reqwest::Method;
use tracing::field::Empty;

/// The trace of one request: name, kind and attributes as a client has them in the OpenTelemetry
/// semantic conventions for HTTP spans (from memory). They want `url.full` as well: an address can
/// hold an identifier, so it stays away. Its target keeps the span out of the log.
pub(super) fn span(base: &str, method: &Method, interaction: &str) -> tracing::Span {
    let span = tracing::info_span!(
        target: "traces",
        "request",
        "otel.name" = method.as_str(),
        "otel.kind" = "client",
        "otel.status_code" = Empty,
        "http.request.method" = method.as_str(),
        "http.response.status_code" = Empty,
        "server.address" = Empty,
        "error.type" = Empty,
        "fascicle.interaction" = interaction,
    );
    if !span.is_disabled()
        && let Ok(base) = reqwest::Url::parse(base)
        && let Some(host) = base.host_str()
    {
        span.record("server.address", host);
    }
    span
}

/// What came of a request. To a client every status from 400 on is an error (OpenTelemetry semantic
/// conventions, HTTP spans, status; from memory).
pub(super) fn ended(span: &tracing::Span, exchanged: &Result<Response, Unanswered>) {
    match exchanged {
        Ok(response) => {
            // Signed: what is unsigned is exported as text, and the convention says int.
            span.record("http.response.status_code", i64::from(response.status));
            if response.status >= 400 {
                span.record("error.type", response.status.to_string());
                span.record("otel.status_code", "ERROR");
            }
        }
        Err(unanswered) => {
            span.record("error.type", unanswered.silence.code().word());
            span.record("otel.status_code", "ERROR");
        }
    }
}
