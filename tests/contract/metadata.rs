#![cfg(test)]
//! What a server says of itself.

use crate::server::{Server, clauses};

clauses!(the_statement_says_which_fhir_this_is);

/// Source: FHIR R4 (4.0.1), http.html: "Servers SHALL provide a Capability Statement that specifies
/// which interactions and resources are supported."
async fn the_statement_says_which_fhir_this_is(server: &Server) {
    let answer = server.get("metadata").await;

    assert_eq!(answer.status, 200);
    let statement = answer.node();
    assert_eq!(
        statement.text_of("resourceType"),
        Some("CapabilityStatement")
    );
    assert_eq!(statement.text_of("fhirVersion"), Some("4.0.1"));
    let rest = statement.items_of("rest").first().expect("a rest");
    let interactions = rest.items_of("interaction").iter();
    let codes: Vec<_> = interactions.filter_map(|it| it.text_of("code")).collect();
    assert!(codes.contains(&"transaction"), "{codes:?}");
    let mut kinds = rest
        .items_of("resource")
        .iter()
        .filter_map(|it| it.text_of("type"));
    assert!(kinds.any(|kind| kind == "Observation"));
}
