//! Rules of FHIR R4 (4.0.1) for what we emit ourselves: the few that hold beyond our own types.
//!
//! They run over every record; what comes from elsewhere is held against all of R4 (structure.rs).

use crate::base::code::Code;
use crate::base::json::{Node, pointer_step};
use crate::base::problem::Problems;
use crate::fhir::check::primitive;
use crate::fhir::record::status::Status;
use crate::tables::catalogue::UCUM;
use std::collections::BTreeSet;
use std::fmt;

const FIX: &str = "correct the element; see the section of FHIR R4 named";

/// The rules that hold for one resource.
pub(super) fn resource(node: &Node, path: &str, problems: &mut Problems) {
    elements(node, &Where::Top(path), problems);
    if node.text_of("resourceType") == Some("Observation") {
        observation(node, path, problems);
    }
}

/// Every literal reference in a resource.
pub(super) fn literal_references<'a>(node: &'a Node, found: &mut Vec<&'a str>) {
    found.extend(node.text_of("reference"));
    for (_, member) in node.members() {
        literal_references(member, found);
    }
    for item in node.items() {
        literal_references(item, found);
    }
}

/// Where an element stands; a path is written only when there is something to say about it.
enum Where<'a> {
    Top(&'a str),
    Member(&'a Self, &'a str),
    Item(&'a Self, usize),
}

impl fmt::Display for Where<'_> {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Top(path) => formatter.write_str(path),
            Self::Member(before, key) => write!(formatter, "{before}/{}", pointer_step(key)),
            Self::Item(before, index) => write!(formatter, "{before}/{index}"),
        }
    }
}

/// Walks every element: nothing empty, decimals plain, quantities coded, times zoned.
fn elements(node: &Node, place: &Where<'_>, problems: &mut Problems) {
    let mut empty = |what: &str| {
        problems.error(Code::FhirEmpty, &place.to_string(), what.to_owned(), FIX);
    };
    match node {
        Node::Null => {
            // "null: … never used except in arrays of primitives" (json.html)
            let what = "null stands for nothing".to_owned();
            problems.error(Code::FhirNull, &place.to_string(), what, FIX);
        }
        // "Strings SHALL NOT be empty" (datatypes.html#string)
        Node::Text(text) if text.trim().is_empty() => empty("an empty string"),
        Node::Number(digits) if !plain_number(digits) => {
            let what = format!("{digits} is written with an exponent");
            let hint = "some servers refuse exponents";
            problems.note(Code::FhirDecimal, &place.to_string(), what, hint);
        }
        Node::List(items) => {
            if items.is_empty() {
                // "Arrays cannot be empty" (json.html)
                empty("an empty array");
            }
            for (index, item) in items.iter().enumerate() {
                elements(item, &Where::Item(place, index), problems);
            }
        }
        Node::Object(members) => {
            if members.is_empty() {
                empty("an empty object");
            }
            quantity(node, place, problems);
            for (key, member) in members {
                let place = Where::Member(place, key);
                time(key, member, &place, problems);
                elements(member, &place, problems);
            }
        }
        Node::Bool(_) | Node::Text(_) | Node::Number(_) => {}
    }
}

/// `-?(0|[1-9][0-9]*)(\.[0-9]+)?([eE][+-]?[0-9]+)?` (datatypes.html#decimal), without exponent.
fn plain_number(digits: &str) -> bool {
    !digits.contains(['e', 'E'])
}

/// A quantity is an object that has a numeric value and a unit, system or code.
fn quantity(node: &Node, place: &Where<'_>, problems: &mut Problems) {
    let numeric = matches!(node.member("value"), Some(Node::Number(_)));
    let code = node.text_of("code");
    if !numeric {
        return;
    }
    // "qty-3: If a code for the unit is present, the system SHALL also be present"
    if code.is_some() && node.member("system").is_none() {
        let what = "a unit code without its system".to_owned();
        problems.error(Code::FhirQty3, &place.to_string(), what, FIX);
    }
    if let (Some(code), Some(UCUM)) = (code, node.text_of("system"))
        && octofhir_ucum::validate(code).is_err()
    {
        let what = format!("{code} is no UCUM code");
        let path = format!("{place}/code");
        problems.error(Code::UnitUcum, &path, what, "write a UCUM code");
    }
}

/// "If hours and minutes are specified, a time zone SHALL be populated" (datatypes.html#dateTime);
/// for `instant` both are required.
fn time(key: &str, node: &Node, place: &Where<'_>, problems: &mut Problems) {
    const TIMES: [&str; 8] = [
        "effectiveDateTime",
        "effectiveInstant",
        "issued",
        "recorded",
        "start",
        "end",
        "lastUpdated",
        "valueDateTime",
    ];
    let Some(text) = node.text().filter(|_| TIMES.contains(&key)) else {
        return;
    };
    let held = primitive::moment(text);
    let whole = matches!(
        key,
        "issued" | "recorded" | "lastUpdated" | "effectiveInstant"
    );
    if !held || (whole && !text.contains('T')) {
        let what = format!("{text} is no time of FHIR: seconds and zone are part of it");
        problems.error(Code::FhirTime, &place.to_string(), what, FIX);
    }
}

fn observation(node: &Node, path: &str, problems: &mut Problems) {
    for required in ["status", "code"] {
        if node.member(required).is_none() {
            let what = format!("{required} is missing");
            problems.error(Code::FhirRequired, &format!("{path}/{required}"), what, FIX);
        }
    }
    if let Some(status) = node
        .text_of("status")
        .filter(|status| Status::named(status).is_none())
    {
        let what = format!("{status} is no status of an Observation");
        problems.error(Code::FhirStatus, &format!("{path}/status"), what, FIX);
    }
    one_value(node, path, problems);
    for (index, component) in node.items_of("component").iter().enumerate() {
        let path = format!("{path}/component/{index}");
        one_value(component, &path, problems);
        if component.member("code").is_none() {
            let path = format!("{path}/code");
            problems.error(Code::FhirRequired, &path, "code is missing".to_owned(), FIX);
        }
    }
    same_code(node, path, problems);
    for (index, range) in node.items_of("referenceRange").iter().enumerate() {
        // "obs-3: Must have at least a low or a high or text"
        if ["low", "high", "text"]
            .iter()
            .all(|part| range.member(part).is_none())
        {
            let path = format!("{path}/referenceRange/{index}");
            let what = "has neither low nor high nor text".to_owned();
            problems.error(Code::FhirObs3, &path, what, FIX);
        }
    }
}

/// "obs-7: If Observation.code is the same as an Observation.component.code then the value element
/// associated with the code SHALL NOT be present"
pub(super) fn same_code(node: &Node, path: &str, problems: &mut Problems) {
    if value_of(node).is_none() {
        return;
    }
    // `value.empty() or component.code.where(coding.intersect(%resource.code.coding).exists()).empty()`
    // (observation.html, obs-7): one coding in common is enough, words do not count.
    let own: BTreeSet<String> = codings(node).iter().map(Node::canonical).collect();
    for (index, component) in node.items_of("component").iter().enumerate() {
        let mut codings = codings(component).iter();
        if codings.any(|coding| own.contains(&coding.canonical())) {
            let path = format!("{path}/component/{index}");
            let what = "a component has the code and a value of its Observation".to_owned();
            problems.error(Code::FhirObs7, &path, what, FIX);
        }
    }
}

fn codings(node: &Node) -> &[Node] {
    node.at(&["code", "coding"]).map_or(&[], Node::items)
}

fn one_value(node: &Node, path: &str, problems: &mut Problems) {
    let values = node
        .members()
        .iter()
        .filter(|(key, _)| is_value(key))
        .count();
    if values > 1 {
        let what = format!("{values} values where one is allowed");
        problems.error(Code::FhirOneValue, path, what, FIX);
    }
    // "obs-6: dataAbsentReason SHALL only be present if Observation.value[x] is not present"
    if values > 0 && node.member("dataAbsentReason").is_some() {
        let what = "a value and the reason why there is none".to_owned();
        problems.error(Code::FhirObs6, path, what, FIX);
    }
}

fn value_of(node: &Node) -> Option<&Node> {
    node.members()
        .iter()
        .find(|(key, _)| is_value(key))
        .map(|(_, value)| value)
}

fn is_value(key: &str) -> bool {
    key.strip_prefix("value")
        .is_some_and(|rest| rest.starts_with(|c: char| c.is_ascii_uppercase()))
}
