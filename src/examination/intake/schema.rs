//! The problems that the JSON Schema of a session document finds.

use crate::base::code::Code;
use crate::base::json::{Node, pointer_step};
use crate::base::problem::Problems;
use crate::base::schema::{NoSchema, Schema, Seen};
use crate::examination::intake::draft::DocumentVersion;
use crate::examination::intake::forms::{first_with, form_schema, named};
use crate::examination::intake::scalars::{beginning, field_of, has_fault};
use jsonschema::ValidationError;
use jsonschema::error::ValidationErrorKind;
use serde_json::{Map, Value};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::LazyLock;

/// What the schema found wrong with a document.
#[derive(Debug, Default)]
pub(super) struct Wrong {
    /// Something is wrong.
    pub(super) any: bool,
    /// Something is wrong that no list item can be left out for.
    pub(super) whole: bool,
    /// The items of the lists of the document in which something is wrong.
    items: BTreeMap<String, BTreeSet<usize>>,
}

impl Wrong {
    fn at(&mut self, path: &str) {
        self.any = true;
        let mut steps = path.split('/').skip(1);
        let (Some(list), Some(index)) = (steps.next(), steps.next()) else {
            return;
        };
        if let Ok(index) = index.parse() {
            self.items.entry(list.to_owned()).or_default().insert(index);
        }
    }

    /// Replaces each list item something is wrong in by null, which the draft reads as `None`.
    pub(super) fn leave_out(&self, document: &mut Node) {
        for (list, indices) in &self.items {
            let items = document.member_mut(list).map(Node::items_mut);
            for (index, item) in items.unwrap_or_default().iter_mut().enumerate() {
                if indices.contains(&index) {
                    *item = Node::Null;
                }
            }
        }
    }
}

/// The most items of a list of a document: twice as many findings as there are measures and sides.
/// The samples of a trace have a limit of their own in the tables.
pub const MOST_ITEMS: usize = 3000;

/// Adds a problem for each thing that the schema of the form it names finds in a document, and tells
/// where they lie. A document that names no form there is is held against the latest.
pub(super) fn problems_of(document: &Node, problems: &mut Problems) -> Wrong {
    let form = match document.member("fascicle") {
        Some(Node::Text(word)) => named(word),
        Some(_) | None => None,
    };
    let mut wrong = Wrong::default();
    let held = schema_of(form.unwrap_or(DocumentVersion::LATEST)).as_ref();
    let held = held
        .map_err(Clone::clone)
        .and_then(|schema| schema.hold(document, &mut |seen| of_one(seen, &mut wrong, problems)));
    if let Err(cause) = held {
        let hint = "report this: the schema does not compile";
        problems.error(Code::DocumentSchema, "", cause.to_string(), hint);
        (wrong.any, wrong.whole) = (true, true);
    }
    wrong
}

/// The schema of a form, taken apart once.
fn schema_of(form: DocumentVersion) -> &'static Result<Schema, NoSchema> {
    static FIRST: LazyLock<Result<Schema, NoSchema>> =
        LazyLock::new(|| taken_apart(DocumentVersion::Session1));
    static SECOND: LazyLock<Result<Schema, NoSchema>> =
        LazyLock::new(|| taken_apart(DocumentVersion::Session2));
    match form {
        DocumentVersion::Session1 => &FIRST,
        DocumentVersion::Session2 => &SECOND,
    }
}

fn taken_apart(form: DocumentVersion) -> Result<Schema, NoSchema> {
    let mut root = form_schema(form).clone();
    let definitions = match root.as_object_mut().and_then(|root| root.remove("$defs")) {
        Some(Value::Object(definitions)) => definitions,
        Some(_) | None => Map::new(),
    };
    Schema::new(jsonschema::Draft::Draft202012, &root, "$defs", &definitions)
}

/// Tells what is wrong with one object or item; false for a list that is too long to look at each item.
fn of_one(seen: &Seen<'_>, wrong: &mut Wrong, problems: &mut Problems) -> bool {
    if seen.too_many {
        let what = format!(
            "{}: {} members",
            field_of(seen.path),
            seen.node.members().len()
        );
        let hint = "no object of a session document has as many";
        problems.error(Code::ListLong, seen.path, what, hint);
        (wrong.any, wrong.whole) = (true, true);
        return false;
    }
    let mut told = BTreeSet::new();
    for fault in seen.faults {
        told.extend(tell(fault, seen.path, problems));
    }
    match seen.node {
        Node::Object(members) => {
            for (key, member) in members {
                let scalar = matches!(member, Node::Text(_) | Node::Number(_));
                if !scalar || seen.is_seen_later(key) {
                    continue;
                }
                let path = format!("{}/{}", seen.path, pointer_step(key));
                if !told.contains(&path) && has_fault(member, &path, problems) {
                    told.insert(path);
                }
            }
        }
        Node::List(items) => {
            let samples = seen.path.ends_with("/angles") || seen.path.ends_with("/times");
            if items.len() > MOST_ITEMS && !samples {
                let count = items.len();
                let what = format!("{}: {count} items", field_of(seen.path));
                let hint = "a list has at most 3000; write one session a document";
                problems.error(Code::ListLong, seen.path, what, hint);
                (wrong.any, wrong.whole) = (true, true);
                return false;
            }
        }
        scalar @ (Node::Text(_) | Node::Number(_)) => {
            if told.is_empty() && has_fault(scalar, seen.path, problems) {
                told.insert(seen.path.to_owned());
            }
        }
        Node::Bool(_) | Node::Null => {}
    }
    for path in &told {
        wrong.at(path);
    }
    true
}

#[expect(
    clippy::wildcard_enum_match_arm,
    reason = "the library names every keyword of JSON Schema; our schema uses these few"
)]
fn tell(error: &ValidationError<'_>, before: &str, problems: &mut Problems) -> Vec<String> {
    let path = format!("{before}{}", error.instance_path());
    match error.kind() {
        ValidationErrorKind::Required { property } => {
            let name = property.as_str().unwrap_or_default();
            let path = format!("{path}/{name}");
            problems.error(
                Code::FieldMissing,
                &path,
                format!("{name} is missing"),
                "add it",
            );
            vec![path]
        }
        ValidationErrorKind::UnevaluatedProperties { unexpected } => unexpected
            .iter()
            .map(|name| {
                let path = format!("{path}/{}", pointer_step(name));
                unknown_field(name, &path, problems);
                path
            })
            .collect(),
        ValidationErrorKind::Type { .. } => one(problems, Code::FieldType, path, error),
        // A word of a list whose words are explained stands in the schema as one of constants.
        ValidationErrorKind::Enum { .. }
        | ValidationErrorKind::Constant { .. }
        | ValidationErrorKind::OneOfNotValid { .. } => {
            one(problems, Code::FieldChoice, path, error)
        }
        ValidationErrorKind::Pattern { .. } => one(problems, Code::FieldForm, path, error),
        ValidationErrorKind::MinLength { .. } | ValidationErrorKind::MinItems { .. } => {
            one(problems, Code::FieldEmpty, path, error)
        }
        _ => one(problems, Code::FieldValue, path, error),
    }
}

fn unknown_field(name: &str, path: &str, problems: &mut Problems) {
    let newer = first_with(path).filter(|form| *form > DocumentVersion::Session1);
    let name = beginning(name);
    if let Some(form) = newer {
        let form = form.word();
        let what =
            format!("{name} needs {form}: the form that this document names has no such field");
        let hint = format!("write {form} in fascicle, or remove {name}");
        problems.error(Code::FieldNewer, path, what, &hint);
    } else {
        let what = format!("{name} is not a field of the session document");
        let hint = "remove it or correct its name; nothing is ignored silently";
        problems.error(Code::FieldUnknown, path, what, hint);
    }
}

fn one(
    problems: &mut Problems,
    code: Code,
    path: String,
    error: &ValidationError<'_>,
) -> Vec<String> {
    let field = field_of(&path);
    let instance = beginning(&error.instance().to_string());
    let error_words = beginning(&error.to_string());
    let (what, hint) = match (code, error.kind()) {
        (Code::FieldForm, ValidationErrorKind::Pattern { pattern }) => (
            format!("{field}: {instance} has another form than asked"),
            form(pattern),
        ),
        (Code::FieldType, _) => (
            format!("{field}: {error_words}"),
            "values that carry digits are strings, in quotes",
        ),
        (Code::FieldChoice, ValidationErrorKind::OneOfNotValid { .. }) => (
            format!("{field}: {instance} is none of its words"),
            "fascicle check --schema lists the words, and what each means",
        ),
        (Code::FieldChoice, _) => (
            format!("{field}: {error_words}"),
            "use one of the words listed",
        ),
        (Code::FieldEmpty, _) => (
            format!("{field}: {error_words}"),
            "an empty value says nothing: leave it out or say why it is missing",
        ),
        (_, _) => (
            format!("{field}: {error_words}"),
            "see `fascicle check --schema`",
        ),
    };
    problems.error(code, &path, what, hint);
    vec![path]
}

/// What a pattern of the schema asks for, in words.
fn form(pattern: &str) -> &'static str {
    if pattern.contains("T\\d") {
        "write day, time with seconds, and offset, such as 2026-11-02T09:30:00+01:00"
    } else if pattern == "^[0-9a-f]{8}$" {
        "write the mark of the caution as it is printed"
    } else if pattern == "^[0-9a-f]{64}$" {
        "write a SHA-256 as 64 hexadecimal digits in lower case"
    } else if pattern.contains("[A-Za-z]{2,8}") {
        "write a language as en or de-CH"
    } else if pattern.contains("[0-9a-f]{8}") {
        "write a UUID in lower case"
    } else if pattern.contains("(-\\d{2}(-\\d{2})?)?") {
        "write a year, a month or a day, such as 1961, 1961-03 or 1961-03-14"
    } else if pattern.contains("\\d{4}") {
        "write a day, such as 2026-11-02"
    } else if pattern.contains("https?") {
        "write an absolute address, such as https://clinic.example/sessions"
    } else if pattern.contains("[1-9]") {
        "write digits with a point, such as 12.5, without unit or exponent"
    } else {
        "remove blanks at both ends"
    }
}

#[cfg(test)]
mod tests {
    use super::form;
    use crate::examination::intake::forms::document_schema;
    use std::collections::BTreeSet;

    fn patterns(value: &serde_json::Value, found: &mut BTreeSet<String>) {
        match value {
            serde_json::Value::Object(members) => {
                found.extend(
                    members
                        .get("pattern")
                        .and_then(|p| p.as_str())
                        .map(str::to_owned),
                );
                members.values().for_each(|member| patterns(member, found));
            }
            serde_json::Value::Array(items) => items.iter().for_each(|item| patterns(item, found)),
            serde_json::Value::Null
            | serde_json::Value::Bool(_)
            | serde_json::Value::Number(_)
            | serde_json::Value::String(_) => {}
        }
    }

    #[test]
    fn every_pattern_of_the_schema_is_said_in_words() {
        let mut found = BTreeSet::new();

        patterns(&document_schema(), &mut found);

        let unsaid: Vec<&String> = found
            .iter()
            .filter(|pattern| form(pattern) == form("anything else"))
            .collect();
        assert_eq!(unsaid, [r"^\S(.*\S)?$"], "{found:#?}");
    }
}
