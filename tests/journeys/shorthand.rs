#![cfg(test)]
//! The therapist's own line is kept with the finding it became, and is coded nowhere.

use crate::document::{edited, encoded, told};
use crate::second_form::second_form;
use fascicle::base::json::Node;

const LINE: &str = r#"{"line":"MAS calf R 1+ kn straight","heading":"supine","language":"en",
    "words_sha256":"0000000000000000000000000000000000000000000000000000000000000000"}"#;

#[test]
fn the_line_stays_in_the_kept_document_and_leaves_in_no_resource() {
    let encoded = encoded(&second_form(&[("/findings/9/captured", LINE)]));

    assert!(encoded.canonical.contains("MAS calf R 1+ kn straight"));
    assert!(!encoded.checked.record().text().contains("MAS calf"));
    assert!(!encoded.summary.text().contains("MAS calf"));
}

#[test]
fn a_line_changes_nothing_that_leaves() {
    let with = encoded(&second_form(&[("/findings/9/captured", LINE)]));
    let without = encoded(&second_form(&[]));

    assert_eq!(
        with.checked.record().text(),
        without.checked.record().text()
    );
}

#[test]
fn an_empty_line_a_language_and_a_sum_that_are_none_are_refused() {
    let of = |line: &str| second_form(&[("/findings/9/captured", line)]);

    let at = |field: &str| format!("/findings/9/captured/{field}");
    let empty = of(r#"{"line":""}"#);
    assert_eq!(told(&empty), [format!("error field.empty {}", at("line"))]);
    let language = of(r#"{"line":"x","language":"plain English"}"#);
    assert_eq!(
        told(&language),
        [format!("error field.form {}", at("language"))]
    );
    let sum = of(r#"{"line":"x","words_sha256":"0"}"#);
    assert_eq!(
        told(&sum),
        [format!("error field.form {}", at("words_sha256"))]
    );
}

#[test]
fn a_line_needs_the_second_form() {
    let document: Node = edited(&[("/findings/9/captured", LINE)]);

    assert_eq!(told(&document), ["error field.newer /findings/9/captured"]);
}
