#![cfg(test)]
//! Invented people and the documents of their sessions, each new with every run.

use crate::server::Server;
use serde_json::{Value, json};
use std::fmt::Write as _;
use uuid::Uuid;

/// What one session becomes on the server: `Observation`, `Provenance`, `DiagnosticReport`. A
/// `Device` is one for each instrument, however many sessions it served.
pub(crate) const OBSERVATIONS: usize = 44;
pub(crate) const PROVENANCES: usize = 1;
pub(crate) const REPORTS: usize = 0;

/// An invented person.
#[derive(Debug, Clone)]
pub(crate) struct Person {
    /// Value of the identifier, in the namespace of the invented clinic.
    pub(crate) value: String,
    /// `Patient/id`; empty for a person the server does not know.
    pub(crate) reference: String,
}

impl Person {
    /// Somebody the server knows.
    pub(crate) fn known(server: &Server) -> Self {
        Self::with(server, |_| {})
    }

    /// Somebody the server knows otherwise.
    pub(crate) fn with(server: &Server, change: impl FnOnce(&mut Value)) -> Self {
        let mut person = Self::unknown();
        person.reference = person.put(server, change);
        person
    }

    /// Somebody the server does not know.
    pub(crate) fn unknown() -> Self {
        Self {
            value: format!("TEST-{}", Uuid::new_v4()),
            reference: String::new(),
        }
    }

    /// Puts a Patient with the identifier of this person on the server.
    pub(crate) fn put(&self, server: &Server, change: impl FnOnce(&mut Value)) -> String {
        let text = include_str!("../../fixtures/people/test-0001.json");
        let mut patient: Value = serde_json::from_str(text).expect("JSON");
        patient["identifier"][0]["value"] = json!(self.value);
        change(&mut patient);
        server.put("Patient", &patient.to_string())
    }

    /// A session of this person, measured with an instrument of its own.
    pub(crate) fn session(&self) -> Document {
        let text = include_str!("../../fixtures/sessions/first.json");
        let mut json: Value = serde_json::from_str(text).expect("JSON");
        json["session"]["id"] = json!(Uuid::new_v4());
        json["patient"]["identifier"]["value"] = json!(self.value);
        let mut document = Document { json };
        document.measured_with(&format!("GON-{}", Uuid::new_v4()));
        document
    }
}

/// A session document.
#[derive(Debug, Clone)]
pub(crate) struct Document {
    pub(crate) json: Value,
}

impl Document {
    pub(crate) fn session(&self) -> String {
        let id = self.json["session"]["id"].as_str();
        id.expect("a session").to_owned()
    }

    pub(crate) fn instrument(&self) -> String {
        let value = self.json["instruments"][0]["identifier"]["value"].as_str();
        value.expect("an instrument").to_owned()
    }

    pub(crate) fn measured_with(&mut self, instrument: &str) {
        self.json["instruments"][0]["identifier"]["value"] = json!(instrument);
    }

    /// The finding of a measure and side, the first where there are several.
    pub(crate) fn finding(&mut self, measure: &str, side: &str) -> &mut Value {
        let findings = self.json["findings"].as_array_mut().expect("findings");
        let is = |f: &&mut Value| f["measure"] == measure && f["side"] == side;
        findings.iter_mut().find(is).expect("the finding")
    }

    /// The same content, keys in reverse order and with white space of its own.
    pub(crate) fn reformatted(&self) -> String {
        let mut text = String::new();
        reversed(&self.json, &mut text);
        text
    }
}

fn reversed(value: &Value, text: &mut String) {
    match value {
        Value::Object(members) => {
            let open = |first: bool| if first { "{\n\t" } else { " ,\n\t" };
            for (index, (key, member)) in members.iter().rev().enumerate() {
                write!(text, "{}{} : ", open(index == 0), json!(key)).expect("a string");
                reversed(member, text);
            }
            text.push_str(if members.is_empty() { "{}" } else { "\r\n}" });
        }
        Value::Array(items) => {
            text.push('[');
            for (index, item) in items.iter().enumerate() {
                text.push_str(if index == 0 { " " } else { "\n , " });
                reversed(item, text);
            }
            text.push(']');
        }
        Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_) => {
            write!(text, "{value}").expect("a string");
        }
    }
}
