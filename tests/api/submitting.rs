#![cfg(test)]
//! A document goes in: each status says what the client has to do.

use crate::document::{edited, sound};
use crate::service::{Service, TOKEN};
use axum::body::Body;
use axum::http::Request;
use fascicle::base::json::Node;
use serde_json::Value;

const SESSIONS: &str = "/v1/sessions";

fn codes(answer: &Value) -> Vec<String> {
    let problems = answer["problems"].as_array().expect("problems");
    let code = |one: &Value| one["code"].as_str().expect("a code").to_owned();
    problems.iter().map(code).collect()
}

#[tokio::test]
async fn a_sound_document_is_accepted_once_and_told_again_the_same() {
    let service = Service::new().await;
    let document = sound();

    let first = service
        .post(SESSIONS, document.compact())
        .await
        .with_status(202);
    // White space and order of keys are not content.
    let again = service
        .post(SESSIONS, document.pretty())
        .await
        .with_status(200);

    let (first, again) = (first, again);
    let session = document
        .at(&["session", "id"])
        .and_then(Node::text)
        .expect("an id");
    assert_eq!(first.header("location"), format!("/v1/sessions/{session}"));
    assert_eq!(first.json()["items"], again.json()["items"]);
    assert_eq!(first.json()["accepted_before"], false);
    assert_eq!(again.json()["accepted_before"], true);
    assert_eq!(service.outbox.items(false).await.expect("items").len(), 1);
    let told = service.get(first.header("location")).await.with_status(200);
    assert_eq!(told.json()["items"][0]["state"], "queued");
    assert_eq!(told.header("cache-control"), "no-store");
}

#[tokio::test]
async fn what_clashes_with_what_is_kept_is_a_conflict_and_changes_nothing() {
    let service = Service::new().await;
    service.submitted().await;
    let changed = edited(&[("/session/body_position", "\"sitting\"")]);
    let gap = edited(&[("/session/version", "3")]);
    let moved = edited(&[
        ("/session/version", "2"),
        ("/patient/identifier/value", "\"TEST-0099\""),
    ]);
    for (document, problem, code) in [
        (changed, "other-content", "session.other-content"),
        (gap, "version-order", "session.version"),
        (moved, "other-person", "session.other-person"),
    ] {
        let answer = service
            .post(SESSIONS, document.compact())
            .await
            .with_status(409);

        assert_eq!(answer.problem(), problem);
        assert_eq!(codes(&answer.json()), [code]);
    }
    assert_eq!(service.outbox.sessions().await.expect("sessions").len(), 1);
}

#[tokio::test]
async fn a_document_that_does_not_hold_is_told_every_problem_at_once() {
    let service = Service::new().await;
    let document = edited(&[
        ("/findings/0/side", "\"middle\""),
        ("/patient/birth_date", "\"1958-13-14\""),
    ]);

    let answer = service
        .post(SESSIONS, document.compact())
        .await
        .with_status(422);

    assert_eq!(answer.problem(), "does-not-hold");
    let paths: Vec<String> = answer.json()["problems"]
        .as_array()
        .expect("problems")
        .iter()
        .map(|one| one["path"].as_str().expect("a path").to_owned())
        .collect();
    assert!(
        paths
            .iter()
            .any(|path| path.starts_with("/patient/birth_date")),
        "{paths:?}"
    );
    assert!(
        paths.iter().any(|path| path.starts_with("/findings/0")),
        "{paths:?}"
    );
    assert!(
        service
            .outbox
            .sessions()
            .await
            .expect("sessions")
            .is_empty()
    );
}

#[tokio::test]
async fn a_caution_waits_for_a_named_person_and_passes_with_its_mark() {
    let service = Service::new().await;
    // The first passive range of the sound document, beyond what is asked about.
    let mut document = caution();

    let asked = service
        .post(SESSIONS, document.compact())
        .await
        .with_status(428);

    assert_eq!(asked.problem(), "waits-for-confirmation");
    let told = asked.json()["problems"].clone();
    let cautions = told.as_array().expect("problems").iter();
    let confirmations: Vec<String> = cautions
        .filter(|one| one["severity"] == "caution")
        .map(|one| {
            format!(
                r#"{{"code":{},"path":{},"mark":{},"by":"therapist",
                    "at":"2026-11-16T10:16:00+01:00","reason":"measured twice"}}"#,
                one["code"], one["path"], one["mark"]
            )
        })
        .collect();
    assert!(!confirmations.is_empty());
    let list = Node::parse(&format!("[{}]", confirmations.join(","))).expect("JSON");
    crate::document::set(&mut document, "/session/confirmations", Some(list));
    service
        .post(SESSIONS, document.compact())
        .await
        .with_status(202);
}

/// A sound document with a caution: a hard stretch of what moves little.
fn caution() -> Node {
    for (index, finding) in sound().items_of("findings").iter().enumerate() {
        let measure = finding.text_of("measure").unwrap_or_default();
        if measure.starts_with("range.passive") && finding.member("value").is_some() {
            let value = r#"{"beyond_neutral":"170","unit":"deg"}"#;
            return edited(&[(&format!("/findings/{index}/value"), value)]);
        }
    }
    panic!("the sound document has a passive range");
}

#[tokio::test]
async fn a_body_that_is_no_document_is_told_apart() {
    let service = Service::new().await;
    for body in ["", "{", "{\"a\":1,\"a\":2}", "not JSON"] {
        let answer = service.post(SESSIONS, body).await.with_status(400);

        assert_eq!(answer.problem(), "not-json", "{body}");
    }
    let bytes = service.post(SESSIONS, vec![b'"', 0xff, b'"']).await;
    assert_eq!(bytes.with_status(400).problem(), "bad-request");
    let empty = service.post(SESSIONS, "{}").await.with_status(422);
    assert_eq!(empty.problem(), "does-not-hold");
}

#[tokio::test]
async fn a_body_of_another_kind_is_told_which_kind_is_taken() {
    let service = Service::new().await;
    for kind in [
        None,
        Some("text/plain"),
        Some("application/fhir+json"),
        Some("application/json; charset=iso-8859-1"),
    ] {
        let mut request =
            Request::post(SESSIONS).header("authorization", format!("Bearer {TOKEN}"));
        if let Some(kind) = kind {
            request = request.header("content-type", kind);
        }
        let request = request
            .body(Body::from(sound().compact()))
            .expect("a request");

        let answer = service.answer(request).await.with_status(415);

        assert_eq!(answer.problem(), "media-type");
        assert_eq!(answer.header("accept"), "application/json, text/csv");
    }
    let request = Request::post(SESSIONS)
        .header("authorization", format!("Bearer {TOKEN}"))
        .header("content-type", "Application/JSON; charset=\"UTF-8\"")
        .body(Body::from(sound().compact()));
    service
        .answer(request.expect("a request"))
        .await
        .with_status(202);
}

#[tokio::test]
async fn a_body_larger_than_8_mib_is_refused_whether_it_says_so_or_not() {
    let service = Service::new().await;
    let large = vec![b' '; fascicle::service::web::api::body::LARGEST_BODY + 1];
    let said = Request::post(SESSIONS)
        .header("authorization", format!("Bearer {TOKEN}"))
        .header("content-type", "application/json")
        .header("content-length", "99999999");

    let silent = service.post(SESSIONS, large).await.with_status(413);
    let told = service
        .answer(said.body(Body::empty()).expect("a request"))
        .await;

    assert_eq!(silent.problem(), "too-large");
    assert_eq!(told.with_status(413).problem(), "too-large");
}

/// A session as rows of a sheet, with the columns of the session in each.
pub(crate) fn sheet() -> String {
    use fascicle::examination::intake::sheet::write::{Columns, Writer};
    let mut columns = Columns::default();
    columns.add(&sound()).expect("every field has a column");
    let writer = Writer::new(columns);
    writer.header().expect("a header") + &writer.rows(&sound()).expect("rows")
}

pub(crate) async fn post_sheet(service: &Service, text: String) -> crate::service::Answer {
    let request = Request::post(SESSIONS)
        .header("authorization", format!("Bearer {TOKEN}"))
        .header("content-type", "text/csv; charset=utf-8; header=present")
        .body(Body::from(text));
    service.answer(request.expect("a request")).await
}

#[tokio::test]
async fn a_session_given_as_rows_is_the_same_as_its_document() {
    let service = Service::new().await;

    let first = post_sheet(&service, sheet()).await.with_status(202);
    let again = service
        .post(SESSIONS, sound().compact())
        .await
        .with_status(200);

    assert_eq!(first.json()["items"], again.json()["items"]);
}

#[tokio::test]
async fn what_is_wrong_with_rows_is_told_with_row_and_column() {
    let service = Service::new().await;

    let bad = sheet().replacen("\"'1+\"", "\"01.Feb\"", 1);
    let answer = post_sheet(&service, bad).await.with_status(422).json();
    let problems = answer["problems"].as_array().expect("problems");
    let day = problems.iter().find(|one| one["code"] == "csv.day");
    let day = day.expect("the day is told");
    assert_eq!(day["column"], "value.grade");
    assert!(day["row"].as_u64().is_some_and(|row| row > 1));
    let semicolons = sheet().replace(',', ";");
    let answer = post_sheet(&service, semicolons).await.with_status(422);
    assert_eq!(codes(&answer.json()), ["csv.separator"]);
    let id = sound();
    let id = id
        .at(&["session", "id"])
        .and_then(Node::text)
        .expect("an id");
    let (_, rows) = sheet()
        .split_once("\r\n")
        .map(|(a, b)| (a.to_owned(), b.to_owned()))
        .expect("rows");
    let other = rows.replace(id, "7d1f0a52-3c68-4b0e-9a57-0f6b2e6c1fff");
    let answer = post_sheet(&service, sheet() + &other)
        .await
        .with_status(422);
    assert_eq!(codes(&answer.json()), ["csv.sessions"]);
    assert!(
        service
            .outbox
            .sessions()
            .await
            .expect("sessions")
            .is_empty()
    );
}
