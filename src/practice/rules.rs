//! The rules of base FHIR that this server holds a resource to.
//!
//! Owns: elements and their number, JSON form, and the few invariants our types run into.
//! In: a resource as JSON. Out: every broken rule at once. Never: judges a profile or a code.

use crate::base::json::{Node, pointer_step};
use crate::fhir::record::status::Status;
use crate::practice::kind::{ANY_RESOURCE, Kind};
use crate::practice::outcome::{Fault, Issue};
use crate::practice::span::Span;
use axum::http::StatusCode;

/// How often an element may stand.
struct Element<'a> {
    name: &'a str,
    /// The types of a choice; empty for any other element.
    types: &'a str,
    required: bool,
    repeats: bool,
}

/// Reads a body as JSON in FHIR's form.
pub(super) fn read(body: &[u8]) -> Result<Node, Fault> {
    let text = std::str::from_utf8(body)
        .map_err(|cause| not_json(format!("not UTF-8 from byte {}", cause.valid_up_to())))?;
    let text = text.trim_start_matches('\u{feff}');
    let node = Node::parse(text).map_err(|cause| not_json(format!("not JSON: {cause}")))?;
    let mut issues = Vec::new();
    form(&node, "", &mut issues);
    if issues.is_empty() {
        return Ok(node);
    }
    let status = StatusCode::BAD_REQUEST;
    Err(Fault { status, issues })
}

/// The type a resource says it has.
pub(super) fn kind_of(node: &Node) -> Result<Kind, Fault> {
    let name = node
        .text_of("resourceType")
        .ok_or_else(|| Fault::malformed("resourceType is missing"))?;
    Kind::named(name).ok_or_else(unknown_kind)
}

/// 404: a type that is not kept here.
///
/// FHIR R4 (4.0.1), http.html#create: "404 Not Found - resource type not supported".
pub(super) fn unknown_kind() -> Fault {
    let rule = "this resource type is not kept by the practice server";
    Fault::new(StatusCode::NOT_FOUND, "not-supported", rule)
}

/// Holds a resource to the rules of its type.
pub(super) fn check(kind: Kind, node: &Node) -> Result<(), Fault> {
    let mut issues = Vec::new();
    let elements: Vec<_> = ANY_RESOURCE
        .split_whitespace()
        .chain(kind.elements().split_whitespace())
        .map(Element::parse)
        .collect();
    for element in &elements {
        element.check(kind, node, &mut issues);
    }
    for (key, _) in node.members() {
        let name = key.strip_prefix('_').unwrap_or(key);
        if name != "resourceType" && !elements.iter().any(|element| element.owns(name)) {
            let rule = "R4 gives this type no such element";
            issues.push(Issue::at("structure", at(kind, key), rule));
        }
    }
    dates(kind, node, &mut issues);
    match kind {
        Kind::Observation => observation(node, &mut issues),
        Kind::Provenance => provenance(node, &mut issues),
        Kind::Organization => organization(node, &mut issues),
        Kind::Device
        | Kind::DiagnosticReport
        | Kind::Encounter
        | Kind::Patient
        | Kind::Practitioner => {}
    }
    if issues.is_empty() {
        Ok(())
    } else {
        Err(Fault::unprocessable(issues))
    }
}

impl<'a> Element<'a> {
    fn parse(notation: &'a str) -> Self {
        let name = notation.trim_end_matches(['!', '+', '*']);
        let required = notation.ends_with(['!', '+']);
        let repeats = notation.ends_with(['*', '+']);
        let (name, types) = name
            .strip_suffix(']')
            .and_then(|choice| choice.split_once('['))
            .unwrap_or((name, ""));
        Self {
            name,
            types,
            required,
            repeats,
        }
    }

    fn owns(&self, key: &str) -> bool {
        if self.types.is_empty() {
            return key == self.name;
        }
        let chosen = key.strip_prefix(self.name);
        chosen.is_some_and(|chosen| self.types.split('|').any(|name| name == chosen))
    }

    fn check(&self, kind: Kind, node: &Node, issues: &mut Vec<Issue>) {
        let here: Vec<_> = node
            .members()
            .iter()
            .filter(|(key, _)| self.owns(key))
            .collect();
        let sibling = format!("_{}", self.name);
        if self.required && here.is_empty() && node.member(&sibling).is_none() {
            let rule = "required, and missing";
            issues.push(Issue::at("required", at(kind, self.name), rule));
        }
        if here.len() > 1 {
            let rule = "only one of its types may stand";
            issues.push(Issue::at("structure", at(kind, self.name), rule));
        }
        for (key, value) in here {
            if matches!(value, Node::List(_)) != self.repeats {
                let rule = if self.repeats {
                    "this element repeats, so it is an array"
                } else {
                    "this element does not repeat, so it is no array"
                };
                issues.push(Issue::at("structure", at(kind, key), rule));
            }
        }
    }
}

/// FHIR R4 (4.0.1), json.html: no property is null or empty, and an array holds a null only to
/// stand for a missing part of a primitive element.
fn form(node: &Node, path: &str, issues: &mut Vec<Issue>) {
    let empty = match node {
        Node::Null => true,
        Node::Text(text) => text.is_empty(),
        Node::List(items) => items.is_empty(),
        Node::Object(members) => members.is_empty(),
        Node::Bool(_) | Node::Number(_) => false,
    };
    if empty {
        issues.push(Issue::at("structure", path, "null and empty are not FHIR"));
    }
    for (key, value) in node.members() {
        form(value, &format!("{path}/{}", pointer_step(key)), issues);
    }
    for (index, item) in node.items().iter().enumerate() {
        if !matches!(item, Node::Null) {
            form(item, &format!("{path}/{index}"), issues);
        }
    }
}

fn dates(kind: Kind, node: &Node, issues: &mut Vec<Issue>) {
    let plain = [
        "effectiveDateTime",
        "effectiveInstant",
        "issued",
        "recorded",
        "occurredDateTime",
        "birthDate",
    ];
    for key in plain {
        if let Some(value) = node.member(key) {
            date(value, &at(kind, key), issues);
        }
    }
    for key in ["effectivePeriod", "occurredPeriod", "period"] {
        for end in ["start", "end"] {
            if let Some(value) = node.at(&[key, end]) {
                date(value, &format!("{}.{end}", at(kind, key)), issues);
            }
        }
    }
}

fn date(value: &Node, path: &str, issues: &mut Vec<Issue>) {
    if value.text().and_then(Span::stored).is_none() {
        let rule = "not a FHIR date: YYYY, YYYY-MM, YYYY-MM-DD or with time, seconds and zone";
        issues.push(Issue::at("value", path, rule));
    }
}

fn observation(node: &Node, issues: &mut Vec<Issue>) {
    let known = |status: &str| Status::named(status).is_some();
    if node
        .member("status")
        .is_some_and(|status| !status.text().is_some_and(known))
    {
        let rule = "not in the value set observation-status";
        issues.push(Issue::at("code-invalid", "Observation.status", rule));
    }
    let valued = value_of(node).is_some();
    // FHIR R4 (4.0.1), observation.html, obs-6: "dataAbsentReason SHALL only be present if
    // Observation.value[x] is not present"
    if valued && node.member("dataAbsentReason").is_some() {
        let rule = "obs-6: dataAbsentReason stands only where no value[x] stands";
        issues.push(Issue::at("invariant", "Observation", rule));
    }
    for (index, component) in node.items_of("component").iter().enumerate() {
        let path = format!("Observation.component[{index}]");
        if component.member("code").is_none() {
            let path = format!("{path}.code");
            issues.push(Issue::at("required", path, "required, and missing"));
        }
        // obs-7: "If Observation.code is the same as an Observation.component.code then the value
        // element associated with the code SHALL NOT be present".
        let code = component.member("code");
        if valued && code.is_some() && code == node.member("code") {
            let rule = "obs-7: a component with the code of the whole leaves the whole no value";
            issues.push(Issue::at("invariant", path, rule));
        }
    }
}

fn value_of(node: &Node) -> Option<&str> {
    let mut keys = node.members().iter().map(|(key, _)| key.as_ref());
    keys.find(|key| key.starts_with("value"))
}

fn provenance(node: &Node, issues: &mut Vec<Issue>) {
    for (index, agent) in node.items_of("agent").iter().enumerate() {
        if agent.member("who").is_none() {
            let path = format!("Provenance.agent[{index}].who");
            issues.push(Issue::at("required", path, "required, and missing"));
        }
    }
}

/// FHIR R4 (4.0.1), organization.html, org-1: "The organization SHALL at least have a name or an
/// identifier, and possibly more than one".
fn organization(node: &Node, issues: &mut Vec<Issue>) {
    if node.member("name").is_none() && node.member("identifier").is_none() {
        let rule = "org-1: a name or an identifier is needed";
        issues.push(Issue::at("invariant", "Organization", rule));
    }
}

fn at(kind: Kind, element: &str) -> String {
    format!("{}.{element}", kind.name())
}

fn not_json(rule: String) -> Fault {
    Fault::new(StatusCode::BAD_REQUEST, "structure", rule)
}

#[cfg(test)]
mod tests {
    use super::{check, read};
    use crate::practice::kind::Kind;

    fn broken(kind: Kind, body: &str) -> Vec<String> {
        let fault = read(body.as_bytes()).and_then(|node| check(kind, &node));
        let issues = fault.err().map(|fault| fault.issues).unwrap_or_default();
        let paths = issues.into_iter().map(|issue| issue.path);
        paths.map(Option::unwrap_or_default).collect()
    }

    #[test]
    fn everything_wrong_is_told_at_once() {
        let body = r#"{"resourceType":"Observation","status":"done","category":{"text":"exam"},
            "valueString":"a","dataAbsentReason":{"text":"b"},"colour":"red",
            "effectiveDateTime":"2026-02-01T10:00","component":[{"valueInteger":1}]}"#;

        let paths = broken(Kind::Observation, body);

        assert_eq!(
            paths,
            [
                "Observation.category",
                "Observation.code",
                "Observation.colour",
                "Observation.effectiveDateTime",
                "Observation.status",
                "Observation",
                "Observation.component[0].code",
            ]
        );
    }

    #[test]
    fn a_choice_takes_one_of_its_types() {
        let body = r#"{"resourceType":"Observation","status":"final","code":{"text":"c"},
            "valueString":"a","valueInteger":1,"valueMoney":{"value":1}}"#;

        assert_eq!(
            broken(Kind::Observation, body),
            ["Observation.value", "Observation.valueMoney"]
        );
    }

    #[test]
    fn null_and_empty_are_no_fhir() {
        let body = r#"{"resourceType":"Patient","name":[],"gender":"","active":null}"#;

        assert_eq!(broken(Kind::Patient, body), ["/name", "/gender", "/active"]);
    }
}
