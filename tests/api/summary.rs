#![cfg(test)]
//! The summary over HTTP.

use crate::document::sound;
use crate::service::Service;
use fascicle::base::json::Node;

#[tokio::test]
async fn a_session_and_all_of_its_person_are_told_in_plain_words() {
    let service = Service::new().await;
    service.submitted().await;
    let sound = sound();
    let id = sound.at(&["session", "id"]).and_then(Node::text);
    let address = format!("/v1/sessions/{}/summary", id.expect("an id"));

    let alone = service.get(&address).await.with_status(200);
    let handover = service.get(&format!("{address}?view=handover")).await;
    let discharge = service.get(&format!("{address}?view=discharge")).await;

    assert_eq!(alone.header("cache-control"), "no-store");
    let alone = alone.json();
    assert_eq!(alone["sections"][0]["code"], "precautions");
    let text = alone["text"].as_str().expect("text");
    assert!(text.contains("- Right: passive dorsiflexion of the ankle, knee straight: 15 degrees"));
    let line = &alone["sections"][1]["lines"][0];
    assert!(
        line["about"][0]
            .as_str()
            .is_some_and(|urn| urn.starts_with("urn:uuid:")),
        "{line}"
    );
    let title = |answer: serde_json::Value| answer["title"].as_str().map(str::to_owned);
    let handover = title(handover.with_status(200).json()).expect("a title");
    assert!(
        handover.starts_with("Handover, as of 25 November 2026"),
        "{handover}"
    );
    let discharge = title(discharge.with_status(200).json()).expect("a title");
    assert!(discharge.starts_with("Discharge"), "{discharge}");
}

#[tokio::test]
async fn what_is_not_kept_or_not_a_view_is_a_problem() {
    let service = Service::new().await;
    service.submitted().await;

    let nowhere = "/v1/sessions/00000000-0000-0000-0000-000000000000/summary";
    assert_eq!(
        service.get(nowhere).await.with_status(404).problem(),
        "not-found"
    );
    let no_uuid = service.get("/v1/sessions/Testperson/summary").await;
    assert_eq!(no_uuid.with_status(404).problem(), "not-found");
    for query in ["view=ward", "person=TEST-0001"] {
        let answer = service.get(&format!("{nowhere}?{query}")).await;
        assert_eq!(answer.with_status(400).problem(), "bad-request");
    }
}
