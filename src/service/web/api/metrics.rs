//! Counts for a monitor.

use crate::service::app::kept;
use crate::service::web::api::fault::Fault;
use crate::service::web::api::serving::Serving;
use crate::service::web::meters::Seen;
use axum::extract::State;
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use prometheus_client::encoding::text::encode;

pub(super) async fn metrics(State(serving): State<Serving>) -> Result<Response, Fault> {
    let seen = Seen {
        targets: serving.outbox.targets().await?,
        left_alone: serving.outbox.left_alone().await?,
        events: serving.outbox.events().await?,
        urgent: serving.outbox.urgent_open().await?,
        unread: kept::unread(&serving.outbox).await?,
    };
    let paused: Vec<&str> = serving
        .outside
        .targets
        .iter()
        .filter(|target| target.paused)
        .map(|target| target.name.as_str())
        .collect();
    let registry = serving.meters.registry(&seen, &paused, serving.clock.now());
    let mut text = String::new();
    encode(&mut text, &registry).map_err(|_never_for_a_string| {
        let title = "a fault of the service";
        Fault::new(
            StatusCode::INTERNAL_SERVER_ERROR,
            "fault",
            title,
            "the counts cannot be written",
        )
    })?;
    // OpenMetrics 1.0, "Overall Structure": the media type with its version.
    let kind =
        HeaderValue::from_static("application/openmetrics-text; version=1.0.0; charset=utf-8");
    Ok(([(header::CONTENT_TYPE, kind)], text).into_response())
}
