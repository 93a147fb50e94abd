#![cfg(test)]
//! Two examine one person: each finding names who found it.

use crate::document::{edited, encoded, told};
use crate::resource::of_measure;
use crate::second_form::second_form;
use fascicle::base::json::Node;

const STUDENT: (&str, &str) = (
    "/performers/1",
    r#"{"key":"student","identifier":{"system":"https://invented-clinic.example/staff","value":"ST-2"},
        "role":"student under supervision","organisation":
        {"system":"https://invented-clinic.example/units","value":"NEURO-REHAB"}}"#,
);

fn performers(resource: &Node) -> Vec<&str> {
    let performers = resource.items_of("performer").iter();
    performers
        .filter_map(|one| one.at(&["identifier", "value"])?.text())
        .collect()
}

#[test]
fn each_finding_leaves_under_the_name_of_whoever_examined_it() {
    let encoded = encoded(&second_form(&[
        STUDENT,
        ("/findings/9/examiner", r#""student""#),
        ("/findings/10/examiner", r#""therapist""#),
    ]));

    let of = |measure: &str| performers(of_measure(&encoded, measure)[0]);
    assert_eq!(of("tone.modified-ashworth.calf"), ["ST-2"]);
    assert_eq!(of("tone.rest.calf"), ["PT-7"]);
    assert_eq!(of("session.examination"), ["PT-7", "ST-2"]);
    let text = encoded.summary.text();
    assert!(
        text.contains("examined by: student under supervision ST-2"),
        "{text}"
    );
}

#[test]
fn of_several_who_are_not_named_all_are_and_a_note_says_that_nobody_knows_who() {
    let document = second_form(&[STUDENT, ("/findings/9/examiner", r#""student""#)]);

    assert_eq!(
        told(&document),
        ["note examiner.unsaid /findings/0/examiner"]
    );
    let encoded = encoded(&document);
    let clonus = of_measure(&encoded, "clonus.ankle")[0];
    assert_eq!(performers(clonus), ["PT-7", "ST-2"]);
}

#[test]
fn the_sole_performer_examined_everything_and_nothing_is_asked() {
    let document = second_form(&[]);

    assert_eq!(told(&document), [""; 0]);
    let encoded = encoded(&document);
    assert_eq!(
        performers(of_measure(&encoded, "clonus.ankle")[0]),
        ["PT-7"]
    );
    assert!(!encoded.summary.text().contains("examined by:"));
}

#[test]
fn an_examiner_who_is_no_performer_is_refused() {
    let document = second_form(&[("/findings/0/examiner", r#""nobody""#)]);

    assert_eq!(
        told(&document),
        ["error reference.performer /findings/0/examiner"]
    );
}

#[test]
fn an_examiner_needs_the_second_form() {
    let document = edited(&[("/findings/0/examiner", r#""therapist""#)]);

    assert_eq!(told(&document), ["error field.newer /findings/0/examiner"]);
}

/// Two sides that one person measured are held against the error of one tester; of two examiners it
/// is that of two.
#[test]
fn sides_that_two_people_measured_are_not_taken_for_those_of_one() {
    let other = r#"{"measure":"range.passive.ankle.dorsiflexion","side":"left","examiner":"student",
        "neighbour":{"joint":"knee","position":"straight"},"value":{"beyond_neutral":"20","unit":"deg"},
        "ended":{"how":"end-of-range"},"method":"goniometry","instrument":"goniometer"}"#;
    let rows = |examiner: &str| {
        let encoded = encoded(&second_form(&[
            STUDENT,
            ("/findings/4/examiner", r#""student""#),
            ("/findings/12", &other.replace("student", examiner)),
        ]));
        let rows = encoded.comparisons.iter().flat_map(|one| &one.rows);
        rows.map(|row| row.says.clone())
            .collect::<Vec<_>>()
            .join(" ")
    };

    assert!(
        !rows("student").contains("different tester"),
        "{}",
        rows("student")
    );
    assert!(
        !rows("therapist").contains("same tester"),
        "{}",
        rows("therapist")
    );
}
