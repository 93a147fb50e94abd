#![cfg(test)]
//! Leases, fences, lanes and the trail.

use crate::document::{catalogue, now};
use crate::engine::{
    Engine, LONG, SHORT, Store, WARD, accepted, claim, delivered, ended, faults, on_both, refused,
    session,
};
use fascicle::base::clock::{Clock, MachineClock};
use fascicle::base::code::Code;
use fascicle::delivery::outbox::{
    Decision, Outbox, OutboxError, Outcome, Pausing, State, WantedItems,
};
use fascicle::service::app::submit::{Submitted, submit, submit_by};
use fascicle::service::config::Settings;
use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

on_both!(
    a_lane_is_held_by_one_worker_and_others_go_on,
    the_sessions_of_a_person_go_out_in_the_order_they_were_accepted,
    an_ended_lease_makes_its_item_unknown_and_its_first_worker_powerless,
    nothing_leaves_once_the_lease_has_ended_even_if_nobody_took_the_lane,
    a_refused_item_blocks_its_lane_until_a_person_decides,
    one_document_accepted_by_many_at_once_is_kept_once,
    the_versions_of_a_session_are_accepted_in_order_whoever_sends_them,
    a_correction_goes_to_whoever_had_the_version_before,
    many_workers_on_two_nodes_deliver_everything_once_and_in_order,
    the_trail_of_two_nodes_is_one_chain_without_gaps,
    the_trail_is_only_added_to,
    a_lane_without_items_is_held_by_hand,
    a_paused_target_gives_nothing,
    a_target_keeps_its_server,
    what_is_read_is_what_was_asked_for,
);

async fn a_lane_is_held_by_one_worker_and_others_go_on(engine: Engine) {
    let store = Store::new(engine).await;
    let other = store.other_node().await;
    accepted(&store.outbox, 1, 1).await;
    accepted(&store.outbox, 1, 2).await;
    accepted(&store.outbox, 2, 1).await;

    let one = claim(&store.outbox, LONG).await.expect("a lane");
    let two = claim(&other, LONG).await.expect("a lane");
    let none = claim(&store.outbox, LONG).await;

    assert_ne!(one.subject, two.subject);
    assert!(none.is_none());
    assert!(delivered(&other, &two).await && delivered(&store.outbox, &one).await);
    assert!(faults(&store.outbox).await.is_empty());
}

async fn the_sessions_of_a_person_go_out_in_the_order_they_were_accepted(engine: Engine) {
    let store = Store::new(engine).await;
    let other = store.other_node().await;
    let mut wanted = Vec::new();
    for number in 1..=4 {
        wanted.push(accepted(&store.outbox, 1, number).await.id);
    }

    let mut found = Vec::new();
    for node in [&store.outbox, &other, &other, &store.outbox] {
        let leased = claim(node, LONG).await.expect("the lane");
        found.push(leased.item.id);
        assert!(claim(&other, LONG).await.is_none());
        assert!(delivered(node, &leased).await);
    }

    assert_eq!(found, wanted);
}

async fn an_ended_lease_makes_its_item_unknown_and_its_first_worker_powerless(engine: Engine) {
    let store = Store::new(engine).await;
    let other = store.other_node().await;
    accepted(&store.outbox, 1, 1).await;
    let slow = claim(&store.outbox, SHORT).await.expect("the lane");
    let sent = store
        .outbox
        .about_to_send(&slow, true, MachineClock.now())
        .await;
    assert!(sent.expect("the store answers"));
    assert!(claim(&other, LONG).await.is_none());

    tokio::time::sleep(SHORT.whole + Duration::from_millis(50)).await;
    let next = claim(&other, LONG).await.expect("the lane");

    assert!(next.unknown && next.sent_before.is_some() && next.sends == 1);
    let late = store
        .outbox
        .about_to_send(&slow, true, MachineClock.now())
        .await;
    assert!(!late.expect("the store answers"));
    assert!(!delivered(&store.outbox, &slow).await);
    assert!(delivered(&other, &next).await);
    let trail = other.trail(None).await.expect("the trail");
    let events: Vec<&str> = trail.iter().map(|row| row.event.as_str()).collect();
    assert_eq!(
        events,
        [
            "accepted",
            "queued",
            "sending",
            "unknown",
            "sending",
            "delivered"
        ]
    );
}

async fn nothing_leaves_once_the_lease_has_ended_even_if_nobody_took_the_lane(engine: Engine) {
    let store = Store::new(engine).await;
    accepted(&store.outbox, 1, 1).await;
    let slow = claim(&store.outbox, SHORT).await.expect("the lane");

    tokio::time::sleep(SHORT.whole + Duration::from_millis(50)).await;
    let late = store
        .outbox
        .about_to_send(&slow, true, MachineClock.now())
        .await;

    assert!(!late.expect("the store answers"));
    let item = store.outbox.item(slow.item.id).await.expect("an answer");
    assert_eq!(item.map(|item| item.state), Some(State::Sending));
}

async fn a_refused_item_blocks_its_lane_until_a_person_decides(engine: Engine) {
    let store = Store::new(engine).await;
    let first = accepted(&store.outbox, 1, 1).await;
    let second = accepted(&store.outbox, 1, 2).await;
    let leased = claim(&store.outbox, LONG).await.expect("the lane");
    assert!(ended(&store.outbox, &leased, &refused()).await);

    assert!(claim(&store.outbox, LONG).await.is_none());
    let behind = store.outbox.item(second.id).await.expect("an answer");
    assert_eq!(behind.and_then(|item| item.behind), Some(first.id));

    let (by, why) = ("A. Ward", "looked at it");
    for (decision, done) in [(Decision::Drop, true), (Decision::Release, false)] {
        let decided = store
            .outbox
            .decide(first.id, &decision, by, why, MachineClock.now());
        assert_eq!(decided.await.expect("the store answers"), done);
    }
    let next = claim(&store.outbox, LONG).await.expect("the lane");
    assert_eq!(next.item.id, second.id);
    let dropped = store.outbox.item(first.id).await.expect("an answer");
    let dropped = dropped.expect("kept");
    let words = dropped.decided.expect("words");
    assert!(words.open().contains("dropped by A. Ward") && dropped.state == State::Dropped);
}

async fn one_document_accepted_by_many_at_once_is_kept_once(engine: Engine) {
    let store = Store::new(engine).await;
    let other = store.other_node().await;
    let mut accepting = tokio::task::JoinSet::new();
    for turn in 0..8 {
        let node = [&store.outbox, &other][turn % 2].clone();
        accepting.spawn(async move { accepted(&node, 1, 1).await.id });
    }

    let items: BTreeSet<_> = accepting.join_all().await.into_iter().collect();

    assert_eq!(items.len(), 1);
    let trail = store.outbox.trail(None).await.expect("the trail");
    assert_eq!(trail.len(), 2);
    assert!(faults(&store.outbox).await.is_empty());
}

async fn the_versions_of_a_session_are_accepted_in_order_whoever_sends_them(engine: Engine) {
    let store = Store::new(engine).await;
    let other = store.other_node().await;
    let later = session(1, 1).replace("\"version\":1", "\"version\":3");
    let targets = [WARD.to_owned()];

    let early = submit(&other, catalogue(), &targets, &later, now()).await;
    let first = accepted(&store.outbox, 1, 1).await;
    let still = submit(&other, catalogue(), &targets, &later, now()).await;

    assert_eq!(first.version, 1);
    for told in [early, still] {
        let Submitted::Held(held) = told.expect("the store answers") else {
            panic!("a version was left out");
        };
        assert!(
            held.problems
                .iter()
                .any(|problem| problem.code == Code::SessionVersion)
        );
    }
}

/// Targets of the newest version, and codes of what was told, for a site with these targets and one route
/// that takes everything to the named ones.
async fn routed(outbox: &Outbox, targets: &[&str], leads_to: &str, text: &str) -> (String, String) {
    let tables = targets
        .iter()
        .map(|name| format!("[[target]]\nname = '{name}'\nbase = 'https://{name}.example/fhir'\n"));
    let tables: Vec<String> = tables.collect();
    let route = match leads_to {
        "" => {
            "[[route]]\nlocation = {system = 'urn:w', value = '7'}\ntargets = ['ward']".to_owned()
        }
        names => format!("[[route]]\ntargets = [{names}]"),
    };
    let settings = format!("state = 'x'\n{}{route}", tables.concat());
    let routes = Settings::read(&settings).expect("settings").routes;
    let came = submit_by(outbox, catalogue(), &routes, text, now()).await;
    let (items, told) = match came.expect("the store answers") {
        Submitted::Accepted { items, told, .. } => (items, told),
        Submitted::Held(held) => (Vec::new(), held.problems),
    };
    let names: Vec<&str> = items.iter().map(|item| item.target.as_str()).collect();
    let codes = told.iter().map(|one| one.code.word());
    let codes: Vec<&str> = codes.filter(|code| code.starts_with("route.")).collect();
    (names.join(" "), codes.join(" "))
}

async fn a_correction_goes_to_whoever_had_the_version_before(engine: Engine) {
    let store = Store::new(engine).await;
    let outbox = &store.outbox;
    let version = |number: u32| {
        let version = format!("\"version\":{number}");
        session(1, 1).replace("\"version\":1", &version)
    };
    let both = ["ward", "region"];
    let said = |targets: &str, codes: &str| (targets.to_owned(), codes.to_owned());

    let none = routed(outbox, &both, "", &version(1)).await;
    assert_eq!(none, said("", "route.none"));
    assert!(outbox.items(true).await.expect("the items").is_empty());
    let first = routed(outbox, &both, "'ward'", &version(1)).await;
    assert_eq!(first, said("ward", ""));
    let second = routed(outbox, &both, "'region'", &version(2)).await;
    assert_eq!(second, said("region ward", ""));
    // No route any more: whoever had it gets its correction all the same.
    let third = routed(outbox, &both, "", &version(3)).await;
    assert_eq!(third, said("region ward", ""));
    let fourth = routed(outbox, &["region"], "'region'", &version(4)).await;
    assert_eq!(fourth, said("region", "route.left"));
    assert!(faults(outbox).await.is_empty());
}

async fn many_workers_on_two_nodes_deliver_everything_once_and_in_order(engine: Engine) {
    let store = Store::new(engine).await;
    let other = store.other_node().await;
    for person in 0..6 {
        for number in 1..=4 {
            accepted(&store.outbox, person, number).await;
        }
    }
    let mut working = tokio::task::JoinSet::new();
    for worker in 0..8 {
        let node = [&store.outbox, &other][worker % 2].clone();
        working.spawn(work_off(node));
    }

    let mut done = BTreeMap::new();
    for (at, subject, number) in working.join_all().await.into_iter().flatten() {
        assert!(done.insert((subject, at), number).is_none());
    }

    assert_eq!(done.len(), 24);
    let mut last: Option<(String, i64)> = None;
    for ((subject, _at), number) in done {
        let follows = match &last {
            Some((same, before)) if *same == subject => number == before + 1,
            _ => number == 1,
        };
        assert!(follows, "{subject}: {number} after {last:?}");
        last = Some((subject, number));
    }
    assert!(faults(&other).await.is_empty());
}

/// Claims and delivers until all is delivered; each as the number of its `sending` row, its lane, and
/// its place there.
async fn work_off(node: Outbox) -> Vec<(i64, String, i64)> {
    let mut done = Vec::new();
    let open = WantedItems {
        open_only: true,
        ..WantedItems::default()
    };
    while !node.items_wanted(&open).await.expect("items").is_empty() {
        let Some(leased) = claim(&node, LONG).await else {
            tokio::time::sleep(Duration::from_millis(5)).await;
            continue;
        };
        let sent = node.about_to_send(&leased, true, MachineClock.now()).await;
        assert!(sent.expect("the store answers"));
        let rows = node.trail(Some(leased.item.session)).await.expect("rows");
        let sending = rows.iter().rfind(|row| row.event == "sending");
        let at = sending.expect("a row").number;
        assert!(delivered(&node, &leased).await);
        done.push((at, leased.subject, leased.item.number));
    }
    done
}

async fn the_trail_of_two_nodes_is_one_chain_without_gaps(engine: Engine) {
    let store = Store::new(engine).await;
    let other = store.other_node().await;
    let mut accepting = tokio::task::JoinSet::new();
    for (person, node) in (0..20).zip([&store.outbox, &other].into_iter().cycle()) {
        let node = node.clone();
        accepting.spawn(async move { accepted(&node, person, 1).await });
    }
    accepting.join_all().await;

    let rows = other.trail(None).await.expect("the trail");

    let numbers: Vec<i64> = rows.iter().map(|row| row.number).collect();
    assert_eq!(numbers, (1..=40).collect::<Vec<i64>>());
    assert_eq!(fascicle::delivery::outbox::trail::first_break(&rows), None);
    assert!(faults(&store.outbox).await.is_empty());
}

async fn the_trail_is_only_added_to(engine: Engine) {
    let store = Store::new(engine).await;
    accepted(&store.outbox, 1, 1).await;
    let last = store
        .outbox
        .verify_trail(None)
        .await
        .expect("verified")
        .last_hash;

    for statement in ["UPDATE trail SET event = 'dropped'", "DELETE FROM trail"] {
        assert!(store.try_say(statement).await.is_err(), "{statement}");
    }
    let off = match engine {
        Engine::Sqlite => "DROP TRIGGER trail_kept_whole",
        Engine::Postgres => "ALTER TABLE trail DISABLE TRIGGER trail_kept",
    };
    store.say(off).await;
    store.say("DELETE FROM trail WHERE number = 2").await;

    let verified = store.outbox.verify_trail(last.as_deref()).await;
    let faults = verified.expect("the store answers").faults;
    assert_eq!(faults.len(), 3, "{faults:?}");
    assert!(
        faults[0].contains("row 2 was written and is missing"),
        "{faults:?}"
    );
}

async fn a_lane_without_items_is_held_by_hand(engine: Engine) {
    let store = Store::new(engine).await;
    let other = store.other_node().await;
    let now = || MachineClock.now();

    let token = store
        .outbox
        .hold(WARD, "gon", now() + SHORT.whole, now())
        .await;
    let token = token.expect("the store answers").expect("held");
    let stolen = other.hold(WARD, "gon", now() + LONG.whole, now()).await;
    assert_eq!(stolen.expect("the store answers"), None);
    tokio::time::sleep(SHORT.whole + Duration::from_millis(50)).await;
    let next = other.hold(WARD, "gon", now() + LONG.whole, now()).await;
    let next = next.expect("the store answers").expect("held");

    // The first holder lets go of what is not its own any more, and nothing comes of it.
    store
        .outbox
        .let_go(WARD, "gon", token)
        .await
        .expect("answers");
    let still = store
        .outbox
        .hold(WARD, "gon", now() + LONG.whole, now())
        .await;
    assert_eq!(still.expect("the store answers"), None);
    // Only who holds it keeps it, and as long as was said then.
    let overdue = store
        .outbox
        .hold_on(WARD, "gon", token, LONG.whole, now())
        .await;
    assert!(!overdue.expect("the store answers"));
    let kept = other.hold_on(WARD, "gon", next, SHORT.whole, now()).await;
    assert!(kept.expect("the store answers"));
    tokio::time::sleep(SHORT.whole + Duration::from_millis(50)).await;
    let ended = other.hold_on(WARD, "gon", next, LONG.whole, now()).await;
    assert!(!ended.expect("the store answers"));
    let again = store
        .outbox
        .hold(WARD, "gon", now() + LONG.whole, now())
        .await;
    let again = again.expect("the store answers").expect("held");
    store
        .outbox
        .let_go(WARD, "gon", again)
        .await
        .expect("answers");
    let free = store
        .outbox
        .hold(WARD, "gon", now() + LONG.whole, now())
        .await;
    assert!(free.expect("the store answers").is_some());
}

async fn a_paused_target_gives_nothing(engine: Engine) {
    let store = Store::new(engine).await;
    let other = store.other_node().await;
    accepted(&store.outbox, 1, 1).await;
    let (by, why) = ("A. Ward", "the server is moved");
    let pause = |paused| {
        store
            .outbox
            .pause(WARD, paused, by, why, MachineClock.now())
    };

    assert_eq!(pause(true).await.expect("answers"), Pausing::Changed);
    assert_eq!(pause(true).await.expect("answers"), Pausing::AsItWas);
    assert!(claim(&other, LONG).await.is_none());
    assert_eq!(other.next_due(WARD).await.expect("answers"), None);
    assert!(other.targets().await.expect("answers")[0].paused.is_some());
    assert!(faults(&other).await.is_empty());
    assert_eq!(pause(false).await.expect("answers"), Pausing::Changed);
    assert!(other.next_due(WARD).await.expect("answers").is_some());
    assert!(claim(&other, LONG).await.is_some());
}

async fn a_target_keeps_its_server(engine: Engine) {
    let store = Store::new(engine).await;

    store.outbox.bind_target(WARD, "0").await.expect("the same");
    let other = store.outbox.bind_target(WARD, "1").await;

    assert!(matches!(other, Err(OutboxError::OtherServer(name)) if name == WARD));
}

async fn what_is_read_is_what_was_asked_for(engine: Engine) {
    let store = Store::new(engine).await;
    let first = accepted(&store.outbox, 1, 1).await;
    accepted(&store.outbox, 1, 2).await;
    accepted(&store.outbox, 2, 1).await;
    let leased = claim(&store.outbox, LONG).await.expect("a lane");
    let later = Outcome::Later {
        reason: Code::TargetUnreachable.into(),
        due_at: MachineClock.now() + Duration::from_mins(1),
    };
    assert!(ended(&store.outbox, &leased, &later).await);

    let count = async |wanted: WantedItems| {
        let items = store.outbox.items_wanted(&wanted).await;
        items.expect("the store answers").len()
    };
    let all = WantedItems::default();
    let state = |state| WantedItems {
        state: Some(state),
        ..WantedItems::default()
    };
    assert_eq!(count(all.clone()).await, 3);
    assert_eq!(count(state(State::Queued)).await, 3);
    assert_eq!(count(state(State::Delivered)).await, 0);
    let session = Some(first.session);
    assert_eq!(count(WantedItems { session, ..all }).await, 1);
    let rows = store.outbox.trail(session).await.expect("the trail");
    assert_eq!(rows.len(), if leased.item.id == first.id { 4 } else { 2 });
    let events = store.outbox.events().await.expect("the counts");
    assert_eq!(
        events.get(&(Some(WARD.to_owned()), "queued".to_owned())),
        Some(&4)
    );
    let subjects = store
        .outbox
        .subjects_of(first.session)
        .await
        .expect("hashes");
    let documents = store.outbox.of_subject(&subjects[0]).await;
    assert_eq!(
        (
            subjects.len(),
            documents.expect("documents").documents.len()
        ),
        (1, 2)
    );
    assert_eq!(store.outbox.sessions().await.expect("sessions").len(), 3);
}
