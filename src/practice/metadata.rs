//! What the server says of itself.
//!
//! Owns: the `CapabilityStatement`. In: the types and their searches. Out: the resource.
//! Never: claims what does not work.

use crate::base::json::{Node, object, text};
use crate::practice::kind::{Comparing, Kind};
use chrono::{DateTime, SecondsFormat, Utc};

/// Said wherever the server describes itself.
pub(super) const WHAT_THIS_IS: &str = "For trying out and training. This is not a record system: \
     it has no user management, no audit log and no backup, and what it holds may be lost. \
     Use it with invented people only.";

/// The statement of the server at this address.
pub(super) fn statement(base: &str, now: DateTime<Utc>, guarded: bool) -> Node {
    let security = if guarded {
        "One secret, given when the server was opened, for everything."
    } else {
        "None: whoever reaches the address may read and write."
    };
    let rest = object([
        ("mode", text("server")),
        ("security", object([("description", text(security))])),
        ("resource", list(Kind::ALL, resource)),
        ("interaction", list(["transaction", "batch"], code)),
    ]);
    let software = object([
        ("name", text("Fascicle practice server")),
        ("version", text(env!("CARGO_PKG_VERSION"))),
    ]);
    let implementation = object([("description", text(WHAT_THIS_IS)), ("url", text(base))]);
    object([
        ("resourceType", text("CapabilityStatement")),
        ("status", text("active")),
        ("experimental", Node::Bool(true)),
        ("date", text(now.to_rfc3339_opts(SecondsFormat::Secs, true))),
        ("description", text(WHAT_THIS_IS)),
        ("kind", text("instance")),
        ("software", software),
        ("implementation", implementation),
        ("fhirVersion", text("4.0.1")),
        ("format", list(["application/fhir+json", "json"], text)),
        ("rest", Node::List(vec![rest])),
    ])
}

fn resource(kind: Kind) -> Node {
    let interactions = [
        "read",
        "vread",
        "update",
        "delete",
        "history-instance",
        "create",
        "search-type",
    ];
    let id = ("_id", Comparing::Token);
    let searches = kind.searches().iter().copied().chain([id]);
    object([
        ("type", text(kind.name())),
        ("interaction", list(interactions, code)),
        ("versioning", text("versioned")),
        ("readHistory", Node::Bool(true)),
        ("updateCreate", Node::Bool(false)),
        ("conditionalCreate", Node::Bool(true)),
        ("conditionalUpdate", Node::Bool(false)),
        ("referencePolicy", list(["literal", "enforced"], text)),
        ("searchParam", list(searches, search)),
    ])
}

fn search((name, comparing): (&'static str, Comparing)) -> Node {
    let compared = match comparing {
        Comparing::Token => "token",
        Comparing::Reference => "reference",
        Comparing::Date => "date",
    };
    object([("name", text(name)), ("type", text(compared))])
}

fn code(value: &str) -> Node {
    object([("code", text(value))])
}

fn list<T>(items: impl IntoIterator<Item = T>, node: impl Fn(T) -> Node) -> Node {
    Node::List(items.into_iter().map(node).collect())
}
