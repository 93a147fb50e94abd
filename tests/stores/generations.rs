#![cfg(test)]
//! Binaries of two generations on one store: a rolling upgrade, and its end.

use crate::engine::{
    Engine, LONG, Store, accepted, accepted_text, claim, delivered, faults, on_both, second_form,
};
use fascicle::base::clock::{Clock, MachineClock};
use fascicle::delivery::outbox::schema::Schema;
use fascicle::delivery::outbox::{Outbox, OutboxError};

on_both!(
    an_older_and_a_newer_binary_work_side_by_side_after_a_widening,
    after_a_narrowing_the_older_binary_is_refused_at_work_and_at_the_door,
    the_first_row_of_a_second_form_stops_binaries_that_ask_for_no_form,
    a_store_that_was_put_back_from_before_is_refused_until_it_is_brought_up_to_date,
);

/// What a later release would bring that this one can live with.
const WIDER: &str =
    "ALTER TABLE item ADD COLUMN remark TEXT; UPDATE schema_use SET newest = newest + 1";

/// What a later release would bring that this one cannot live with.
const NARROWER: &str = "ALTER TABLE item DROP COLUMN remark;
     UPDATE schema_use SET newest = newest + 1, oldest = newest + 1";

fn later() -> Schema {
    Schema::of_this_binary().followed_by("remark", WIDER)
}

async fn an_older_and_a_newer_binary_work_side_by_side_after_a_widening(engine: Engine) {
    let store = Store::new(engine).await;
    accepted(&store.outbox, 1, 1).await;
    let begun = claim(&store.outbox, LONG).await.expect("the lane");

    let newer = Outbox::open_as(&store.place, &later())
        .await
        .expect("opens");
    accepted(&newer, 1, 2).await;
    assert!(delivered(&store.outbox, &begun).await);
    let next = claim(&newer, LONG).await.expect("the lane");
    accepted(&store.outbox, 2, 1).await;
    assert!(delivered(&newer, &next).await);
    let restarted = store.other_node().await;
    let last = claim(&restarted, LONG).await.expect("the lane");
    assert!(delivered(&restarted, &last).await);

    assert!(newer.items(true).await.expect("items").is_empty());
    assert!(faults(&store.outbox).await.is_empty() && faults(&newer).await.is_empty());
}

async fn after_a_narrowing_the_older_binary_is_refused_at_work_and_at_the_door(engine: Engine) {
    let store = Store::new(engine).await;
    let mine = Schema::of_this_binary().generation();
    accepted(&store.outbox, 1, 1).await;
    let begun = claim(&store.outbox, LONG).await.expect("the lane");
    let narrowed = later().followed_by("no-remark", NARROWER);
    let newest = Outbox::open_as(&store.place, &narrowed)
        .await
        .expect("opens");

    let works = [
        claim_of(&store.outbox).await,
        store
            .outbox
            .about_to_send(&begun, true, MachineClock.now())
            .await
            .err(),
        Outbox::open_at(&store.place).await.err(),
        Outbox::open_as(&store.place, &later()).await.err(),
    ];

    for (refused, of) in works.into_iter().zip([mine, mine, mine, mine + 1]) {
        let refused = refused.expect("refused");
        let told = refused.to_string();
        assert!(
            matches!(refused, OutboxError::Generation { mine, oldest, newest }
                if mine == of && oldest == newest && newest == narrowed.generation()),
            "{told}"
        );
        assert!(
            told.contains("use the version that the other nodes use"),
            "{told}"
        );
    }
    accepted(&newest, 1, 2).await;
}

/// The last generation that does not ask for the form of what is kept.
const BEFORE_FORMS: i64 = 6;

async fn the_first_row_of_a_second_form_stops_binaries_that_ask_for_no_form(engine: Engine) {
    let store = Store::new(engine).await;
    let generation = Schema::of_this_binary().generation();
    let before = |number| Schema::of_this_binary().until(number);
    let older = Outbox::open_as(&store.place, &before(BEFORE_FORMS))
        .await
        .expect("the first form is read by every binary");

    accepted(&store.outbox, 1, 1).await;
    let beside = claim(&older, LONG).await.expect("the lane");
    assert!(delivered(&older, &beside).await);
    assert_eq!(
        store.outbox.generations().await.expect("answers"),
        (3, generation)
    );
    accepted_text(&store.outbox, &second_form(1, 2, &[])).await;

    assert_eq!(
        store.outbox.generations().await.expect("answers"),
        (BEFORE_FORMS + 1, generation)
    );
    let at_work = claim_of(&older).await;
    let at_the_door = Outbox::open_as(&store.place, &before(BEFORE_FORMS)).await;
    for refused in [at_work, at_the_door.err()] {
        assert!(
            matches!(refused, Some(OutboxError::Generation { mine: BEFORE_FORMS, oldest, .. })
                if oldest == BEFORE_FORMS + 1),
            "{refused:?}"
        );
    }
    // A binary that asks for forms goes on, and refuses by name what it does not read.
    let asks = Outbox::open_as(&store.place, &before(BEFORE_FORMS + 1)).await;
    assert!(claim_of(&asks.expect("it asks")).await.is_none());
}

async fn a_store_that_was_put_back_from_before_is_refused_until_it_is_brought_up_to_date(
    engine: Engine,
) {
    let store = Store::new(engine).await;
    let newer = Outbox::open_as(&store.place, &later())
        .await
        .expect("opens");

    // As a restored backup looks to a binary that runs.
    store.say("UPDATE schema_use SET newest = newest - 1").await;

    assert!(matches!(
        claim_of(&newer).await,
        Some(OutboxError::Generation { .. })
    ));
    assert!(claim_of(&store.outbox).await.is_none());
}

async fn claim_of(outbox: &Outbox) -> Option<OutboxError> {
    let ward = crate::engine::WARD;
    outbox.claim(ward, LONG, MachineClock.now()).await.err()
}
