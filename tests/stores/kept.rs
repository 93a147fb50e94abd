#![cfg(test)]
//! What is kept and does not read stops what depends on it, by name; it is never as if it were not there.

use crate::document::{catalogue, edited, encoding, lines, now};
use crate::engine::{
    Engine, LONG, Store, WARD, accepted, accepted_text, claim, delivered, on_both, second_form,
    session,
};
use fascicle::base::json::Node;
use fascicle::delivery::outbox::{Outbox, OutboxError};
use fascicle::fhir::summary::across::View;
use fascicle::service::app::kept::unread;
use fascicle::service::app::submit::{Submitted, submit};
use fascicle::service::app::summary::{SummaryAnswer, Wanted, kept};
use fascicle::service::app::words::behind;
use uuid::Uuid;

on_both!(
    an_unknown_field_in_a_kept_precaution_never_lets_none_known_pass,
    a_kept_document_that_does_not_read_stops_the_handover_by_name,
    a_kept_record_that_does_not_read_stops_its_correction_and_the_way_back_to_the_words,
    a_receipt_that_does_not_read_is_named_where_it_is_needed,
    what_a_newer_release_wrote_is_refused_by_name_and_known_before_anybody_needs_it,
    a_row_that_was_put_right_is_taken_off_the_list,
    what_is_kept_has_the_first_form_in_which_it_can_be_said,
    rows_of_the_first_form_and_of_the_second_are_read_side_by_side,
    a_text_beside_the_number_of_another_form_is_refused_by_name,
    a_form_that_the_next_release_writes_is_refused_by_name,
);

/// What an address or a command then says of the precaution of the sound document.
const PRECAUTION: &str = "the precaution c2a7e0de-51b4-4f0c-8a92-5d7a4e1b9f31 of session \
                          00000002-0000-4000-8000-000000000001 version 1";
const OF_FIRST: &str = "of session 00000002-0000-4000-8000-000000000001 version 1";
const FIRST: Uuid = Uuid::from_u128(0x0000_0002_0000_4000_8000_0000_0000_0001);

/// A later session of the first person that says no precaution is known.
fn none_known() -> String {
    let edits = [
        ("/session/id", "\"00000002-0000-4000-8000-000000000002\""),
        ("/patient/identifier/value", "\"TEST-1\""),
        ("/session/performed/start", "\"2026-11-16T09:40:00+01:00\""),
        ("/precautions", ""),
        ("/no_precautions", "\"asked and looked up, none known\""),
    ];
    edited(&edits).compact()
}

async fn submitted(outbox: &Outbox, text: &str) -> Result<Vec<String>, String> {
    let submitted = submit(outbox, catalogue(), &[WARD.to_owned()], text, now()).await;
    match submitted {
        Ok(Submitted::Accepted { told, .. }) => Ok(lines(&told)),
        Ok(Submitted::Held(held)) => Ok(lines(&held.problems)),
        Err(OutboxError::Unread(unread)) => Err(unread.to_string()),
        Err(other) => panic!("{other}"),
    }
}

async fn handover(outbox: &Outbox) -> Result<SummaryAnswer, String> {
    let today = now().date_naive();
    let wanted = Wanted::Person(View::Handover);
    let asked = kept(outbox, catalogue(), FIRST, wanted, today).await;
    asked.map_err(|fault| fault.to_string())
}

/// The rows that stand in readiness.
async fn listed(outbox: &Outbox) -> Vec<String> {
    let unread = unread(outbox).await.expect("the store answers");
    unread.iter().map(ToString::to_string).collect()
}

async fn an_unknown_field_in_a_kept_precaution_never_lets_none_known_pass(engine: Engine) {
    let store = Store::new(engine).await;
    accepted(&store.outbox, 1, 1).await;
    let sound = submitted(&store.outbox, &none_known()).await;
    let sound = sound.expect("everything reads");
    assert!(
        sound
            .iter()
            .any(|line| line.contains("precautions.still-active")),
        "{sound:?}"
    );

    store
        .say("UPDATE precaution SET stated = '{\"of_a_later_release\":1,' || substr(stated, 2)")
        .await;
    let told = submitted(&store.outbox, &none_known()).await;

    let told = told.expect_err("it depends on what does not read");
    let why = format!("{PRECAUTION} does not read as form 1, at character");
    assert!(told.starts_with(&why), "{told}");
    assert!(!told.contains("fracture") && !told.contains("later_release"));
    assert_eq!(store.outbox.sessions().await.expect("sessions").len(), 1);
    assert_eq!(listed(&store.outbox).await, [told]);
}

async fn a_kept_document_that_does_not_read_stops_the_handover_by_name(engine: Engine) {
    let store = Store::new(engine).await;
    accepted(&store.outbox, 1, 1).await;
    let others = accepted(&store.outbox, 2, 1).await;
    assert!(handover(&store.outbox).await.is_ok());

    for (damage, why) in [
        (
            "'{\"of_a_later_release\":1,' || substr(document, 2)",
            "does not read as form 1",
        ),
        (
            "substr(document, 1, 40)",
            "does not read: not JSON at line 1",
        ),
        (
            "replace(document, '\"findings\":[', '\"findings\":[null,')",
            "does not read: nothing stands at /findings/0",
        ),
        (
            "replace(document, '2026-11-16T09:30:00+01:00', '2026-11-36T09:30:00+01:00')",
            "does not read: time.calendar at /session/performed/start",
        ),
        (
            "replace(document, '\"measure\":\"range.', '\"measure\":\"no-such.')",
            "the tables in use do not know what /findings/",
        ),
    ] {
        let before = "UPDATE session SET document_sha256 = document \
                      WHERE id LIKE '00000002%' AND length(document_sha256) = 64";
        store.say(before).await;
        let damage = format!("UPDATE session SET document = {damage} WHERE id LIKE '00000002%'");
        store.say(&damage).await;

        let told = handover(&store.outbox).await.expect_err("it is not whole");
        let expected = format!("the document {OF_FIRST} ");
        assert!(told.starts_with(&expected) && told.contains(why), "{told}");
        assert!(!told.contains("Testperson") && !told.contains("TEST-1"));
        let later = submitted(&store.outbox, &none_known()).await;
        // Only the tables say what can still be compared with.
        assert!(later.is_err() || why.contains("tables"), "{later:?}");
        let restored = "UPDATE session SET document = document_sha256 WHERE id LIKE '00000002%'";
        store.say(restored).await;
    }

    let wanted = Wanted::Person(View::Handover);
    let today = now().date_naive();
    let of_others = kept(&store.outbox, catalogue(), others.session, wanted, today).await;
    assert!(matches!(of_others, Ok(SummaryAnswer::Summary(_))));
}

async fn a_kept_record_that_does_not_read_stops_its_correction_and_the_way_back_to_the_words(
    engine: Engine,
) {
    let store = Store::new(engine).await;
    accepted(&store.outbox, 1, 1).await;
    let record = store.outbox.sessions().await.expect("sessions")[0]
        .record
        .node()
        .expect("it reads");
    let url = record.items_of("entry")[0]
        .text_of("fullUrl")
        .expect("a name")
        .to_owned();
    store
        .say("UPDATE session SET record = replace(record, '{\"resourceType\":\"Bundle\"', '')")
        .await;

    let edits = [
        ("/session/id", "\"00000002-0000-4000-8000-000000000001\""),
        ("/patient/identifier/value", "\"TEST-1\""),
        ("/session/version", "2"),
    ];
    let corrected = submitted(&store.outbox, &edited(&edits).compact()).await;
    let words = behind(&store.outbox, catalogue(), &url).await;
    let claimed = claim(&store.outbox, LONG).await.expect("the lane");

    let expected = format!("the record {OF_FIRST} does not read");
    let corrected = corrected.expect_err("it depends on what does not read");
    assert!(corrected.starts_with(&expected), "{corrected}");
    let words = words.expect_err("it depends on what does not read");
    assert!(words.to_string().starts_with(&expected), "{words}");
    assert!(claimed.record.node().is_err());
    assert_eq!(listed(&store.outbox).await, [corrected]);
}

async fn a_receipt_that_does_not_read_is_named_where_it_is_needed(engine: Engine) {
    let store = Store::new(engine).await;
    let item = accepted(&store.outbox, 1, 1).await;
    let leased = claim(&store.outbox, LONG).await.expect("the lane");
    assert!(delivered(&store.outbox, &leased).await);
    store
        .say("UPDATE item SET receipt = '{\"resources\":[{\"reference\":\"Observation/1\"'")
        .await;

    let items = store.outbox.items(false).await.expect("items");
    let shown = fascicle::service::app::shown::items(&items).compact();
    let words = behind(&store.outbox, catalogue(), "Observation/1").await;

    let expected = format!(
        "the receipt {} {OF_FIRST} does not read: not JSON at line 1",
        item.id
    );
    assert!(
        shown.contains(&format!("\"unread\":\"{expected}")),
        "{shown}"
    );
    let words = words.expect_err("it depends on what does not read");
    assert!(words.to_string().starts_with(&expected), "{words}");
    assert!(listed(&store.outbox).await[0].starts_with(&expected));
}

async fn what_a_newer_release_wrote_is_refused_by_name_and_known_before_anybody_needs_it(
    engine: Engine,
) {
    let store = Store::new(engine).await;
    accepted(&store.outbox, 1, 1).await;
    let leased = claim(&store.outbox, LONG).await.expect("the lane");
    assert!(delivered(&store.outbox, &leased).await);
    store.say("UPDATE session SET form = 9").await;
    store.say("UPDATE precaution SET form = 9").await;
    store.say("UPDATE item SET receipt_form = 9").await;

    let known = listed(&store.outbox).await;
    let told = submitted(&store.outbox, &none_known()).await;
    let handover = handover(&store.outbox).await;

    let form = fascicle::examination::intake::kept::FORM;
    let newer = format!("was written by a newer release: form 9, this binary reads up to {form}");
    let expected = [
        format!("the document {OF_FIRST} {newer}"),
        format!("{PRECAUTION} {newer}"),
        format!("the receipt {} {OF_FIRST} {newer}", leased.item.id),
    ];
    assert_eq!(known, expected);
    assert_eq!(told.expect_err("newer"), expected[1]);
    let handover = handover.expect_err("newer");
    assert!(handover.starts_with(&expected[0]), "{handover}");
}

async fn a_row_that_was_put_right_is_taken_off_the_list(engine: Engine) {
    let store = Store::new(engine).await;
    accepted(&store.outbox, 1, 1).await;
    store
        .say("UPDATE precaution SET stated = 'x' || stated")
        .await;
    assert!(submitted(&store.outbox, &none_known()).await.is_err());
    assert_eq!(listed(&store.outbox).await.len(), 1);

    store
        .say("UPDATE precaution SET stated = substr(stated, 2)")
        .await;

    assert!(listed(&store.outbox).await.is_empty());
    assert!(submitted(&store.outbox, &none_known()).await.is_ok());
}

async fn what_is_kept_has_the_first_form_in_which_it_can_be_said(engine: Engine) {
    let store = Store::new(engine).await;
    accepted(&store.outbox, 1, 1).await;
    accepted_text(&store.outbox, &second_form(2, 1, &[])).await;
    while let Some(leased) = claim(&store.outbox, LONG).await {
        assert!(delivered(&store.outbox, &leased).await);
    }

    for (table, column, of, form) in [
        ("session", "form", "id LIKE '00000002%'", 1),
        ("precaution", "form", "session LIKE '00000002%'", 1),
        ("session", "form", "id LIKE '00000003%'", 2),
        ("precaution", "form", "session LIKE '00000003%'", 2),
        ("item", "receipt_form", "1 = 1", 1),
    ] {
        // A form that is none would break the condition of the column.
        let held = format!(
            "UPDATE {table} SET {column} = CASE WHEN {column} = {form} THEN {form} ELSE NULL END \
             WHERE {of}"
        );
        let held = store.try_say(&held).await;
        held.unwrap_or_else(|fault| panic!("{table} where {of}: {fault}"));
    }
    let sent = encoding(&Node::parse(&session(1, 1)).expect("JSON")).expect("it holds");
    let sessions = store.outbox.sessions().await.expect("sessions");
    let kept = sessions.iter().find(|one| one.session == FIRST);
    let kept = kept.expect("it is kept").document.as_it_stands().open();
    assert_eq!(*kept, sent.canonical);
    assert!(kept.contains("\"fascicle\":\"session/1\""));
}

async fn rows_of_the_first_form_and_of_the_second_are_read_side_by_side(engine: Engine) {
    let store = Store::new(engine).await;
    accepted(&store.outbox, 1, 1).await;
    let later = [
        ("/session/id", "\"00000002-0000-4000-8000-000000000003\""),
        ("/session/performed/start", "\"2026-11-16T09:35:00+01:00\""),
        ("/precautions/0/limit", "\"no-weight\""),
    ];
    accepted_text(&store.outbox, &second_form(1, 3, &later)).await;

    let handover = handover(&store.outbox).await;
    let none_known = submitted(&store.outbox, &none_known()).await;

    let Ok(SummaryAnswer::Summary(summary)) = handover else {
        panic!("{handover:?}");
    };
    let text = summary.text();
    assert!(text.contains("no weight through it"), "{text}");
    let told = none_known.expect("everything reads");
    assert!(
        told.iter()
            .any(|line| line.contains("precautions.still-active")),
        "{told:?}"
    );
    assert!(listed(&store.outbox).await.is_empty());
}

async fn a_text_beside_the_number_of_another_form_is_refused_by_name(engine: Engine) {
    let store = Store::new(engine).await;
    accepted(&store.outbox, 1, 1).await;

    store.say("UPDATE session SET form = 2").await;
    let taken_for_later = handover(&store.outbox)
        .await
        .expect_err("it is another form");
    store.say("UPDATE session SET form = 0").await;
    let of_no_form = handover(&store.outbox).await.expect_err("there is none");

    let document = format!("the document {OF_FIRST} does not read");
    for (told, why) in [
        (taken_for_later, " as form 2: it is session/1"),
        (of_no_form, ": there is no form 0"),
    ] {
        assert!(told.starts_with(&format!("{document}{why};")), "{told}");
    }
}

async fn a_form_that_the_next_release_writes_is_refused_by_name(engine: Engine) {
    let store = Store::new(engine).await;
    accepted_text(&store.outbox, &second_form(1, 1, &[])).await;
    let next = fascicle::examination::intake::kept::FORM + 1;

    let planted = format!("UPDATE session SET form = {next}");
    store.say(&planted).await;

    let newer = format!("the document {OF_FIRST} was written by a newer release: form {next}");
    let told = handover(&store.outbox).await.expect_err("newer");
    assert!(told.starts_with(&newer), "{told}");
    assert!(listed(&store.outbox).await[0].starts_with(&newer));
}
