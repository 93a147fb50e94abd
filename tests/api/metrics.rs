#![cfg(test)]
//! The counts: their names are part of the interface. An outside parser reads them in tests/e2e.

use crate::document::sound;
use crate::service::Service;

#[tokio::test]
async fn every_documented_count_is_there_under_its_name() {
    let service = Service::new().await;
    service.submitted().await;
    service
        .post("/v1/sessions", sound().compact())
        .await
        .with_status(200);
    service.post("/v1/sessions", "{}").await.with_status(422);
    service.get("/v1/queue/Testperson").await.with_status(404);

    let metrics = service.get("/v1/metrics").await.with_status(200);

    assert_eq!(
        metrics.header("content-type"),
        "application/openmetrics-text; version=1.0.0; charset=utf-8"
    );
    let lines: Vec<&str> = metrics.text.lines().collect();
    for line in [
        concat!(
            "fascicle_build_info{version=\"",
            env!("CARGO_PKG_VERSION"),
            "\"} 1"
        ),
        "fascicle_documents_total{outcome=\"accepted\"} 1",
        "fascicle_documents_total{outcome=\"accepted-before\"} 1",
        "fascicle_documents_total{outcome=\"refused\"} 1",
        "fascicle_connections_closed_total{why=\"made-room\"} 0",
        "fascicle_connections_closed_total{why=\"unread\"} 0",
        "fascicle_queue_items{target=\"ward\",state=\"queued\"} 1",
        "fascicle_queue_items{target=\"ward\",state=\"delivered\"} 0",
        "fascicle_queue_oldest_seconds{target=\"ward\"} 0",
        "fascicle_target_paused{target=\"ward\"} 0",
        "fascicle_target_left_alone{target=\"ward\"} 0",
        "fascicle_queue_urgent_items{target=\"ward\",state=\"queued\"} 1",
        "fascicle_queue_urgent_items{target=\"ward\",state=\"waiting\"} 0",
        "fascicle_queue_urgent_oldest_seconds{target=\"ward\"} 0",
        "fascicle_trail_rows_total{event=\"accepted\",target=\"\"} 1",
        "fascicle_trail_rows_total{event=\"queued\",target=\"ward\"} 1",
        "fascicle_http_requests_total{method=\"POST\",route=\"/v1/sessions\",status=\"202\"} 1",
        "fascicle_http_requests_total{method=\"GET\",route=\"/v1/queue/{item}\",status=\"404\"} 1",
    ] {
        assert!(lines.contains(&line), "{line}\n{}", metrics.text);
    }
    assert_eq!(
        lines.last(),
        Some(&"# EOF"),
        "OpenMetrics 1.0: the text ends with EOF"
    );
    assert!(!metrics.text.contains("Testperson"));
}
