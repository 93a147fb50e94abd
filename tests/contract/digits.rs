#![cfg(test)]
//! Decimals and their digits.
#![expect(
    clippy::print_stdout,
    reason = "some real servers are known to lose digits, so theirs are reported, not asserted"
)]

use crate::people::{Finding, by_identifier, patient, unique};
use crate::server::{Server, clauses};
use fascicle::base::json::Node;

clauses!(decimals_keep_their_digits);

/// Source: FHIR R4 (4.0.1), datatypes.html#decimal: "the precision of the decimal value has
/// significance"
async fn decimals_keep_their_digits(server: &Server) {
    let person = server.made(&patient(&unique())).await;
    for value in ["12.50", "5.0", "5", "-20", "0.10", "1234567890.123456789"] {
        let mut finding = Finding::of(&person);
        finding.value = value;
        let made = server.made(&finding.json()).await;

        let read = server.get(&made).await.node();
        let query = format!("Observation?{}", by_identifier(&finding.identifier));
        let searched = server.get(&query).await.node();
        let searched = searched.items_of("entry").first();
        let searched = searched.and_then(|entry| entry.member("resource"));

        let wanted = Node::Number(value.to_owned());
        for stored in [Some(&read), searched] {
            let stored = stored.and_then(|node| node.at(&["valueQuantity", "value"]));
            if server.real {
                let kept = stored == Some(&wanted);
                println!(
                    "real server: {value}: {}",
                    if kept { "kept" } else { "changed" }
                );
            } else {
                assert_eq!(stored, Some(&wanted));
            }
        }
    }
}
