//! The structure of a resource by the official JSON Schema of FHIR R4.
//!
//! The file is the schema as published without its descriptions, one definition a line. Its root is a
//! choice between all resources, which tells of a faulty one only that it is none of them; so a
//! resource is held against the definition of the type it names, and the resources inside it each
//! against theirs.

use crate::base::code::Code;
use crate::base::json::{Node, pointer_step};
use crate::base::problem::{MOST, Problems};
use crate::base::schema::{NoSchema, Schema};
use crate::fhir::check::options;
use jsonschema::ValidationError;
use jsonschema::error::ValidationErrorKind;
use serde_json::{Map, Value, json};
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
    let held = schema_of(kind).and_then(|schema| {
        schema.hold(node, &mut |seen| {
            let within = format!("{path}{}", seen.path);
            if seen.too_many {
                let what = format!(
                    "{} members, and no element has as many",
                    seen.node.members().len()
                );
                problems.error(
                    Code::FhirElement,
                    &within,
                    what,
                    "remove what is no element of R4",
                );
                note(&mut told, within);
                return false;
            }
            for fault in seen.faults {
                tell(fault, &within, &mut told, problems);
            }
            true
        })
    });
    if let Err(cause) = held {
        let hint = "report this: the schema does not compile";
        problems.error(Code::DocumentSchema, path, cause.to_string(), hint);
    }
    told
}

/// The schema of one resource type, taken apart when the first such resource is met.
fn schema_of(kind: &str) -> Result<Arc<Schema>, NoSchema> {
    type Apart = BTreeMap<String, Result<Arc<Schema>, NoSchema>>;
    static APART: Mutex<Apart> = Mutex::new(BTreeMap::new());
    // A panic elsewhere leaves nothing half done in this map.
    let mut apart = APART.lock().unwrap_or_else(PoisonError::into_inner);
    let one = apart.entry(kind.to_owned()).or_insert_with(|| {
        let root = json!({"$ref": format!("#/definitions/{kind}")});
        Schema::new(jsonschema::Draft::Draft6, &root, "definitions", official()).map(Arc::new)
    });
    one.clone()
}

/// The definitions as published, but for resources inside others, which are any object: each is held
/// against its own.
fn official() -> &'static Map<String, Value> {
    static OFFICIAL: LazyLock<Map<String, Value>> = LazyLock::new(|| {
        // A test reads the file, which is compiled in.
        let text = include_str!("../../../profiles/r4/schema.json");
        let mut official: Map<String, Value> = serde_json::from_str(text).unwrap_or_default();
        official.insert("ResourceList".to_owned(), json!({"type": "object"}));
        official
    });
    &OFFICIAL
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
                note(told, path);
            }
        }
        ValidationErrorKind::Required { property } => {
            let name = property.as_str().unwrap_or_default();
            let path = format!("{path}/{name}");
            let what = format!("{name} is missing");
            problems.error(Code::FhirRequired, &path, what, "add it");
            note(told, path);
        }
        kind => {
            content(kind, value, &path, problems);
            note(told, path);
        }
    }
}

/// Remembers that a path was told of; true where it was not told before.
///
/// Ten times as many paths are remembered as problems are listed: whatever is told twice beyond is only
/// counted twice.
pub(super) fn note(told: &mut BTreeSet<String>, path: String) -> bool {
    if told.len() >= 10 * MOST {
        return !told.contains(&path);
    }
    told.insert(path)
}

/// What no string may hold, whatever pattern it is held against.
fn forbidden(letter: char) -> bool {
    letter < ' ' && !matches!(letter, '\t' | '\r' | '\n')
}

/// Tells what is wrong with one value.
fn content(kind: &ValidationErrorKind, value: &Value, path: &str, problems: &mut Problems) {
    let shown = value.to_string();
    let shown: String = shown.chars().take(60).collect();
    match (kind, value) {
        // The copy was made when R4 was 4.0.0: its list of versions ends there.
        (ValidationErrorKind::Enum { .. }, Value::String(text))
            if text == "4.0.1" && path.ends_with("/fhirVersion") => {}
        (ValidationErrorKind::Enum { options }, Value::String(_)) => {
            let options = options.as_array().map_or(&[][..], Vec::as_slice).iter();
            let options: Vec<&str> = options.filter_map(Value::as_str).collect();
            let what = format!("{shown} is no code of this element");
            let hint = format!("use one of {}", options::shortened(&options));
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
    use super::{official, schema_of};
    use crate::base::json::{Node, object, text};
    use crate::fhir::check::definitions::definitions;

    #[test]
    fn every_resource_of_the_schema_has_its_parts_and_a_definition() {
        let constant = "/properties/resourceType/const";
        let resources = official().iter();
        let resources: Vec<&String> = resources
            .filter(|(_, definition)| definition.pointer(constant).is_some())
            .map(|(name, _)| name)
            .collect();

        let unknown: Vec<_> = resources
            .iter()
            .filter(|name| {
                let node = object([("resourceType", text(name.as_str()))]);
                let held = schema_of(name).and_then(|one| one.hold(&node, &mut |_seen| true));
                !definitions().is_resource(name) || held.is_err()
            })
            .collect();

        assert!(unknown.is_empty(), "{unknown:?}");
        assert_eq!(resources.len(), definitions().resources());
    }

    #[test]
    fn a_resource_inside_another_is_any_object_here() {
        let contained = Node::List(vec![object([("resourceType", text("Patient"))]), text("x")]);
        let node = object([
            ("resourceType", text("Observation")),
            ("contained", contained),
        ]);
        let mut faulty = Vec::new();

        let schema = schema_of("Observation").expect("a schema");
        let held = schema.hold(&node, &mut |seen| {
            faulty.extend(seen.faults.iter().map(|_fault| seen.path.to_owned()));
            true
        });

        held.expect("every part compiles");
        assert_eq!(faulty, ["", "/contained/1"]);
    }
}
