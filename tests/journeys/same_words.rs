#![cfg(test)]
//! What is delivered of a session and what is told of it once it is kept are the same words.

use crate::document::{catalogue, edited, marked, now, set};
use crate::store::Store;
use fascicle::base::json::Node;
use fascicle::service::app::summary::{SummaryAnswer, Wanted, kept};
use std::path::Path;

const CONFIRMED_BY: &str = "\"by\":\"therapist\",\"at\":\"2026-11-16T10:05:00+01:00\",\"reason\":\"measured \
                            twice\"";

/// The narrative of the panel that was kept for delivery, and the summary of the kept session.
async fn both(document: &Node) -> (String, String) {
    let store = Store::open().await;
    store.submit(document).await.expect("it holds");
    let sessions = store.outbox.sessions().await.expect("the sessions");
    let record = sessions[0].record.node().expect("it reads");
    let panel = record.items_of("entry").iter().find(|entry| {
        let members = entry.at(&["resource", "hasMember"]);
        members.is_some()
    });
    let panel = panel.expect("a panel");
    let narrative = panel.at(&["resource", "text", "div"]).and_then(Node::text);
    let today = now().date_naive();
    let asked = kept(
        &store.outbox,
        catalogue(),
        sessions[0].session,
        Wanted::Session,
        today,
    )
    .await;
    let SummaryAnswer::Summary(summary) = asked.expect("the store answers") else {
        panic!("the session is kept");
    };
    (narrative.expect("a narrative").to_owned(), summary.xhtml())
}

fn confirming(document: Node, code: &str, path: &str) -> Node {
    let confirmation = format!("[{{\"code\":\"{code}\",\"path\":\"{path}\",{CONFIRMED_BY}}}]");
    let mut document = document;
    let confirmation = Node::parse(&confirmation).expect("JSON");
    set(&mut document, "/session/confirmations", Some(confirmation));
    marked(document)
}

#[tokio::test]
async fn every_fixture_is_delivered_in_the_words_in_which_it_is_told_later() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/sessions");
    let mut compared = 0;
    for name in ["first", "second", "sound", "every-measure", "every-trace"] {
        let file = std::fs::File::open(folder.join(format!("{name}.json"))).expect("a fixture");
        let document = std::io::read_to_string(file).expect("text");

        let (delivered, told) = both(&Node::parse(&document).expect("JSON")).await;

        assert_eq!(delivered, told, "{name}");
        compared += 1;
    }
    assert_eq!(compared, 5);
}

#[tokio::test]
async fn a_confirmed_angle_of_a_plane_is_told_of_its_own_movement_in_both() {
    let finding = r#"[{"measure":"range.passive.knee","side":"right","neighbour":{"joint":"hip","position":"straight"},"value":{"notation":{
        "order":"extension/flexion","text":"5-0-170"},"unit":"deg"},"ended":{"how":"end-of-range"},
        "method":"goniometry","instrument":"goniometer"}]"#;
    let document = edited(&[("/findings", finding)]);
    let document = confirming(document, "angle.unusual", "/findings/0/value/notation");

    let (delivered, told) = both(&document).await;

    assert_eq!(delivered, told);
    assert!(
        delivered.contains("passive flexion of the knee: 170"),
        "{delivered}"
    );
    for raw in [
        "range.passive.knee",
        "a caution named",
        "passive extension of the knee: 170",
    ] {
        assert!(!delivered.contains(raw), "{raw}: {delivered}");
    }
}

#[tokio::test]
async fn a_confirmed_direction_of_a_trace_is_told_in_its_own_words_in_both() {
    let text = include_str!("../../fixtures/sessions/every-trace.json");
    let mut document = Node::parse(text).expect("JSON");
    let first = document.items_of("traces")[0].clone();
    let mut turned = first;
    let positive = Node::Text("plantarflexion".to_owned());
    set(&mut turned, "/positive", Some(positive));
    set(&mut document, "/traces", Some(Node::List(vec![turned])));
    let document = confirming(document, "trace.direction", "/traces/0/positive");

    let (delivered, told) = both(&document).await;

    assert_eq!(delivered, told);
    assert!(
        delivered.contains("runs in the direction in which the muscle shortens"),
        "{delivered}"
    );
    assert!(!delivered.contains("a caution named"), "{delivered}");
}
