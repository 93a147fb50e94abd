#![cfg(test)]
//! A target that takes a session otherwise than whole, or wants it otherwise than it is made.

use crate::binary::Site;
use crate::document::{OBSERVATIONS, Person};
use crate::figures::Figures;
use crate::http::{Request, Response};
use crate::proxy::{Act, Proxy};
use crate::server::{Holding, Server, scenarios};
use fascicle::base::json::Node;
use std::sync::atomic::{AtomicUsize, Ordering};

scenarios!(
    a_session_arrives_once_and_in_order_of_reference_in_every_mode,
    a_server_that_takes_less_is_sent_half_until_it_takes_it,
    a_refused_entry_of_a_batch_waits_with_its_words_and_the_rest_is_not_sent_twice,
    what_a_target_does_not_take_is_left_out_and_told,
);

/// What one request stores: type of the Bundle, or of the resource; entries; whether a placeholder is
/// left of a reference to something that is not in it.
fn carried(request: &Request) -> (String, usize, bool) {
    let body = Node::parse(&request.body).expect("JSON");
    let entries = body.items_of("entry");
    let own: Vec<&str> = entries
        .iter()
        .filter_map(|e| e.text_of("fullUrl"))
        .collect();
    let mut loose = false;
    placeholders(&body, &mut |urn| loose |= !own.contains(&urn));
    let kind = body
        .text_of("type")
        .or_else(|| body.text_of("resourceType"));
    (kind.expect("a type").to_owned(), entries.len(), loose)
}

fn placeholders(node: &Node, tell: &mut dyn FnMut(&str)) {
    if let Some(urn) = node.text_of("reference").filter(|r| r.starts_with("urn:")) {
        tell(urn);
    }
    node.members()
        .iter()
        .for_each(|(_, one)| placeholders(one, tell));
    node.items().iter().for_each(|one| placeholders(one, tell));
}

fn number(item: &Node, key: &str) -> Option<usize> {
    match item.at(&["receipt", key]) {
        Some(Node::Number(text)) => text.parse().ok(),
        _ => None,
    }
}

fn a_session_arrives_once_and_in_order_of_reference_in_every_mode(server: &Server) {
    let mut figures = Figures::new(server, "every mode");
    // Beside the session the instrument is created on its own.
    let all = OBSERVATIONS + 1;
    for (settings, kind, least) in [
        ("mode = 'batch'", "batch", 3),
        ("mode = 'batch'\nmost_entries = 7", "batch", 6),
        ("mode = 'single'", "", all),
        ("most_entries = 10", "transaction", 4),
        ("most_bytes = 20000", "transaction", 3),
    ] {
        let person = Person::known(server);
        let document = person.session();
        let proxy = Proxy::new(&server.host, |_, _| Act::Pass);
        // Its requests are counted in one attempt, which no busy machine may cut off.
        let site = Site::unhurried_with(&proxy.base(), settings);

        let item = site.send(&[&site.document(&document)], 60).ended(0).item();

        let log = proxy.log();
        let writes = log.iter().filter(|one| !one.request.looks());
        let carried: Vec<_> = writes.map(|one| carried(&one.request)).collect();
        assert!(
            carried.iter().all(|(_, _, loose)| !loose),
            "{settings}: {carried:?}"
        );
        let of_session = carried.iter().filter(|(one, ..)| match kind {
            "" => one == "Observation" || one == "Provenance",
            kind => one == kind,
        });
        let requests = of_session.count();
        assert!(requests >= least, "{settings}: {carried:?}");
        assert_eq!(carried.len(), requests + 1, "{settings}: {carried:?}");
        assert_eq!(number(&item, "requests"), Some(requests), "{settings}");
        assert_eq!(number(&item, "sent"), Some(all), "{settings}");
        assert!(
            site.run("queue", &["--all"])
                .text
                .contains("it was not sent whole")
        );
        // A correction goes the same way.
        let second = site.document(&crate::correction::corrected(&document));
        site.send(&[&second], 60).ended(0);
        crate::correction::corrected_once(server, &person, &document);
        figures.round();
        figures.order(&site);
    }
    figures.told();
}

fn a_server_that_takes_less_is_sent_half_until_it_takes_it(server: &Server) {
    let mut figures = Figures::new(server, "413 until it is small enough");
    for mode in ["transaction", "batch"] {
        let person = Person::known(server);
        let (document, next) = (person.session(), person.session());
        let proxy = Proxy::new(&server.host, |request, _| {
            if request.transaction() && carried(request).1 > 9 {
                Act::Answer(Response::new(413, &[], ""))
            } else {
                Act::Pass
            }
        });
        let site = Site::unhurried_with(&proxy.base(), &format!("mode = '{mode}'"));
        let files = [site.document(&document), site.document(&next)];

        site.send(&[&files[0], &files[1]], 120).ended(0);

        let sizes = proxy.transactions();
        let sizes: Vec<usize> = sizes.iter().map(|one| carried(&one.request).1).collect();
        // Each is half of the one before, and what the first session learned, the second one knows.
        let refused = sizes.iter().take_while(|entries| **entries > 9).count();
        assert!(refused > 0, "{sizes:?}");
        assert!(
            sizes[refused..].iter().all(|entries| *entries <= 9),
            "{sizes:?}"
        );
        let halved = sizes[..=refused].windows(2);
        assert!(
            halved.into_iter().all(|two| two[1] <= two[0].div_ceil(2)),
            "{sizes:?}"
        );
        figures.round();
        figures.count(server, &person, &[&document, &next]);
        figures.order(&site);
    }
    figures.told();
}

fn a_refused_entry_of_a_batch_waits_with_its_words_and_the_rest_is_not_sent_twice(server: &Server) {
    let person = Person::known(server);
    let document = person.session();
    let batches = AtomicUsize::new(0);
    let proxy = Proxy::new(&server.host, move |request, _| {
        // The first wave is stored; then the answer says otherwise of the second.
        if request.transaction() && batches.fetch_add(1, Ordering::SeqCst) == 1 {
            let entries = carried(request).1;
            Act::Answer(Response::new(200, &[], &refusing(entries)))
        } else {
            Act::Pass
        }
    });
    let site = Site::hasty_with(&proxy.base(), "mode = 'batch'");

    let item = site.send(&[&site.document(&document)], 60).ended(5).item();

    assert_eq!(item.text_of("state"), Some("refused"));
    assert_eq!(item.text_of("reason"), Some("target.refused-422"));
    let words = item.text_of("words").expect("words");
    assert!(
        words.contains("entry 1 was answered 422: no such ward"),
        "{words}"
    );
    let stored = Holding::of(server, &person.reference, &[document.instrument()]).counts();
    assert!(stored[0] > 0 && stored[0] < OBSERVATIONS, "{stored:?}");

    let id = item.text_of("item").expect("an item");
    let who = [
        "--by",
        "the therapist on duty",
        "--why",
        "the ward is there now",
    ];
    site.run("queue", &[&["--release", id][..], &who].concat())
        .ended(0);
    let before = proxy.transactions().len();
    site.send(&[], 60).ended(0);

    let after = proxy.transactions();
    let resent: usize = after[before..]
        .iter()
        .map(|one| carried(&one.request).1)
        .sum();
    assert_eq!(resent, OBSERVATIONS + 1 - stored[0]);
    let holding = Holding::of(server, &person.reference, &[document.instrument()]);
    assert_eq!(holding.counts(), [OBSERVATIONS, 1, 1, 0]);
    assert_eq!(holding.loose_ends(server), Vec::<String>::new());
}

fn refusing(entries: usize) -> String {
    let one = r#"{"response":{"status":"422 Unprocessable Entity","outcome":{"resourceType":
        "OperationOutcome","issue":[{"severity":"error","diagnostics":"no such ward"}]}}}"#;
    let all = vec![one; entries].join(",");
    format!(r#"{{"resourceType":"Bundle","type":"batch-response","entry":[{all}]}}"#)
}

fn what_a_target_does_not_take_is_left_out_and_told(server: &Server) {
    let person = Person::known(server);
    let document = person.session();
    let site = Site::hasty_with(
        &server.base(),
        "elements = ['text', 'device']\nnot_tested = 'cancelled'\nunit_texts = {deg = '°'}\n\
         coding_order = ['https://fascicle.example/fhir/CodeSystem/measure']",
    );

    let item = site.send(&[&site.document(&document)], 60).ended(0).item();

    let left_out = item.at(&["receipt", "left_out"]).expect("told");
    let told: Vec<&str> = left_out
        .members()
        .iter()
        .map(|(key, _)| key.as_ref())
        .collect();
    assert_eq!(told, ["extension", "method", "note"]);
    let trail = site.trail();
    let delivered = trail
        .iter()
        .find(|row| row.text_of("event") == Some("delivered"));
    let in_trail = delivered
        .expect("a row")
        .at(&["detail", "receipt", "left_out"]);
    assert_eq!(in_trail, Some(left_out));
    assert!(
        site.run("queue", &["--all"])
            .text
            .contains("left out for this target: method of"),
    );
    let holding = Holding::of(server, &person.reference, &[document.instrument()]);
    assert_eq!(holding.counts(), [OBSERVATIONS, 1, 1, 0]);
    let has = |key: &str| {
        holding
            .observations
            .iter()
            .filter(|one| one.member(key).is_some())
            .count()
    };
    assert_eq!([has("method"), has("note"), has("extension")], [0, 0, 0]);
    assert!(has("text") > 0 && has("bodySite") > 0 && has("device") > 0);
    let not_tested = holding.observations.iter().filter(|one| {
        let reason = one.member("dataAbsentReason").map(Node::compact);
        reason.is_some_and(|reason| reason.contains("not-performed"))
    });
    let statuses: Vec<_> = not_tested.map(|one| one.text_of("status")).collect();
    assert!(!statuses.is_empty() && statuses.iter().all(|one| *one == Some("cancelled")));
    let quantities = holding
        .observations
        .iter()
        .filter_map(|one| one.member("valueQuantity"));
    let degrees = quantities.filter(|one| one.text_of("code") == Some("deg"));
    let units: Vec<_> = degrees.map(|one| one.text_of("unit")).collect();
    assert!(!units.is_empty() && units.iter().all(|one| *one == Some("°")));
    let drift = item.at(&["receipt", "drift"]).map(Node::items);
    assert_eq!(drift, Some(&[][..]));
}
