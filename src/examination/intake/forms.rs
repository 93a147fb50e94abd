//! The forms of the session document, each with its JSON Schema (draft 2020-12).
//!
//! All are generated from one set of types: what a later form added carries `x-since` there, and is
//! taken out of the schemas of the forms before it. A form that has landed only grows, which
//! `tests/interfaces` holds; `session/1` does not grow any more.

use crate::examination::intake::draft::{DocumentVersion, Draft};
use crate::tables::catalogue::CANONICAL;
use schemars::generate::SchemaSettings;
use schemars::transform::RecursiveTransform;
use serde_json::{Map, Value, json};
use std::collections::BTreeSet;
use std::sync::LazyLock;

/// Which form a field came with, where it was not the first.
const SINCE: &str = "x-since";

/// The JSON Schema of a document in any of its forms: one is held against the form it names.
pub fn document_schema() -> Value {
    let word = |form: &DocumentVersion| Value::from(form.word());
    let of_form = |form: &DocumentVersion| {
        json!({
            "if": {"properties": {"fascicle": {"const": form.word()}}, "required": ["fascicle"]},
            "then": {"$ref": address(*form)},
        })
    };
    let forms = DocumentVersion::ALL.iter();
    let defs: Map<String, Value> = forms
        .clone()
        .map(|form| (form.word().replace('/', "-"), form_schema(*form).clone()))
        .collect();
    json!({
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": format!("{CANONICAL}/schema/session"),
        "title": "Fascicle session document",
        "description": "A document is held against the form that it names.",
        "type": "object",
        "required": ["fascicle"],
        "properties": {"fascicle": {"enum": forms.clone().map(word).collect::<Vec<_>>()}},
        "allOf": forms.map(of_form).collect::<Vec<_>>(),
        "$defs": defs,
    })
}

/// The JSON Schema of one form of the document.
pub fn form_schema(form: DocumentVersion) -> &'static Value {
    static FIRST: LazyLock<Value> = LazyLock::new(|| generated(DocumentVersion::Session1));
    static SECOND: LazyLock<Value> = LazyLock::new(|| generated(DocumentVersion::Session2));
    match form {
        DocumentVersion::Session1 => &FIRST,
        DocumentVersion::Session2 => &SECOND,
    }
}

/// The form of a name; nothing where there is none of that name.
pub(super) fn named(word: &str) -> Option<DocumentVersion> {
    DocumentVersion::ALL
        .into_iter()
        .find(|form| form.word() == word)
}

/// The first form that has the field at a JSON Pointer; nothing where none has it.
pub(super) fn first_with(path: &str) -> Option<DocumentVersion> {
    DocumentVersion::ALL
        .into_iter()
        .find(|form| has(form_schema(*form), path))
}

fn has(schema: &Value, path: &str) -> bool {
    let steps = path.split('/').skip(1);
    let mut at = schema;
    for step in steps {
        let here = resolved(schema, at);
        let step = step.replace("~1", "/").replace("~0", "~");
        let inside = here
            .get("items")
            .or_else(|| here.get("properties").and_then(|all| all.get(&step)));
        match inside {
            Some(inside) => at = inside,
            None => return false,
        }
    }
    true
}

fn resolved<'a>(schema: &'a Value, at: &'a Value) -> &'a Value {
    let name = at.get("$ref").and_then(Value::as_str);
    let name = name.and_then(|name| name.strip_prefix("#/$defs/"));
    let found = name.and_then(|name| schema.get("$defs")?.get(name));
    found.unwrap_or(at)
}

fn address(form: DocumentVersion) -> String {
    format!("{CANONICAL}/schema/{}", form.word())
}

fn generated(form: DocumentVersion) -> Value {
    let settings = SchemaSettings::draft2020_12()
        .with_transform(RecursiveTransform(close_object))
        .with(|settings| settings.inline_subschemas = false);
    let mut schema = settings.into_generator().into_root_schema_for::<Draft>();
    schema.insert("$id".to_owned(), address(form).into());
    let title = format!("Fascicle session document, version {}", form.number());
    schema.insert("title".to_owned(), title.into());
    let mut schema = schema.to_value();
    of_form(&mut schema, form);
    if let Some(versions) = schema.pointer_mut("/$defs/DocumentVersion/oneOf")
        && let Value::Array(versions) = versions
    {
        versions.retain(|version| version.get("const") == Some(&Value::from(form.word())));
    }
    // From the second form on a session says in `visit` why its list of findings is empty.
    if form > DocumentVersion::Session1
        && let Some(Value::Object(findings)) = schema.pointer_mut("/properties/findings")
    {
        findings.remove("minItems");
    }
    forget_unused(&mut schema);
    schema
}

/// Takes out what came with a later form, and the marks of all that stays.
fn of_form(schema: &mut Value, form: DocumentVersion) {
    let later = |field: &Value| {
        let since = field.get(SINCE).and_then(Value::as_str);
        let since = since.and_then(named);
        since.is_some_and(|since| since > form)
    };
    match schema {
        Value::Object(members) => {
            if let Some(Value::Object(fields)) = members.get_mut("properties") {
                fields.retain(|_, field| !later(field));
            }
            members.remove(SINCE);
            members.values_mut().for_each(|one| of_form(one, form));
        }
        Value::Array(items) => items.iter_mut().for_each(|one| of_form(one, form)),
        Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_) => {}
    }
}

/// Takes out the definitions that nothing refers to any more.
fn forget_unused(schema: &mut Value) {
    loop {
        let mut used = BTreeSet::new();
        references(schema, &mut used);
        let Some(Value::Object(defs)) = schema.get_mut("$defs") else {
            return;
        };
        let before = defs.len();
        defs.retain(|name, _| used.contains(&format!("#/$defs/{name}")));
        if defs.len() == before {
            return;
        }
    }
}

fn references(schema: &Value, used: &mut BTreeSet<String>) {
    match schema {
        Value::Object(members) => {
            let reference = members.get("$ref").and_then(Value::as_str);
            used.extend(reference.map(str::to_owned));
            members.values().for_each(|one| references(one, used));
        }
        Value::Array(items) => items.iter().for_each(|one| references(one, used)),
        Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_) => {}
    }
}

/// An unknown member is refused by `unevaluatedProperties`, as JSON Schema 2020-12 names it, and
/// `null` nowhere stands for a field that was left out.
fn close_object(schema: &mut schemars::Schema) {
    schema.remove("default");
    if let Some(Value::Array(types)) = schema.get_mut("type") {
        types.retain(|name| name != "null");
    }
    if let Some(Value::Array(choices)) = schema.remove("anyOf") {
        let mut choices = choices;
        choices.retain(|choice| choice.get("type") != Some(&Value::from("null")));
        match choices.as_slice() {
            [Value::Object(only)] => {
                for (key, value) in only {
                    schema.insert(key.clone(), value.clone());
                }
            }
            _ => {
                schema.insert("anyOf".to_owned(), Value::Array(choices));
            }
        }
    }
    if let Some(closed) = schema.remove("additionalProperties") {
        schema.insert("unevaluatedProperties".to_owned(), closed);
    }
}
