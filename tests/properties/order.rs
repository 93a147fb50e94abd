#![cfg(test)]
//! The order of the findings changes no resource.

use crate::document::{encoded, set, sound};
use crate::few;
use fascicle::base::json::Node;
use proptest::prelude::{Just, Strategy, prop_assert_eq, proptest};
use std::collections::BTreeMap;

/// Resources by their address; the references of the panel and of the Provenance, which name the
/// statements in the order of the document, are sorted.
fn resources(document: &Node) -> BTreeMap<String, String> {
    let encoded = encoded(document);
    let entries = encoded.checked.record().entries.iter();
    entries
        .map(|entry| {
            let mut resource = entry.resource.clone();
            for list in ["hasMember", "target"] {
                let mut items = resource.items_of(list).to_vec();
                items.sort_by_key(Node::canonical);
                if !items.is_empty() {
                    resource.set(list, Node::List(items));
                }
            }
            (entry.full_url.clone(), resource.canonical())
        })
        .collect()
}

fn any_order() -> impl Strategy<Value = Vec<Node>> {
    Just(sound().items_of("findings").to_vec()).prop_shuffle()
}

proptest! {
    #![proptest_config(few(24))]

    #[test]
    fn findings_in_any_order_make_the_same_resources(findings in any_order()) {
        let mut shuffled = sound();
        set(&mut shuffled, "/findings", Some(Node::List(findings)));

        prop_assert_eq!(resources(&shuffled), resources(&sound()));
    }
}
