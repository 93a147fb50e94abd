//! One measure as a worksheet shows it.

use crate::base::json::Node;
use std::collections::BTreeMap;

/// One measure, ready to be read.
#[derive(Debug, Clone)]
pub struct Row {
    /// Key, and code of our own.
    pub measure: String,
    /// Meaning.
    pub meaning: String,
    /// Kind of finding.
    pub kind: &'static str,
    /// Region of the body; what belongs to no site stands under the session.
    pub region: String,
    /// Site.
    pub site: String,
    /// UCUM code and name of the unit.
    pub unit: Option<(String, String)>,
    /// List of words or grades.
    pub list: Option<String>,
    /// Codes of that list with their meaning.
    pub values: Vec<(String, String)>,
    /// What is asked about and what is refused.
    pub bounds: String,
    /// Codes as they are sent, in their order.
    pub codings: Vec<Coding>,
    /// Codes of each side of the site, in their order.
    pub sites: Vec<Coding>,
    /// An example in words, and the part of its Observation that carries it.
    pub example: Result<(String, Node), String>,
    /// Whose row it is.
    pub origin: &'static str,
    /// Key of the source and place in it.
    pub source: String,
}

/// A code as it is sent.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Coding {
    /// How it stands to ours.
    pub relation: &'static str,
    /// Code system.
    pub system: String,
    /// Code.
    pub code: String,
    /// Display.
    pub display: String,
}

pub(super) type Examples = BTreeMap<String, Result<(String, Node), String>>;
