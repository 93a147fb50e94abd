#![cfg(test)]
//! A person is moved to another stay in the middle of an examination.

use crate::document::{edited, encoded, told};
use crate::resource::{all, of_measure};
use crate::second_form::second_form;
use fascicle::base::json::Node;

const AT_START: (&str, &str) = (
    "/session/encounter_at_start",
    r#"{"system":"https://invented-clinic.example/stays","value":"STAY-41"}"#,
);
const AT_END: (&str, &str) = (
    "/session/encounter",
    r#"{"system":"https://invented-clinic.example/stays","value":"STAY-42"}"#,
);

#[test]
fn everything_found_belongs_to_the_stay_in_which_it_began() {
    let encoded = encoded(&second_form(&[AT_START, AT_END]));

    for resource in all(&encoded, "Observation") {
        let stay = resource.at(&["encounter", "identifier", "value"]);
        assert_eq!(stay.and_then(Node::text), Some("STAY-41"));
    }
    let panel = of_measure(&encoded, "session.examination")[0];
    let mut notes = panel
        .items_of("note")
        .iter()
        .filter_map(|note| note.text_of("text"));
    assert!(notes.any(|note| note.contains("STAY-42")));
    assert!(
        encoded
            .summary
            .text()
            .contains("Moved to another stay during the examination")
    );
}

#[test]
fn one_stay_alone_is_the_stay_as_before() {
    let encoded = encoded(&second_form(&[AT_END]));

    let clonus = of_measure(&encoded, "clonus.ankle")[0];
    let stay = clonus.at(&["encounter", "identifier", "value"]);
    assert_eq!(stay.and_then(Node::text), Some("STAY-42"));
    assert!(!encoded.summary.text().contains("Moved"));
}

#[test]
fn a_start_without_an_end_or_with_the_same_is_refused() {
    let same = (AT_END.0, AT_START.1);

    let path = "/session/encounter_at_start";
    assert_eq!(
        told(&second_form(&[AT_START])),
        [format!("error encounter.end {path}")]
    );
    assert_eq!(
        told(&second_form(&[AT_START, same])),
        [format!("error encounter.same {path}")]
    );
}

#[test]
fn the_stay_at_the_start_needs_the_second_form() {
    let path = "/session/encounter_at_start";

    assert_eq!(
        told(&edited(&[AT_START, AT_END])),
        [format!("error field.newer {path}")]
    );
}
