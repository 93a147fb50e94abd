#![cfg(test)]
//! The stay or visit a session belongs to, and who examined: known to the server, or not.

use crate::binary::Site;
use crate::document::{Document, OBSERVATIONS, Person};
use crate::proxy::{Act, Proxy};
use crate::server::{Holding, Server, scenarios};
use fascicle::base::json::Node;
use serde_json::json;
use uuid::Uuid;

scenarios!(
    an_encounter_that_the_server_knows_is_referred_to,
    an_encounter_of_another_person_or_in_error_is_never_referred_to,
    what_is_done_with_an_unknown_encounter_is_for_the_target_to_say,
    what_is_done_with_an_unknown_performer_is_for_the_target_to_say,
    a_held_session_goes_on_once_a_person_released_it,
);

const STAYS: &str = "https://invented-clinic.example/encounters";

/// A session of a stay of its own, examined by somebody whom no server knows.
fn session(person: &Person) -> (Document, String) {
    let mut document = person.session();
    let stay = format!("TEST-{}", Uuid::new_v4());
    document.json["session"]["encounter"] = json!({ "system": STAYS, "value": stay });
    let performers = document.json["performers"]
        .as_array_mut()
        .expect("performers");
    for performer in performers {
        performer["identifier"]["value"] = json!(format!("TEST-{}", Uuid::new_v4()));
    }
    (document, stay)
}

fn put_stay(server: &Server, stay: &str, person: &Person, status: &str) -> String {
    let encounter = json!({
        "resourceType": "Encounter",
        "meta": { "tag": [{
            "system": "http://terminology.hl7.org/CodeSystem/v3-ActReason", "code": "HTEST"
        }] },
        "identifier": [{ "system": STAYS, "value": stay }],
        "status": status,
        "class": {
            "system": "http://terminology.hl7.org/CodeSystem/v3-ActCode", "code": "IMP"
        },
        "subject": { "reference": person.reference },
    });
    server.put("Encounter", &encounter.to_string())
}

/// What the Observations name as their stay: literal reference and value of the identifier.
fn stays(holding: &Holding) -> Vec<(Option<&str>, Option<&str>)> {
    let of = |resource| -> (Option<&str>, Option<&str>) {
        let at = |path: &[&str]| Node::at(resource, path).and_then(Node::text);
        (
            at(&["encounter", "reference"]),
            at(&["encounter", "identifier", "value"]),
        )
    };
    let mut all: Vec<_> = holding.observations.iter().map(of).collect();
    all.sort_unstable();
    all.dedup();
    all
}

fn delivered(
    server: &Server,
    settings: &str,
    document: &Document,
    person: &Person,
) -> (Site, Holding) {
    let site = Site::hasty_with(&server.base(), settings);
    site.send(&[&site.document(document)], 60).ended(0);
    let holding = Holding::of(server, &person.reference, &[document.instrument()]);
    assert_eq!(holding.counts(), [OBSERVATIONS, 1, 1, 0]);
    (site, holding)
}

/// How many resources came without an element, as the receipt in the trail says.
fn left_out(site: &Site, element: &str) -> Option<String> {
    let trail = site.trail();
    let row = trail
        .iter()
        .find(|row| row.text_of("event") == Some("delivered"));
    let count = row?.at(&["detail", "receipt", "left_out", element])?;
    Some(count.compact())
}

fn an_encounter_that_the_server_knows_is_referred_to(server: &Server) {
    let person = Person::known(server);
    let (document, stay) = session(&person);
    let known = put_stay(server, &stay, &person, "in-progress");

    let (_site, holding) = delivered(server, "unknown_encounter = 'hold'", &document, &person);

    assert_eq!(
        stays(&holding),
        [(Some(known.as_str()), Some(stay.as_str()))]
    );
    assert_eq!(holding.loose_ends(server), Vec::<String>::new());
}

fn an_encounter_of_another_person_or_in_error_is_never_referred_to(server: &Server) {
    let person = Person::known(server);
    for (of, status, reason) in [
        (&Person::known(server), "finished", "encounter.other-person"),
        (&person, "entered-in-error", "encounter.in-error"),
    ] {
        let (document, stay) = session(&person);
        put_stay(server, &stay, of, status);
        let proxy = Proxy::new(&server.host, |_, _| Act::Pass);
        let site = Site::hasty_with(&proxy.base(), "");

        let run = site.send(&[&site.document(&document)], 60).ended(5);
        assert_eq!(run.item().text_of("reason"), Some(reason));
        release(&site, run.item().text_of("item").expect("an item"));
        let again = site.send(&[], 60).ended(5);

        assert_eq!(again.item().text_of("reason"), Some(reason));
        assert_eq!(proxy.writes(), 0, "{reason}");
    }
}

fn what_is_done_with_an_unknown_encounter_is_for_the_target_to_say(server: &Server) {
    let person = Person::known(server);
    let (document, stay) = session(&person);
    let (_site, holding) = delivered(server, "", &document, &person);
    assert_eq!(stays(&holding), [(None, Some(stay.as_str()))]);

    let person = Person::known(server);
    let (document, _stay) = session(&person);
    let settings = "unknown_encounter = 'leave-out'";
    let (site, holding) = delivered(server, settings, &document, &person);
    assert_eq!(stays(&holding), [(None, None)]);
    assert_eq!(left_out(&site, "encounter"), Some(OBSERVATIONS.to_string()));

    let person = Person::known(server);
    let (document, _stay) = session(&person);
    held(
        server,
        "unknown_encounter = 'hold'",
        &document,
        "encounter.not-found",
    );
}

fn what_is_done_with_an_unknown_performer_is_for_the_target_to_say(server: &Server) {
    let named = |resource: &Node| !resource.items_of("performer").is_empty();
    let person = Person::known(server);
    let (document, _stay) = session(&person);
    let (_site, holding) = delivered(server, "", &document, &person);
    assert!(holding.observations.iter().all(named));

    let person = Person::known(server);
    let (document, _stay) = session(&person);
    let settings = "unknown_practitioner = 'leave-out'";
    let (site, holding) = delivered(server, settings, &document, &person);
    assert!(!holding.observations.iter().any(named));
    assert_eq!(left_out(&site, "performer"), Some(OBSERVATIONS.to_string()));
    // Who signed stays known to whoever looks into the Provenance.
    let signer = document.json["performers"][0]["identifier"]["value"].as_str();
    let agents = holding.provenances[0].items_of("agent").iter();
    let mut who = agents.filter_map(|one| one.at(&["who", "identifier", "value"])?.text());
    assert!(who.any(|one| Some(one) == signer));

    let person = Person::known(server);
    let (document, _stay) = session(&person);
    let settings = "unknown_practitioner = 'hold'";
    held(server, settings, &document, "practitioner.not-found");
}

fn held(server: &Server, settings: &str, document: &Document, reason: &str) {
    let proxy = Proxy::new(&server.host, |_, _| Act::Pass);
    let site = Site::hasty_with(&proxy.base(), settings);

    let run = site.send(&[&site.document(document)], 60).ended(5);

    assert_eq!(run.item().text_of("reason"), Some(reason));
    assert_eq!(proxy.writes(), 0, "{reason}");
}

fn release(site: &Site, item: &str) {
    let decided = ["--by", "the therapist on duty", "--why", "seen on paper"];
    site.run("queue", &[&["--release", item][..], &decided].concat())
        .ended(0);
}

fn a_held_session_goes_on_once_a_person_released_it(server: &Server) {
    for entered_meanwhile in [true, false] {
        let person = Person::known(server);
        let (document, stay) = session(&person);
        let site = Site::hasty_with(&server.base(), "unknown_encounter = 'hold'");
        let run = site.send(&[&site.document(&document)], 60).ended(5);
        let known = entered_meanwhile.then(|| put_stay(server, &stay, &person, "finished"));

        release(&site, run.item().text_of("item").expect("an item"));
        site.send(&[], 60).ended(0);

        let holding = Holding::of(server, &person.reference, &[document.instrument()]);
        assert_eq!(stays(&holding), [(known.as_deref(), Some(stay.as_str()))]);
    }
}
