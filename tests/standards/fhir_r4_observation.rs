#![cfg(test)]
//! FHIR R4 (4.0.1), Observation: hl7.org/fhir/R4/observation.html

use crate::judged::{judged, observation};

const SAME: &str = r#""code":{"coding":[{"system":"https://invented.example/codes","code":"reach"}],
    "text":"said in other words"}"#;
const OTHER: &str =
    r#""code":{"coding":[{"system":"https://invented.example/codes","code":"grip"}]}"#;

/// Source: <https://hl7.org/fhir/R4/observation.html>, 4.0.1, constraints.
///
/// "obs-3: Must have at least a low or a high or text"
#[test]
fn a_reference_range_has_low_or_high_or_text() {
    let range = |range: &str| judged(&observation(&format!(r#","referenceRange":[{range}]"#)));

    assert_eq!(range(r#"{"low":{"value":5}}"#), [""; 0]);
    assert_eq!(range(r#"{"high":{"value":31}}"#), [""; 0]);
    assert_eq!(range(r#"{"text":"as on the other side"}"#), [""; 0]);
    assert_eq!(
        range(r#"{"type":{"text":"normal"}}"#),
        ["error fhir.obs-3 /referenceRange/0"]
    );
}

/// Source: <https://hl7.org/fhir/R4/observation.html>, 4.0.1, constraints.
///
/// "obs-6: dataAbsentReason SHALL only be present if Observation.value[x] is not present"
#[test]
fn a_value_and_the_reason_why_there_is_none_exclude_each_other() {
    let absent = r#","dataAbsentReason":{"text":"not tested"}"#;

    assert_eq!(judged(&observation(absent)), [""; 0]);
    assert_eq!(judged(&observation(r#","valueString":"x""#)), [""; 0]);
    assert_eq!(
        judged(&observation(&format!(r#","valueString":"x"{absent}"#))),
        ["error fhir.obs-6"]
    );
}

/// Source: <https://hl7.org/fhir/R4/observation.html>, 4.0.1, constraints.
///
/// "obs-7: If Observation.code is the same as an Observation.component.code then the value element
/// associated with the code SHALL NOT be present", as its expression reads: one coding in common.
#[test]
fn a_component_does_not_say_the_value_of_its_observation_again() {
    let with = |value: &str, code: &str| {
        let part = format!(r#"{value},"component":[{{{code},"valueString":"y"}}]"#);
        judged(&observation(&part))
    };
    let value = r#","valueString":"x""#;

    assert_eq!(with("", SAME), [""; 0]);
    assert_eq!(with(value, OTHER), [""; 0]);
    assert_eq!(with(value, r#""code":{"text":"reach"}"#), [""; 0]);
    assert_eq!(with(value, SAME), ["error fhir.obs-7 /component/0"]);
}

/// Source: <https://hl7.org/fhir/R4/observation.html>, 4.0.1, resource content.
///
/// "status 1..1 code", "code 1..1 `CodeableConcept`", "component.code 1..1 `CodeableConcept`"
#[test]
fn status_and_code_are_there() {
    let nothing = r#"{"resourceType":"Observation"}"#;
    let part = observation(r#","component":[{"valueString":"x"}]"#);

    let wanted = ["error fhir.required /code", "error fhir.required /status"];
    assert_eq!(judged(nothing), wanted);
    assert_eq!(judged(&part), ["error fhir.required /component/0/code"]);
}

/// Source: <https://hl7.org/fhir/R4/valueset-observation-status.html>, 4.0.1.
///
/// "registered | preliminary | final | amended +", with corrected, cancelled, entered-in-error and
/// unknown; the binding is required.
#[test]
fn the_status_is_one_of_eight() {
    let held = [
        "registered",
        "preliminary",
        "final",
        "amended",
        "corrected",
        "cancelled",
        "entered-in-error",
        "unknown",
    ];
    let with = |status: &str| judged(&observation("").replace("final", status));

    for status in held {
        assert_eq!(with(status), [""; 0], "{status}");
    }
    assert_eq!(with("done"), ["error fhir.code /status"]);
}

/// Source: <https://hl7.org/fhir/R4/formats.html#choice>, 4.0.1.
///
/// Of the choice value[x] one element may be there, not two.
#[test]
fn there_is_one_value() {
    let two = observation(r#","valueString":"x","valueInteger":5"#);

    assert_eq!(judged(&two), ["error fhir.one-value"]);
}
