#![cfg(test)]
//! Several targets: a session goes where its route leads, and corrections follow it.

use crate::binary::Site;
use crate::correction::corrected;
use crate::document::{Document, OBSERVATIONS, Person};
use crate::server::{Holding, Server, scenarios};
use fascicle::base::json::Node;
use serde_json::{Value, json};
use std::collections::BTreeSet;

scenarios!(
    a_session_goes_where_its_route_leads_and_its_correction_to_whoever_had_it,
    a_session_without_a_route_is_held_and_nothing_is_kept,
);

const PLACES: &str = "https://invented-clinic.example/locations";

/// The server as target `record` for the ward, and another as target `region` for the day clinic.
fn site(server: &Server, region: &Server) -> Site {
    let site = Site::hasty_with(&server.base(), "");
    let route = |value: &str, target: &str| {
        format!(
            "[[route]]\nlocation = {{ system = '{PLACES}', value = '{value}' }}\n\
             targets = ['{target}']\n"
        )
    };
    let base = region.base();
    site.add_settings(&format!(
        "[[target]]\nname = 'region'\nbase = '{base}'\nvisibility_seconds = 1\n{}{}",
        route("TEST-WARD-7", "record"),
        route("TEST-DAY-CLINIC", "region"),
    ));
    site
}

fn at(mut document: Document, place: &str) -> Document {
    document.json["session"]["location"] = json!({ "system": PLACES, "value": place });
    document
}

/// Identifier and status of each Observation.
fn stand(holding: &Holding) -> BTreeSet<(String, String)> {
    let of = |resource: &Node| {
        let identifier = resource.items_of("identifier").first();
        let value = identifier.and_then(|one| one.text_of("value"));
        let (value, status) = (value.expect("one"), resource.text_of("status"));
        (value.to_owned(), status.expect("one").to_owned())
    };
    holding.observations.iter().map(of).collect()
}

fn a_session_goes_where_its_route_leads_and_its_correction_to_whoever_had_it(server: &Server) {
    let region = Server::practice();
    let person = Person::known(server);
    let there = person.put(&region, |_| {});
    let site = site(server, &region);
    let first = at(person.session(), "TEST-WARD-7");
    let instrument = [first.instrument()];

    site.send(&[&site.document(&first)], 60).ended(0);

    let here = Holding::of(server, &person.reference, &instrument);
    assert_eq!(here.counts(), [OBSERVATIONS, 1, 1, 0]);
    let location = here.provenances[0].at(&["location", "identifier", "value"]);
    assert_eq!(location.and_then(Node::text), Some("TEST-WARD-7"));
    assert_eq!(Holding::of(&region, &there, &instrument).counts(), [0; 4]);

    // The place was wrong: the correction goes to the right target, and to the one that had it.
    let second = at(corrected(&first), "TEST-DAY-CLINIC");
    site.send(&[&site.document(&second)], 60).ended(0);

    let here = Holding::of(server, &person.reference, &instrument);
    let over_there = Holding::of(&region, &there, &instrument);
    assert_eq!(stand(&here), stand(&over_there));
    assert_eq!(
        (here.provenances.len(), over_there.provenances.len()),
        (2, 1)
    );
    assert_eq!(over_there.loose_ends(&region), Vec::<String>::new());
    let trail = site.trail();
    let accepted = trail
        .iter()
        .filter(|row| row.text_of("event") == Some("accepted"));
    let routes = accepted.map(|row| row.at(&["detail", "route"]).cloned());
    let routes: Vec<Option<Node>> = routes.collect();
    let number = |number: &str| Some(Node::Number(number.to_owned()));
    assert_eq!(routes, [number("1"), number("2")]);
}

fn a_session_without_a_route_is_held_and_nothing_is_kept(server: &Server) {
    let region = Server::practice();
    let person = Person::known(server);
    let site = site(server, &region);
    for document in [person.session(), at(person.session(), "TEST-ELSEWHERE")] {
        let run = site.send(&[&site.document(&document)], 5).ended(1);

        let told: Value = serde_json::from_str(&run.text).expect("JSON");
        let problems = told["documents"][0]["problems"]
            .as_array()
            .expect("problems");
        let errors = problems.iter().filter(|one| one["severity"] == "error");
        let codes: Vec<&Value> = errors.map(|one| &one["code"]).collect();
        assert_eq!(codes, ["route.none"]);
    }
    assert!(site.queue().is_empty());
    assert!(
        Holding::of(server, &person.reference, &[])
            .observations
            .is_empty()
    );
}
