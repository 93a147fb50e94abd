#![cfg(test)]
//! The facts of one emitted Observation as a row that a reader can review in a difference.

use fascicle::base::json::Node;
use sha2::{Digest as _, Sha256};
use std::fmt::Write as _;

pub(super) const HEAD: &str = "\
# One row a measure: what an Observation of it says, and the SHA-256 of the whole as it is written.
# `tests/conformance/emitted FOLDER` writes the whole of each. system|code: a list of ours, loinc or snomed; \
\";\" parts what a list holds.
";

pub(super) const COLUMNS: [&str; 13] = [
    "measure",
    "profile",
    "status",
    "code",
    "text",
    "site",
    "value",
    "components",
    "circumstances",
    "beside",
    "notes",
    "narrative",
    "sha256",
];

/// Members that are told in a column of their own, and those that are the same for a whole session.
const TOLD: [&str; 23] = [
    "resourceType",
    "meta",
    "text",
    "identifier",
    "category",
    "subject",
    "encounter",
    "effectivePeriod",
    "issued",
    "performer",
    "status",
    "code",
    "bodySite",
    "component",
    "method",
    "extension",
    "device",
    "derivedFrom",
    "hasMember",
    "referenceRange",
    "interpretation",
    "note",
    "dataAbsentReason",
];

/// The cells of a row.
pub(super) fn row(measure: &str, observation: &Node, whole: &str) -> [String; 13] {
    for (name, _) in observation.members() {
        let told = TOLD.contains(&name.as_ref()) || name.starts_with("value");
        assert!(told, "{measure}: no column tells of {}", &**name);
    }
    let words = |name: &str| observation.member(name).map(concept).unwrap_or_default();
    [
        measure.to_owned(),
        profile(observation),
        observation.text_of("status").unwrap_or_default().to_owned(),
        words("code"),
        label(observation.member("code")),
        words("bodySite"),
        value(observation),
        joined(observation.items_of("component").iter().map(|part| {
            let name = part.member("code").map(concept).unwrap_or_default();
            format!("{name} = {}", value(part))
        })),
        circumstances(observation),
        beside(observation),
        joined(observation.items_of("note").iter().map(label_of_note)),
        narrative(observation),
        sha256(whole),
    ]
}

/// What makes the form of an Observation: the kind of its measure, its profile, and what it holds. The
/// encounter follows from the document and makes none.
pub(super) fn shape(kind: &str, observation: &Node) -> String {
    let names = observation.members().iter().map(|(name, _)| &**name);
    let names: Vec<&str> = names.filter(|name| *name != "encounter").collect();
    format!("{kind} {} {}", profile(observation), names.join(" "))
}

fn sha256(whole: &str) -> String {
    let mut out = String::new();
    for byte in Sha256::digest(whole.as_bytes()) {
        write!(out, "{byte:02x}").expect("a string takes it");
    }
    out
}

fn joined(parts: impl Iterator<Item = String>) -> String {
    parts.collect::<Vec<_>>().join("; ")
}

fn last(address: &str) -> &str {
    address.rsplit('/').next().unwrap_or(address)
}

fn profile(observation: &Node) -> String {
    let profiles = observation.at(&["meta", "profile"]).map(Node::items);
    joined(profiles.unwrap_or_default().iter().map(|one| {
        let address = one.text().expect("an address");
        last(address).to_owned()
    }))
}

fn coding(coding: &Node) -> String {
    let system = coding.text_of("system").unwrap_or("no system");
    let code = coding.text_of("code").unwrap_or("no code");
    let system = match system {
        "http://snomed.info/sct" => "snomed",
        "http://loinc.org" => "loinc",
        system => last(system),
    };
    format!("{system}|{code}")
}

fn concept(concept: &Node) -> String {
    let codings = concept.items_of("coding");
    if codings.is_empty() {
        return label(Some(concept));
    }
    codings.iter().map(coding).collect::<Vec<_>>().join(" ")
}

fn label(concept: Option<&Node>) -> String {
    let words = concept.and_then(|concept| concept.text_of("text"));
    words.unwrap_or_default().to_owned()
}

fn label_of_note(note: &Node) -> String {
    label(Some(note))
}

fn number(node: Option<&Node>) -> String {
    node.map(Node::compact).unwrap_or_default()
}

fn quantity(quantity: &Node) -> String {
    let comparator = quantity.text_of("comparator").unwrap_or_default();
    let number = number(quantity.member("value"));
    let unit = quantity.text_of("unit").unwrap_or_default();
    let code = quantity.text_of("code").unwrap_or_default();
    format!("{comparator}{number} {code} ({unit})")
}

/// The value with its form, of an Observation or of a component.
fn value(holder: &Node) -> String {
    let given = holder.members().iter().filter_map(|(name, value)| {
        let said = match &**name {
            "valueQuantity" => quantity(value),
            "valueCodeableConcept" | "dataAbsentReason" => concept(value),
            "valueSampledData" => {
                let samples = value.text_of("data").unwrap_or_default();
                let samples = samples.split_whitespace().count();
                let origin = value.member("origin").map(quantity).unwrap_or_default();
                let period = number(value.member("period"));
                format!("{samples} samples of {origin} every {period} ms")
            }
            name if name.starts_with("value") => value.compact(),
            _ => return None,
        };
        let form = name.strip_prefix("value").unwrap_or("absent");
        Some(format!("{form} {said}"))
    });
    joined(given)
}

/// How it was found: method, positions and what else stands as an extension, instrument.
fn circumstances(observation: &Node) -> String {
    let method = observation.member("method").map(concept).into_iter();
    let extensions = observation.items_of("extension").iter().map(|one| {
        let name = last(one.text_of("url").unwrap_or_default());
        format!("{name} {}", value(one))
    });
    let device = observation.member("device").map(|_| "device".to_owned());
    joined(method.chain(extensions).chain(device))
}

/// What it stands beside: ranges, interpretations, and how many Observations it comes from or holds.
fn beside(observation: &Node) -> String {
    let mut told: Vec<String> = Vec::new();
    for range in observation.items_of("referenceRange") {
        let [low, high] = ["low", "high"].map(|end| range.member(end).map(quantity));
        let [low, high] = [low, high].map(Option::unwrap_or_default);
        told.push(format!("range {low} to {high} {}", label(Some(range))));
    }
    let interpretations = observation.items_of("interpretation").iter();
    told.extend(interpretations.map(|one| format!("interpretation {}", concept(one))));
    for (name, word) in [("derivedFrom", "derived from"), ("hasMember", "members")] {
        let count = observation.items_of(name).len();
        if count > 0 {
            told.push(format!("{word} {count}"));
        }
    }
    told.join("; ")
}

/// The words of the narrative without its wrapping, which is the same for all.
fn narrative(observation: &Node) -> String {
    let div = observation.at(&["text", "div"]).and_then(Node::text);
    let div = div.unwrap_or_default();
    let bare = div.strip_prefix("<div xmlns=\"http://www.w3.org/1999/xhtml\"><p>");
    let bare = bare.and_then(|bare| bare.strip_suffix("</p></div>"));
    bare.unwrap_or(div).to_owned()
}
