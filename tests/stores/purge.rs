#![cfg(test)]
//! The end of keeping: content goes, and everything that others rely on stays.

use crate::days::{LAST, LATER, LIFTED, OTHER};
use crate::document::{catalogue, edited, lines, now};
use crate::engine::{
    Engine, LONG, Store, WARD, accepted, claim, delivered, ended, faults, on_both, refused, session,
};
use chrono::{DateTime, TimeDelta, Utc};
use fascicle::base::clock::{Clock, MachineClock};
use fascicle::base::json::Node;
use fascicle::delivery::outbox::kept::KeptText;
use fascicle::delivery::outbox::purge::{Purged, Why};
use fascicle::delivery::outbox::{Item, Outbox, WantedRows};
use fascicle::fhir::summary::across::View;
use fascicle::service::app::retention::Purging;
use fascicle::service::app::submit::{Submitted, submit};
use fascicle::service::app::summary::{SummaryAnswer, Wanted, kept};
use fascicle::service::config::Settings;
use std::sync::Arc;
use uuid::Uuid;

on_both!(
    content_goes_and_what_others_rely_on_stays,
    nothing_is_purged_of_which_a_delivery_is_not_done,
    what_was_purged_is_neither_corrected_nor_sent_again,
    a_precaution_that_stands_outlives_the_content_that_stated_it,
    a_precaution_that_was_lifted_goes_with_the_last_session_that_states_it,
    the_site_says_how_long_and_without_that_nothing_goes,
    an_older_binary_is_refused_from_the_first_purge_on,
);

const SOURCE: &str = "https://invented-clinic.example/sessions";
const BY_HAND: Why<'static> = Why::Decision {
    by: "A. Ward",
    why: "erasure asked for in writing",
};

async fn purged(outbox: &Outbox, session: Uuid) -> Purged {
    let purged = outbox.purge(SOURCE, session, BY_HAND, MachineClock.now());
    purged.await.expect("the store answers")
}

/// A session that was accepted and delivered.
async fn done(store: &Store, person: u32, number: u32) -> Item {
    let item = accepted(&store.outbox, person, number).await;
    deliver_all(store).await;
    item
}

async fn deliver_all(store: &Store) {
    while let Some(leased) = claim(&store.outbox, LONG).await {
        assert!(delivered(&store.outbox, &leased).await);
    }
}

async fn told(outbox: &Outbox, document: &Node) -> Result<Vec<String>, Vec<String>> {
    let targets = [WARD.to_owned()];
    let submitted = submit(outbox, catalogue(), &targets, &document.compact(), now()).await;
    match submitted.expect("the store answers") {
        Submitted::Accepted { told, .. } => Ok(lines(&told)),
        Submitted::Held(held) => Err(lines(&held.problems)),
    }
}

/// A text as it stands, read or not.
fn words(kept: &KeptText) -> &String {
    kept.as_it_stands().open()
}

async fn content_goes_and_what_others_rely_on_stays(engine: Engine) {
    let store = Store::new(engine).await;
    let (gone, stays) = (done(&store, 1, 1).await, done(&store, 2, 1).await);
    let before = store.outbox.sessions().await.expect("the sessions");
    let document = before.iter().find(|one| one.session == gone.session);
    let document = words(&document.expect("kept").document);
    let hash = fascicle::tables::catalogue::sha256_hex(document.as_bytes());

    let first = purged(&store.outbox, gone.session).await;
    let again = purged(&store.outbox, gone.session).await;
    let never = purged(&store.outbox, Uuid::from_u128(7)).await;

    assert_eq!((again, never), (Purged::Before, Purged::NotKept));
    assert!(
        matches!(first, Purged::Gone { versions: 1, .. }),
        "{first:?}"
    );
    for one in store.outbox.sessions().await.expect("the sessions") {
        let empty = (
            words(&one.document).is_empty(),
            words(&one.record).is_empty(),
        );
        let is_gone = one.session == gone.session;
        assert_eq!(empty, (is_gone, is_gone));
        assert!(is_gone || one.session == stays.session);
    }
    let items = store.outbox.items(false).await.expect("the items");
    assert_eq!(items.len(), 2);
    assert!(items.iter().all(|item| item.receipt.is_some()));
    let wanted = WantedRows {
        event: Some("purged".to_owned()),
        ..WantedRows::default()
    };
    let rows = store.outbox.trail_wanted(&wanted).await.expect("the trail");
    let [row] = rows.as_slice() else {
        panic!("{rows:?}");
    };
    assert_eq!(
        (row.session.as_str(), row.version),
        (gone.session.to_string().as_str(), 1)
    );
    assert!(
        row.detail.contains(&hash) && row.detail.contains("decided_sha256"),
        "{}",
        row.detail
    );
    assert!(!row.detail.contains("A. Ward"), "{}", row.detail);
    assert!(faults(&store.outbox).await.is_empty());
    if engine == Engine::Sqlite {
        assert!(
            store
                .outbox
                .forget_freed()
                .await
                .expect("the store answers")
        );
        let held = bytes(&store);
        let in_file = |text: &str| held.windows(text.len()).any(|part| part == text.as_bytes());
        assert!(!in_file("TEST-1"), "the document is still in the file");
        assert!(in_file("TEST-2"));
    }
}

/// Everything in the files of a store.
fn bytes(store: &Store) -> Vec<u8> {
    let folder = std::fs::read_dir(store.folder.path().join("state")).expect("a folder");
    let files = folder.map(|file| std::fs::read(file.expect("a file").path()).expect("its bytes"));
    files.flatten().collect()
}

async fn nothing_is_purged_of_which_a_delivery_is_not_done(engine: Engine) {
    let store = Store::new(engine).await;
    let item = accepted(&store.outbox, 1, 1).await;
    let late = MachineClock.now() + TimeDelta::days(4000);
    let due = async || store.outbox.purgeable(late, 10).await.expect("an answer");

    assert_eq!(purged(&store.outbox, item.session).await, Purged::Open);
    assert_eq!(due().await, []);
    let leased = claim(&store.outbox, LONG).await.expect("the lane");
    assert!(ended(&store.outbox, &leased, &refused()).await);
    assert_eq!(purged(&store.outbox, item.session).await, Purged::Open);
    assert_eq!(due().await, []);
    let drop = fascicle::delivery::outbox::Decision::Drop;
    let dropped = store.outbox.decide(item.id, &drop, "A", "B", now()).await;
    assert!(dropped.expect("the store answers"));

    assert_eq!(due().await, [(SOURCE.to_owned(), item.session)]);
    assert!(matches!(
        purged(&store.outbox, item.session).await,
        Purged::Gone { .. }
    ));
    let left = store.outbox.items(false).await.expect("the items");
    assert!(left[0].words.is_none(), "what the server said stays");
}

async fn what_was_purged_is_neither_corrected_nor_sent_again(engine: Engine) {
    let store = Store::new(engine).await;
    let item = done(&store, 1, 1).await;
    purged(&store.outbox, item.session).await;
    let document = Node::parse(&session(1, 1)).expect("JSON");
    let mut correction = document.clone();
    crate::document::set(
        &mut correction,
        "/session/version",
        Some(Node::Number("2".to_owned())),
    );

    let same = told(&store.outbox, &document).await;
    let corrected = told(&store.outbox, &correction).await;
    let targets = [WARD.to_owned(), "region".to_owned()];
    store
        .outbox
        .bind_target("region", "1")
        .await
        .expect("bound");
    let elsewhere = submit(
        &store.outbox,
        catalogue(),
        &targets,
        &document.compact(),
        now(),
    )
    .await;

    assert!(same.is_ok(), "{same:?}");
    let refused = vec!["error session.purged /session/id".to_owned()];
    assert_eq!(corrected, Err(refused.clone()));
    let Submitted::Held(held) = elsewhere.expect("the store answers") else {
        panic!("queued for another target with nothing to send");
    };
    assert_eq!(lines(&held.problems), refused);
    assert!(claim(&store.outbox, LONG).await.is_none());
}

const STANDING: &str = "note precaution.carried /precautions";

fn name_of(document: &Node) -> Uuid {
    let id = document.at(&["session", "id"]).and_then(Node::text);
    id.expect("an id").parse().expect("a UUID")
}

async fn handover(store: &Store, of: Uuid) -> Result<String, String> {
    let today = now().date_naive();
    let wanted = Wanted::Person(View::Handover);
    let asked = kept(&store.outbox, catalogue(), of, wanted, today).await;
    let asked = asked.expect("the store answers");
    if let SummaryAnswer::Summary(summary) = asked {
        return Ok(summary.text());
    }
    Err(format!("{asked:?}"))
}

async fn a_precaution_that_stands_outlives_the_content_that_stated_it(engine: Engine) {
    let store = Store::new(engine).await;
    let first = edited(&[]);
    let second = edited(&[&LATER[..], &[OTHER]].concat());
    assert!(told(&store.outbox, &first).await.is_ok());
    deliver_all(&store).await;

    let gone = purged(&store.outbox, name_of(&first)).await;
    let nothing_left = handover(&store, name_of(&first)).await;
    let next = told(&store.outbox, &second).await;
    let of_it = handover(&store, name_of(&first)).await;

    assert_eq!(
        gone,
        Purged::Gone {
            versions: 1,
            standing: 1
        }
    );
    assert_eq!(nothing_left, Err("Purged".to_owned()));
    assert_eq!(next, Ok(vec![STANDING.to_owned()]));
    let of_it = of_it.expect("a summary");
    for part in [
        "fixation of an ankle fracture in 2025",
        "Stated before 17 November 2026, in a session whose content is no longer kept in this place.",
        "sore skin",
        "The content of 1 earlier session is no longer kept in this place",
    ] {
        assert!(of_it.contains(part), "{part}: {of_it}");
    }
}

async fn a_precaution_that_was_lifted_goes_with_the_last_session_that_states_it(engine: Engine) {
    let store = Store::new(engine).await;
    let first = edited(&[]);
    // Without what was left out because of the precaution.
    let lifting = edited(&[&LATER[..], &LIFTED, &[("/findings/11", "")]].concat());
    assert!(told(&store.outbox, &first).await.is_ok());
    assert_eq!(told(&store.outbox, &lifting).await, Ok(Vec::new()));
    deliver_all(&store).await;

    // Withdrawing the session that lifted it would have it stand again.
    let before = purged(&store.outbox, name_of(&first)).await;
    assert_eq!(
        before,
        Purged::Gone {
            versions: 1,
            standing: 1
        }
    );
    let after = purged(&store.outbox, name_of(&lifting)).await;
    assert_eq!(
        after,
        Purged::Gone {
            versions: 1,
            standing: 0
        }
    );

    let third = edited(&[&LAST[..], &[OTHER], &[("/findings/11", "")]].concat());
    assert_eq!(told(&store.outbox, &third).await, Ok(Vec::new()));
    let words = handover(&store, name_of(&first)).await.expect("a summary");
    assert!(!words.contains("fracture"), "{words}");
}

/// Some time after the sessions were accepted.
#[derive(Debug)]
struct Later(DateTime<Utc>);

impl Clock for Later {
    fn now(&self) -> DateTime<Utc> {
        self.0
    }
}

async fn the_site_says_how_long_and_without_that_nothing_goes(engine: Engine) {
    let store = Store::new(engine).await;
    for number in 1..=3 {
        done(&store, number, 1).await;
    }
    accepted(&store.outbox, 4, 1).await;
    // A database has a clock of its own.
    let accepted_at = match engine {
        Engine::Sqlite => now(),
        Engine::Postgres => MachineClock.now(),
    };
    let purging = |table: &str, days: i64| {
        let settings = Settings::read(&format!("state = 'x'\n{table}")).expect("sound");
        Purging {
            outbox: store.outbox.clone(),
            retention: settings.retention,
            clock: Arc::new(Later(accepted_at + TimeDelta::days(days))),
        }
    };
    let month = "[retention]\nafter_days = 30";

    let without = purging("", 4000).once().await.expect("an answer");
    let early = purging(month, 29).once().await.expect("an answer");
    let listed = purging(month, 31).due(2).await.expect("an answer");
    let due = purging(month, 31).once().await.expect("an answer");
    let again = purging(month, 31).once().await.expect("an answer");

    assert_eq!((without.sessions, early.sessions), (0, 0));
    assert_eq!((listed.len(), due.sessions, again.sessions), (2, 3, 0));
    let rows = store.outbox.trail(None).await.expect("the trail");
    let told = rows.iter().filter(|row| row.event == "purged");
    assert!(
        told.clone()
            .all(|row| row.detail.contains("\"after_days\":30"))
    );
    assert_eq!(told.count(), 3);
    let open = store.outbox.items(true).await.expect("the items");
    assert_eq!(open.len(), 1);
    let sessions = store.outbox.sessions().await.expect("the sessions");
    let whole = sessions.iter().filter(|one| !words(&one.record).is_empty());
    assert_eq!(
        whole.map(|one| one.session).collect::<Vec<_>>(),
        [open[0].session]
    );
}

async fn an_older_binary_is_refused_from_the_first_purge_on(engine: Engine) {
    let store = Store::new(engine).await;
    let item = done(&store, 1, 1).await;
    let (before, newest) = store.outbox.generations().await.expect("the generations");
    purged(&store.outbox, item.session).await;
    let after = store.outbox.generations().await.expect("the generations");

    assert!(before < 6, "{before}");
    assert_eq!(after, (6, newest));
}
