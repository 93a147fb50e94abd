#![cfg(test)]
#![expect(clippy::disallowed_methods, reason = "the lists are files")]
//! What others build on only grows: the forms of the session document, the addresses of `/v1` and
//! their fields, the columns of a sheet, the keys of the settings and the fields of an exported trail.
//!
//! Each list stands in this folder. What is added is written into it with `UPDATE_EXPECT=1`; what is
//! taken away, narrowed or asked for anew is refused, and no variable helps.

mod grows;

use crate::grows::grows;
use fascicle::delivery::outbox::TrailRow;
use fascicle::examination::intake::draft::DocumentVersion;
use fascicle::examination::intake::forms::form_schema;
use fascicle::examination::intake::sheet::columns;
use serde_json::{Value, json};
use std::collections::BTreeSet;
use std::fs;
use std::path::PathBuf;

fn file(name: &str) -> PathBuf {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR"));
    folder.join("tests/interfaces").join(name)
}

fn read(name: &str) -> String {
    fs::read_to_string(file(name)).unwrap_or_default()
}

fn schema_of(name: &str) -> Value {
    serde_json::from_str(&read(name)).expect("a schema")
}

fn updating() -> bool {
    std::env::var_os("UPDATE_EXPECT").is_some_and(|value| value == "1")
}

/// Holds the lines of a list: what stands in it is there, and what is there stands in it.
fn only_grows(name: &str, now: &BTreeSet<String>) {
    let written = read(name);
    let kept: BTreeSet<String> = written.lines().map(str::to_owned).collect();

    let gone: Vec<&String> = kept.difference(now).collect();
    let new: Vec<&String> = now.difference(&kept).collect();

    assert!(
        gone.is_empty(),
        "{name}: taken away or renamed, and somebody builds on it: {gone:#?}"
    );
    // The first list of an interface is the list itself.
    let asked = new.iter().filter(|line| line.starts_with("asks for "));
    assert!(
        kept.is_empty() || asked.count() == 0,
        "{name}: asks for more than before: {new:#?}"
    );
    if updating() {
        let all: Vec<&str> = now.iter().map(String::as_str).collect();
        fs::write(file(name), all.join("\n") + "\n").expect("written");
    } else {
        assert!(
            new.is_empty(),
            "{name}: new: {new:#?}\nhint: UPDATE_EXPECT=1 cargo test --test interfaces adds them"
        );
    }
}

#[test]
fn the_first_form_of_the_session_document_stays_as_it_is() {
    let kept = schema_of("session-1.schema.json");
    let now = form_schema(DocumentVersion::Session1);

    let there = grows(&kept, now);
    let back = grows(now, &kept);

    assert_eq!((there, back), (Vec::new(), Vec::new()));
}

#[test]
fn the_second_form_of_the_session_document_only_grows() {
    let kept = schema_of("session-2.schema.json");
    let now = form_schema(DocumentVersion::Session2);

    assert_eq!(grows(&kept, now), [""; 0]);

    if updating() {
        let text = serde_json::to_string_pretty(now).expect("JSON") + "\n";
        fs::write(file("session-2.schema.json"), text).expect("written");
    } else {
        let new = grows(now, &kept);
        assert!(
            new.is_empty(),
            "new: {new:#?}\nhint: UPDATE_EXPECT=1 cargo test --test interfaces adds it"
        );
    }
}

#[test]
fn every_document_of_the_first_form_says_the_same_in_the_second() {
    let first = form_schema(DocumentVersion::Session1);
    let mut second = form_schema(DocumentVersion::Session2).clone();
    for pointer in ["/$id", "/$defs/DocumentVersion"] {
        let of_first = first.pointer(pointer).cloned();
        *second.pointer_mut(pointer).expect("there") = of_first.expect("there");
    }

    assert_eq!(grows(first, &second), [""; 0]);
}

#[test]
fn what_narrows_a_form_is_refused_whatever_it_is() {
    let kept = form_schema(DocumentVersion::Session2).clone();
    let narrowings: [(&str, &str, Value); 9] = [
        (
            "a field taken away",
            "/$defs/FindingDraft/properties/examiner",
            Value::Null,
        ),
        ("a word taken away", "/$defs/Side/oneOf/0", Value::Null),
        (
            "a field that has to be there",
            "/$defs/FindingDraft/required/-",
            json!("note"),
        ),
        (
            "another type",
            "/$defs/FindingDraft/properties/note/type",
            json!("integer"),
        ),
        (
            "another pattern",
            "/$defs/FindingDraft/properties/at/pattern",
            json!("^x$"),
        ),
        (
            "a longer text",
            "/$defs/FindingDraft/properties/note/minLength",
            json!(2),
        ),
        (
            "a lower limit",
            "/$defs/FindingDraft/properties/repeat/maximum",
            json!(9),
        ),
        (
            "a list that may not be empty",
            "/properties/findings/minItems",
            json!(1),
        ),
        (
            "another address",
            "/$id",
            json!("https://elsewhere.example"),
        ),
    ];
    for (what, pointer, value) in narrowings {
        let mut now = kept.clone();
        let (parent, last) = pointer.rsplit_once('/').expect("a pointer");
        match now.pointer_mut(parent).expect("the way exists") {
            Value::Array(items) if last == "-" => items.push(value),
            Value::Array(items) => drop(items.remove(last.parse().expect("an index"))),
            Value::Object(members) if value.is_null() => drop(members.remove(last)),
            Value::Object(members) => drop(members.insert(last.to_owned(), value)),
            other @ (Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_)) => {
                panic!("{other}")
            }
        }

        assert!(!grows(&kept, &now).is_empty(), "{what} was let pass");
    }
}

#[test]
fn what_widens_a_form_is_no_fault() {
    let kept = schema_of("session-2.schema.json");
    let mut now = kept.clone();
    let properties = now
        .pointer_mut("/$defs/FindingDraft/properties")
        .expect("fields");
    properties["another"] = json!({"type": "string"});
    let required = now
        .pointer_mut("/$defs/GoalStateDraft/required")
        .expect("a list");
    *required = json!(["is", "on"]);
    now["description"] = json!("other words");

    assert_eq!(grows(&kept, &now), [""; 0]);
}

#[test]
fn the_addresses_of_the_interface_and_their_fields_only_grow() {
    let described = include_str!("../../src/service/web/api/openapi.json");
    let described: Value = serde_json::from_str(described).expect("JSON");
    let mut now = BTreeSet::new();

    for (path, methods) in described["paths"].as_object().expect("paths") {
        for (method, says) in methods.as_object().expect("methods") {
            let parameters = says["parameters"].as_array().into_iter().flatten();
            for one in parameters.filter(|one| one["name"].is_string()) {
                let name = one["name"].as_str().expect("a name");
                let asks = one["required"] == true && one["in"] != "path";
                let kind = if asks { "asks for " } else { "takes " };
                now.insert(format!("{kind}{method} {path}?{name}"));
            }
            let answers = says["responses"].as_object().into_iter().flatten();
            for (status, _) in answers {
                now.insert(format!("address {method} {path} {status}"));
            }
        }
    }
    for (name, schema) in described["components"]["schemas"]
        .as_object()
        .expect("schemas")
    {
        fields(name, schema, name == "Said", &mut now);
    }

    assert!(now.len() > 100, "{}", now.len());
    only_grows("v1.txt", &now);
}

/// The fields of a schema of the description with their types and words, and which are always there;
/// of what a client sends, which it has to send.
fn fields(at: &str, schema: &Value, sent: bool, now: &mut BTreeSet<String>) {
    for word in schema["enum"].as_array().into_iter().flatten() {
        now.insert(format!("word {at} = {word}"));
    }
    if let Some(kind) = schema["type"].as_str() {
        now.insert(format!("field {at} {kind}"));
    }
    if let Some(other) = schema["$ref"].as_str() {
        now.insert(format!("field {at} {other}"));
    }
    for name in schema["required"].as_array().into_iter().flatten() {
        let name = name.as_str().expect("a name");
        let kind = if sent { "asks for" } else { "always" };
        now.insert(format!("{kind} {at}.{name}"));
    }
    for (name, inside) in schema["properties"].as_object().into_iter().flatten() {
        fields(&format!("{at}.{name}"), inside, sent, now);
    }
    if schema["items"].is_object() {
        fields(&format!("{at}[]"), &schema["items"], sent, now);
    }
}

#[test]
fn the_columns_of_a_sheet_only_grow() {
    let now = columns::all().into_iter().map(|(name, _)| name).collect();

    only_grows("columns.txt", &now);
}

#[test]
fn the_keys_of_the_settings_only_grow() {
    // The sample shows every key, which tests/docs.rs holds; what is optional stands behind a bare #.
    let sample = include_str!("../../deploy/fascicle.toml");
    let whole = sample.replace("\n#", "\n").replace("\n ", "\n# ");
    let whole: toml::Value = toml::from_str(&whole).expect("TOML");
    let mut now = BTreeSet::new();
    keys("", &whole, &mut now);

    assert!(now.len() > 40, "{now:#?}");
    only_grows("settings.txt", &now);
}

fn keys(at: &str, value: &toml::Value, now: &mut BTreeSet<String>) {
    match value {
        toml::Value::Table(table) => {
            for (key, inside) in table {
                let dot = if at.is_empty() { "" } else { "." };
                // Below these a site gives the names itself.
                if at.ends_with("headers") || at.ends_with("header_files") {
                    continue;
                }
                let at = format!("{at}{dot}{key}");
                now.insert(at.clone());
                keys(&at, inside, now);
            }
        }
        toml::Value::Array(items) => items.iter().for_each(|one| keys(at, one, now)),
        toml::Value::String(_)
        | toml::Value::Integer(_)
        | toml::Value::Float(_)
        | toml::Value::Boolean(_)
        | toml::Value::Datetime(_) => {}
    }
}

#[test]
fn the_fields_of_an_exported_trail_only_grow() {
    let row = TrailRow {
        number: 1,
        at: "2026-11-30T00:00:00Z".to_owned(),
        event: "accepted".to_owned(),
        item: None,
        target: None,
        source: "https://invented-clinic.example/sessions".to_owned(),
        session: "7d1f0a52-3c68-4b0e-9a57-0f6b2e6c1a10".to_owned(),
        version: 1,
        detail: "{}".to_owned(),
        sha256: "0".repeat(64),
    };
    let exported = fascicle::service::app::shown::trail_row(&row);
    let now = exported.members().iter().map(|(name, _)| name.to_string());

    only_grows("trail.txt", &now.collect());
}
