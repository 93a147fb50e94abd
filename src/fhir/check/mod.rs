//! Does it hold.
//!
//! Owns: the rules of base FHIR R4, each with its source; making [`Checked`]. In: a record, or a
//! resource from anywhere. Out: a checked record, or every problem. Never: changes a record to
//! make it pass.

mod bundle;
mod definitions;
mod inside;
mod invariants;
mod narrative;
mod options;
mod ours;
mod presence;
mod primitive;
mod rules;
mod schema;
mod structure;

use crate::base::code::Code;
use crate::base::json::Node;
use crate::base::problem::{Problem, Problems};
use crate::fhir::record::{Entry, Record};
use crate::tables::catalogue::{Catalogue, sha256_hex};
use std::collections::BTreeSet;

/// A record that holds. Only [`check`] makes one, so nothing unchecked can be queued.
#[derive(Debug, Clone)]
pub struct Checked(Record);

impl Checked {
    /// The record.
    pub const fn record(&self) -> &Record {
        &self.0
    }

    /// The record as it is kept and sent.
    pub fn seal(self) -> Sealed {
        let text = self.0.text();
        Sealed {
            sha256: sha256_hex(text.as_bytes()),
            resources: self.0.entries.len(),
            text,
        }
    }
}

/// The text of a record that holds. Only [`Checked::seal`] makes one.
#[derive(Debug, Clone)]
pub struct Sealed {
    text: String,
    sha256: String,
    resources: usize,
}

impl Sealed {
    /// The transaction Bundle, without white space.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// SHA-256 of the text.
    pub fn sha256(&self) -> &str {
        &self.sha256
    }

    /// How many resources it holds.
    pub const fn resources(&self) -> usize {
        self.resources
    }
}

/// Holds a record against the rules.
///
/// # Errors
/// Every problem; a record we built ourselves has none, and the tests hold that.
pub fn check(record: Record) -> Result<Checked, Vec<Problem>> {
    let mut problems = Problems::new();
    for entry in &record.entries {
        rules::resource(
            &entry.resource,
            entry.path.as_deref().unwrap_or_default(),
            &mut problems,
        );
    }
    unique(&record.entries, &mut problems);
    references_resolve(&record.entries, &mut problems);
    if problems.any_error() {
        Err(problems.sorted())
    } else {
        Ok(Checked(record))
    }
}

/// Holds a FHIR resource from anywhere against the rules: base FHIR, and our own where the measure
/// is ours. What only base FHIR was held for is told, so that silence never reads as a clean bill.
pub fn resource(node: &Node, catalogue: &Catalogue, problems: &mut Problems) {
    structure::resource(node, "", &structure::Around::default(), problems);
    if node.text_of("resourceType") == Some("Bundle") {
        for (index, entry) in node.items_of("entry").iter().enumerate() {
            if let Some(resource) = entry.member("resource") {
                one(
                    resource,
                    &format!("/entry/{index}/resource"),
                    catalogue,
                    problems,
                );
            }
        }
    } else {
        one(node, "", catalogue, problems);
    }
}

fn one(node: &Node, path: &str, catalogue: &Catalogue, problems: &mut Problems) {
    let kind = node.text_of("resourceType").unwrap_or("a resource");
    // Instruments and Provenance carry no measure in anybody's hand.
    let without = matches!(kind, "Device" | "Provenance" | "Patient");
    if !without && (kind != "Observation" || !ours::observation(node, path, catalogue, problems)) {
        let what = format!("{kind} carries no measure of ours: only rules of base FHIR were held");
        let hint = "a validator with the profiles of its writer says more";
        problems.note(Code::CheckBaseOnly, path, what, hint);
    }
}

fn unique(entries: &[Entry], problems: &mut Problems) {
    let mut seen = BTreeSet::new();
    for entry in entries {
        let key = entry
            .identifier
            .as_ref()
            .map(|(system, value)| (system, value.open()));
        if !seen.insert(entry.full_url.clone())
            || key.is_some_and(|(s, v)| {
                !seen.insert(format!("{s}|{v}")) && !v.starts_with("urn:uuid:")
            })
        {
            let path = entry.path.as_deref().unwrap_or_default();
            let what = format!("{} stands twice in the record", entry.full_url);
            problems.error(Code::RecordTwice, path, what, "report this");
        }
    }
}

fn references_resolve(entries: &[Entry], problems: &mut Problems) {
    let known: BTreeSet<&str> = entries
        .iter()
        .map(|entry| entry.full_url.as_str())
        .collect();
    for entry in entries {
        let mut references = Vec::new();
        rules::literal_references(&entry.resource, &mut references);
        for reference in references.iter().filter(|r| r.starts_with("urn:uuid:")) {
            if !known.contains(*reference) {
                let path = entry.path.as_deref().unwrap_or_default();
                let what = format!("{reference} is in no entry of the record");
                problems.error(Code::RecordReference, path, what, "report this");
            }
        }
    }
}
