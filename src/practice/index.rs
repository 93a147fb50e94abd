//! What of a resource can be searched for.
//!
//! Owns: where each search parameter looks. In: a checked resource. Out: index rows.
//! Never: stores them.

use crate::base::json::Node;
use crate::practice::kind::{Comparing, Kind};
use crate::practice::reference::{self, Aim, aim};
use crate::practice::span::Span;

/// The name under which every link stands, so that deleting can be refused; no search has it.
pub(super) const ANY_LINK: &str = "any";

/// One row of an index, by parameter.
#[derive(Debug)]
pub(super) enum Row {
    /// A code or identifier; the system is `None` where none is given.
    Token(&'static str, Option<String>, String),
    /// A link to a resource of this server.
    Link(&'static str, Kind, String),
    /// A span of time.
    Span(&'static str, Span),
}

/// The index rows of a resource.
pub(super) fn rows(kind: Kind, node: &Node, base: &str) -> Vec<Row> {
    let mut rows = Vec::new();
    for &(parameter, comparing) in kind.searches() {
        match comparing {
            Comparing::Token => tokens(parameter, node, &mut rows),
            Comparing::Reference => links(kind, parameter, node, base, &mut rows),
            Comparing::Date => rows.extend(span(kind, parameter, node)),
        }
    }
    for (_, text) in reference::all(node) {
        if let Aim::Here(to, id) = aim(text, base) {
            rows.push(Row::Link(ANY_LINK, to, id));
        }
    }
    rows
}

fn tokens(parameter: &'static str, node: &Node, rows: &mut Vec<Row>) {
    let (items, key) = match parameter {
        "code" => {
            let code = node.member("code");
            (code.map_or(&[][..], |code| code.items_of("coding")), "code")
        }
        "_tag" => {
            let meta = node.member("meta");
            (meta.map_or(&[][..], |meta| meta.items_of("tag")), "code")
        }
        _ => (node.items_of(parameter), "value"),
    };
    for item in items {
        if let Some(value) = item.text_of(key) {
            let system = item.text_of("system").map(str::to_owned);
            rows.push(Row::Token(parameter, system, value.to_owned()));
        }
    }
}

fn links(kind: Kind, parameter: &'static str, node: &Node, base: &str, rows: &mut Vec<Row>) {
    let element = match kind {
        Kind::Device => "patient",
        Kind::Provenance => "target",
        Kind::DiagnosticReport
        | Kind::Encounter
        | Kind::Observation
        | Kind::Organization
        | Kind::Patient
        | Kind::Practitioner => "subject",
    };
    let Some(value) = node.member(element) else {
        return;
    };
    let references = match value {
        Node::List(items) => items.as_slice(),
        Node::Null | Node::Bool(_) | Node::Number(_) | Node::Text(_) | Node::Object(_) => {
            std::slice::from_ref(value)
        }
    };
    for reference in references {
        let aimed = reference.text_of("reference").map(|text| aim(text, base));
        if let Some(Aim::Here(to, id)) = aimed
            && (parameter != "patient" || to == Kind::Patient)
        {
            rows.push(Row::Link(parameter, to, id));
        }
    }
}

fn span(kind: Kind, parameter: &'static str, node: &Node) -> Option<Row> {
    let (plain, period): (&[&str], &str) = match (kind, parameter) {
        (Kind::Provenance, _) => (&["recorded"], "none"),
        (Kind::Encounter, _) => (&[], "period"),
        (_, _) => (
            &["effectiveDateTime", "effectiveInstant"],
            "effectivePeriod",
        ),
    };
    if let Some(text) = plain.iter().find_map(|key| node.text_of(key)) {
        return Some(Row::Span(parameter, Span::stored(text)?));
    }
    let period = node.member(period)?;
    let end = |key| period.text_of(key).and_then(Span::stored);
    // FHIR R4 (4.0.1), search.html#date: a period without a start begins before any date, and one
    // without an end ends after any.
    let span = Span {
        low: end("start").map_or(i64::MIN, |start| start.low),
        high: end("end").map_or(i64::MAX, |end| end.high),
    };
    Some(Row::Span(parameter, span))
}
