//! The addresses under which our code systems are named.

use crate::base::json::{Node, object, text};
use crate::tables::catalogue::conformance::header::{DATED, computable_name};

/// One naming system for a code system. Our identifiers stand under `urn:ietf:rfc:3986`, which is
/// not ours to define.
pub(super) fn of_code_system(system: &Node) -> Node {
    let part = |key| system.text_of(key).unwrap_or_default();
    let address = object([
        ("type", text("uri")),
        ("value", text(part("url"))),
        ("preferred", Node::Bool(true)),
    ]);
    object([
        ("resourceType", text("NamingSystem")),
        ("id", text(part("id"))),
        ("name", text(computable_name(part("id")))),
        ("status", text("active")),
        ("kind", text("codesystem")),
        ("date", text(DATED)),
        ("publisher", text("Fascicle")),
        (
            "description",
            text(format!("{}: {}", part("title"), part("description"))),
        ),
        ("uniqueId", Node::List(vec![address])),
    ])
}
