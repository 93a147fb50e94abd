#![cfg(test)]
//! The server says no, not now, or nothing at all.
#![expect(
    clippy::disallowed_methods,
    reason = "a date for Retry-After is a date from now"
)]

use crate::binary::Site;
use crate::document::{Document, OBSERVATIONS, Person};
use crate::figures::Figures;
use crate::http::Response;
use crate::proxy::{Act, Proxy};
use crate::server::{Holding, Server, scenarios};
use chrono::{TimeDelta, Utc};
use std::net::TcpListener;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

scenarios!(
    refused_content_waits_with_the_servers_words_and_holds_up_nobody_else,
    a_server_that_says_later_is_asked_later,
    a_server_that_is_down_gets_it_once_it_is_up,
);

const WORDS: &str = "this ward takes no ranges";

fn refused_content_waits_with_the_servers_words_and_holds_up_nobody_else(server: &Server) {
    let (one, other) = (Person::known(server), Person::known(server));
    let (refused, delivered) = (one.session(), other.session());
    let closed = Arc::new(AtomicBool::new(true));
    let (subject, still_closed) = (format!("\"{}\"", one.reference), Arc::clone(&closed));
    let proxy = Proxy::new(&server.host, move |request, _| {
        let refused = request.transaction()
            && request.body.contains(&subject)
            && still_closed.load(Ordering::SeqCst);
        if refused {
            Act::Answer(outcome(422, &[]))
        } else {
            Act::Pass
        }
    });
    let site = Site::new(&proxy.base());
    let files = [&refused, &delivered].map(|document| site.document(document));

    site.send(&[&files[0], &files[1]], 60).ended(5);

    let item = of_session(&site, &refused);
    assert_eq!(item.text_of("state"), Some("refused"));
    assert_eq!(item.text_of("reason"), Some("target.refused-422"));
    let queue = site.run("queue", &[]);
    assert!(queue.text.contains(WORDS), "{}", queue.text);
    assert_eq!(
        of_session(&site, &delivered).text_of("state"),
        Some("delivered")
    );
    let held = |person: &Person, session: &Document| {
        Holding::of(server, &person.reference, &[session.instrument()]).counts()
    };
    assert_eq!(held(&one, &refused), [0, 0, 1, 0]);
    assert_eq!(held(&other, &delivered), [OBSERVATIONS, 1, 1, 0]);

    closed.store(false, Ordering::SeqCst);
    let id = item.text_of("item").expect("an item");
    site.run(
        "queue",
        &[
            "--release",
            id,
            "--by",
            "the therapist on duty",
            "--why",
            "the ward takes them now",
        ],
    )
    .ended(0);
    site.send(&[], 60).ended(0);
    assert_eq!(held(&one, &refused), [OBSERVATIONS, 1, 1, 0]);
}

fn a_server_that_says_later_is_asked_later(server: &Server) {
    // A 503 may come from a gateway that passed the request on, so it is looked for before it is
    // sent again, after the short visibility of a hasty site at the earliest.
    let date = || {
        let later = Utc::now() + TimeDelta::seconds(7);
        later.format("%a, %d %b %Y %H:%M:%S GMT").to_string()
    };
    for (status, seconds) in [(429, 2), (503, 5)] {
        let person = Person::known(server);
        let document = person.session();
        // A date has no parts of a second, and some time passes before it is said.
        let asked = if status == 503 {
            date()
        } else {
            "2".to_owned()
        };
        let proxy = Proxy::new(&server.host, move |request, transactions| {
            if request.transaction() && transactions == 1 {
                Act::Answer(outcome(status, &[("retry-after", &asked)]))
            } else {
                Act::Pass
            }
        });
        let base = proxy.base();
        let site = if status == 503 {
            Site::hasty(&base)
        } else {
            Site::new(&base)
        };

        site.send(&[&site.document(&document)], 60).ended(0);

        let transactions = proxy.transactions();
        assert_eq!(transactions.len(), 2);
        let waited = transactions[1].at - transactions[0].at;
        assert!(
            waited >= Duration::from_secs(seconds),
            "{status}: {waited:?}"
        );
        let holding = Holding::of(server, &person.reference, &[document.instrument()]);
        assert_eq!(holding.counts(), [OBSERVATIONS, 1, 1, 0]);
    }
}

fn a_server_that_is_down_gets_it_once_it_is_up(server: &Server) {
    let mut figures = Figures::new(server, "the server is down");
    let person = Person::known(server);
    let document = person.session();
    let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
    let address = listener.local_addr().expect("an address");
    drop(listener);
    let site = Site::new(&format!("http://{address}/fhir"));

    let item = site.send(&[&site.document(&document)], 1).ended(4).item();
    let listener = TcpListener::bind(address).expect("the same port");
    let proxy = Proxy::on(&listener, &server.host, |_, _| Act::Pass);
    site.send(&[], 60).ended(0);

    assert_eq!(item.text_of("state"), Some("queued"));
    assert_eq!(item.text_of("reason"), Some("target.unreachable"));
    assert_eq!(proxy.transactions().len(), 1);
    figures.round();
    figures.count(server, &person, &[&document]);
    figures.order(&site);
    figures.told();
}

fn of_session(site: &Site, document: &Document) -> fascicle::base::json::Node {
    let session = document.session();
    let queue = site.queue();
    let item = queue
        .iter()
        .find(|item| item.text_of("session") == Some(&session));
    item.expect("a delivery of the session").clone()
}

fn outcome(status: u16, headers: &[(&str, &str)]) -> Response {
    let body = format!(
        r#"{{"resourceType":"OperationOutcome","issue":[{{"severity":"error",
            "code":"business-rule","diagnostics":"{WORDS}"}}]}}"#
    );
    Response::new(status, headers, &body)
}
