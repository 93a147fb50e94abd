#![cfg(test)]
//! Last time, from our own store and from the record server, comes to the same.

#![expect(
    clippy::disallowed_methods,
    reason = "the settings of a site are written otherwise"
)]

use crate::binary::Site;
use crate::document::{Document, Person};
use crate::http::{Request, Response};
use crate::proxy::{Act, Proxy};
use crate::server::{Server, scenarios};
use crate::service::{Service, tokens};
use fascicle::base::json::Node;
use serde_json::json;
use uuid::Uuid;

scenarios!(
    last_time_from_the_server_is_that_of_the_store,
    what_points_to_an_earlier_session_arrives_and_reads_back,
    a_session_that_another_store_delivered_is_compared_with,
    an_earlier_finding_that_does_not_read_is_told_and_not_compared_with,
    a_server_that_does_not_tell_of_earlier_sessions_holds_nothing_up,
    a_server_that_does_not_tell_is_left_alone_after_a_while,
);

const TOKEN: &str = "0123456789abcdef0123456789abcdef";

/// A site that asks its record server for earlier sessions.
fn asking(base: &str) -> Site {
    asking_with(base, "")
}

fn asking_with(base: &str, settings: &str) -> Site {
    let site = Site::with_target(base, settings);
    let text = std::fs::read_to_string(site.path("fascicle.toml")).expect("settings");
    site.file("fascicle.toml", &format!("earlier_from = 'record'\n{text}"));
    site
}

/// Each side has a change of the extension of the elbow, which names a finding that the server holds.
fn changes_lead_to_what_was_found_then(server: &Server, person: &Person) {
    let system = "https://fascicle.example/fhir/CodeSystem/comparison";
    let code = "change.range.passive.elbow.extension";
    let changes = server.found(&format!(
        "Observation?subject={}&code={system}%7C{code}",
        person.reference
    ));
    assert_eq!(changes.len(), 2, "one for each side");
    for change in changes {
        let earlier = &change.items_of("derivedFrom")[1];
        let urn = earlier.at(&["identifier", "value"]).and_then(Node::text);
        let urn = urn.expect("the identifier of the earlier finding");
        let then = server.found(&format!("Observation?identifier=urn:ietf:rfc:3986%7C{urn}"));
        assert_eq!(then.len(), 1, "{urn}");
    }
}

fn a_session_that_another_store_delivered_is_compared_with(server: &Server) {
    let person = Person::known(server);
    let first = person.session();
    let second = later(&first);
    let old = Site::new(&server.base());
    old.send(&[&old.document(&first)], 60).ended(0);
    let (new, unasked) = (asking(&server.base()), Site::new(&server.base()));
    let mut third = later(&first);
    third.json["patient"] = Person::known(server).session().json["patient"].clone();

    let sent = new.send(&[&new.document(&second)], 60).ended(0);
    let of_somebody_else = unasked.send(&[&unasked.document(&third)], 60).ended(0);

    assert!(!sent.text.contains("earlier.not-told"), "{}", sent.text);
    assert!(!sent.text.contains("earlier.unread"), "{}", sent.text);
    assert!(!of_somebody_else.text.contains("earlier.not-told"));
    changes_lead_to_what_was_found_then(server, &person);
}

fn an_earlier_finding_that_does_not_read_is_told_and_not_compared_with(server: &Server) {
    let person = Person::known(server);
    let first = person.session();
    let old = Site::new(&server.base());
    old.send(&[&old.document(&first)], 60).ended(0);
    // Somebody took the site away from all of them.
    let proxy = Proxy::new(&server.host, |request, _| {
        if asks(request) {
            Act::Rewrite("\"bodySite\"", "\"bodySighs\"")
        } else {
            Act::Pass
        }
    });
    let changed = asking(&proxy.base());
    let second = later(&first);

    let sent = changed.send(&[&changed.document(&second)], 60).ended(0);

    assert!(sent.text.contains("earlier.unread"), "{}", sent.text);
    let told = "that cannot be read and were not compared";
    assert!(sent.text.contains(told), "{}", sent.text);
}

/// What asks for earlier findings, and nothing else.
fn asks(request: &Request) -> bool {
    request.path.ends_with("/Observation/_search") && request.body.contains("subject=")
}

fn a_server_that_does_not_tell_is_left_alone_after_a_while(server: &Server) {
    let proxy = Proxy::new(&server.host, |request, _| {
        if asks(request) {
            Act::Answer(Response::new(503, &[], ""))
        } else {
            Act::Pass
        }
    });
    let site = asking_with(&proxy.base(), "breaker_failures = 2");
    tokens(&site, TOKEN);
    let service = Service::start(&site);

    for _ in 0..5 {
        let document = Person::known(server).session();
        let answer = service.ask("POST", "/v1/sessions", TOKEN, &document.json.to_string());
        assert_eq!(answer.status, 202);
        assert!(answer.body.contains("earlier.not-told"), "{}", answer.body);
    }

    let asked = proxy.log();
    let asked = asked.iter().filter(|one| asks(&one.request)).count();
    assert_eq!(asked, 2, "then it is left alone");
}

fn a_server_that_does_not_tell_of_earlier_sessions_holds_nothing_up(server: &Server) {
    let person = Person::known(server);
    let document = person.session();
    let proxy = Proxy::new(&server.host, |request, _| {
        // It answers everything but the search for earlier findings.
        if asks(request) {
            Act::Answer(Response::new(503, &[], ""))
        } else {
            Act::Pass
        }
    });
    let site = asking(&proxy.base());
    let broken = asking(&server.base());
    let text = std::fs::read_to_string(broken.path("fascicle.toml")).expect("settings");
    broken.file(
        "fascicle.toml",
        &text.replace("earlier_from = 'record'", "earlier_from = 'ward'"),
    );

    let sent = site.send(&[&site.document(&document)], 60).ended(0);
    let refused = broken.run("queue", &[]).ended(1);

    assert_eq!(sent.item().text_of("state"), Some("delivered"));
    for part in ["earlier.not-told", "an answer 503"] {
        assert!(sent.text.contains(part), "{part}: {}", sent.text);
    }
    let told = "earlier_from: ward is no target of this configuration";
    assert!(refused.text.contains(told), "{}", refused.text);
}

/// A session of the same person four weeks later, with some angles of the elbow changed.
fn later(first: &Document) -> Document {
    let mut second = first.clone();
    second.json["session"]["id"] = json!(Uuid::new_v4());
    second.json["session"]["performed"] =
        json!({"start": "2026-11-16T09:30:00+01:00", "end": "2026-11-16T10:00:00+01:00"});
    second.json["session"]["entered_at"] = json!("2026-11-16T10:15:00+01:00");
    second.json["session"]["signed"]["at"] = json!("2026-11-16T10:20:00+01:00");
    second.finding("range.passive.elbow.extension", "right")["value"]["lacks"] = json!("10");
    second
}

/// Measure, side, number, verdict, rows and inputs of each change.
fn changes(compared: &Node) -> Vec<String> {
    let all = compared.items_of("comparisons").iter();
    let changes = all.filter(|one| one.text_of("rule") == Some("change/1"));
    changes
        .map(|one| {
            let part = |key: &str| one.member(key).map(Node::compact).unwrap_or_default();
            let parts = [
                "measure",
                "side",
                "value",
                "verdict",
                "not_compared",
                "rows",
                "inputs",
            ];
            parts.map(part).join(" ")
        })
        .collect()
}

fn last_time_from_the_server_is_that_of_the_store(server: &Server) {
    let person = Person::known(server);
    let first = person.session();
    let site = Site::new(&server.base());
    site.send(&[&site.document(&first)], 60).ended(0);
    let file = site.document(&later(&first));
    let from = |more: &[&str]| {
        let mut arguments = vec!["--compare", "--json", "--earlier-from"];
        arguments.extend(more);
        arguments.push(&file);
        changes(&site.run("encode", &arguments).ended(0).json().items()[0])
    };

    let store = from(&["store"]);
    let target = from(&["target", "--to", &server.base()]);

    assert_eq!(store.len(), 27, "{store:#?}");
    assert_eq!(store, target);
    let extension = store
        .iter()
        .find(|one| one.contains("elbow.extension\" \"right\""));
    let extension = extension.expect("a change");
    assert!(extension.contains("\"10\" \"higher\""), "{extension}");
    assert!(
        extension.contains("armstrong-1998-extension-passive-same"),
        "{extension}"
    );
}

fn what_points_to_an_earlier_session_arrives_and_reads_back(server: &Server) {
    let person = Person::known(server);
    let first = person.session();
    let second = later(&first);
    let site = Site::new(&server.base());

    site.send(&[&site.document(&first)], 60).ended(0);
    let item = site.send(&[&site.document(&second)], 60).ended(0).item();
    let again = site.send(&[&site.document(&second)], 60).ended(0).item();

    let receipt = item.member("receipt").expect("a receipt");
    assert_eq!(item.text_of("state"), Some("delivered"));
    assert_eq!(again.member("receipt"), Some(receipt));
    changes_lead_to_what_was_found_then(server, &person);
}
