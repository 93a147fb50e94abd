#![cfg(test)]
//! What we emit, read by the typed models of a library that is not ours.

use crate::document::{catalogue, lines, now};
use fascicle::base::json::Node;
use fascicle::service::app::assess::Earlier;
use fascicle::service::app::encode::encode;
use fhir_sdk::r4b::resources::{
    Bundle, Device, DiagnosticReport, Observation, ObservationValue, Provenance, Resource,
};
use fhir_sdk::r4b::types::{CodeableConcept, Reference};
use serde_json::Value;

const SESSIONS: [&str; 4] = [
    include_str!("../../fixtures/sessions/first.json"),
    include_str!("../../fixtures/sessions/second.json"),
    include_str!("../../fixtures/sessions/sound.json"),
    include_str!("../../fixtures/sessions/every-measure.json"),
];

fn bundles() -> Vec<Node> {
    let encoded = SESSIONS.iter().map(|text| {
        let encoded = encode(text, &Earlier::default(), catalogue(), now());
        encoded
            .map_err(|held| lines(&held.problems))
            .expect("holds")
    });
    encoded
        .map(|encoded| encoded.checked.record().bundle())
        .collect()
}

/// Resources of one type in all sessions.
fn resources(kind: &str) -> Vec<Node> {
    let mut found = Vec::new();
    for bundle in bundles() {
        let entries = bundle.items_of("entry").iter();
        let entries = entries.filter_map(|entry| entry.member("resource"));
        found.extend(
            entries
                .filter(|resource| resource.text_of("resourceType") == Some(kind))
                .cloned(),
        );
    }
    assert!(!found.is_empty(), "{kind}");
    found
}

/// A JSON value with its numbers as floats, as the models hold them.
fn floats(value: Value) -> Value {
    match value {
        Value::Number(number) => Value::from(number.as_f64()),
        Value::Array(items) => items.into_iter().map(floats).collect(),
        Value::Object(members) => members
            .into_iter()
            .map(|(key, value)| (key, floats(value)))
            .collect(),
        Value::Null | Value::Bool(_) | Value::String(_) => value,
    }
}

/// The same after the way through the models: nothing lost, nothing added.
fn same<T: serde::Serialize>(read: &T, emitted: &Node) {
    let back = floats(serde_json::to_value(read).expect("it serialises"));
    let sent = floats(serde_json::from_str(&emitted.compact()).expect("JSON"));
    assert_eq!(back, sent);
}

fn read<T: serde::de::DeserializeOwned>(emitted: &Node) -> T {
    serde_json::from_str(&emitted.compact()).expect("it reads back")
}

fn codes(concept: &CodeableConcept) -> Vec<(String, String)> {
    let codings = concept.coding.iter().flatten();
    codings
        .map(|coding| {
            let part = |part: &Option<String>| part.clone().unwrap_or_default();
            (part(&coding.system), part(&coding.code))
        })
        .collect()
}

fn emitted_codes(concept: Option<&Node>) -> Vec<(String, String)> {
    let codings = concept
        .map(|concept| concept.items_of("coding"))
        .unwrap_or_default();
    codings
        .iter()
        .map(|coding| {
            let part = |key: &str| coding.text_of(key).unwrap_or_default().to_owned();
            (part("system"), part("code"))
        })
        .collect()
}

fn references(references: &[Option<Reference>]) -> Vec<&str> {
    let references = references.iter().flatten();
    references
        .filter_map(|reference| reference.reference.as_deref())
        .collect()
}

fn emitted_references<'a>(resource: &'a Node, list: &str) -> Vec<&'a str> {
    let references = resource.items_of(list).iter();
    references
        .filter_map(|reference| reference.text_of("reference"))
        .collect()
}

#[test]
fn every_observation_reads_back_with_its_codes_value_and_references() {
    for emitted in resources("Observation") {
        let observation: Observation = read(&emitted);

        assert_eq!(
            codes(&observation.code),
            emitted_codes(emitted.member("code"))
        );
        assert_eq!(
            observation.status.as_ref(),
            emitted.text_of("status").expect("a status")
        );
        match &observation.value {
            Some(ObservationValue::Quantity(quantity)) => {
                let digits = emitted.at(&["valueQuantity", "value"]).expect("a number");
                let number: f64 = digits.compact().parse().expect("a number");
                assert_eq!(quantity.value, Some(number));
            }
            Some(ObservationValue::CodeableConcept(concept)) => {
                assert_eq!(
                    codes(concept),
                    emitted_codes(emitted.member("valueCodeableConcept"))
                );
            }
            Some(ObservationValue::String(words)) => {
                assert_eq!(Some(words.as_str()), emitted.text_of("valueString"));
            }
            Some(other) => panic!("{other:?}"),
            None => assert_eq!(
                observation.data_absent_reason.is_some(),
                emitted.member("dataAbsentReason").is_some()
            ),
        }
        assert_eq!(
            references(&observation.has_member),
            emitted_references(&emitted, "hasMember")
        );
        assert_eq!(
            references(&observation.derived_from),
            emitted_references(&emitted, "derivedFrom")
        );
        same(&observation, &emitted);
    }
}

#[test]
fn every_provenance_reads_back_with_its_targets_and_agents() {
    for emitted in resources("Provenance") {
        let provenance: Provenance = read(&emitted);

        assert_eq!(
            references(&provenance.target),
            emitted_references(&emitted, "target")
        );
        assert_eq!(provenance.agent.len(), emitted.items_of("agent").len());
        same(&provenance, &emitted);
    }
}

#[test]
fn every_report_reads_back_with_its_panel_and_conclusion() {
    let reports = resources("DiagnosticReport");
    assert!(!reports.is_empty());
    for emitted in reports {
        let report: DiagnosticReport = read(&emitted);

        assert_eq!(
            references(&report.result),
            emitted_references(&emitted, "result")
        );
        assert_eq!(report.conclusion.as_deref(), emitted.text_of("conclusion"));
        same(&report, &emitted);
    }
}

#[test]
fn every_device_reads_back() {
    for emitted in resources("Device") {
        let device: Device = read(&emitted);

        assert_eq!(device.identifier.len(), 1);
        same(&device, &emitted);
    }
}

#[test]
fn every_bundle_reads_back_with_every_entry_in_its_type() {
    for emitted in bundles() {
        let bundle: Bundle = read(&emitted);

        let kinds: Vec<&str> = bundle
            .entry
            .iter()
            .flatten()
            .map(|entry| match &entry.resource {
                Some(Resource::Observation(_)) => "Observation",
                Some(Resource::Device(_)) => "Device",
                Some(Resource::Provenance(_)) => "Provenance",
                Some(Resource::DiagnosticReport(_)) => "DiagnosticReport",
                _ => "something else",
            })
            .collect();
        let wanted: Vec<&str> = emitted
            .items_of("entry")
            .iter()
            .filter_map(|entry| entry.at(&["resource", "resourceType"])?.text())
            .collect();
        assert_eq!(kinds, wanted);
        same(&bundle, &emitted);
    }
}
