#![cfg(test)]
//! A rolling upgrade with two binaries: one of an earlier release works beside the one of today on one
//! database, until the new one does what the old one cannot live with.
//!
//! It runs where `FASCICLE_BEFORE` names the binary of before and `FASCICLE_POSTGRES` a database:
//! `tests/upgrade/run` builds the one and starts the other.
#![expect(
    clippy::disallowed_methods,
    clippy::print_stdout,
    reason = "what to run is told by a variable, and a test that does not run says so"
)]

use crate::binary::Site;
use crate::document::{Document, OBSERVATIONS, Person};
use crate::postgres::database;
use crate::server::{Holding, Server};
use crate::service::{OLD, Service, tokens};
use std::path::PathBuf;

const SESSIONS: usize = 8;

#[test]
fn two_binaries_work_side_by_side_until_one_purges() {
    let named = |name: &str| std::env::var(name).ok();
    let (Some(before), Some(postgres)) = (named("FASCICLE_BEFORE"), named("FASCICLE_POSTGRES"))
    else {
        println!("not run: FASCICLE_BEFORE or FASCICLE_POSTGRES is unset");
        return;
    };
    let server = Server::practice();
    let database = database(&postgres);
    let mut old = Site::serving_on(&server.base(), &database);
    old.binary = Some(PathBuf::from(before));
    let new = Site::serving_on(&server.base(), &database);
    tokens(&old, OLD);
    tokens(&new, OLD);
    let person = Person::known(&server);
    let others = [(); SESSIONS].map(|()| Person::known(&server));
    let submitted = |service: &Service, document: &Document| {
        assert_eq!(service.submit(document, OLD), 202);
    };

    // The old one makes the store; the new one brings it up to date while the old one works.
    let first = Service::start(&old);
    let mut documents = vec![person.session()];
    submitted(&first, &documents[0]);
    let second = Service::start(&new);
    for (number, other) in others.iter().enumerate() {
        let node = [&first, &second][number % 2];
        submitted(node, &other.session());
        let next = person.session();
        submitted([&second, &first][number % 2], &next);
        documents.push(next);
    }
    first.drained(OLD);
    second.drained(OLD);

    let held = Holding::of(&server, &person.reference, &[]);
    assert_eq!(held.observations.len(), documents.len() * OBSERVATIONS);
    assert_eq!(held.provenances.len(), documents.len());
    for other in &others {
        let held = Holding::of(&server, &other.reference, &[]);
        assert_eq!(
            (held.observations.len(), held.provenances.len()),
            (OBSERVATIONS, 1)
        );
    }
    for site in [&old, &new] {
        site.run("trail", &["--verify"]).ended(0);
    }
    the_first_purge_ends_what_the_old_one_may((&old, &first), (&new, &second), &documents[0]);
    println!(
        "{} sessions by two binaries, each there once and in order",
        documents.len() + SESSIONS
    );
}

/// The new binary purges what both delivered; the old one does nothing more, and takes nothing in.
fn the_first_purge_ends_what_the_old_one_may(
    (old, first): (&Site, &Service),
    (new, second): (&Site, &Service),
    delivered: &Document,
) {
    let session = delivered.session();
    let purge = ["--purge", &session, "--by", "A. Ward", "--why", "asked for"];
    new.run("store", &purge).ended(0);
    let refused = old.run("queue", &[]);
    assert_ne!(refused.code, Some(0), "{}", refused.text);
    assert!(
        refused
            .text
            .contains("use the version that the other nodes use"),
        "{}",
        refused.text
    );
    let late = Person::unknown().session();
    assert!(
        first.submit(&late, OLD) >= 500,
        "the old one took what it cannot keep"
    );
    assert_eq!(second.submit(&late, OLD), 202);
    new.run("trail", &["--verify"]).ended(0);
}
