#![cfg(test)]
//! A confirmation binds to what was found: any change of it ends the confirmation.

use crate::document::{edited, encoding, set, told};
use crate::second_form::second_form;
use fascicle::base::json::{Node, text};
use fascicle::service::app::assess::mark;

/// A passive shoulder past the angle of the table, on the more affected side.
fn raised(degrees: &str) -> Node {
    let finding = format!(
        r#"[{{"measure":"range.passive.shoulder.flexion","side":"right","value":{{"beyond_neutral":
        "{degrees}","unit":"deg"}},"ended":{{"how":"end-of-range"}},"method":"goniometry",
        "instrument":"goniometer"}}]"#
    );
    edited(&[("/findings", &finding)])
}

fn problems(document: &Node) -> Vec<fascicle::base::problem::Problem> {
    match encoding(document) {
        Ok(encoded) => encoded.told,
        Err(held) => held.problems,
    }
}

/// The mark of the one caution of this code.
fn mark_in(document: &Node, code: &str) -> String {
    let problems = problems(document);
    let caution = problems.iter().find(|one| one.code.word() == code);
    mark(caution.expect("the caution is raised"))
}

fn confirmed(mut document: Node, code: &str, mark: &str) -> Node {
    let confirmation = format!(
        r#"[{{"code":"{code}","path":"/findings/0","mark":"{mark}","by":"therapist",
        "at":"2026-11-16T10:05:00+01:00","reason":"felt and seen: the scapula moves with it"}}]"#
    );
    let confirmation = Node::parse(&confirmation).expect("JSON");
    set(&mut document, "/session/confirmations", Some(confirmation));
    document
}

fn is_confirmed(document: &Node, code: &str) -> bool {
    let told = told(document);
    let stands = told
        .iter()
        .any(|line| line.starts_with(&format!("caution {code}")));
    let noted = told
        .iter()
        .any(|line| line.starts_with(&format!("note {code}")));
    assert_ne!(stands, noted, "{told:?}");
    noted
}

#[test]
fn a_shoulder_confirmed_at_95_5_degrees_is_asked_about_again_at_179() {
    let mark = mark_in(&raised("95.5"), "shoulder.past");

    assert!(is_confirmed(
        &confirmed(raised("95.5"), "shoulder.past", &mark),
        "shoulder.past"
    ));
    let moved = confirmed(raised("179"), "shoulder.past", &mark);
    assert!(!is_confirmed(&moved, "shoulder.past"));
    assert!(
        told(&moved)
            .iter()
            .any(|line| line.starts_with("error confirmation.idle"))
    );
}

#[test]
fn a_shoulder_confirmed_in_one_session_is_asked_about_in_another() {
    let elsewhere = || {
        let mut document = raised("95.5");
        let id = text("7d1f0a52-3c68-4b0e-9a57-0f6b2e6c1a99");
        set(&mut document, "/session/id", Some(id));
        document
    };
    let mark = mark_in(&raised("95.5"), "shoulder.past");

    let moved = confirmed(elsewhere(), "shoulder.past", &mark);

    assert!(!is_confirmed(&moved, "shoulder.past"));
    assert_ne!(mark, mark_in(&elsewhere(), "shoulder.past"));
}

#[test]
fn every_digit_of_what_was_found_is_part_of_its_mark() {
    let marks = ["95.5", "95.6", "95.50"].map(|degrees| mark_in(&raised(degrees), "shoulder.past"));

    // The digits as written are part of what was found.
    assert!(marks[0] != marks[1] && marks[0] != marks[2] && marks[1] != marks[2]);
    assert_eq!(marks[0], mark_in(&raised("95.5"), "shoulder.past"));
}

/// A precaution that forbids loading, with results that all bear on it, by their degrees.
fn though_forbidden(degrees: &[(&str, &str)]) -> Node {
    let findings = degrees.iter().map(|(measure, degrees)| {
        format!(
            r#"{{"measure":"{measure}","side":"right","value":{{"beyond_neutral":"{degrees}",
            "unit":"deg"}},"ended":{{"how":"end-of-range"}},"method":"goniometry",
            "instrument":"goniometer"}}"#
        )
    });
    let findings: Vec<String> = findings.collect();
    let findings = format!("[{}]", findings.join(","));
    let precaution = r#"[{"id":"c2a7e0de-51b4-4f0c-8a92-5d7a4e1b9f35","site":"hip","side":"right",
        "status":"active","source":"record","limit":"do-not-test","reason":"sore",
        "set":"not known"}]"#;
    edited(&[("/findings", &findings), ("/precautions", precaution)])
}

const FLEXION: (&str, &str) = ("range.passive.hip.flexion", "85");
const ABDUCTION: (&str, &str) = ("range.passive.hip.abduction", "25");
const EXTENSION: (&str, &str) = ("range.passive.hip.extension", "5");

/// Marks of what a precaution forbids, and how many are cautions still.
fn forbidden(document: &Node) -> (Vec<String>, usize) {
    let problems = problems(document);
    let all = problems
        .iter()
        .filter(|one| one.code.word() == "precaution.forbids");
    let cautions = all.clone().filter(|one| one.severity.word() == "caution");
    (all.map(mark).collect(), cautions.count())
}

#[test]
fn one_confirmation_covers_all_results_of_one_precaution() {
    let document = though_forbidden(&[FLEXION, ABDUCTION]);
    let (marks, asked) = forbidden(&document);
    assert_eq!((marks.len(), asked), (2, 2));
    assert_eq!(marks[0], marks[1]);
    let hints: Vec<_> = problems(&document)
        .into_iter()
        .filter(|one| one.code.word() == "precaution.forbids")
        .map(|one| one.hint)
        .collect();
    let covers = "one confirmation of this mark covers /findings/0, /findings/1";
    assert!(hints.iter().all(|hint| hint.ends_with(covers)), "{hints:?}");

    let confirmed = confirmed(document, "precaution.forbids", &marks[0]);

    assert_eq!(forbidden(&confirmed).1, 0);
    assert!(
        told(&confirmed)
            .iter()
            .all(|line| !line.contains("confirmation.idle"))
    );
}

#[test]
fn whatever_changes_of_one_result_ends_the_confirmation_of_all() {
    let before = though_forbidden(&[FLEXION, ABDUCTION]);
    let mark = forbidden(&before).0[0].clone();
    let other_value = though_forbidden(&[FLEXION, (ABDUCTION.0, "26")]);
    let a_further_one = though_forbidden(&[FLEXION, ABDUCTION, EXTENSION]);
    let one_less = though_forbidden(&[FLEXION]);

    for (changed, results) in [(other_value, 2), (a_further_one, 3), (one_less, 1)] {
        let document = confirmed(changed, "precaution.forbids", &mark);

        assert_eq!(forbidden(&document).1, results);
        assert!(
            told(&document)
                .iter()
                .any(|line| line.starts_with("error confirmation.idle"))
        );
    }
}

#[test]
fn another_movement_under_the_same_identity_ends_the_confirmation_of_all() {
    let named = |mut document: Node| {
        let id = Node::Text("5c1de6a7-0f5b-4a39-9d3e-6a1b2c3d4e5f".to_owned());
        set(&mut document, "/findings/1/id", Some(id));
        document
    };
    let before = named(though_forbidden(&[FLEXION, ABDUCTION]));
    let mark = forbidden(&before).0[0].clone();

    let other = named(though_forbidden(&[FLEXION, (EXTENSION.0, ABDUCTION.1)]));

    assert_ne!(forbidden(&other).0[0], mark);
    let other = confirmed(other, "precaution.forbids", &mark);
    assert_eq!(forbidden(&other).1, 2);
}

#[test]
fn another_order_of_the_results_keeps_the_confirmation_of_all() {
    let mark = forbidden(&though_forbidden(&[FLEXION, ABDUCTION])).0[0].clone();

    let turned = though_forbidden(&[ABDUCTION, FLEXION]);

    assert_eq!(
        forbidden(&confirmed(turned, "precaution.forbids", &mark)).1,
        0
    );
}

/// Touch on a foot that a precaution says is not to be tested, with edits.
fn touched(edits: &[(&str, &str)]) -> Node {
    let protected = [
        ("/precautions/0/site", r#""foot""#),
        ("/precautions/0/side", r#""right""#),
        ("/precautions/0/limit", r#""do-not-test""#),
    ];
    second_form(&[&protected[..], edits].concat())
}

/// The mark of the caution about that touch.
fn mark_of_touch(edits: &[(&str, &str)]) -> String {
    let problems = problems(&touched(edits));
    let caution = problems
        .iter()
        .find(|one| one.code.word() == "precaution.forbids" && one.path == "/findings/6");
    mark(caution.expect("the caution is raised"))
}

#[test]
fn a_word_of_sensation_and_what_it_is_compared_with_are_part_of_its_mark() {
    let compared = |felt| ("/findings/6/compared", felt);
    let felt = |word| ("/findings/6/value", word);
    let marks = [
        mark_of_touch(&[]),
        mark_of_touch(&[felt(r#"{"sensation":"reduced"}"#)]),
        mark_of_touch(&[felt(r#"{"sensation":"absent"}"#)]),
        mark_of_touch(&[compared(r#"{"beside":"face","felt":"less"}"#)]),
        mark_of_touch(&[compared(r#"{"beside":"face","felt":"more"}"#)]),
        mark_of_touch(&[compared(r#"{"beside":"higher-up","felt":"less"}"#)]),
    ];

    let different: std::collections::BTreeSet<_> = marks.iter().collect();

    assert_eq!(different.len(), marks.len(), "{marks:?}");
}

#[test]
fn who_examined_and_the_line_it_was_typed_as_change_nothing_that_was_found() {
    let examiner = ("/findings/6/examiner", r#""therapist""#);
    let captured = ("/findings/6/captured", r#"{"line":"LT foot n"}"#);

    assert_eq!(mark_of_touch(&[examiner, captured]), mark_of_touch(&[]));
}
