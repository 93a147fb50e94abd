#![cfg(test)]
//! Reading the parts of what was emitted.

use crate::resource::own_code;
use fascicle::base::json::Node;

/// The component with one of our names.
pub(crate) fn component<'a>(resource: &'a Node, name: &str) -> Option<&'a Node> {
    resource
        .items_of("component")
        .iter()
        .find(|part| own_code(part.member("code"), "component") == Some(name))
}

/// The code of a component whose value is a word of ours.
pub(crate) fn component_word<'a>(resource: &'a Node, name: &str, list: &str) -> Option<&'a str> {
    own_code(
        component(resource, name)?.member("valueCodeableConcept"),
        list,
    )
}

/// The digits of a quantity as emitted.
pub(crate) fn digits(quantity: Option<&Node>) -> Option<&str> {
    match quantity?.member("value") {
        Some(Node::Number(digits)) => Some(digits),
        _ => None,
    }
}
