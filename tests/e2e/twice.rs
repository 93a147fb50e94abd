#![cfg(test)]
//! One document, sent again and again.

use crate::binary::Site;
use crate::document::Person;
use crate::figures::Figures;
use crate::server::{Holding, Server, reference, scenarios, version};
use serde_json::json;

scenarios!(the_same_content_gets_the_same_receipt_and_other_content_is_refused);

fn the_same_content_gets_the_same_receipt_and_other_content_is_refused(server: &Server) {
    let mut figures = Figures::new(server, "the same document twice");
    let person = Person::known(server);
    let document = person.session();
    let site = Site::new(&server.base());
    let file = site.document(&document);
    let reformatted = site.file("reformatted.json", &document.reformatted());
    let mut other = document.clone();
    other.finding("range.passive.ankle.plantarflexion", "right")["value"]["beyond_neutral"] =
        json!("44");
    let other = site.document(&other);

    let first = site.send(&[&file], 60).ended(0);
    let before = versions(server, &person, &document.instrument());
    let again = site.send(&[&file], 60).ended(0);
    let in_other_form = site.send(&[&reformatted], 60).ended(0);
    let refused = site.send(&[&other], 60).ended(1);

    assert_eq!(again.items(), first.items());
    assert_eq!(in_other_form.items(), first.items());
    assert!(
        refused.text.contains("session.other-content"),
        "{}",
        refused.text
    );
    assert_eq!(refused.items(), []);
    assert_eq!(site.queue().len(), 1);
    assert_eq!(versions(server, &person, &document.instrument()), before);
    figures.round();
    figures.count(server, &person, &[&document]);
    figures.order(&site);
    figures.told();
}

/// Every resource of a person and its version.
fn versions(server: &Server, person: &Person, instrument: &str) -> Vec<(String, String)> {
    let holding = Holding::of(server, &person.reference, &[instrument.to_owned()]);
    let all = holding.observations.iter().chain(&holding.provenances);
    let all = all.chain(&holding.devices);
    let mut all: Vec<_> = all
        .map(|resource| (reference(resource), version(resource).to_owned()))
        .collect();
    all.sort();
    all
}
