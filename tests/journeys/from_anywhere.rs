#![cfg(test)]
//! An auditor holds Observations that somebody else may have written against our tables.

use crate::document::{catalogue, lines, set};
use crate::every;
use fascicle::base::json::Node;
use fascicle::base::problem::Problems;
use fascicle::fhir::check;

fn judged(resource: &Node) -> Vec<String> {
    let mut problems = Problems::new();
    check::resource(resource, catalogue(), &mut problems);
    lines(&problems.sorted())
}

/// What is told of the Observation of a measure after one edit.
fn after(measure: &str, edits: &[(&str, &str)]) -> Vec<String> {
    let mut observation = every::observation(measure).clone();
    for (pointer, json) in edits {
        let value = (!json.is_empty()).then(|| Node::parse(json).expect("JSON"));
        set(&mut observation, pointer, value);
    }
    judged(&observation)
}

const RANGE: &str = "range.passive.ankle.dorsiflexion";

#[test]
fn what_we_emit_holds_in_every_measure() {
    for measure in catalogue().measures.keys() {
        assert_eq!(after(measure, &[]), [""; 0], "{measure}");
    }
}

#[test]
fn a_measure_that_is_not_ours_is_held_against_base_fhir_only_and_that_is_told() {
    let code = r#"{"text":"reach"}"#;

    assert_eq!(after(RANGE, &[("/code", code)]), ["note check.base-only"]);
}

#[test]
fn a_display_of_ours_that_says_something_else_is_told() {
    let told = after(
        RANGE,
        &[("/code/coding/0/display", r#""flexion of the knee""#)],
    );

    assert_eq!(told, ["note code.display"]);
}

#[test]
fn a_side_has_to_be_said_and_said_once() {
    let unsided = r#"{"coding":[{"system":"http://snomed.info/sct","code":"70258002"}]}"#;

    assert_eq!(
        after(RANGE, &[("/bodySite", unsided)]),
        ["error site.side /bodySite"]
    );
    assert_eq!(
        after(RANGE, &[("/bodySite/text", r#""left ankle""#)]),
        ["error site.sides-differ /bodySite"]
    );
    let left = r#"{"system":"https://fascicle.example/fhir/CodeSystem/site","code":"left.ankle",
        "display":"left ankle"}"#;
    assert_eq!(
        after(RANGE, &[("/bodySite/coding/1", left)]),
        ["error site.sides-differ /bodySite"]
    );
    assert_eq!(after(RANGE, &[("/bodySite/coding/0", "")]), [""; 0]);
}

#[test]
fn a_number_has_the_unit_and_the_reach_of_its_measure() {
    let value = "/valueQuantity/value";
    let pain = "pain.intensity.calf";

    assert_eq!(
        after(RANGE, &[("/valueQuantity/code", r#""rad""#)]),
        ["error unit.measure /valueQuantity"]
    );
    assert_eq!(
        after(RANGE, &[(value, "196")]),
        ["error value.impossible /valueQuantity"]
    );
    assert_eq!(
        after(RANGE, &[(value, "51")]),
        ["caution angle.unusual /valueQuantity"]
    );
    assert_eq!(after(RANGE, &[(value, "50")]), [""; 0]);
    assert_eq!(
        after(pain, &[(value, "11")]),
        ["error value.impossible /valueQuantity"]
    );
}

#[test]
fn a_word_is_one_of_the_list_of_its_measure() {
    let other = r#"{"coding":[{"system":"https://fascicle.example/fhir/CodeSystem/presence",
        "code":"absent"}],"text":"absent"}"#;
    let told = after("tone.rest.calf", &[("/valueCodeableConcept", other)]);

    assert_eq!(told, ["error value.list /valueCodeableConcept"]);
}

#[test]
fn a_bound_is_marked_as_one_and_only_a_bound() {
    let ended = |how: &str, label: &str| {
        format!(
            r#"{{"coding":[{{"system":"https://fascicle.example/fhir/CodeSystem/ending",
                "code":"{how}","display":"{label}"}}]}}"#
        )
    };
    let ending = "/component/0/valueCodeableConcept";
    let comparator = ("/valueQuantity/comparator", r#"">=""#);
    let pain = ended("pain", "stopped by pain");

    assert_eq!(after(RANGE, &[(ending, &pain)]), ["error ending.bound"]);
    assert_eq!(after(RANGE, &[comparator]), ["error ending.bound"]);
    assert_eq!(after(RANGE, &[(ending, &pain), comparator]), [""; 0]);
    assert_eq!(
        after(RANGE, &[("/component", "")]),
        ["error ending.missing"]
    );
}
