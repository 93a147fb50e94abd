#![cfg(test)]
//! A target that asks for it gets the summary of a session as a `DiagnosticReport`, once.

use crate::binary::Site;
use crate::correction::corrected;
use crate::document::{OBSERVATIONS, Person};
use crate::facts::disagreements;
use crate::server::{Holding, Server, scenarios};
use fascicle::base::json::Node;
use serde_json::json;

scenarios!(
    a_report_is_there_once_and_follows_its_session,
    a_summary_says_what_the_server_holds_and_nothing_else,
);

fn a_report_is_there_once_and_follows_its_session(server: &Server) {
    let person = Person::known(server);
    let first = person.session();
    let site = Site::with_target(&server.base(), "report = true");
    let counts =
        |person: &Person| Holding::of(server, &person.reference, &[first.instrument()]).counts();
    let report = || {
        let found = server.found(&format!("DiagnosticReport?patient={}", person.reference));
        assert_eq!(found.len(), 1);
        found[0].clone()
    };

    site.send(&[&site.document(&first)], 60).ended(0);
    site.send(&[&site.document(&first)], 60).ended(0);

    assert_eq!(counts(&person), [OBSERVATIONS, 1, 1, 1]);
    assert_eq!(report().text_of("status"), Some("final"));
    assert!(told(&report()).contains("45 degrees of plantarflexion"));

    let second = corrected(&first);
    site.send(&[&site.document(&second)], 60).ended(0);

    assert_eq!(counts(&person), [OBSERVATIONS, 2, 1, 1]);
    assert_eq!(report().text_of("status"), Some("corrected"));
    assert!(told(&report()).contains("40 degrees of plantarflexion"));
    assert!(!told(&report()).contains("45 degrees of plantarflexion"));

    let mut third = second.clone();
    third.json["session"]["version"] = json!(3);
    third.json["session"]["withdrawn"] = json!(true);
    third.json["session"]["signed"]["at"] = json!("2026-10-21T08:00:00+02:00");
    site.send(&[&site.document(&third)], 60).ended(0);

    assert_eq!(counts(&person), [OBSERVATIONS, 3, 1, 1]);
    assert_eq!(report().text_of("status"), Some("entered-in-error"));
    assert!(!told(&report()).contains("degrees"), "{}", told(&report()));
}

/// The facts of the printed summary, found again in the Observations of the server alone.
fn a_summary_says_what_the_server_holds_and_nothing_else(server: &Server) {
    let person = Person::known(server);
    let document = person.session();
    let site = Site::new(&server.base());
    site.send(&[&site.document(&document)], 60).ended(0);
    let session = document.session();
    let summary = site.run("summary", &["--of", &session]).ended(0).text;

    let held = Holding::of(server, &person.reference, &[]).observations;
    let observations: Vec<&Node> = held.iter().collect();
    assert_eq!(observations.len(), OBSERVATIONS);
    assert_eq!(disagreements(&observations, &summary), [""; 0]);
    // One less at the server, and it is noticed.
    let (_one, rest) = observations.split_first().expect("some");
    assert!(!disagreements(rest, &summary).is_empty());
}

fn told(report: &Node) -> String {
    let div = report.at(&["text", "div"]).and_then(Node::text);
    div.expect("a narrative").to_owned()
}
