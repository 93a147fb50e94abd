#![cfg(test)]
//! The sessions that are delivered: of three invented people, some corrected, two with the same
//! instrument. They are encoded once; how they become a record is not what is simulated.

use fascicle::base::json::Node;
use fascicle::delivery::outbox::offer::{Key, New, Tables};
use fascicle::fhir::check::{Checked, check};
use fascicle::fhir::record::amend::VersionBefore;
use fascicle::fhir::record::{Entry, Record};
use fascicle::service::app::assess::Earlier;
use fascicle::service::app::encode::encode;
use fascicle::service::app::key::key_of;
use fascicle::tables::catalogue::{Catalogue, sha256_hex};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::sync::LazyLock;

/// Person, session and version of each visit, in the order in which those of a person are accepted.
const PLAN: [(usize, usize, u32); 7] = [
    (0, 0, 1),
    (0, 1, 1),
    (0, 0, 2),
    (1, 2, 1),
    (1, 2, 2),
    (2, 3, 1),
    (2, 4, 1),
];

/// The people.
pub(crate) const PEOPLE: usize = 3;

/// One version of one session.
#[derive(Debug)]
pub(crate) struct Visit {
    pub(crate) person: usize,
    pub(crate) session: usize,
    pub(crate) version: u32,
    pub(crate) key: Key,
    /// What stands in its Provenance: session and version.
    pub(crate) name: String,
    document: String,
    checked: Checked,
    /// Its whole record, for the version after it.
    whole: Vec<Entry>,
    /// What each Observation says, by its full URL.
    pub(crate) observations: BTreeMap<String, String>,
    /// The identifier of its instrument.
    pub(crate) instrument: String,
}

impl Visit {
    /// As it is accepted.
    pub(crate) fn made(&self) -> New {
        New {
            record: self.checked.clone().seal(),
            document: self.document.clone(),
            form: 1,
            tables: Tables {
                sha256: String::new(),
                own_files: BTreeMap::new(),
            },
            precautions: Vec::new(),
            urgent: Vec::new(),
        }
    }
}

/// Every visit there may be.
pub(crate) fn visits() -> &'static [Visit] {
    static VISITS: LazyLock<Vec<Visit>> = LazyLock::new(|| {
        let catalogue = Catalogue::embedded().expect("sound tables");
        let mut visits: Vec<Visit> = Vec::new();
        for (person, session, version) in PLAN {
            let before = visits.iter().rev().find(|visit| visit.session == session);
            let visit = visit((person, session, version), before, &catalogue);
            visits.push(visit);
        }
        visits
    });
    &VISITS
}

/// What a resource says, whatever a server calls it and what it refers to: two of the same say the same.
pub(crate) fn says(resource: &Node) -> String {
    let mut bare = resource.clone();
    bare.remove("id");
    bare.remove("meta");
    without_references(&mut bare);
    sha256_hex(bare.canonical().as_bytes())
}

fn without_references(node: &mut Node) {
    node.remove("reference");
    let keys: Vec<String> = node
        .members()
        .iter()
        .map(|(key, _)| key.to_string())
        .collect();
    for key in keys {
        if let Some(member) = node.member_mut(&key) {
            without_references(member);
        }
    }
    node.items_mut().iter_mut().for_each(without_references);
}

fn visit(
    (person, session, version): (usize, usize, u32),
    before: Option<&Visit>,
    catalogue: &Catalogue,
) -> Visit {
    let text = document(person, session, version).to_string();
    let before = before.map(|before| VersionBefore {
        entries: before.whole.clone(),
        ..VersionBefore::default()
    });
    let earlier = Earlier {
        version_before: before.unwrap_or_default(),
        ..Earlier::default()
    };
    let now = "2026-11-25T00:00:00Z".parse().expect("a time");
    let encoded = encode(&text, &earlier, catalogue, now).expect("a sound document");
    let checked = small(encoded.checked.record());
    let entries = checked.record().entries.iter();
    let observations = entries.filter(|entry| entry.kind == "Observation");
    let key = key_of(&text).expect("a key");
    Visit {
        person,
        session,
        version,
        name: format!("{}/{version}", key.session),
        key,
        observations: observations
            .map(|entry| (entry.full_url.clone(), says(&entry.resource)))
            .collect(),
        document: encoded.canonical,
        whole: encoded.checked.record().entries.clone(),
        checked,
        instrument: instrument(person),
    }
}

/// The record without what only makes it longer: every attempt reads and compares it several times.
fn small(record: &Record) -> Checked {
    let mut record = record.clone();
    for entry in &mut record.entries {
        for long in LONG {
            entry.resource.remove(long);
        }
        for agent in entry
            .resource
            .member_mut("agent")
            .map(Node::items_mut)
            .unwrap_or_default()
        {
            agent.remove("onBehalfOf");
        }
    }
    check(record).expect("a record that holds")
}

/// Members that the delivery does not look at.
const LONG: [&str; 9] = [
    "text",
    "extension",
    "category",
    "component",
    "method",
    "bodySite",
    "note",
    "reason",
    "policy",
];

/// Two people are measured with the same one.
fn instrument(person: usize) -> String {
    format!("GON-{}", person / 2)
}

/// The identifier of a person.
pub(crate) fn identifier(person: usize) -> String {
    format!("TEST-{person}")
}

/// A document with one angle; the second version corrects it and adds another.
fn document(person: usize, session: usize, version: u32) -> Value {
    let text = include_str!("../../fixtures/sessions/first.json");
    let mut json: Value = serde_json::from_str(text).expect("JSON");
    let members = json.as_object_mut().expect("an object");
    for words in [
        "precautions",
        "conclusion",
        "priority",
        "goals",
        "handling",
        "recommendations",
        "told",
    ] {
        members.remove(words);
    }
    json["no_precautions"] = json!("asked and looked up, none known");
    json["session"]["id"] = json!(format!("7d1f0a52-3c68-4b0e-9a57-00000000000{session}"));
    json["session"]["version"] = json!(version);
    let start = format!("2026-10-19T09:{session}0:00+02:00");
    json["session"]["performed"]["start"] = json!(start);
    let signed = format!("2026-10-2{version}T08:00:00+02:00");
    json["session"]["signed"]["at"] = json!(signed);
    json["patient"]["identifier"]["value"] = json!(identifier(person));
    json["instruments"][0]["identifier"]["value"] = json!(instrument(person));
    let findings = json["findings"].as_array_mut().expect("findings");
    findings.truncate(if version > 1 { 2 } else { 1 });
    let degrees = (10 * version).to_string();
    findings[0]["value"] = json!({"lacks": degrees, "unit": "deg"});
    json
}
