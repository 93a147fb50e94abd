#![cfg(test)]
//! What a person decides over HTTP: release, drop, pause and resume.

use crate::service::Service;

const SAID: &str = r#"{"by":"A. Ward","why":"looked at it"}"#;

#[tokio::test]
async fn a_delivery_is_given_up_once_and_by_whom_and_why_is_kept() {
    let service = Service::new().await;
    let item = service.submitted().await;
    let id = item["item"].as_str().expect("an id");

    let released = service
        .post(&format!("/v1/queue/{id}/release"), SAID)
        .await
        .with_status(200);
    let dropped = service
        .post(&format!("/v1/queue/{id}/drop"), SAID)
        .await
        .with_status(200);
    let again = service
        .post(&format!("/v1/queue/{id}/drop"), SAID)
        .await
        .with_status(409);

    assert_eq!(released.json()["state"], "queued");
    assert_eq!(dropped.json()["state"], "dropped");
    let decided = dropped.json()["decided"]
        .as_str()
        .expect("words")
        .to_owned();
    assert!(decided.contains("released by A. Ward") && decided.contains("looked at it"));
    assert_eq!(again.problem(), "nothing-to-decide");
    assert_eq!(
        service.get("/v1/queue").await.json()["items"],
        serde_json::json!([])
    );
    let all = service.get("/v1/queue?all=true&target=ward").await.json();
    assert_eq!(all["items"].as_array().map(Vec::len), Some(1));
    let by_state = service.get("/v1/queue?state=dropped").await.json();
    assert_eq!(by_state["items"][0]["item"], id);
    assert_eq!(
        service.get("/v1/queue?all=true&target=other").await.json()["items"],
        serde_json::json!([])
    );
}

#[tokio::test]
async fn who_and_why_have_to_be_said() {
    let service = Service::new().await;
    let item = service.submitted().await;
    let path = format!("/v1/queue/{}/drop", item["item"].as_str().expect("an id"));
    let long = "x".repeat(501);
    for said in [
        "",
        "[]",
        r#"{"by":"A. Ward"}"#,
        r#"{"by":" ","why":"w"}"#,
        r#"{"by":"A. Ward","why":"w","how":"h"}"#,
        &format!(r#"{{"by":"A. Ward","why":"{long}"}}"#),
    ] {
        let answer = service.post(&path, said.to_owned()).await.with_status(400);

        assert_eq!(answer.problem(), "bad-request", "{said}");
    }
    let nowhere = "/v1/queue/7d1f0a52-3c68-4b0e-9a57-0f6b2e6c1a01/drop";
    service.post(nowhere, SAID).await.with_status(404);
    assert_eq!(
        service.get("/v1/queue").await.json()["items"][0]["state"],
        "queued"
    );
}

#[tokio::test]
async fn a_paused_target_accepts_and_claims_nothing_until_it_goes_on() {
    let service = Service::new().await;
    service
        .post("/v1/targets/ward/pause", SAID)
        .await
        .with_status(200);
    service.submitted().await;
    let lease = fascicle::delivery::outbox::LeaseLength {
        whole: std::time::Duration::from_mins(1),
        margin: std::time::Duration::from_secs(10),
    };
    let claim = || service.outbox.claim("ward", lease, crate::document::now());

    assert!(claim().await.expect("the store").is_none());
    let told = service.get("/v1/targets").await.json()["targets"][0].clone();
    assert_eq!(told["paused"], true);
    assert_eq!(told["items"]["queued"], 1);
    assert_eq!(told["purpose"], "test");
    assert!(
        told["decided"]
            .as_str()
            .is_some_and(|words| words.contains("A. Ward"))
    );
    let again = service
        .post("/v1/targets/ward/pause", SAID)
        .await
        .with_status(409);
    assert_eq!(again.problem(), "nothing-to-decide");
    service
        .post("/v1/targets/nowhere/pause", SAID)
        .await
        .with_status(404);
    service
        .post("/v1/targets/ward/resume", SAID)
        .await
        .with_status(200);
    assert!(claim().await.expect("the store").is_some());

    let events: Vec<String> = service
        .outbox
        .trail(None)
        .await
        .expect("rows")
        .into_iter()
        .map(|row| row.event)
        .collect();
    assert_eq!(
        events,
        ["paused", "accepted", "queued", "resumed", "sending"]
    );
    assert_eq!(
        service
            .outbox
            .verify_trail(None)
            .await
            .expect("rows")
            .faults,
        Vec::<String>::new()
    );
}
