#![cfg(test)]
//! A document is encoded while no transaction is open, and anew when its person changed meanwhile.

use crate::document::{catalogue, now};
use crate::engine::{Engine, Store, WARD, accepted, on_both, session};
use fascicle::delivery::outbox::accept::{Before, New, Rejected, Tables, Wanted};
use fascicle::delivery::outbox::place::Place;
use fascicle::delivery::outbox::{Accepted, Outbox, OutboxError};
use fascicle::service::app::assess::Earlier;
use fascicle::service::app::encode::encode;
use fascicle::service::app::submit::key_of;
use std::thread;

on_both!(
    another_node_accepts_while_a_document_is_encoded_and_the_document_is_encoded_anew,
    a_person_that_changes_every_time_is_given_up_and_nothing_is_kept,
);

fn made(text: &str) -> New {
    let encoded = encode(text, &Earlier::default(), catalogue(), now()).expect("it holds");
    New {
        precautions: Vec::new(),
        urgent: Vec::new(),
        record: encoded.checked.seal(),
        document: encoded.canonical,
        tables: Tables {
            sha256: catalogue().sha256.clone(),
            own_files: catalogue().own_files.clone(),
        },
    }
}

/// Another node accepts a session of the first person, to its end, while this thread waits for it.
fn meanwhile(place: &Place, number: u32) {
    let place = place.clone();
    let other = thread::spawn(move || {
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .expect("a runtime");
        runtime.block_on(async {
            let node = Outbox::open_at(&place).await.expect("a node");
            accepted(&node, 1, number).await;
            node.close().await;
        });
    });
    other.join().expect("nothing holds it up");
}

async fn another_node_accepts_while_a_document_is_encoded_and_the_document_is_encoded_anew(
    engine: Engine,
) {
    let store = Store::new(engine).await;
    let text = session(1, 1);
    let key = key_of(&text).expect("a key");
    let targets = [WARD.to_owned()];
    let wanted = Wanted {
        targets: &targets,
        all: &targets,
        route: None,
    };
    let mut known = Vec::new();

    let encoding = |before: Before| {
        known.push(before.precautions.len());
        if known.len() == 1 {
            meanwhile(&store.place, 2);
        }
        Ok::<_, ()>(made(&text))
    };
    let accepted = store.outbox.accept(&key, wanted, now(), encoding).await;

    let accepted = accepted.expect("the store answers");
    assert!(matches!(accepted, Ok(Accepted::New(_))));
    // What came in between states a precaution: the second encoding knew of it.
    assert_eq!(known, [0, 1]);
    assert_eq!(store.outbox.sessions().await.expect("sessions").len(), 2);
}

async fn a_person_that_changes_every_time_is_given_up_and_nothing_is_kept(engine: Engine) {
    let store = Store::new(engine).await;
    let text = session(1, 1);
    let key = key_of(&text).expect("a key");
    let targets = [WARD.to_owned()];
    let wanted = Wanted {
        targets: &targets,
        all: &targets,
        route: None,
    };
    let mut tries = 0;

    let encoding = |_before: Before| {
        tries += 1;
        meanwhile(&store.place, 1 + tries);
        Ok::<_, ()>(made(&text))
    };
    let accepted: Result<Result<Accepted, Rejected<()>>, OutboxError> =
        store.outbox.accept(&key, wanted, now(), encoding).await;

    assert!(matches!(accepted, Err(OutboxError::Contended)));
    assert_eq!(tries, 16);
    let sessions = store.outbox.sessions().await.expect("sessions");
    assert!(sessions.iter().all(|one| one.session != key.session));
}
