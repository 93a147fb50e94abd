#![cfg(test)]
//! A document is encoded while no transaction is open, and anew when anything changed meanwhile that it is
//! encoded against.

use crate::days::LATER;
use crate::document::{catalogue, edited, now, sound};
use crate::engine::{
    Engine, LONG, Store, WARD, accepted, claim, delivered, faults, on_both, session,
};
use fascicle::base::clock::{Clock as _, MachineClock};
use fascicle::base::json::Node;
use fascicle::delivery::outbox::offer::{Before, New, Rejected, Tables, Wanted};
use fascicle::delivery::outbox::place::Place;
use fascicle::delivery::outbox::purge::{Purged, Why};
use fascicle::delivery::outbox::{
    Accepted, Decision, Item, NotAccepted, Outbox, OutboxError, State,
};
use fascicle::service::app::assess::Earlier;
use fascicle::service::app::encode::encode;
use fascicle::service::app::key::key_of;
use fascicle::service::app::submit::{Submitted, submit};
use std::thread;

on_both!(
    a_session_that_another_node_accepts_while_a_document_is_encoded_is_known_to_it,
    a_session_that_is_purged_while_a_document_is_encoded_is_not_compared_with,
    the_same_version_that_another_node_accepts_meanwhile_was_accepted_before,
    the_session_of_another_person_that_comes_in_meanwhile_is_told,
    a_delivery_that_is_given_up_while_its_correction_is_encoded_leads_the_correction_nowhere,
    a_person_that_changes_every_time_is_given_up_and_nothing_is_kept,
);

const SOURCE: &str = "https://invented-clinic.example/sessions";

type Answer = Result<Result<Accepted, Rejected<()>>, OutboxError>;

fn made(text: &str) -> New {
    let encoded = encode(text, &Earlier::default(), catalogue(), now()).expect("it holds");
    New {
        precautions: Vec::new(),
        urgent: Vec::new(),
        record: encoded.checked.seal(),
        document: encoded.canonical,
        form: 1,
        tables: Tables {
            sha256: catalogue().sha256.clone(),
            own_files: catalogue().own_files.clone(),
        },
    }
}

/// Another node does something, to its end, while this thread waits for it.
fn meanwhile(place: &Place, doing: impl AsyncFnOnce(Outbox) + Send + 'static) {
    let place = place.clone();
    let other = thread::spawn(move || {
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .expect("a runtime");
        runtime.block_on(async {
            let node = Outbox::open_at(&place).await.expect("a node");
            doing(node.clone()).await;
            node.close().await;
        });
    });
    other.join().expect("nothing holds it up");
}

/// Accepts a document, has something happen while it is encoded for the first time, and gives what was
/// known of its person each time it was encoded.
async fn encoding<T: Send>(
    store: &Store,
    text: &str,
    seen: fn(&Before) -> T,
    happens: impl AsyncFnOnce(Outbox) + Send + 'static,
) -> (Answer, Vec<T>) {
    let targets = [WARD.to_owned()];
    let wanted = Wanted {
        targets: &targets,
        all: &targets,
        route: None,
    };
    let (mut each, mut happens) = (Vec::new(), Some(happens));
    let encode = |before: Before| {
        each.push(seen(&before));
        if let Some(happens) = happens.take() {
            meanwhile(&store.place, happens);
        }
        Ok(made(text))
    };
    let key = key_of(text).expect("a key");
    let answer = store.outbox.accept(&key, wanted, now(), encode).await;
    assert!(faults(&store.outbox).await.is_empty());
    (answer, each)
}

fn is_new(answer: &Answer) -> bool {
    matches!(answer, Ok(Ok(Accepted::New(_))))
}

async fn a_session_that_another_node_accepts_while_a_document_is_encoded_is_known_to_it(
    engine: Engine,
) {
    let store = Store::new(engine).await;
    let other = async |node: Outbox| {
        accepted(&node, 1, 2).await;
    };

    let precautions = |before: &Before| before.precautions.len();
    let (answer, known) = encoding(&store, &session(1, 1), precautions, other).await;

    assert!(is_new(&answer), "{answer:?}");
    assert_eq!(known, [0, 1]);
    assert_eq!(store.outbox.sessions().await.expect("sessions").len(), 2);
}

async fn a_session_that_is_purged_while_a_document_is_encoded_is_not_compared_with(engine: Engine) {
    let store = Store::new(engine).await;
    let targets = [WARD.to_owned()];
    let before = sound().compact();
    let submitted = submit(&store.outbox, catalogue(), &targets, &before, now()).await;
    assert!(
        matches!(submitted, Ok(Submitted::Accepted { .. })),
        "{submitted:?}"
    );
    let leased = claim(&store.outbox, LONG).await.expect("a delivery");
    assert!(delivered(&store.outbox, &leased).await);
    let session = leased.item.session;
    let purges = async move |node: Outbox| {
        let why = Why::Age { days: 1 };
        let purged = node.purge(SOURCE, session, why, MachineClock.now()).await;
        assert!(
            matches!(purged, Ok(Purged::Gone { versions: 1, .. })),
            "{purged:?}"
        );
    };

    let sessions = |before: &Before| before.sessions.len();
    let later = edited(&LATER).compact();
    let (answer, known) = encoding(&store, &later, sessions, purges).await;

    assert!(is_new(&answer), "{answer:?}");
    assert_eq!(known, [1, 0]);
}

async fn the_same_version_that_another_node_accepts_meanwhile_was_accepted_before(engine: Engine) {
    let store = Store::new(engine).await;
    let same = async |node: Outbox| {
        accepted(&node, 1, 1).await;
    };

    let (answer, known) = encoding(&store, &session(1, 1), |_| (), same).await;

    assert!(matches!(answer, Ok(Ok(Accepted::Before(_)))), "{answer:?}");
    assert_eq!(known.len(), 1);
    assert_eq!(store.outbox.items(false).await.expect("the items").len(), 1);
}

async fn the_session_of_another_person_that_comes_in_meanwhile_is_told(engine: Engine) {
    let store = Store::new(engine).await;
    let id = Node::parse(&session(1, 1)).expect("JSON");
    let id = id.at(&["session", "id"]).expect("an id").compact();
    let of_another = edited(&[
        ("/session/id", &id),
        ("/patient/identifier/value", "\"TEST-9\""),
    ]);
    let other = async move |node: Outbox| {
        let (targets, text) = ([WARD.to_owned()], of_another.compact());
        let submitted = submit(&node, catalogue(), &targets, &text, now()).await;
        assert!(matches!(submitted, Ok(Submitted::Accepted { .. })));
    };

    let (answer, known) = encoding(&store, &session(1, 1), |_| (), other).await;

    let told = Rejected::<()>::Store(NotAccepted::OtherContent);
    assert_eq!(
        format!("{:?}", answer.expect("the store answers")),
        format!("{:?}", Err::<Accepted, _>(told))
    );
    assert_eq!(known.len(), 1);
    assert_eq!(store.outbox.sessions().await.expect("sessions").len(), 1);
}

async fn a_delivery_that_is_given_up_while_its_correction_is_encoded_leads_the_correction_nowhere(
    engine: Engine,
) {
    let store = Store::new(engine).await;
    store
        .outbox
        .bind_target("clinic", "1")
        .await
        .expect("bound");
    let both = [WARD.to_owned(), "clinic".to_owned()];
    let first = session(1, 1);
    let submitted = submit(&store.outbox, catalogue(), &both, &first, now()).await;
    let Ok(Submitted::Accepted { items, .. }) = submitted else {
        panic!("{submitted:?}");
    };
    let [clinic, _ward] = items.as_slice() else {
        panic!("{items:?}");
    };
    let id = clinic.id;
    let drops = async move |node: Outbox| {
        let why = "left the hospital";
        let decided = node
            .decide(id, &Decision::Drop, "A. Ward", why, MachineClock.now())
            .await;
        assert!(decided.expect("the store answers"));
    };
    let second = first.replace("\"version\":1", "\"version\":2");
    let wanted = Wanted {
        targets: &both[..1],
        all: &both,
        route: None,
    };
    let (mut known, mut drops) = (Vec::new(), Some(drops));

    let encode = |before: Before| {
        known.push(before.targets.join(" "));
        if let Some(drops) = drops.take() {
            meanwhile(&store.place, drops);
        }
        Ok::<_, ()>(made(&second))
    };
    let key = key_of(&second).expect("a key");
    let answer = store.outbox.accept(&key, wanted, now(), encode).await;

    let Ok(Ok(Accepted::New(items))) = answer else {
        panic!("{answer:?}");
    };
    assert_eq!(known, ["clinic ward", "ward"]);
    let to = |item: &Item| (item.target.clone(), item.state);
    let items: Vec<_> = items.iter().map(to).collect();
    assert_eq!(items, [(WARD.to_owned(), State::Queued)]);
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

    let encode = |_before: Before| {
        tries += 1;
        let number = 1 + tries;
        meanwhile(&store.place, async move |node: Outbox| {
            accepted(&node, 1, number).await;
        });
        Ok::<_, ()>(made(&text))
    };
    let answer: Answer = store.outbox.accept(&key, wanted, now(), encode).await;

    assert!(matches!(answer, Err(OutboxError::Contended)), "{answer:?}");
    assert_eq!(tries, 16);
    let sessions = store.outbox.sessions().await.expect("sessions");
    assert_eq!(sessions.len(), 16);
    assert!(sessions.iter().all(|one| one.session != key.session));
    assert!(faults(&store.outbox).await.is_empty());
}
