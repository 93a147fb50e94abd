#![cfg(test)]
//! A document with every measure that can be entered on both sides, too long to edit by index.

use crate::document::{catalogue, encoded, now, set};
use crate::resource::of_measure;
use crate::stretch_ranges::with_own_ranges;
use fascicle::base::json::Node;
use fascicle::service::app::assess::Earlier;
use fascicle::service::app::earlier::of_session;
use fascicle::service::app::encode::{Encoded, encode};
use std::sync::LazyLock;

const TRACES: &str = include_str!("../../fixtures/sessions/every-trace.json");
const EVERY: &str = include_str!("../../fixtures/sessions/every-measure.json");

/// The findings of the document.
pub(crate) fn findings() -> &'static [Node] {
    static DOCUMENT: LazyLock<Node> =
        LazyLock::new(|| Node::parse(EVERY).expect("the document is JSON"));
    DOCUMENT.items_of("findings")
}

/// What is emitted first of a measure.
pub(crate) fn observation(measure: &str) -> &'static Node {
    // Compared with itself as if it were an earlier session, so that there is a change of each.
    static ENCODED: LazyLock<Encoded> = LazyLock::new(|| {
        let document = Node::parse(EVERY).expect("the document is JSON");
        let alone = encoded(&document);
        let earlier = Earlier {
            sessions: vec![of_session(&alone.session, &alone.measured)],
            ..Earlier::default()
        };
        encode(EVERY, &earlier, catalogue(), now()).expect("it holds")
    });
    static TRACED: LazyLock<Encoded> =
        LazyLock::new(|| encoded(&Node::parse(TRACES).expect("the document is JSON")));
    // With both sides affected, so that stretches are held against a range.
    static RANGED: LazyLock<Encoded> = LazyLock::new(|| {
        let mut document = Node::parse(EVERY).expect("the document is JSON");
        let both = Node::parse("\"both\"").expect("JSON");
        set(&mut document, "/session/more_affected_side", Some(both));
        let earlier = Earlier::default();
        encode(&document.compact(), &earlier, with_own_ranges(), now()).expect("it holds")
    });
    let mut found = of_measure(&ENCODED, measure);
    for more in [&*TRACED, &*RANGED] {
        if found.is_empty() {
            found = of_measure(more, measure);
        }
    }
    found
        .first()
        .unwrap_or_else(|| panic!("nothing emits {measure}"))
}
