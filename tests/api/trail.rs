#![cfg(test)]
//! The trail and the trace over HTTP.

use crate::document::sound;
use crate::service::Service;
use fascicle::base::json::Node;

#[tokio::test]
async fn the_trail_comes_page_by_page_and_by_session_target_and_event() {
    let service = Service::new().await;
    service.submitted().await;
    let said = r#"{"by":"A. Ward","why":"night"}"#;
    service
        .post("/v1/targets/ward/pause", said)
        .await
        .with_status(200);

    let page = service
        .get("/v1/trail?limit=2")
        .await
        .with_status(200)
        .json();
    let rest = service
        .get(&format!("/v1/trail?limit=2&after={}", page["next"]))
        .await
        .json();

    let events = |page: &serde_json::Value| {
        let rows = page["rows"].as_array().expect("rows").clone();
        rows.iter()
            .map(|row| row["event"].as_str().expect("an event").to_owned())
            .collect::<Vec<_>>()
    };
    assert_eq!(events(&page), ["accepted", "queued"]);
    assert_eq!(events(&rest), ["paused"]);
    assert!(rest["next"].is_null() && rest["rows"][0]["session"].is_null());
    let session = sound()
        .at(&["session", "id"])
        .and_then(Node::text)
        .expect("an id")
        .to_owned();
    let of_session = service
        .get(&format!("/v1/trail?session={session}"))
        .await
        .json();
    assert_eq!(events(&of_session), ["accepted", "queued"]);
    assert_eq!(
        events(&service.get("/v1/trail?target=ward").await.json()),
        ["queued", "paused"]
    );
    assert_eq!(
        events(&service.get("/v1/trail?event=paused").await.json()),
        ["paused"]
    );
}

#[tokio::test]
async fn the_trail_verifies_and_says_when_a_noted_hash_is_gone() {
    let service = Service::new().await;
    service.submitted().await;

    let first = service
        .get("/v1/trail/verify")
        .await
        .with_status(200)
        .json();
    let hash = first["last_hash"].as_str().expect("a hash");
    let kept = service
        .get(&format!("/v1/trail/verify?expect={hash}"))
        .await
        .json();
    let gone = service
        .get(&format!("/v1/trail/verify?expect={}", "0".repeat(64)))
        .await
        .json();

    assert_eq!((&first["holds"], &first["rows"]), (&true.into(), &2.into()));
    assert_eq!(kept["holds"], true);
    assert_eq!(gone["holds"], false);
    assert_eq!(gone["faults"].as_array().map(Vec::len), Some(1));
}

#[tokio::test]
async fn an_observation_leads_back_to_its_words_and_to_the_rows_of_the_tables() {
    let service = Service::new().await;
    service.submitted().await;
    let record = service.outbox.sessions().await.expect("sessions")[0]
        .record
        .as_it_stands()
        .open()
        .clone();
    let record = Node::parse(&record).expect("JSON");
    let of_measure = |entry: &&Node| {
        let coding = entry
            .at(&["resource", "code"])
            .map(|code| code.items_of("coding"));
        coding.is_some_and(|all| {
            all.iter().any(|one| {
                one.text_of("code")
                    .is_some_and(|code| code.starts_with("range.passive.ankle.dorsi"))
            })
        })
    };
    let entry = record
        .items_of("entry")
        .iter()
        .find(of_measure)
        .expect("one");
    let urn = entry.text_of("fullUrl").expect("a name");

    let trace = service
        .get(&format!("/v1/trace?observation={urn}"))
        .await
        .with_status(200)
        .json();

    let measure = trace["captured"]["measure"].as_str().expect("captured");
    assert!(
        measure.starts_with("range.passive.ankle.dorsi"),
        "{measure}"
    );
    assert_eq!(trace["sent"]["resourceType"], "Observation");
    let rows = trace["rows"].as_array().expect("rows");
    let tables: Vec<&str> = rows
        .iter()
        .filter_map(|row| row["table"].as_str())
        .collect();
    for table in [
        "measures.csv",
        "codes.csv",
        "sites.csv",
        "scales/ending.csv",
    ] {
        assert!(tables.contains(&table), "{table}: {tables:?}");
    }
    for row in rows {
        let source = row["source"].as_str().expect("a source");
        let sources = include_str!("../../profiles/SOURCES.toml");
        assert!(sources.contains(&format!("[{source}]")), "{row}");
        assert!(!row["locator"].as_str().expect("a locator").is_empty());
    }
    let nothing = service.get("/v1/trace?observation=Observation/0").await;
    assert_eq!(nothing.with_status(404).problem(), "not-found");
}
