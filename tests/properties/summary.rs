#![cfg(test)]
//! Laws of the summary of any session: everything is said once, and nothing that is not there.

use crate::facts::disagreements;
use crate::sessions::session;
use fascicle::base::json::Node;
use fascicle::service::app::encode::{Earlier, encode};

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
