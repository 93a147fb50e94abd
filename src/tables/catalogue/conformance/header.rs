//! What resources of conformance share: head, notices, codings, numbers.

use crate::base::exact::Exact;
use crate::base::json::{Node, object, text};
use crate::tables::catalogue::CANONICAL;

/// The day of those definitions that R4 asks a day of.
pub(super) const DATED: &str = "2026-11-25";

// The wording the publishers ask for; a test compares it with SOURCES.toml.
/// The notice that SNOMED International asks for.
pub const SNOMED_NOTICE: &str = "This material includes SNOMED Clinical Terms® (SNOMED CT®) which is used by \
     permission of SNOMED International. All rights reserved. SNOMED CT®, was originally \
     created by The College of American Pathologists. SNOMED and SNOMED CT are registered \
     trademarks of SNOMED International. Implementers of these artefacts must have the \
     appropriate SNOMED CT Affiliate license.";

/// The notice that Regenstrief asks for.
pub const LOINC_NOTICE: &str = "This material contains content from LOINC (http://loinc.org). LOINC is copyright © \
     1995-2020, Regenstrief Institute, Inc. and the Logical Observation Identifiers Names \
     and Codes (LOINC) Committee and is available at no cost under the license at \
     http://loinc.org/license. LOINC® is a registered United States trademark of \
     Regenstrief Institute, Inc.";

/// What a conformance resource says of itself, in the order of the R4 definitions.
pub(super) struct Header<'a> {
    pub(super) kind: &'a str,
    pub(super) id: &'a str,
    pub(super) title: String,
    pub(super) description: String,
    pub(super) copyright: Option<String>,
}

impl Header<'_> {
    pub(super) fn members(self) -> Vec<(&'static str, Node)> {
        let mut members = vec![
            ("resourceType", text(self.kind)),
            ("id", text(self.id)),
            (
                "url",
                text(format!("{CANONICAL}/{}/{}", self.kind, self.id)),
            ),
            ("version", text(env!("CARGO_PKG_VERSION"))),
            ("name", text(computable_name(self.id))),
            ("title", text(self.title)),
            ("status", text("active")),
            ("experimental", Node::Bool(false)),
            ("publisher", text("Fascicle")),
            ("description", text(self.description)),
        ];
        members.extend(self.copyright.map(|notice| ("copyright", text(notice))));
        members
    }
}

/// `tardieu-quality-0-4` is named `TardieuQuality04`.
pub(super) fn computable_name(id: &str) -> String {
    id.split('-')
        .flat_map(|word| {
            let mut letters = word.chars();
            let first = letters.next().map(|letter| letter.to_ascii_uppercase());
            first.into_iter().chain(letters)
        })
        .collect()
}

pub(super) const fn header(id: &str, title: String, description: String) -> Header<'_> {
    Header {
        kind: "ValueSet",
        id,
        title,
        description,
        copyright: None,
    }
}

pub(super) fn coding(system: &str, code: &str, display: &str) -> Node {
    object([
        ("system", text(system)),
        ("code", text(code)),
        ("display", text(display)),
    ])
}

pub(super) fn number(value: Exact) -> Node {
    Node::Number(value.to_string())
}

/// `end-feel` is titled `End feel`.
pub(super) fn title(name: &str) -> String {
    let words = name.replace('-', " ");
    let mut letters = words.chars();
    let first = letters.next().map(|letter| letter.to_ascii_uppercase());
    first.into_iter().chain(letters).collect()
}
