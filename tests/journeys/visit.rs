#![cfg(test)]
//! A visit that was refused, not begun or broken off is a session as well.

use crate::document::{edited, encoded, set, told};
use crate::part::{component, component_word};
use crate::resource::{all, of_measure, own_code};
use crate::second_form::second_form;
use fascicle::base::json::Node;

const REFUSED: [(&str, &str); 4] = [
    ("/findings", "[]"),
    (
        "/session/consent",
        r#"{"given":"no","how":"asked, and turned away"}"#,
    ),
    (
        "/session/visit",
        r#"{"outcome":"refused","reason":"too tired today"}"#,
    ),
    ("/precautions/0/side", r#""right""#),
];

#[test]
fn a_refused_visit_without_findings_is_accepted_and_nobody_is_asked_about_consent() {
    // The document's own edit of the sixth finding goes with the list.
    let document = edited(&[&[("/fascicle", r#""session/2""#)], &REFUSED[..]].concat());

    assert_eq!(told(&document), [""; 0]);
    let encoded = encoded(&document);
    let panel = of_measure(&encoded, "session.examination")[0];
    let outcome = component_word(panel, "visit-outcome", "visit-outcome");
    assert_eq!(outcome, Some("refused"));
    let reason = component(panel, "visit-reason").and_then(|one| one.text_of("valueString"));
    assert_eq!(reason, Some("too tired today"));
    let absent = panel.member("dataAbsentReason");
    assert_eq!(own_code(absent, "visit-outcome"), Some("refused"));
    // The precaution and the panel.
    assert_eq!(all(&encoded, "Observation").len(), 2);
    let text = encoded.summary.text();
    assert!(
        text.contains("The examination was refused: \u{201c}too tired today\u{201d}."),
        "{text}"
    );
}

#[test]
fn a_refused_visit_may_list_what_was_refused() {
    let list = r#"[{"measure":"clonus.ankle","side":"right","neighbour":{"joint":"knee",
        "position":"straight"},"not_tested":{"reason":"refused"},"method":"handling"}]"#;
    let edits = [
        &[("/fascicle", r#""session/2""#)],
        &REFUSED[..],
        &[("/findings", list)],
    ]
    .concat();

    assert_eq!(told(&edited(&edits)), [""; 0]);
}

#[test]
fn what_was_found_before_a_visit_was_broken_off_stands() {
    let off = r#"{"outcome":"broken-off","reason":"felt dizzy"}"#;
    let encoded = encoded(&second_form(&[("/session/visit", off)]));

    let panel = of_measure(&encoded, "session.examination")[0];
    assert_eq!(panel.member("dataAbsentReason"), None);
    assert!(!of_measure(&encoded, "clonus.ankle").is_empty());
    let text = encoded.summary.text();
    assert!(
        text.contains("The examination was broken off: \u{201c}felt dizzy\u{201d}."),
        "{text}"
    );
}

#[test]
fn a_refused_visit_with_a_result_is_refused() {
    let document = second_form(&[REFUSED[2]]);

    assert_eq!(told(&document), ["error visit.found /findings/0"]);
}

#[test]
fn no_findings_without_a_word_why_are_refused() {
    let document = edited(&[("/fascicle", r#""session/2""#), ("/findings", "[]")]);

    assert_eq!(told(&document), ["error findings.unsaid /findings"]);
}

#[test]
fn consent_that_was_refused_is_asked_about_where_something_was_done_all_the_same() {
    let document = second_form(&[REFUSED[1]]);

    assert_eq!(
        told(&document),
        ["caution consent.refused /session/consent/given"]
    );
}

#[test]
fn a_visit_of_another_word_is_refused_and_in_the_first_form_any() {
    let visit = [(
        "/session/visit",
        r#"{"outcome":"postponed","reason":"no time"}"#,
    )];
    let empty = [("/findings", "[]")];

    assert!(
        told(&second_form(&visit))
            .contains(&"error word.unknown /session/visit/outcome".to_owned())
    );
    let off = [(
        "/session/visit",
        r#"{"outcome":"broken-off","reason":"no time"}"#,
    )];
    assert_eq!(told(&edited(&off)), ["error field.newer /session/visit"]);
    assert_eq!(told(&edited(&empty)), ["error field.empty /findings"]);
}

/// A recording of the fixture that holds all of them, as something said of it instead.
fn recording(withdrawn: bool) -> (String, String) {
    let all = include_str!("../../fixtures/sessions/every-trace.json");
    let all = Node::parse(all).expect("JSON");
    let mut one = all.items_of("traces")[0].clone();
    set(&mut one, "/withdrawn", Some(Node::Bool(withdrawn)));
    let instruments = all.member("instruments").expect("instruments");
    (format!("[{}]", one.compact()), instruments.compact())
}

#[test]
fn a_recording_counts_as_examined_unless_it_is_withdrawn() {
    let off = r#"{"outcome":"broken-off","reason":"felt dizzy"}"#;
    let outcome_of = |withdrawn: bool| {
        let (traces, instruments) = recording(withdrawn);
        let edits = [
            ("/fascicle", r#""session/2""#),
            ("/findings", "[]"),
            ("/session/visit", off),
            ("/traces", traces.as_str()),
            ("/instruments", instruments.as_str()),
        ];
        let encoded = encoded(&edited(&edits));
        let panel = of_measure(&encoded, "session.examination")[0];
        own_code(panel.member("dataAbsentReason"), "visit-outcome").map(str::to_owned)
    };

    assert_eq!(outcome_of(false), None);
    assert_eq!(outcome_of(true).as_deref(), Some("broken-off"));
}
