//! What a record server has to be able to do.

use crate::base::json::{Node, object, text};
use crate::tables::catalogue::conformance::header::{DATED, Header};
use crate::tables::catalogue::conformance::needs::{
    CONDITIONAL, Declared, KINDS, NEEDS, Need, REPORT,
};

const EXPECTATION: &str = "http://hl7.org/fhir/StructureDefinition/capabilitystatement-expectation";

/// The statement of requirements.
pub fn requirements() -> Node {
    let header = Header {
        kind: "CapabilityStatement",
        id: "record-server",
        title: "What a record server has to be able to do".to_owned(),
        description: "What Fascicle asks of a FHIR R4 server to which it delivers. SHALL is what \
                      delivery rests on; SHOULD is what reading the findings later rests on. The \
                      server need not know the profiles that the resources claim."
            .to_owned(),
        copyright: None,
    };
    let mut members = header.members();
    members.extend([
        ("date", text(DATED)),
        ("kind", text("requirements")),
        ("fhirVersion", text("4.0.1")),
        ("format", Node::List(vec![text("application/fhir+json")])),
        ("rest", Node::List(vec![rest()])),
    ]);
    object(members)
}

fn rest() -> Node {
    let transaction = object([
        ("extension", expectation(true)),
        ("code", text("transaction")),
        (
            "documentation",
            text("a session is stored whole or not at all"),
        ),
    ]);
    object([
        ("mode", text("server")),
        (
            "documentation",
            text("Searches are sent as POST to _search, so that no identifier stands in a log."),
        ),
        (
            "resource",
            Node::List(KINDS.iter().map(|kind| resource(kind)).collect()),
        ),
        ("interaction", Node::List(vec![transaction])),
    ])
}

fn resource(kind: &str) -> Node {
    let of = |place: Declared| {
        let needs = NEEDS.iter();
        needs.filter(move |need| need.kind == kind && need.place == place)
    };
    let mut members = vec![("type", text(kind))];
    let interactions: Vec<Node> = of(Declared::Interaction).map(interaction).collect();
    members.push(("interaction", Node::List(interactions)));
    if CONDITIONAL.contains(&kind) {
        members.push(("conditionalCreate", Node::Bool(true)));
    }
    let mut searches: Vec<Node> = of(Declared::Search).map(search).collect();
    if kind == "Provenance" {
        searches.push(tag());
    }
    if !searches.is_empty() {
        members.push(("searchParam", Node::List(searches)));
    }
    object(members)
}

fn interaction(need: &Need) -> Node {
    object([
        ("extension", expectation(is_always_needed(need))),
        ("code", text(need.name)),
        (
            "documentation",
            text(format!("without it {}", need.without)),
        ),
    ])
}

fn search(need: &Need) -> Node {
    object([
        ("extension", expectation(is_always_needed(need))),
        ("name", text(need.name)),
        ("type", text(parameter_type(need.name))),
        (
            "documentation",
            text(format!("without it {}", need.without)),
        ),
    ])
}

/// The types of the parameters (FHIR R4, searchparameter-registry.html).
fn parameter_type(name: &str) -> &'static str {
    match name {
        "patient" | "target" => "reference",
        "date" => "date",
        _ => "token",
    }
}

/// A Provenance has no identifier in R4; its tag is what its creation is conditional on.
fn tag() -> Node {
    object([
        ("extension", expectation(true)),
        ("name", text("_tag")),
        ("type", text("token")),
        (
            "documentation",
            text("the condition under which a Provenance is created"),
        ),
    ])
}

/// A report is delivered only where the settings of a target ask for it.
fn is_always_needed(need: &Need) -> bool {
    need.must && need.kind != REPORT
}

fn expectation(must: bool) -> Node {
    Node::List(vec![object([
        ("url", text(EXPECTATION)),
        ("valueCode", text(if must { "SHALL" } else { "SHOULD" })),
    ])])
}
