//! Whether a JSON Schema takes everything that an earlier one took.

use serde_json::{Map, Value};
use std::collections::BTreeSet;

/// Everything by which `now` refuses what `before` took, or says it otherwise; words for people are free.
pub(crate) fn grows(before: &Value, now: &Value) -> Vec<String> {
    let mut faults = Vec::new();
    let roots = (before, now);
    if before["$id"] != now["$id"] {
        faults.push("$id: another address".to_owned());
    }
    compared(roots, ("", before, now), &mut faults);
    faults
}

fn compared(
    roots: (&Value, &Value),
    (path, before, now): (&str, &Value, &Value),
    faults: &mut Vec<String>,
) {
    let (Some(before), Some(now)) = (resolved(roots.0, before), resolved(roots.1, now)) else {
        faults.push(format!("{path}: no schema"));
        return;
    };
    for key in [
        "type",
        "pattern",
        "const",
        "format",
        "unevaluatedProperties",
    ] {
        if before.get(key) != now.get(key) {
            faults.push(format!("{path}: {key} is another"));
        }
    }
    limits(path, before, now, faults);
    for word in words(before).difference(&words(now)) {
        faults.push(format!("{path}: no {word} any more"));
    }
    for name in listed(now, "required").difference(&listed(before, "required")) {
        faults.push(format!("{path}: asks for {name}"));
    }
    let fields = before.get("properties").and_then(Value::as_object);
    for (name, field) in fields.into_iter().flatten() {
        let path = format!("{path}/{name}");
        match now.get("properties").and_then(|all| all.get(name)) {
            Some(other) => compared(roots, (&path, field, other), faults),
            None => faults.push(format!("{path}: taken away")),
        }
    }
    match (before.get("items"), now.get("items")) {
        (Some(one), Some(other)) => compared(roots, (&format!("{path}[]"), one, other), faults),
        (None, None) => {}
        (Some(_), None) | (None, Some(_)) => faults.push(format!("{path}: items are others")),
    }
}

/// No text has to be longer, no list fuller, no number larger or smaller than before.
fn limits(
    path: &str,
    before: &Map<String, Value>,
    now: &Map<String, Value>,
    faults: &mut Vec<String>,
) {
    for key in ["minLength", "minItems", "minimum"] {
        if number(now, key) > number(before, key) {
            faults.push(format!("{path}: {key} is higher"));
        }
    }
    for key in ["maxLength", "maxItems", "maximum"] {
        let limit = |schema| number(schema, key).unwrap_or(i64::MAX);
        if limit(now) < limit(before) {
            faults.push(format!("{path}: {key} is lower"));
        }
    }
}

fn number(schema: &Map<String, Value>, key: &str) -> Option<i64> {
    schema.get(key).and_then(Value::as_i64)
}

fn listed(schema: &Map<String, Value>, key: &str) -> BTreeSet<String> {
    let list = schema.get(key).and_then(Value::as_array);
    list.into_iter().flatten().map(Value::to_string).collect()
}

/// The words of a list, explained or not.
fn words(schema: &Map<String, Value>) -> BTreeSet<String> {
    let explained = schema.get("oneOf").and_then(Value::as_array);
    let explained = explained.into_iter().flatten();
    let explained = explained.map(|one| one["const"].to_string());
    listed(schema, "enum")
        .into_iter()
        .chain(explained)
        .collect()
}

fn resolved<'a>(root: &'a Value, at: &'a Value) -> Option<&'a Map<String, Value>> {
    let name = at["$ref"].as_str();
    let name = name.and_then(|name| name.strip_prefix("#/$defs/"));
    match name {
        Some(name) => root["$defs"][name].as_object(),
        None => at.as_object(),
    }
}
