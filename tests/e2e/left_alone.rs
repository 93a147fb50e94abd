#![cfg(test)]
//! A target that fails again and again is left alone, and goes on by itself.

use crate::binary::Site;
use crate::document::{OBSERVATIONS, Person};
use crate::figures::Figures;
use crate::http::Response;
use crate::proxy::{Act, Proxy};
use crate::server::{Holding, Server, scenarios};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

scenarios!(a_target_that_fails_in_a_row_is_left_alone_until_one_attempt_finds_it_well);

fn a_target_that_fails_in_a_row_is_left_alone_until_one_attempt_finds_it_well(server: &Server) {
    let mut figures = Figures::new(server, "left alone, then well again");
    let people: Vec<Person> = (0..6).map(|_| Person::known(server)).collect();
    let documents: Vec<_> = people.iter().map(Person::session).collect();
    let down = Arc::new(AtomicBool::new(true));
    let still_down = Arc::clone(&down);
    let proxy = Proxy::new(&server.host, move |_, _| {
        if still_down.load(Ordering::SeqCst) {
            Act::Answer(Response::new(503, &[], ""))
        } else {
            Act::Pass
        }
    });
    let site = Site::hasty_with(&proxy.base(), "breaker_failures = 3\nbreaker_seconds = 2");
    let files: Vec<String> = documents.iter().map(|one| site.document(one)).collect();
    let files: Vec<&str> = files.iter().map(String::as_str).collect();

    site.send(&files, 5).ended(4);

    // Three until it opens, one after two seconds; the next would be four seconds later.
    assert_eq!(proxy.log().len(), 4);
    let queue = site.run("queue", &[]).text;
    assert!(queue.contains("target record: left alone since"), "{queue}");
    assert!(queue.contains("after 3 failures in a row"), "{queue}");
    assert!(queue.contains("target.answer-503"), "{queue}");

    down.store(false, Ordering::SeqCst);
    site.send(&[], 60).ended(0);

    assert!(!site.run("queue", &[]).text.contains("left alone"));
    let trail = site.trail();
    let turns = trail.iter().filter_map(|row| row.text_of("event"));
    let turns: Vec<&str> = turns.filter(|event| event.starts_with("breaker")).collect();
    assert_eq!(turns, ["breaker-opened", "breaker-closed"]);
    for (person, document) in people.iter().zip(&documents) {
        let holding = Holding::of(server, &person.reference, &[document.instrument()]);
        assert_eq!(holding.counts(), [OBSERVATIONS, 1, 1, 0]);
        figures.count(server, person, &[document]);
    }
    figures.round();
    figures.told();
}
