#![cfg(test)]
//! What the addresses say of a kept row that does not read.

use crate::document::{edited, sound};
use crate::service::Service;
use fascicle::base::json::Node;

const PRECAUTION: &str = "the precaution c2a7e0de-51b4-4f0c-8a92-5d7a4e1b9f31 of session \
                          7d1f0a52-3c68-4b0e-9a57-0f6b2e6c1a10 version 1";

fn next_session() -> String {
    let edits = [
        ("/session/id", "\"7d1f0a52-3c68-4b0e-9a57-0f6b2e6c1a11\""),
        ("/precautions", ""),
        ("/no_precautions", "\"asked and looked up, none known\""),
    ];
    edited(&edits).compact()
}

async fn ready(service: &Service) -> serde_json::Value {
    let answer = service.get("/v1/health/ready").await;
    answer.with_status(200).json()
}

async fn unread_in_metrics(service: &Service, kind: &str) -> bool {
    let metrics = service.get("/v1/metrics").await.with_status(200);
    let line = format!("fascicle_kept_unread{{kind=\"{kind}\"}} 1\n");
    metrics.text.contains(&line)
}

#[tokio::test]
async fn a_precaution_that_does_not_read_refuses_the_next_session_and_stands_in_ready_and_metrics()
{
    let service = Service::new().await;
    service.submitted().await;
    assert_eq!(
        ready(&service).await,
        serde_json::json!({"status": "ready"})
    );
    service
        .say("UPDATE precaution SET stated = '{\"of_a_later_release\":1,' || substr(stated, 2)")
        .await;

    let answer = service.post("/v1/sessions", next_session()).await;

    let answer = answer.with_status(500);
    assert_eq!(answer.problem(), "kept-unread");
    let detail = answer.json()["detail"]
        .as_str()
        .expect("a detail")
        .to_owned();
    assert!(detail.starts_with(PRECAUTION), "{detail}");
    assert!(detail.contains("does not read as form 1"), "{detail}");
    assert!(!answer.text.contains("fracture"), "{}", answer.text);
    let rows = ready(&service).await["unread"].clone();
    assert_eq!(rows.as_array().expect("rows").len(), 1);
    let row = rows[0].as_str().expect("a row");
    assert!(
        row.starts_with(PRECAUTION) && !row.contains("fracture"),
        "{row}"
    );
    assert!(unread_in_metrics(&service, "precaution").await);
    // Everybody else is taken.
    let edits = [
        ("/session/id", "\"7d1f0a52-3c68-4b0e-9a57-0f6b2e6c1a12\""),
        ("/patient/identifier/value", "\"TEST-0003\""),
    ];
    let other = service.post("/v1/sessions", edited(&edits).compact()).await;
    other.with_status(202);
}

#[tokio::test]
async fn a_document_that_does_not_read_stops_every_summary_and_the_words_behind_an_observation() {
    let service = Service::new().await;
    service.submitted().await;
    let record = service.outbox.sessions().await.expect("sessions")[0]
        .record
        .node()
        .expect("it reads");
    let urn = record.items_of("entry")[0].text_of("fullUrl");
    let urn = urn.expect("a name").to_owned();
    service
        .say("UPDATE session SET document = '{\"of_a_later_release\":1,' || substr(document, 2)")
        .await;
    let sound = sound();
    let id = sound.at(&["session", "id"]).and_then(Node::text);
    let address = format!("/v1/sessions/{}/summary", id.expect("an id"));

    for address in [
        address.clone(),
        format!("{address}?view=handover"),
        format!("{address}?view=discharge"),
        format!("/v1/trace?observation={urn}"),
    ] {
        let answer = service.get(&address).await.with_status(500);
        assert_eq!(answer.problem(), "kept-unread");
        let told = "the document of session 7d1f0a52-3c68-4b0e-9a57-0f6b2e6c1a10 version 1 does \
                    not read as form 1";
        assert!(answer.text.contains(told), "{}", answer.text);
        assert!(!answer.text.contains("Testperson"), "{}", answer.text);
    }

    assert!(unread_in_metrics(&service, "document").await);
    assert!(ready(&service).await["unread"][0].is_string());
}

#[tokio::test]
async fn what_a_newer_release_wrote_stands_in_ready_before_anybody_asks_for_it() {
    let service = Service::new().await;
    let item = service.submitted().await;
    service.say("UPDATE session SET form = 9").await;

    let rows = ready(&service).await["unread"].clone();

    let row = rows[0].as_str().expect("a row");
    assert!(
        row.contains("was written by a newer release: form 9, this binary reads up to"),
        "{row}"
    );
    let queue = service.get("/v1/queue").await.with_status(200);
    assert_eq!(queue.json()["items"][0]["item"], item["item"]);
    assert!(unread_in_metrics(&service, "document").await);
}

#[tokio::test]
async fn a_receipt_that_does_not_read_is_told_in_its_place_and_hides_no_other_delivery() {
    let service = Service::new().await;
    let item = service.submitted().await;
    service
        .say("UPDATE item SET state = 'delivered', receipt = '{\"resources\":'")
        .await;

    let queue = service
        .get("/v1/queue?all=true")
        .await
        .with_status(200)
        .json();

    let told = queue["items"][0]["unread"].as_str().expect("told");
    let id = item["item"].as_str().expect("an id");
    assert!(
        told.starts_with(&format!("the receipt {id} of session ")),
        "{told}"
    );
    assert!(queue["items"][0].get("receipt").is_none());
    assert!(unread_in_metrics(&service, "receipt").await);
}
