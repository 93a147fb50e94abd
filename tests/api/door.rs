#![cfg(test)]
//! Who is let in, and what every answer carries.

use crate::service::{Service, TOKEN, write_tokens};
use axum::body::{Body, Bytes};
use axum::http::Request;
use fascicle::service::config::limits::Limits;
use std::convert::Infallible;
use std::os::unix::fs::PermissionsExt;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll};

fn asking(path: &str, authorization: Option<&str>) -> Request<Body> {
    let mut request = Request::get(path);
    if let Some(value) = authorization {
        request = request.header("authorization", value);
    }
    request.body(Body::empty()).expect("a request")
}

/// Source: RFC 6750, section 3 and 3.1; RFC 9110, section 15.5.2: "The server generating a 401
/// response MUST send a WWW-Authenticate header field".
#[tokio::test]
async fn without_a_token_of_the_file_nobody_is_let_in_and_health_is_told_to_anybody() {
    let service = Service::new().await;
    let wrong = format!("Bearer {}", TOKEN.replace('0', "x"));
    let basic = format!("Basic {TOKEN}");
    for (authorization, told) in [
        (None, "Bearer realm=\"fascicle\""),
        (Some("Bearer "), "Bearer realm=\"fascicle\""),
        (Some(basic.as_str()), "Bearer realm=\"fascicle\""),
        (Some(wrong.as_str()), "error=\"invalid_token\""),
    ] {
        for path in ["/v1/queue", "/v1/metrics", "/v1/trail", "/v1/nowhere", "/"] {
            let answer = service
                .answer(asking(path, authorization))
                .await
                .with_status(401);

            assert_eq!(answer.problem(), "unauthorized");
            assert!(answer.header("www-authenticate").contains(told), "{path}");
        }
    }
    for path in ["/v1/health/live", "/v1/health/ready"] {
        service.answer(asking(path, None)).await.with_status(200);
    }
    let lower = format!("bearer {TOKEN}");
    service
        .answer(asking("/v1/queue", Some(&lower)))
        .await
        .with_status(200);
}

#[tokio::test]
async fn a_token_is_changed_while_the_service_runs() {
    const NEW: &str = "fedcba9876543210fedcba9876543210";
    let service = Service::new().await;
    let with = |token: &str| asking("/v1/queue", Some(&format!("Bearer {token}")));

    write_tokens(&service.token_file(), &format!("{NEW}\n{TOKEN}\n"));
    service.answer(with(TOKEN)).await.with_status(200);
    service.answer(with(NEW)).await.with_status(200);
    write_tokens(&service.token_file(), NEW);
    service.answer(with(NEW)).await.with_status(200);
    service.answer(with(TOKEN)).await.with_status(401);
}

#[tokio::test]
async fn a_token_file_that_others_can_read_lets_nobody_in() {
    let service = Service::new().await;
    let open = std::fs::Permissions::from_mode(0o644);
    std::fs::set_permissions(service.token_file(), open).expect("its mode");

    let answer = service.get("/v1/queue").await.with_status(503);
    let ready = service
        .answer(asking("/v1/health/ready", None))
        .await
        .with_status(503);

    assert_eq!(answer.problem(), "tokens-unusable");
    assert_eq!(ready.problem(), "not-ready");
    assert_eq!(answer.header("retry-after"), "1");
    service
        .answer(asking("/v1/health/live", None))
        .await
        .with_status(200);
}

#[tokio::test]
async fn a_store_that_is_gone_is_told_and_is_not_ready() {
    let service = Service::new().await;
    service.outbox.close().await;

    let answer = service.get("/v1/queue").await.with_status(500);

    assert_eq!(answer.problem(), "fault");
    let ready = service.answer(asking("/v1/health/ready", None)).await;
    assert_eq!(ready.with_status(503).problem(), "not-ready");
}

/// A body that never comes.
struct Never;

impl hyper::body::Body for Never {
    type Data = Bytes;
    type Error = Infallible;

    fn poll_frame(
        self: Pin<&mut Self>,
        _context: &mut Context<'_>,
    ) -> Poll<Option<Result<hyper::body::Frame<Bytes>, Infallible>>> {
        Poll::Pending
    }
}

/// The clock of the test stands still until nothing else is left to do, then jumps.
#[tokio::test]
async fn a_body_that_takes_too_long_is_told_so() {
    let service = Service::new().await;
    tokio::time::pause();

    let answer = service.post("/v1/sessions", Body::new(Never)).await;

    assert_eq!(answer.with_status(408).problem(), "too-slow");
}

/// A document that waits for the store holds the one place, another one waits for it; health needs none.
#[tokio::test]
async fn one_request_more_than_there_is_room_for_is_told_to_come_again_and_health_answers_all_the_same()
 {
    let limits = Limits {
        work: 1,
        waiting: 1,
        ..Limits::default()
    };
    let service = Arc::new(Service::new().await.within(limits));
    let store = service.store_held().await;
    let document = crate::document::sound().compact();
    let mut asking = tokio::task::JoinSet::new();
    for _ in 0..3 {
        let (service, document) = (Arc::clone(&service), document.clone());
        asking.spawn(async move { service.post("/v1/sessions", document).await });
    }

    let busy = asking.join_next().await.expect("three ask").expect("asked");

    assert_eq!(busy.problem(), "busy");
    assert_eq!(busy.header("retry-after"), "1");
    assert!(busy.text.contains("send it again"), "{}", busy.text);
    busy.with_status(503);
    for path in ["/v1/health/live", "/v1/health/ready"] {
        service
            .answer(self::asking(path, None))
            .await
            .with_status(200);
    }
    drop(store);
    let mut statuses = Vec::new();
    while let Some(answer) = asking.join_next().await {
        statuses.push(answer.expect("asked").status);
    }
    assert_eq!(statuses, [202, 200]);
    service.get("/v1/queue").await.with_status(200);
}

/// Bodies that do not come take no place from those that are there.
#[tokio::test]
async fn a_hundred_bodies_that_never_come_leave_every_address_alone() {
    let service = Arc::new(Service::new().await);
    let mut waiting = tokio::task::JoinSet::new();
    for _ in 0..100 {
        let service = Arc::clone(&service);
        waiting.spawn(async move { service.post("/v1/sessions", Body::new(Never)).await.status });
    }
    // On one thread each of them runs until its body is waited for, some at every turn.
    for _ in 0..100 {
        tokio::task::yield_now().await;
    }

    service.get("/v1/queue").await.with_status(200);
    service.submitted().await;

    assert_eq!(waiting.len(), 100);
    waiting.abort_all();
    while waiting.join_next().await.is_some() {}
}

#[tokio::test]
async fn a_request_keeps_its_own_id_only_where_it_is_a_uuid() {
    let service = Service::new().await;
    let asked = |id: &str| {
        let mut request = asking("/v1/health/live", None);
        let id = id.parse().expect("a header");
        request.headers_mut().insert("x-request-id", id);
        request
    };
    let own = "0b0c5a52-3c68-4b0e-9a57-0f6b2e6c1a01";

    let kept = service.answer(asked(own)).await;
    let replaced = service.answer(asked("Testperson")).await;

    assert_eq!(kept.header("x-request-id"), own);
    let id = replaced.header("x-request-id");
    assert!(uuid::Uuid::parse_str(id).is_ok(), "{id}");
}

#[tokio::test]
async fn an_address_or_method_that_is_not_there_is_told_as_a_problem() {
    let service = Service::new().await;

    let nowhere = service.get("/v1/nowhere").await.with_status(404);
    let unknown = "/v1/queue/7d1f0a52-3c68-4b0e-9a57-0f6b2e6c1a01";
    let method = service.post("/v1/queue", "{}").await.with_status(405);

    assert_eq!(nowhere.problem(), "not-found");
    assert_eq!(method.problem(), "method-not-allowed");
    assert!(method.header("allow").contains("GET"));
    for path in [
        unknown,
        "/v1/queue/7",
        "/v1/sessions/7",
        &unknown.replace("queue", "sessions"),
    ] {
        assert_eq!(
            service.get(path).await.with_status(404).problem(),
            "not-found"
        );
    }
}

#[tokio::test]
async fn an_unknown_parameter_or_value_is_refused() {
    let service = Service::new().await;
    for path in [
        "/v1/queue?colour=red",
        "/v1/queue?state=lost",
        "/v1/queue?session=7",
        "/v1/queue?all=perhaps",
        "/v1/trail?limit=0",
        "/v1/trail?limit=5001",
        "/v1/trail?after=-1",
        "/v1/trail/verify?hash=0",
        "/v1/trace",
    ] {
        let answer = service.get(path).await.with_status(400);

        assert_eq!(answer.problem(), "bad-request", "{path}");
    }
}
