#![cfg(test)]
//! Random sessions over every measure arrive, and every precaution is found by its person.
#![expect(
    clippy::print_stdout,
    reason = "the figures are shown with --nocapture"
)]

use crate::binary::Site;
use crate::document::Person;
use crate::server::{Server, rounds, scenarios};
use crate::sessions::{OF_ONE_PERSON, confirmed, enough, session};
use fascicle::base::json::{Node, text};
use fascicle::tables::catalogue::CANONICAL;
use serde_json::{Value, json};
use std::thread;

scenarios!(random_sessions_arrive_and_every_precaution_is_found_by_its_person);

/// Senders at the same time, each with a state folder and people of its own.
const SENDERS: usize = 2;

/// Site with side, limit and reason of one precaution.
type Limit = [String; 3];

fn random_sessions_arrive_and_every_precaution_is_found_by_its_person(server: &Server) {
    // The practice server is there to be tried out; the many go to the real one.
    let all = if server.real { enough() } else { 96 };
    let people = rounds(24, all).div_ceil(OF_ONE_PERSON);

    let found: Vec<Found> = thread::scope(|scope| {
        let one = |first| scope.spawn(move || send(server, (first..people).step_by(SENDERS)));
        let senders: Vec<_> = (0..SENDERS).map(one).collect();
        senders
            .into_iter()
            .map(|one| one.join().expect("sent"))
            .collect()
    });

    let sum = |of: fn(&Found) -> usize| found.iter().map(of).sum::<usize>();
    let (sessions, precautions) = (sum(|one| one.sessions), sum(|one| one.precautions));
    println!(
        "random sessions delivered to the {} server: {sessions} of {people} people, \
         {precautions} precautions found",
        if server.real { "real" } else { "practice" }
    );
    assert_eq!(sessions, people * OF_ONE_PERSON);
    assert!(precautions > people);
}

struct Found {
    sessions: usize,
    precautions: usize,
}

/// Sends the sessions of some people and looks for what limits them.
fn send(server: &Server, people: impl Iterator<Item = usize>) -> Found {
    let site = Site::new(&server.base());
    let mut files = Vec::new();
    let mut limits = Vec::new();
    for number in people {
        let person = Person::with(server, |patient| {
            patient["birthDate"] = json!("1961-07-14");
            patient["name"][0]["family"] = json!("Testperson");
        });
        let mut meant = Vec::new();
        for number in number * OF_ONE_PERSON..(number + 1) * OF_ONE_PERSON {
            let document = of(&person, session(number));
            meant.extend(document.items_of("precautions").iter().map(stated));
            files.push(site.file(&format!("{number:05}.json"), &document.compact()));
        }
        meant.sort();
        limits.push((person, meant));
    }
    let paths: Vec<&str> = files.iter().map(String::as_str).collect();

    let items = site.send(&paths, 1800).ended(0).items();

    let delivered = items
        .iter()
        .filter(|item| item.text_of("state") == Some("delivered"));
    for (person, meant) in &limits {
        assert_eq!(held(server, person), *meant, "{}", person.reference);
    }
    Found {
        sessions: delivered.count(),
        precautions: limits.iter().map(|(_, meant)| meant.len()).sum(),
    }
}

/// The session as one of this person, new with every run.
fn of(person: &Person, mut session: Node) -> Node {
    let mut put = |way: &[&str], value: &str| {
        let (last, way) = way.split_last().expect("a name");
        let place = way.iter().fold(&mut session, |node, name| {
            node.member_mut(name).expect("it")
        });
        place.set(last, text(value));
    };
    put(&["session", "id"], &uuid::Uuid::new_v4().to_string());
    put(&["patient", "identifier", "value"], &person.value);
    // A confirmation holds for its own session only.
    let mut session: Value = serde_json::from_str(&session.compact()).expect("JSON");
    let head = session["session"].as_object_mut().expect("a session");
    if head.remove("confirmations").is_none() {
        return Node::parse(&session.to_string()).expect("JSON");
    }
    confirmed(session)
}

fn stated(precaution: &Node) -> Limit {
    let of = |name| precaution.text_of(name).expect("said").to_owned();
    [
        format!("{}.{}", of("side"), of("site")),
        of("limit"),
        of("reason"),
    ]
}

/// What a search by person and code finds of precautions.
fn held(server: &Server, person: &Person) -> Vec<Limit> {
    let query = format!(
        "Observation?patient={}&code={CANONICAL}/CodeSystem/measure%7Cprecaution",
        person.reference
    );
    let mut found: Vec<Limit> = server.found(&query).iter().map(read).collect();
    found.sort();
    found
}

fn read(observation: &Node) -> Limit {
    let coded = |way: &[&str], list: &str| {
        let codings = observation
            .at(way)
            .map(|concept| concept.items_of("coding"));
        let system = format!("{CANONICAL}/CodeSystem/{list}");
        let mut codings = codings.unwrap_or_default().iter();
        let own = codings.find(|coding| coding.text_of("system") == Some(&system));
        own.and_then(|coding| coding.text_of("code"))
            .expect("a code")
            .to_owned()
    };
    let reason = observation.items_of("component").iter().find(|component| {
        let codings = component
            .at(&["code"])
            .map_or(&[][..], |code| code.items_of("coding"));
        codings
            .iter()
            .any(|coding| coding.text_of("code") == Some("precaution-reason"))
    });
    let reason = reason.and_then(|component| component.text_of("valueString"));
    [
        coded(&["bodySite"], "site"),
        coded(&["valueCodeableConcept"], "precaution-limit"),
        reason.expect("a reason").to_owned(),
    ]
}
