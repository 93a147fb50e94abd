#![cfg(test)]
//! What our rules say of a resource from anywhere.

use fascicle::base::json::Node;
use fascicle::base::problem::Problems;

/// Severity, code and path of everything found, but for the note that the measure is not ours.
pub(crate) fn judged(resource: &str) -> Vec<String> {
    let mut problems = Problems::new();
    let node = Node::parse(resource).expect("a resource is JSON");
    fascicle::fhir::check::resource(&node, crate::document::catalogue(), &mut problems);
    let mut told = crate::document::lines(&problems.sorted());
    told.retain(|line| !line.starts_with("note check.base-only"));
    told
}

/// An Observation that holds, with more members.
pub(crate) fn observation(more: &str) -> String {
    format!(
        r#"{{"resourceType":"Observation","status":"final","code":{{"coding":[
            {{"system":"https://invented.example/codes","code":"reach"}}],"text":"reach"}}{more}}}"#
    )
}
