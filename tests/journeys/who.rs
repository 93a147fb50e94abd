#![cfg(test)]
//! Everybody who examined is named with the role they had; who signed stands beside them.

use crate::document::{edited, encoded};
use crate::resource::all;
use fascicle::base::json::Node;

#[test]
fn every_performer_leaves_with_their_role_and_only_the_signer_is_the_author() {
    let student = r#"{"key":"student","identifier":{"system":"https://invented-clinic.example/staff",
        "value":"ST-2"},"role":"student under supervision","organisation":
        {"system":"https://invented-clinic.example/units","value":"NEURO-REHAB"}}"#;
    let encoded = encoded(&edited(&[("/performers/1", student)]));

    let agents = all(&encoded, "Provenance")[0].items_of("agent");
    let told: Vec<(&str, &str, &str)> = agents
        .iter()
        .filter_map(|agent| {
            let kind = agent.member("type")?.items_of("coding")[0].text_of("code")?;
            let role = agent.items_of("role").first()?.text_of("text")?;
            let who = agent
                .at(&["who", "identifier", "value"])
                .and_then(Node::text)?;
            Some((kind, role, who))
        })
        .collect();

    assert_eq!(
        told,
        [
            ("author", "physiotherapist", "PT-7"),
            ("performer", "physiotherapist", "PT-7"),
            ("performer", "student under supervision", "ST-2"),
        ]
    );
    let observation = all(&encoded, "Observation")[0];
    assert_eq!(observation.items_of("performer").len(), 2);
}
