#![cfg(test)]
//! FHIR R4 (4.0.1), data types and JSON: hl7.org/fhir/R4/datatypes.html, json.html

use crate::judged::{judged, observation};
use fascicle::base::exact::{Exact, NotExact};
use fascicle::base::json::Node;

fn quantity(quantity: &str) -> Vec<String> {
    judged(&observation(&format!(r#","valueQuantity":{quantity}"#)))
}

/// Source: <https://hl7.org/fhir/R4/datatypes.html#decimal>, 4.0.1.
///
/// "-?(0|[1-9][0-9]*)(\.[0-9]+)?([eE][+-]?[0-9]+)?"
#[test]
fn decimals_have_the_pattern_without_its_exponent() {
    for held in ["0", "-1", "10", "0.5", "-0.05", "120.00"] {
        let exact = Exact::parse(held).map(|exact| exact.to_string());
        assert_eq!(exact.as_deref(), Ok(held));
    }
    for refused in ["", "-", "01", "1.", ".1", "+1", "1,5", "1e2"] {
        assert_eq!(Exact::parse(refused), Err(NotExact::Pattern), "{refused}");
    }
    assert_eq!(quantity(r#"{"value":1.5}"#), [""; 0]);
    // An exponent is legal; we never write one, and tell it of what comes from elsewhere.
    assert_eq!(
        quantity(r#"{"value":15e-1}"#),
        ["note fhir.decimal /valueQuantity/value"]
    );
}

/// Source: <https://hl7.org/fhir/R4/datatypes.html#decimal>, 4.0.1.
///
/// "The precision of the decimal value has significance: e.g. 0.010 is regarded as different to
/// 0.01"
#[test]
fn the_precision_of_a_decimal_is_kept() {
    let text = r#"{"value":0.010}"#;

    let node = Node::parse(text).expect("JSON");

    assert_eq!(node.compact(), text);
    assert_ne!(node, Node::parse(r#"{"value":0.01}"#).expect("JSON"));
}

/// Source: <https://hl7.org/fhir/R4/datatypes.html#Quantity>, 4.0.1.
///
/// "qty-3: If a code for the unit is present, the system SHALL also be present"
#[test]
fn a_unit_code_has_its_system() {
    let ucum = r#""system":"http://unitsofmeasure.org""#;

    assert_eq!(quantity(r#"{"value":5,"unit":"degree"}"#), [""; 0]);
    assert_eq!(
        quantity(&format!(r#"{{"value":5,{ucum},"code":"deg"}}"#)),
        [""; 0]
    );
    assert_eq!(
        quantity(r#"{"value":5,"code":"deg"}"#),
        ["error fhir.qty-3 /valueQuantity"]
    );
    assert_eq!(
        quantity(&format!(r#"{{"value":5,{ucum},"code":"degrees"}}"#)),
        ["error unit.ucum /valueQuantity/code"]
    );
}

/// Source: <https://hl7.org/fhir/R4/datatypes.html#dateTime>, 4.0.1.
///
/// "If hours and minutes are specified, a time zone SHALL be populated. Seconds must be provided due
/// to schema type constraints"
#[test]
fn a_time_has_seconds_and_a_zone() {
    let at = |time: &str| judged(&observation(&format!(r#","effectiveDateTime":"{time}""#)));

    for held in [
        "2026",
        "2026-11",
        "2026-11-16",
        "2026-11-16T09:30:00+01:00",
        "2026-11-16T09:30:00.25Z",
        "2026-11-16T09:30:00-13:59",
        "2026-11-16T09:30:00+14:00",
    ] {
        assert_eq!(at(held), [""; 0], "{held}");
    }
    for refused in [
        "26",
        "+202",
        "2026-13",
        "2026-02-30",
        "2026-11-16T09:30+01:00",
        "2026-11-16T09:30:00",
        "2026-11-16 09:30:00Z",
        "2026-11-16T09:30:00z",
        "2026-11-16T09:30:00+14:01",
        "2026-11-16T24:00:00Z",
    ] {
        assert_eq!(
            at(refused),
            ["error fhir.time /effectiveDateTime"],
            "{refused}"
        );
    }
}

/// Source: <https://hl7.org/fhir/R4/datatypes.html#instant>, 4.0.1.
///
/// "the time SHALL specified at least to the second and SHALL include a time zone"
#[test]
fn an_instant_is_whole() {
    let issued = |time: &str| judged(&observation(&format!(r#","issued":"{time}""#)));

    assert_eq!(issued("2026-11-16T09:30:00+01:00"), [""; 0]);
    assert_eq!(issued("2026-11-16"), ["error fhir.time /issued"]);
}

/// Source: <https://hl7.org/fhir/R4/json.html>, 4.0.1.
///
/// "Properties can never be empty"; an array, an object, a string of nothing and null say nothing.
#[test]
fn nothing_is_empty() {
    let with = |member: &str| judged(&observation(&format!(",{member}")));

    assert_eq!(with(r#""note":[]"#), ["error fhir.empty /note"]);
    assert_eq!(with(r#""method":{}"#), ["error fhir.empty /method"]);
    assert_eq!(
        with(r#""note":[{"text":""}]"#),
        ["error fhir.empty /note/0/text"]
    );
    assert_eq!(with(r#""method":null"#), ["error fhir.null /method"]);
}
