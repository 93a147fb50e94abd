#![cfg(test)]
//! What only a database that nodes share has to promise.

use crate::engine::{Engine, LONG, SHORT, Store, WARD, accepted, claim, delivered, postgres};
use fascicle::clock::{Clock, MachineClock};
use std::time::Duration;

#[tokio::test]
async fn leases_go_by_the_clock_of_the_database_whatever_nodes_believe() {
    if postgres().is_none() {
        return;
    }
    let store = Store::new(Engine::Postgres).await;
    let other = store.other_node().await;
    accepted(&store.outbox, 1, 1).await;
    let hours = |hours: i64| MachineClock.now() + chrono::TimeDelta::hours(hours);

    // One node's clock is three hours behind, the other's three hours ahead.
    let held = store.outbox.claim(WARD, LONG, hours(-3)).await;
    let held = held
        .expect("answers")
        .expect("due at once, whatever it believes");
    let stolen = other.claim(WARD, LONG, hours(3)).await;

    assert!(stolen.expect("answers").is_none());
    let off = (held.claimed_at - MachineClock.now()).num_seconds().abs();
    assert!(off < 60 && held.until - held.claimed_at == chrono::TimeDelta::seconds(600));
    let sent = store.outbox.about_to_send(&held, hours(3)).await;
    assert!(sent.expect("answers"));
    assert!(delivered(&store.outbox, &held).await);

    accepted(&store.outbox, 2, 1).await;
    let short = store.outbox.claim(WARD, SHORT, hours(3)).await;
    let short = short.expect("answers").expect("the lane");
    tokio::time::sleep(SHORT.whole + Duration::from_millis(50)).await;
    let late = store.outbox.about_to_send(&short, hours(-3)).await;
    assert!(!late.expect("answers"));
    let next = other.claim(WARD, LONG, hours(-3)).await;
    assert!(next.expect("answers").is_some_and(|next| next.unknown));
}

#[tokio::test]
async fn a_locked_lane_is_passed_over_and_not_waited_for() {
    if postgres().is_none() {
        return;
    }
    let store = Store::new(Engine::Postgres).await;
    accepted(&store.outbox, 1, 1).await;
    accepted(&store.outbox, 2, 1).await;
    let mut blocking = store.connection().await;
    for statement in [
        "BEGIN",
        "SELECT 1 FROM lane WHERE subject = (SELECT subject FROM item ORDER BY due_at LIMIT 1) FOR UPDATE",
    ] {
        sqlx::query(statement)
            .execute(&mut blocking)
            .await
            .expect("locked");
    }

    let claims = async {
        let other = claim(&store.outbox, LONG).await.expect("the other lane");
        (other, claim(&store.outbox, LONG).await)
    };
    let at_once = tokio::time::timeout(Duration::from_secs(10), claims).await;
    let (other, none) = at_once.expect("no waiting");

    assert!(none.is_none());
    sqlx::query("ROLLBACK")
        .execute(&mut blocking)
        .await
        .expect("let go");
    let freed = claim(&store.outbox, LONG).await.expect("the locked lane");
    assert_ne!(freed.subject, other.subject);
}
