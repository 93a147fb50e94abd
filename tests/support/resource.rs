#![cfg(test)]
//! Reading what was emitted.

use fascicle::base::json::Node;
use fascicle::service::app::encode::Encoded;
use fascicle::tables::catalogue::Catalogue;

/// Every resource of one type.
pub(crate) fn all<'a>(encoded: &'a Encoded, kind: &str) -> Vec<&'a Node> {
    let entries = encoded.checked.record().entries.iter();
    entries
        .filter(|entry| entry.kind == kind)
        .map(|entry| &entry.resource)
        .collect()
}

/// The Observations of a measure, in the order of the record.
pub(crate) fn of_measure<'a>(encoded: &'a Encoded, measure: &str) -> Vec<&'a Node> {
    all(encoded, "Observation")
        .into_iter()
        .filter(|resource| own_code(resource.member("code"), "measure") == Some(measure))
        .collect()
}

/// The code of one of our own code systems in a concept.
pub(crate) fn own_code<'a>(concept: Option<&'a Node>, list: &str) -> Option<&'a str> {
    let system = Catalogue::system_of(list);
    concept?
        .items_of("coding")
        .iter()
        .find(|coding| coding.text_of("system") == Some(&system))?
        .text_of("code")
}
