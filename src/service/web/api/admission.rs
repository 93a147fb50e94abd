//! What every request passes: a name of its own, a token, its body, a place, a log line.

use crate::service::web::api::body;
use crate::service::web::api::fault::Fault;
use crate::service::web::api::serving::Serving;
use crate::service::web::connections::Connection;
use crate::service::web::work::NoWork;
use axum::body::Body;
use axum::extract::{MatchedPath, Request, State};
use axum::http::{HeaderMap, HeaderName, HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use std::sync::Arc;
use uuid::Uuid;

pub(super) const LIVE: &str = "/v1/health/live";
pub(super) const READY: &str = "/v1/health/ready";
pub(super) const OPENAPI: &str = "/v1/openapi.json";
pub(super) const SCHEMA: &str = "/v1/session.schema.json";
/// What is told to anybody: nothing of it is about a session.
const OPEN: [&str; 4] = [LIVE, READY, OPENAPI, SCHEMA];

const REQUEST_ID: HeaderName = HeaderName::from_static("x-request-id");

pub(super) async fn admit(
    State(serving): State<Serving>,
    request: Request,
    next: Next,
) -> Response {
    let began = serving.clock.now();
    let id = request_id(request.headers());
    let method = method_of(request.method());
    let matched = request.extensions().get::<MatchedPath>();
    // The address as the router knows it: what was asked for may hold anything.
    let route = matched
        .map_or("none", |matched| matched.as_str())
        .to_owned();
    let mut response = match let_in(&serving, &request) {
        Err(fault) => fault.into_response(),
        Ok(Whose::Anybody) => next.run(request).await,
        Ok(Whose::Token) => match worked_on(&serving, request, next).await {
            Ok(response) => response,
            Err(fault) => fault.into_response(),
        },
    };
    let status = response.status().as_u16();
    let took_ms = (serving.clock.now() - began).num_milliseconds();
    tracing::info!(request = %id, method, route, status, took_ms, "request answered");
    serving.meters.request(method, &route, status);
    if let Ok(id) = HeaderValue::try_from(id.to_string()) {
        response.headers_mut().insert(REQUEST_ID, id);
    }
    response
}

/// A client's own name for its request is kept where it is a UUID: any other text could hold
/// something about a person, and it stands in the log.
fn request_id(headers: &HeaderMap) -> Uuid {
    let given = headers.get(REQUEST_ID).and_then(|id| id.to_str().ok());
    let given = given.and_then(|id| Uuid::parse_str(id).ok());
    given.unwrap_or_else(Uuid::new_v4)
}

fn method_of(method: &Method) -> &'static str {
    match method.as_str() {
        "GET" => "GET",
        "HEAD" => "HEAD",
        "POST" => "POST",
        "PUT" => "PUT",
        "PATCH" => "PATCH",
        "DELETE" => "DELETE",
        "OPTIONS" => "OPTIONS",
        _ => "other",
    }
}

/// Who may ask.
enum Whose {
    Anybody,
    Token,
}

fn let_in(serving: &Serving, request: &Request) -> Result<Whose, Fault> {
    if OPEN.contains(&request.uri().path()) {
        return Ok(Whose::Anybody);
    }
    let given = request.headers().get(header::AUTHORIZATION);
    let Some(token) = given.and_then(|given| token_of(given.to_str().ok()?)) else {
        // RFC 6750, section 3.1: without a token, no error code is told.
        return Err(unauthorized(
            "Bearer realm=\"fascicle\"",
            "no token came with the request",
        ));
    };
    let admitted = serving.tokens.admit(token).map_err(|cause| {
        tracing::error!(error = %cause, "the token file cannot be used");
        let detail =
            "nobody is let in until the token file can be used; the log says what is wrong";
        Fault::unavailable(
            "tokens-unusable",
            "the service cannot tell who asks",
            detail.to_owned(),
        )
    })?;
    if admitted {
        Ok(Whose::Token)
    } else {
        Err(unauthorized(
            "Bearer realm=\"fascicle\", error=\"invalid_token\"",
            "the token is not one of the token file",
        ))
    }
}

/// RFC 9110, section 11.1: the name of a scheme is case-insensitive.
fn token_of(value: &str) -> Option<&str> {
    let (scheme, token) = value.split_once(' ')?;
    let token = token.trim();
    (scheme.eq_ignore_ascii_case("bearer") && !token.is_empty()).then_some(token)
}

fn unauthorized(challenge: &'static str, detail: &'static str) -> Fault {
    let title = "a token is needed";
    Fault::new(StatusCode::UNAUTHORIZED, "unauthorized", title, detail).with_header(
        header::WWW_AUTHENTICATE,
        HeaderValue::from_static(challenge),
    )
}

/// Reads the body, waits for a place, and has the request worked on there. What is told to anybody needs no
/// place, so that health answers when every one is taken.
async fn worked_on(serving: &Serving, request: Request, next: Next) -> Result<Response, Fault> {
    let (head, body) = request.into_parts();
    let takes_body = head.method == Method::POST && head.extensions.get::<MatchedPath>().is_some();
    let (body, share, bytes) = if takes_body {
        let (limits, budget) = (&serving.limits, &serving.budget);
        let (body, share) = body::whole(&head.headers, body, limits, budget).await?;
        let bytes = body.len();
        (Body::from(body), share, bytes)
    } else {
        (body, body::Share::default(), 0)
    };
    if let Some(connection) = head.extensions.get::<Arc<Connection>>() {
        connection.working();
    }
    let answering = async move {
        let response = next.run(Request::from_parts(head, body)).await;
        drop(share);
        response
    };
    let worked = serving.work.run(bytes, answering).await;
    worked.map_err(not_worked_on)
}

fn not_worked_on(why: NoWork) -> Fault {
    let title = "the service is busy";
    match why {
        NoWork::Full => {
            let detail = "too many requests are worked on and wait right now; send it again";
            Fault::unavailable("busy", title, detail.to_owned())
        }
        NoWork::Ends => {
            let detail = "the service ends; send it again to where it runs then";
            Fault::unavailable("busy", title, detail.to_owned())
        }
        NoWork::Fault => Fault::new(
            StatusCode::INTERNAL_SERVER_ERROR,
            "fault",
            "a fault of the service or the machine",
            "ask again before you send it again: nobody knows whether it was done",
        ),
    }
}
