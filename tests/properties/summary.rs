#![cfg(test)]
//! Laws of the summary of any session: everything is said once, and nothing that is not there.

use crate::facts::disagreements;
use crate::sessions::session;
use chrono::{DateTime, Utc};
use fascicle::base::json::Node;
use fascicle::delivery::outbox::Outbox;
use fascicle::service::app::assess::Earlier;
use fascicle::service::app::encode::encode;
use fascicle::service::app::submit::{Submitted, submit};
use fascicle::service::app::summary::{SummaryAnswer, Wanted, kept};

const SESSIONS: usize = 60;

#[test]
fn every_statement_of_a_random_session_is_said_once_and_nothing_else_is() {
    let now = "2026-11-25T00:00:00Z".parse().expect("a time");
    let mut faults = Vec::new();

    for number in 0..SESSIONS {
        let document = session(number);
        let encoded = encode(
            &document.compact(),
            &Earlier::default(),
            crate::document::catalogue(),
            now,
        );
        let encoded = encoded.expect("random sessions hold");
        let record = encoded.checked.record();
        let entries = record.entries.iter();
        let observations: Vec<&Node> = entries
            .filter(|entry| entry.kind == "Observation")
            .map(|entry| &entry.resource)
            .collect();
        let text = encoded.summary.text();

        let told = disagreements(&observations, &text);
        let short = told
            .into_iter()
            .map(|fault| fault.chars().take(400).collect::<String>());
        faults.extend(short.map(|fault| format!("{number}: {fault}")));
        let reasons = document.items_of("findings").iter();
        let left_out = reasons
            .filter(|one| one.member("not_tested").is_some())
            .count();
        let said = text.matches(": not tested: ").count();
        if left_out != said {
            faults.push(format!("{number}: {left_out} left out, {said} said"));
        }
    }

    assert!(faults.is_empty(), "{faults:#?}");
}

/// What leaves for the record server and what is told of the kept session come from one assessment.
#[tokio::test]
async fn every_random_session_is_delivered_in_the_words_in_which_it_is_told_later() {
    let now: DateTime<Utc> = "2026-11-25T00:00:00Z".parse().expect("a time");
    let catalogue = crate::document::catalogue();
    let targets = ["ward".to_owned()];
    let mut faults = Vec::new();

    for number in 0..SESSIONS {
        let folder = tempfile::tempdir().expect("a folder");
        let outbox = Outbox::open(folder.path()).await.expect("a store");
        let text = session(number).compact();
        let submitted = submit(&outbox, catalogue, &targets, &text, now).await;
        let Ok(Submitted::Accepted { session, .. }) = submitted else {
            panic!("random sessions hold: {number}");
        };
        let record = outbox.sessions().await.expect("sessions")[0].record.node();
        let record = record.expect("it reads");
        let mut entries = record.items_of("entry").iter();
        let panel = entries.find(|entry| entry.at(&["resource", "hasMember"]).is_some());
        let delivered = panel.and_then(|entry| entry.at(&["resource", "text", "div"]));
        let delivered = delivered.and_then(Node::text).expect("a narrative");

        let today = now.date_naive();
        let told = kept(&outbox, catalogue, session, Wanted::Session, today).await;

        let Ok(SummaryAnswer::Summary(told)) = told else {
            panic!("the session is kept: {number}");
        };
        if told.xhtml() != delivered {
            faults.push(number);
        }
        outbox.close().await;
    }

    assert!(faults.is_empty(), "{faults:?}");
}
