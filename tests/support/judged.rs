#![cfg(test)]
//! What our rules say of a resource from anywhere.

use fascicle::json::Node;
use fascicle::problem::Problems;

/// Severity, code and path of everything found.
pub(crate) fn judged(resource: &str) -> Vec<String> {
    let mut problems = Problems::new();
    let node = Node::parse(resource).expect("a resource is JSON");
    fascicle::check::resource(&node, &mut problems);
    crate::document::lines(&problems.sorted())
}

/// An Observation that holds, with more members.
pub(crate) fn observation(more: &str) -> String {
    format!(
        r#"{{"resourceType":"Observation","status":"final","code":{{"coding":[
            {{"system":"https://invented.example/codes","code":"reach"}}],"text":"reach"}}{more}}}"#
    )
}
