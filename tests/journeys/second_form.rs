#![cfg(test)]
//! A whole session in the second form, with everything that it says beside the first.

use crate::document::{catalogue, edited, lines, now, told};
use fascicle::base::code::meaning::Severity;
use fascicle::base::json::Node;
use fascicle::examination::intake::draft::DocumentVersion;
use fascicle::examination::intake::forms::{document_schema, form_schema};
use fascicle::service::app::assess::Earlier;
use fascicle::service::app::encode::encode;
use serde_json::Value;

const WHOLE: &str = include_str!("../../fixtures/sessions/form-2.json");

/// The sound document in the second form, with edits.
pub(crate) fn second_form(edits: &[(&str, &str)]) -> Node {
    let form = [
        ("/fascicle", r#""session/2""#),
        ("/findings/6/value", r#"{"sensation":"normal"}"#),
    ];
    edited(&[&form[..], edits].concat())
}

#[test]
fn the_whole_example_holds() {
    let encoded = encode(WHOLE, &Earlier::default(), catalogue(), now());

    let told = encoded.map(|encoded| lines(&encoded.told));
    let told = told.map_err(|held| lines(&held.problems));
    assert_eq!(
        told,
        Ok(vec!["note time.crosses /session/performed/end".to_owned()])
    );
}

#[test]
fn the_whole_example_says_everything_that_the_second_form_added() {
    let document: Value = serde_json::from_str(WHOLE).expect("JSON");
    let mut unsaid = Vec::new();
    for name in [
        "encounter_at_start",
        "visit",
        "examiner",
        "compared",
        "captured",
        "sensation",
        "state",
    ] {
        if !WHOLE.contains(&format!("\"{name}\": ")) {
            unsaid.push(name);
        }
    }

    assert_eq!(document["test_data"], true);
    assert_eq!(unsaid, [""; 0]);
}

/// As a program meets it that has not been told: each new field by name, and what to write.
#[test]
fn the_whole_example_under_the_first_form_is_refused_field_by_field() {
    let first = WHOLE.replace("session/2", "session/1");

    let held = encode(&first, &Earlier::default(), catalogue(), now()).expect_err("refused");

    let newer: Vec<_> = held
        .problems
        .iter()
        .filter(|one| one.code.word() == "field.newer")
        .collect();
    assert!(newer.len() >= 12, "{:#?}", lines(&held.problems));
    for one in newer {
        assert!(one.what.contains("needs session/2"), "{}", one.what);
        assert!(
            one.hint.contains("write session/2 in fascicle"),
            "{}",
            one.hint
        );
        assert_eq!(one.severity, Severity::Error);
    }
}

#[test]
fn a_form_that_there_is_not_is_refused_by_its_name() {
    let document = edited(&[("/fascicle", r#""session/3""#)]);

    assert!(told(&document).contains(&"error field.choice /fascicle".to_owned()));
}

#[test]
fn what_neither_form_has_is_unknown_in_both() {
    let stray = [("/findings/0/colour", r#""blue""#)];

    let expected = ["error field.unknown /findings/0/colour"];
    assert_eq!(told(&edited(&stray)), expected);
    assert_eq!(told(&second_form(&stray)), expected);
}

/// An outside validator with the printed schema alone holds a document against the form it names.
#[test]
fn the_printed_schema_has_both_forms() {
    let printed = jsonschema::draft202012::new(&document_schema()).expect("compiles");
    let first: Value = serde_json::from_str(&edited(&[]).compact()).expect("JSON");
    let second: Value = serde_json::from_str(WHOLE).expect("JSON");
    let mut mixed = second.clone();
    mixed["fascicle"] = "session/1".into();
    let mut nameless = first.clone();
    nameless
        .as_object_mut()
        .expect("an object")
        .remove("fascicle");

    assert!(printed.is_valid(&first) && printed.is_valid(&second));
    assert!(!printed.is_valid(&mixed) && !printed.is_valid(&nameless));
    for form in DocumentVersion::ALL {
        let address = form_schema(form)["$id"].as_str().expect("an address");
        assert!(address.ends_with(&format!("/schema/{}", form.word())));
    }
}

#[test]
fn a_sheet_names_the_second_form_in_its_column_and_is_told_of_it_where_it_does_not() {
    let columns = fascicle::examination::intake::sheet::columns::all();
    let names: Vec<&str> = columns.iter().map(|(name, _)| name.as_str()).collect();

    for name in [
        "fascicle",
        "session.encounter_at_start.value",
        "session.visit.outcome",
        "examiner",
        "compared.beside",
        "captured.line",
        "value.sensation",
        "goals.1.state.is",
    ] {
        assert!(names.contains(&name), "{name}");
    }
}

/// What an earlier session stated in the second form is carried into one of the first.
#[test]
fn a_precaution_of_the_second_form_is_carried_into_a_session_of_the_first() {
    let second = encode(WHOLE, &Earlier::default(), catalogue(), now()).expect("holds");
    let earlier = Earlier {
        precautions: second.session.precautions,
        ..Earlier::default()
    };
    let document: Node = edited(&[]);

    let encoded = encode(&document.compact(), &earlier, catalogue(), now());

    let told = encoded.map(|encoded| lines(&encoded.told));
    let told = told.unwrap_or_else(|held| lines(&held.problems));
    assert!(
        !told.iter().any(|line| line.contains("word.newer")),
        "{told:#?}"
    );
    assert!(
        told.contains(&"note precaution.carried /precautions".to_owned()),
        "{told:#?}"
    );
}
