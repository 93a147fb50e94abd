#![cfg(test)]
//! What lies under our identifiers and was not sent by this store.

use crate::binary::Site;
use crate::document::{Document, OBSERVATIONS, Person};
use crate::server::{Holding, Server, reference, scenarios, version};
use fascicle::base::json::{Node, text};
use serde_json::json;

scenarios!(
    other_content_under_our_identifiers_waits_for_a_person,
    a_session_of_another_person_never_takes_the_place_of_the_first,
    somebodys_own_amendment_is_not_overwritten_by_a_correction,
);

fn other_angle(document: &Document) -> Document {
    let mut other = document.clone();
    other.finding("range.passive.ankle.plantarflexion", "right")["value"]["beyond_neutral"] =
        json!("30");
    other
}

fn reason(item: &Node) -> &str {
    item.text_of("reason").unwrap_or_default()
}

fn other_content_under_our_identifiers_waits_for_a_person(server: &Server) {
    let person = Person::known(server);
    let document = person.session();
    let first = Site::new(&server.base());
    first.send(&[&first.document(&document)], 60).ended(0);

    let lost = Site::new(&server.base());
    let file = lost.document(&other_angle(&document));
    let item = lost.send(&[&file], 60).ended(5).item();

    assert_eq!(reason(&item), "held.other-content");
    let holding = Holding::of(server, &person.reference, &[document.instrument()]);
    assert_eq!(holding.counts(), [OBSERVATIONS, 1, 1, 0]);
    assert!(holding.observations.iter().all(|one| version(one) == "1"));
}

fn a_session_of_another_person_never_takes_the_place_of_the_first(server: &Server) {
    let (person, other) = (Person::known(server), Person::known(server));
    let document = person.session();
    let first = Site::new(&server.base());
    first.send(&[&first.document(&document)], 60).ended(0);

    let mut moved = document.clone();
    moved.json["patient"]["identifier"]["value"] = json!(other.value);
    let lost = Site::new(&server.base());
    let item = lost.send(&[&lost.document(&moved)], 60).ended(5).item();

    assert_eq!(reason(&item), "held.other-person");
    let held =
        |person: &Person| Holding::of(server, &person.reference, &[document.instrument()]).counts();
    assert_eq!((held(&person)[0], held(&other)[0]), (OBSERVATIONS, 0));
}

fn somebodys_own_amendment_is_not_overwritten_by_a_correction(server: &Server) {
    let person = Person::known(server);
    let document = person.session();
    let site = Site::new(&server.base());
    site.send(&[&site.document(&document)], 60).ended(0);
    let holding = Holding::of(server, &person.reference, &[document.instrument()]);
    let measured = |one: &&Node| one.at(&["valueQuantity", "value"]) == Some(&number("45"));
    let mut amended = holding
        .observations
        .iter()
        .find(measured)
        .expect("45 degrees")
        .clone();
    amended.set("status", text("amended"));
    let address = reference(&amended);
    let answer = server.ask("PUT", &address, &amended.compact());
    assert_eq!(answer.status, 200, "{}", answer.body);

    let mut second = other_angle(&document);
    second.json["session"]["version"] = json!(2);
    second.json["session"]["signed"]["at"] = json!("2026-10-20T08:00:00+02:00");
    let item = site.send(&[&site.document(&second)], 60).ended(5).item();
    assert_eq!(reason(&item), "held.changed-since");
    let id = item.text_of("item").expect("an id").to_owned();
    let decision = [
        "--release",
        &id,
        "--by",
        "a named person",
        "--why",
        "both were looked at",
    ];
    site.run("queue", &decision).ended(0);
    site.send(&[], 60).ended(0);

    let after = Holding::of(server, &person.reference, &[document.instrument()]);
    let now = after
        .observations
        .iter()
        .find(|one| reference(one) == address)
        .expect("it");
    assert_eq!(now.text_of("status"), Some("corrected"));
    assert_eq!(now.at(&["valueQuantity", "value"]), Some(&number("30")));
    assert_eq!(after.counts(), [OBSERVATIONS, 2, 1, 0]);
}

fn number(digits: &str) -> Node {
    Node::Number(digits.to_owned())
}
