#![cfg(test)]
//! How something is felt is said absolutely, and how it is felt beside something else apart from it.

use crate::document::{edited, encoded, told};
use crate::part::component_word;
use crate::resource::{of_measure, own_code};
use crate::second_form::second_form;

const FELT: [(&str, &str); 2] = [
    ("/findings/6/value", r#"{"sensation":"reduced"}"#),
    (
        "/findings/6/compared",
        r#"{"beside":"other-side","felt":"less"}"#,
    ),
];

#[test]
fn touch_that_is_reduced_and_less_than_on_the_other_side_leaves_as_two_statements() {
    let encoded = encoded(&second_form(&FELT));

    let touch = of_measure(&encoded, "sensation.light-touch.foot")[0];
    let value = touch.member("valueCodeableConcept");
    assert_eq!(own_code(value, "sensation"), Some("reduced"));
    assert_eq!(own_code(value, "sensation-quality"), None);
    let beside = component_word(touch, "sensation-reference", "sensation-reference");
    let felt = component_word(touch, "sensation-compared", "sensation-compared");
    assert_eq!((beside, felt), (Some("other-side"), Some("less")));
    let text = encoded.summary.text();
    assert!(
        text.contains(
            "light touch on the foot: reduced; compared with: the other side; felt beside it: less"
        ),
        "{text}"
    );
}

#[test]
fn what_is_normal_claims_nothing_about_the_other_side() {
    let encoded = encoded(&second_form(&[]));

    let text = encoded.summary.text();
    assert!(text.contains("light touch on the foot: normal"), "{text}");
    assert!(!text.contains("as on the other side"), "{text}");
}

#[test]
fn a_word_that_was_retired_is_refused_in_the_second_form_and_read_in_the_first() {
    let word = [("/findings/6/value", r#"{"word":"reduced"}"#)];

    assert_eq!(
        told(&second_form(&word)),
        ["error word.retired /findings/6/value/word"]
    );
    assert_eq!(told(&edited(&word)), [""; 0]);
}

#[test]
fn what_the_list_of_sensation_does_not_have_is_refused() {
    let word = second_form(&[("/findings/6/value", r#"{"sensation":"less"}"#)]);
    let felt = [
        FELT[0],
        (
            "/findings/6/compared",
            r#"{"beside":"other-side","felt":"reduced"}"#,
        ),
    ];

    assert_eq!(
        told(&word),
        ["error word.unknown /findings/6/value/sensation"]
    );
    assert_eq!(
        told(&second_form(&felt)),
        ["error word.unknown /findings/6/compared/felt"]
    );
}

#[test]
fn only_sensation_is_felt_and_only_what_was_tested() {
    let tone = second_form(&[("/findings/10/value", r#"{"sensation":"normal"}"#)]);
    let compared = second_form(&[(
        "/findings/10/compared",
        r#"{"beside":"face","felt":"same"}"#,
    )]);
    let untested = [
        ("/findings/6/value", ""),
        ("/findings/6/not_tested", r#"{"reason":"refused"}"#),
        ("/findings/6/compared", r#"{"beside":"face","felt":"same"}"#),
    ];
    let twice = [("/findings/6/value", r#"{"relative":"less"}"#), FELT[1]];

    assert_eq!(told(&tone), ["error value.kind /findings/10/value"]);
    assert_eq!(told(&compared), ["error part.stray /findings/10/compared"]);
    assert_eq!(
        told(&second_form(&untested)),
        ["error compared.untested /findings/6/compared"]
    );
    assert_eq!(
        told(&second_form(&twice)),
        ["error compared.twice /findings/6/compared"]
    );
}

#[test]
fn sensation_and_its_comparison_need_the_second_form() {
    assert_eq!(
        told(&edited(&FELT)),
        [
            "error field.newer /findings/6/compared",
            "error field.newer /findings/6/value/sensation",
        ]
    );
}

/// Codes are never used again: what was recorded with the retired words keeps its meaning.
#[test]
fn the_retired_words_say_in_their_code_system_since_when() {
    let system = include_str!("../../profiles/fhir/CodeSystem-sensation-quality.json");

    assert_eq!(
        system.matches("\"valueDateTime\": \"2026-11-30\"").count(),
        5
    );
    assert!(system.contains("felt as on the other side"));
}
