#![cfg(test)]
//! One session with every measure, both sides.

use crate::binary::{Site, encode};
use crate::document::{Document, Person};
use crate::server::{Holding, Server, scenarios};
use fascicle::tables::catalogue::CANONICAL;
use serde_json::{Value, json};

scenarios!(
    a_session_with_every_measure_arrives_and_each_is_found_by_its_code,
    a_session_with_traces_of_every_muscle_arrives_with_what_was_computed
);

fn a_session_with_every_measure_arrives_and_each_is_found_by_its_code(server: &Server) {
    let text = include_str!("../../fixtures/sessions/every-measure.json");
    let codes = [
        "range.passive.shoulder.abduction",
        "tone.ashworth.elbow-flexors",
        "pain.intensity.hip",
    ];
    arrives(text, &codes, server);
}

fn a_session_with_traces_of_every_muscle_arrives_with_what_was_computed(server: &Server) {
    let text = include_str!("../../fixtures/sessions/every-trace.json");
    let codes = [
        "trace.stretch.calf",
        "trace.catch.elbow-flexors",
        "trace.velocity.quadriceps",
    ];
    arrives(text, &codes, server);
}

fn arrives(text: &str, codes: &[&str], server: &Server) {
    let mut json: Value = serde_json::from_str(text).expect("JSON");
    let born = json["patient"]["birth_date"].clone();
    let family = json["patient"]["family_name"].clone();
    let person = Person::with(server, |patient| {
        patient["birthDate"] = born;
        patient["name"][0]["family"] = family;
    });
    json["session"]["id"] = json!(uuid::Uuid::new_v4());
    json["patient"]["identifier"] = json!({
        "system": "https://invented-clinic.example/patients", "value": person.value
    });
    json["instruments"][0]["identifier"]["system"] =
        json!("https://invented-clinic.example/instruments");
    let mut document = Document { json };
    document.measured_with(&format!("GON-{}", uuid::Uuid::new_v4()));
    // Far more than one examination holds: a server needs longer than the usual time for it.
    let site = Site::unhurried(&server.base());
    let file = site.document(&document);
    let meant = encode(&file).json();
    let meant = meant.items_of("entry").iter().filter(|entry| {
        entry
            .at(&["resource", "resourceType"])
            .and_then(fascicle::base::json::Node::text)
            == Some("Observation")
    });
    let meant = meant.count();

    let item = site.send(&[&file], 300).ended(0).item();

    assert!(
        item.at(&["receipt", "drift"])
            .is_some_and(|drift| drift.items().is_empty())
    );
    let holding = Holding::of(server, &person.reference, &[document.instrument()]);
    assert_eq!(holding.counts(), [meant, 1, 1, 0]);
    assert_eq!(holding.loose_ends(server), Vec::<String>::new());
    let system = format!("{CANONICAL}/CodeSystem/measure");
    for code in codes {
        let query = format!(
            "Observation?patient={}&code={system}%7C{code}",
            person.reference
        );
        assert!(!server.found(&query).is_empty(), "{code}");
    }
}
