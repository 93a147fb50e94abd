#![cfg(test)]
//! Further limits of a precaution, and who said so.

use crate::document::{edited, encoded, told};
use crate::part::component_word;
use crate::resource::{of_measure, own_code};
use crate::second_form::second_form;

fn limited<'a>(limit: &'a str, source: &'a str) -> [(&'a str, &'a str); 2] {
    [
        ("/precautions/0/limit", limit),
        ("/precautions/0/source", source),
    ]
}

/// The precaution on the side and in the region of what was done.
const HERE: (&str, &str) = ("/precautions/0/side", r#""right""#);
const UNTESTED: (&str, &str) = ("/findings/11", "");

fn asked(limit: &str) -> Vec<String> {
    let edits = [&limited(limit, r#""doctor""#)[..], &[HERE, UNTESTED]].concat();
    let told = told(&second_form(&edits)).into_iter();
    told.map(|line| line.replace("caution precaution.forbids /findings/", ""))
        .collect()
}

#[test]
fn a_limit_leaves_with_who_said_so() {
    let sources = [
        ("own-decision", "set by the therapist's own decision"),
        ("doctor", "said by a doctor"),
        ("nurse", "said by a nurse"),
    ];
    for (source, words) in sources {
        let quoted = format!("\"{source}\"");
        let encoded = encoded(&second_form(&limited(r#""no-weight""#, &quoted)));

        let precaution = of_measure(&encoded, "precaution")[0];
        let value = precaution.member("valueCodeableConcept");
        assert_eq!(own_code(value, "precaution-limit"), Some("no-weight"));
        let said = component_word(precaution, "precaution-source", "precaution-source");
        assert_eq!(said, Some(source));
        let text = encoded.summary.text();
        assert!(text.contains("Left ankle: no weight through it"), "{text}");
        assert!(text.contains(words), "{text}");
    }
}

/// 0 clonus, 2 and 3 active range, 4 and 5 passive range, 7 the fast stretch, 8 the slow one, 9 the
/// graded stretch; pain, touch and palpation move nothing.
#[test]
fn each_limit_asks_about_what_it_forbids_and_about_nothing_else() {
    assert_eq!(asked(r#""gentle-only""#), ["0", "7", "9"]);
    assert_eq!(
        asked(r#""not-to-end""#),
        ["0", "2", "3", "4", "5", "7", "8", "9"]
    );
    assert_eq!(asked(r#""no-resistance""#), [""; 0]);
    assert_eq!(asked(r#""no-weight""#), [""; 0]);
}

#[test]
fn no_resistance_asks_about_strength_and_about_no_movement_without_it() {
    let strength = r#"{"measure":"strength.mrc.ankle.dorsiflexion","side":"right",
        "value":{"grade":"4"},"method":"handling"}"#;
    let edits = [
        &limited(r#""no-resistance""#, r#""surgeon""#)[..],
        &[HERE, ("/findings/11", strength)],
    ]
    .concat();

    let told = told(&second_form(&edits));
    assert!(
        told.contains(&"caution precaution.forbids /findings/11".to_owned()),
        "{told:#?}"
    );
    assert!(
        !told.iter().any(|line| line.ends_with("/findings/2")),
        "{told:#?}"
    );
}

#[test]
fn what_was_stopped_before_the_end_is_no_breach_of_not_to_the_end() {
    let stopped = r#"{"how":"stopped-on-purpose","because":"precaution"}"#;
    let edits = [
        &limited(r#""not-to-end""#, r#""own-decision""#)[..],
        &[
            HERE,
            UNTESTED,
            ("/findings/4/ended", stopped),
            ("/findings/4/end_feel", ""),
        ],
    ]
    .concat();

    let told = told(&second_form(&edits));
    assert!(
        !told.contains(&"caution precaution.forbids /findings/4".to_owned()),
        "{told:#?}"
    );
    assert!(
        told.contains(&"caution precaution.forbids /findings/5".to_owned()),
        "{told:#?}"
    );
}

#[test]
fn the_new_words_need_the_second_form_and_a_word_of_neither_is_refused() {
    let newer = edited(&limited(r#""gentle-only""#, r#""nurse""#));
    let unknown = second_form(&limited(r#""softly""#, r#""porter""#));

    assert_eq!(
        told(&newer)[..2],
        [
            "error word.newer /precautions/0/limit",
            "error word.newer /precautions/0/source"
        ]
    );
    assert_eq!(
        told(&unknown),
        [
            "error word.unknown /precautions/0/limit",
            "error word.unknown /precautions/0/source"
        ]
    );
}
