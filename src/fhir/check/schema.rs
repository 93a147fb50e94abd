//! The structure of a resource by the official JSON Schema of FHIR R4.
//!
//! The file is the schema as published without its descriptions, one definition a line. Its root is a
//! choice between all resources, which tells of a faulty one only that it is none of them; so a
//! resource is held against the definition of the type it names, and the resources inside it each
//! against theirs.

use crate::base::code::Code;
use crate::base::json::{Node, pointer_step};
use crate::base::problem::Problems;
use jsonschema::error::ValidationErrorKind;
use jsonschema::{ValidationError, Validator};
use serde_json::{Map, Number, Value, json};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Arc, LazyLock, Mutex, PoisonError};

/// Tells what the schema finds, and the paths told of.
pub(super) fn resource(
    node: &Node,
    kind: &str,
    path: &str,
    problems: &mut Problems,
) -> BTreeSet<String> {
    let mut told = BTreeSet::new();
    if let Some(validator) = validator(kind) {
        let value = value_of(node);
        for error in validator.iter_errors(&value) {
            tell(&error, path, &mut told, problems);
        }
    }
    told
}

/// The validator of one resource type, compiled when the first such resource is met.
fn validator(kind: &str) -> Option<Arc<Validator>> {
    type Compiled = BTreeMap<String, Option<Arc<Validator>>>;
    static COMPILED: Mutex<Compiled> = Mutex::new(BTreeMap::new());
    // A panic elsewhere leaves nothing half done in this map.
    let mut compiled = COMPILED.lock().unwrap_or_else(PoisonError::into_inner);
    let one = compiled.entry(kind.to_owned()).or_insert_with(|| {
        let options = jsonschema::options().with_draft(jsonschema::Draft::Draft6);
        options.build(&schema(kind)).ok().map(Arc::new)
    });
    one.clone()
}

/// The definition of a type with all it refers to, down to resources inside it, which are any object.
fn schema(kind: &str) -> Value {
    let mut definitions = Map::new();
    definitions.insert("ResourceList".to_owned(), json!({"type": "object"}));
    let mut wanted = vec![kind.to_owned()];
    while let Some(name) = wanted.pop() {
        if definitions.contains_key(&name) {
            continue;
        }
        if let Some(definition) = official().get(&name) {
            referred(definition, &mut wanted);
            definitions.insert(name, definition.clone());
        }
    }
    json!({"$ref": format!("#/definitions/{kind}"), "definitions": definitions})
}

fn official() -> &'static Map<String, Value> {
    static OFFICIAL: LazyLock<Map<String, Value>> = LazyLock::new(|| {
        // A test reads the file, which is compiled in.
        serde_json::from_str(include_str!("../../../profiles/r4/schema.json")).unwrap_or_default()
    });
    &OFFICIAL
}

fn referred(schema: &Value, found: &mut Vec<String>) {
    match schema {
        Value::Object(members) => {
            for (key, member) in members {
                let name = member
                    .as_str()
                    .and_then(|to| to.strip_prefix("#/definitions/"));
                match name {
                    Some(name) if key == "$ref" => found.push(name.to_owned()),
                    Some(_) | None => referred(member, found),
                }
            }
        }
        Value::Array(items) => items.iter().for_each(|item| referred(item, found)),
        Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_) => {}
    }
}

/// The same JSON for the library. A number keeps no digits here: the schema says nothing of them.
fn value_of(node: &Node) -> Value {
    match node {
        Node::Null => Value::Null,
        Node::Bool(held) => Value::Bool(*held),
        Node::Number(digits) => Value::Number(digits.parse().unwrap_or_else(|_| Number::from(0))),
        Node::Text(text) => Value::String(text.clone()),
        Node::List(items) => Value::Array(items.iter().map(value_of).collect()),
        Node::Object(members) => members
            .iter()
            .map(|(key, member)| (key.clone(), value_of(member)))
            .collect(),
    }
}

#[expect(
    clippy::wildcard_enum_match_arm,
    reason = "the library names every keyword of JSON Schema; this schema uses these few"
)]
fn tell(
    error: &ValidationError<'_>,
    within: &str,
    told: &mut BTreeSet<String>,
    problems: &mut Problems,
) {
    let path = format!("{within}{}", error.instance_path());
    let value: &Value = error.instance();
    // What is empty or null is told with the rules of JSON in FHIR, which know where null may stand.
    if value.is_null() || value.as_str().is_some_and(|text| text.trim().is_empty()) {
        return;
    }
    match error.kind() {
        ValidationErrorKind::AdditionalProperties { unexpected } => {
            for name in unexpected {
                let path = format!("{path}/{}", pointer_step(name));
                let what = format!("{name} is no element of R4 here");
                let hint = "remove it or correct its name; what has no element is an extension";
                problems.error(Code::FhirElement, &path, what, hint);
                told.insert(path);
            }
        }
        ValidationErrorKind::Required { property } => {
            let name = property.as_str().unwrap_or_default();
            let path = format!("{path}/{name}");
            let what = format!("{name} is missing");
            problems.error(Code::FhirRequired, &path, what, "add it");
            told.insert(path);
        }
        kind => {
            content(kind, value, &path, problems);
            told.insert(path);
        }
    }
}

/// What no string may hold, whatever pattern it is held against.
fn forbidden(letter: char) -> bool {
    letter < ' ' && !matches!(letter, '\t' | '\r' | '\n')
}

/// Tells what is wrong with one value.
fn content(kind: &ValidationErrorKind, value: &Value, path: &str, problems: &mut Problems) {
    let shown: String = value.to_string().chars().take(60).collect();
    match (kind, value) {
        // The copy was made when R4 was 4.0.0: its list of versions ends there.
        (ValidationErrorKind::Enum { .. }, Value::String(text))
            if text == "4.0.1" && path.ends_with("/fhirVersion") => {}
        (ValidationErrorKind::Enum { options }, Value::String(_)) => {
            let options = options.as_array().map_or(&[][..], Vec::as_slice).iter();
            let options: Vec<&str> = options.filter_map(Value::as_str).collect();
            let what = format!("{shown} is no code of this element");
            let hint = format!("use one of {}", super::structure::shortened(&options));
            problems.error(Code::FhirCode, path, what, &hint);
        }
        (ValidationErrorKind::Pattern { pattern }, Value::String(text))
            if pattern.contains("[1-9]000") || pattern.contains("2[0-3]") =>
        {
            super::primitive::no_time(text, path, problems);
        }
        // "Strings SHALL NOT contain Unicode character points below 32, except for u0009 (horizontal tab),
        // u000D (carriage return) and u000A (line feed)" (datatypes.html#string). The pattern beside it
        // refuses other blanks, such as the no-break space before a unit, where \S knows all of Unicode.
        (ValidationErrorKind::Pattern { pattern }, Value::String(text))
            if pattern.contains(r"\r\n\t\S") && !text.is_empty() && !text.contains(forbidden) => {}
        (ValidationErrorKind::Pattern { .. }, _) => {
            let what = format!("{shown} has not the form of its type");
            let hint = "write it in the form of its type (datatypes.html)";
            problems.error(Code::FhirForm, path, what, hint);
        }
        (_, _) => {
            let what = format!("{shown} has not the JSON type of this element");
            let hint = "write it as the JSON type of its FHIR type (json.html)";
            problems.error(Code::FhirType, path, what, hint);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{official, schema, validator};
    use crate::fhir::check::definitions::definitions;

    #[test]
    fn every_resource_of_the_schema_has_a_validator_and_a_definition() {
        let constant = "/properties/resourceType/const";
        let resources = official().iter();
        let resources: Vec<&String> = resources
            .filter(|(_, definition)| definition.pointer(constant).is_some())
            .map(|(name, _)| name)
            .collect();

        let unknown: Vec<_> = resources
            .iter()
            .filter(|name| !definitions().is_resource(name) || validator(name).is_none())
            .collect();

        assert!(unknown.is_empty(), "{unknown:?}");
        assert_eq!(resources.len(), definitions().resources());
        assert!(validator("Observation").is_some() && validator("Bundle").is_some());
        assert!(
            schema("Observation")
                .pointer("/definitions/Patient")
                .is_none()
        );
    }
}
