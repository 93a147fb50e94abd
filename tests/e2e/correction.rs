#![cfg(test)]
//! Version 2 of a session: what changed is replaced, what did not stays as it is.

use crate::binary::Site;
use crate::document::{Document, OBSERVATIONS, Person};
use crate::proxy::{Act, Proxy};
use crate::server::{Holding, Server, scenarios, version};
use fascicle::base::json::Node;
use serde_json::json;

scenarios!(
    a_correction_replaces_what_changed_and_nothing_else,
    a_lost_answer_to_a_correction_is_settled_by_comparing,
);

const CHANGED: &str = "range.passive.ankle.plantarflexion";
const WITHDRAWN: &str = "sensation.light-touch.foot";

fn a_correction_replaces_what_changed_and_nothing_else(server: &Server) {
    let person = Person::known(server);
    let first = person.session();
    let site = Site::new(&server.base());

    site.send(&[&site.document(&first)], 60).ended(0);
    site.send(&[&site.document(&corrected(&first))], 60)
        .ended(0);

    corrected_once(server, &person, &first);
    let again = site.send(&[&site.document(&first)], 60).ended(0);
    assert_eq!(again.item().text_of("state"), Some("delivered"));
    corrected_once(server, &person, &first);
}

fn a_lost_answer_to_a_correction_is_settled_by_comparing(server: &Server) {
    let person = Person::known(server);
    let first = person.session();
    let second = corrected(&first);
    let proxy = Proxy::new(&server.host, |request, transactions| {
        if request.transaction() && transactions == 2 {
            Act::LoseAnswer
        } else {
            Act::Pass
        }
    });
    let site = Site::new(&proxy.base());

    site.send(&[&site.document(&first)], 60).ended(0);
    site.send(&[&site.document(&second)], 60).ended(0);

    assert_eq!(proxy.transactions().len(), 2);
    assert_eq!(
        site.events(&first.session())[4..],
        [
            "accepted",
            "queued",
            "sending",
            "unknown",
            "sending",
            "delivered"
        ]
    );
    corrected_once(server, &person, &first);
}

/// Version 2: one angle is other, one finding is withdrawn.
pub(crate) fn corrected(first: &Document) -> Document {
    let mut second = first.clone();
    second.json["session"]["version"] = json!(2);
    second.json["session"]["signed"]["at"] = json!("2026-10-20T08:00:00+02:00");
    second.finding(CHANGED, "right")["value"]["beyond_neutral"] = json!("40");
    second.finding(WITHDRAWN, "left")["withdrawn"] = json!(true);
    second
}

pub(crate) fn corrected_once(server: &Server, person: &Person, first: &Document) {
    let holding = Holding::of(server, &person.reference, &[first.instrument()]);
    assert_eq!(holding.counts(), [OBSERVATIONS, 2, 1, 0]);
    assert_eq!(holding.loose_ends(server), Vec::<String>::new());
    let mut told: Vec<String> = holding
        .observations
        .iter()
        .filter(|observation| version(observation) != "1")
        .map(|observation| {
            let value = observation.at(&["valueQuantity", "value"]);
            format!(
                "{} {} version {}{}",
                code(observation),
                observation.text_of("status").unwrap_or_default(),
                version(observation),
                value
                    .map(|value| format!(" value {}", value.compact()))
                    .unwrap_or_default(),
            )
        })
        .collect();
    told.sort();
    // The panel tells of its members in its narrative, so it says something else as well.
    assert_eq!(
        told,
        [
            format!("{CHANGED} corrected version 2 value 40"),
            format!("{WITHDRAWN} entered-in-error version 2"),
            "session.examination corrected version 2".to_owned(),
            // What was computed from the angle follows it.
            format!("side-difference.{CHANGED} corrected version 2 value -8"),
        ]
    );
}

fn code(observation: &Node) -> &str {
    let codings = observation.at(&["code", "coding"]).map(Node::items);
    let own = codings
        .unwrap_or_default()
        .iter()
        .filter_map(|coding| coding.text_of("code"));
    own.clone()
        .find(|code| code.contains('.'))
        .or_else(|| own.clone().next())
        .unwrap_or_default()
}
