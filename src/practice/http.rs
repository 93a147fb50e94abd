//! The practice server on the wire.
//!
//! Owns: addresses, headers and media types. In: requests. Out: responses, every one with the
//! word that this is no record system. Never: knows SQL or the rules of a resource.

use crate::base::json::Node;
use crate::practice::bundle::{self, Page, etag, location};
use crate::practice::interaction::Made;
use crate::practice::kind::Kind;
use crate::practice::outcome::{FHIR_JSON, Fault};
use crate::practice::search::Search;
use crate::practice::state::Shared;
use crate::practice::store::{self, Stored};
use crate::practice::{end, metadata, rules, transaction};
use axum::Router;
use axum::body::{Body, to_bytes};
use axum::extract::{Path, RawQuery, Request, State};
use axum::http::{HeaderMap, HeaderName, HeaderValue, StatusCode, header};
use axum::middleware::{self, Next};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use chrono::DateTime;

/// The largest body that is read, in bytes.
const LARGEST_BODY: usize = 16 * 1024 * 1024;
const PRACTICE: HeaderName = HeaderName::from_static("x-fascicle-practice");

/// All addresses of the server.
pub(super) fn router(shared: Shared) -> Router {
    let unknown = || async { Fault::unknown("no such address") };
    let guarded = middleware::from_fn_with_state(shared.clone(), guarded);
    Router::new()
        .route("/fhir", post(process))
        .route("/fhir/", post(process))
        .route("/fhir/metadata", get(statement))
        .route("/fhir/{kind}", get(search).post(create))
        .route("/fhir/{kind}/_search", post(search_by_form))
        .route("/fhir/{kind}/{id}", get(read).put(update).delete(delete))
        .route("/fhir/{kind}/{id}/_history", get(history))
        .route("/fhir/{kind}/{id}/_history/{version}", get(read_version))
        .fallback(unknown)
        .method_not_allowed_fallback(not_allowed)
        .layer(guarded)
        .with_state(shared)
}

async fn guarded(State(shared): State<Shared>, request: Request, next: Next) -> Response {
    let headers = request.headers();
    let authorization = text_of(headers, &header::AUTHORIZATION);
    let mut response = match &shared.guard {
        Some(guard) if !guard.admits(authorization) => {
            let rule = "the secret of this server is missing or wrong";
            let fault = Fault::new(StatusCode::UNAUTHORIZED, "login", rule);
            let challenge = HeaderValue::from_static(guard.challenge());
            ([(header::WWW_AUTHENTICATE, challenge)], fault).into_response()
        }
        _ if !takes_json(headers) => {
            let rule = "only application/fhir+json is written here";
            Fault::new(StatusCode::NOT_ACCEPTABLE, "not-supported", rule).into_response()
        }
        _ => end::to_the_end(request, next).await,
    };
    let word = HeaderValue::from_static("not a record system");
    response.headers_mut().insert(PRACTICE, word);
    response
}

async fn not_allowed() -> Response {
    let rule = "this interaction is not offered at this address";
    let fault = Fault::new(StatusCode::METHOD_NOT_ALLOWED, "not-supported", rule);
    let mut response = fault.into_response();
    // The router knows which methods stand at the address and writes them.
    response.headers_mut().remove(header::ALLOW);
    response
}

async fn statement(State(shared): State<Shared>, headers: HeaderMap) -> Response {
    let guarded = shared.guard.is_some();
    let statement = metadata::statement(&base(&headers), shared.clock.now(), guarded);
    json(StatusCode::OK, &statement)
}

async fn process(
    State(shared): State<Shared>,
    headers: HeaderMap,
    body: Body,
) -> Result<Response, Fault> {
    let bundle = resource(&headers, body).await?;
    let done = transaction::process(&shared, &base(&headers), &bundle).await?;
    Ok(json(StatusCode::OK, &done))
}

async fn create(
    State(shared): State<Shared>,
    Path(kind): Path<String>,
    headers: HeaderMap,
    body: Body,
) -> Result<Response, Fault> {
    let kind = named(&kind)?;
    let node = resource(&headers, body).await?;
    let base = base(&headers);
    let condition = text_of(&headers, &HeaderName::from_static("if-none-exist"))
        .map(|query| Search::condition(kind, query, &base))
        .transpose()?;
    let mut open = shared.begin().await?;
    let mut hand = shared.hand(&mut open, &base);
    let made = hand.create(kind, &node, condition.as_ref()).await?;
    open.commit().await?;
    Ok(match made {
        Made::New(stored) => written(StatusCode::CREATED, &stored, &headers),
        Made::Found(stored) => written(StatusCode::OK, &stored, &headers),
    })
}

async fn update(
    State(shared): State<Shared>,
    Path((kind, id)): Path<(String, String)>,
    headers: HeaderMap,
    body: Body,
) -> Result<Response, Fault> {
    let kind = named(&kind)?;
    let node = resource(&headers, body).await?;
    let base = base(&headers);
    let if_match = text_of(&headers, &header::IF_MATCH);
    let mut open = shared.begin().await?;
    let mut hand = shared.hand(&mut open, &base);
    let stored = hand.update(kind, &id, &node, if_match).await?;
    open.commit().await?;
    Ok(written(StatusCode::OK, &stored, &headers))
}

async fn delete(
    State(shared): State<Shared>,
    Path((kind, id)): Path<(String, String)>,
    headers: HeaderMap,
) -> Result<Response, Fault> {
    let kind = named(&kind)?;
    let base = base(&headers);
    let mut open = shared.begin().await?;
    let deletion = shared.hand(&mut open, &base).delete(kind, &id).await?;
    open.commit().await?;
    Ok(match deletion {
        Some(deletion) => marked(StatusCode::NO_CONTENT, &deletion, String::new()),
        None => StatusCode::NO_CONTENT.into_response(),
    })
}

async fn read(
    State(shared): State<Shared>,
    Path((kind, id)): Path<(String, String)>,
    headers: HeaderMap,
) -> Result<Response, Fault> {
    let kind = named(&kind)?;
    let base = base(&headers);
    let mut open = shared.begin().await?;
    let stored = shared.hand(&mut open, &base).current(kind, &id).await?;
    let body = stored.body.clone().unwrap_or_default();
    Ok(marked(StatusCode::OK, &stored, body))
}

async fn read_version(
    State(shared): State<Shared>,
    Path((kind, id, version)): Path<(String, String, String)>,
) -> Result<Response, Fault> {
    let versions = versions(&shared, &kind, &id).await?;
    let stored = versions
        .iter()
        .find(|stored| stored.version.to_string() == version)
        .ok_or_else(|| Fault::unknown("no such version"))?;
    // FHIR R4 (4.0.1), http.html#vread: a version that is a deletion "the server should return a
    // 410 status code".
    let body = stored.body.clone().ok_or_else(|| {
        let rule = "this version is the deletion of the resource";
        Fault::new(StatusCode::GONE, "deleted", rule)
    })?;
    Ok(marked(StatusCode::OK, stored, body))
}

async fn history(
    State(shared): State<Shared>,
    Path((kind, id)): Path<(String, String)>,
    RawQuery(query): RawQuery,
    headers: HeaderMap,
) -> Result<Response, Fault> {
    if query.is_some_and(|query| !query.is_empty()) {
        return Err(Fault::malformed("a history takes no parameters here"));
    }
    let versions = versions(&shared, &kind, &id).await?;
    let base = base(&headers);
    let address = format!("{base}/{kind}/{id}/_history");
    let history = bundle::history(&versions, &address, &base)?;
    Ok(json(StatusCode::OK, &history))
}

async fn versions(shared: &Shared, kind: &str, id: &str) -> Result<Vec<Stored>, Fault> {
    let kind = named(kind)?;
    let mut open = shared.begin().await?;
    let versions = store::history(&mut open, kind, id).await?;
    if versions.is_empty() {
        return Err(Fault::unknown("no such resource"));
    }
    Ok(versions)
}

async fn search(
    State(shared): State<Shared>,
    Path(kind): Path<String>,
    RawQuery(query): RawQuery,
    headers: HeaderMap,
) -> Result<Response, Fault> {
    let kind = named(&kind)?;
    found(&shared, kind, &query.unwrap_or_default(), &headers).await
}

/// FHIR R4 (4.0.1), http.html#search: parameters stand in the address or in the form, so both count.
async fn search_by_form(
    State(shared): State<Shared>,
    Path(kind): Path<String>,
    RawQuery(query): RawQuery,
    headers: HeaderMap,
    body: Body,
) -> Result<Response, Fault> {
    let kind = named(&kind)?;
    if media_type(&headers) != Some("application/x-www-form-urlencoded") {
        return Err(wrong_media("a search is posted as a form"));
    }
    let form = bytes(body).await?;
    let form = std::str::from_utf8(&form)
        .map_err(|cause| Fault::malformed(format!("not UTF-8 from {}", cause.valid_up_to())))?;
    let parts = [query.as_deref().unwrap_or_default(), form];
    let parts: Vec<_> = parts.into_iter().filter(|part| !part.is_empty()).collect();
    found(&shared, kind, &parts.join("&"), &headers).await
}

async fn found(
    shared: &Shared,
    kind: Kind,
    query: &str,
    headers: &HeaderMap,
) -> Result<Response, Fault> {
    let base = base(headers);
    let search = Search::parse(kind, query, &base)?;
    let mut open = shared.begin().await?;
    let all = search.run(&mut open).await?;
    let rest = all.iter().copied().filter(|number| *number > search.after);
    let these: Vec<i64> = rest.clone().take(search.count).collect();
    let more = rest.count() > these.len();
    let mut resources = Vec::new();
    for &number in &these {
        resources.extend(store::numbered(&mut open, kind, number).await?);
    }
    let page = Page {
        total: all.len(),
        resources,
        next: these.last().copied().filter(|_| more),
    };
    let set = bundle::searchset(kind, &search, &page, &base)?;
    Ok(json(StatusCode::OK, &set))
}

fn named(kind: &str) -> Result<Kind, Fault> {
    Kind::named(kind).ok_or_else(rules::unknown_kind)
}

async fn resource(headers: &HeaderMap, body: Body) -> Result<Node, Fault> {
    match media_type(headers) {
        Some("application/fhir+json" | "application/json") => rules::read(&bytes(body).await?),
        _ => Err(wrong_media("a resource is sent as application/fhir+json")),
    }
}

async fn bytes(body: Body) -> Result<Vec<u8>, Fault> {
    let bytes = to_bytes(body, LARGEST_BODY).await.map_err(|cause| {
        tracing::debug!(error = %cause, "practice server could not read a body");
        let rule = "the body was cut off, or is larger than 16 MiB";
        Fault::new(StatusCode::PAYLOAD_TOO_LARGE, "too-long", rule)
    })?;
    Ok(bytes.to_vec())
}

fn wrong_media(rule: &str) -> Fault {
    Fault::new(StatusCode::UNSUPPORTED_MEDIA_TYPE, "not-supported", rule)
}

fn media_type(headers: &HeaderMap) -> Option<&str> {
    let value = text_of(headers, &header::CONTENT_TYPE)?;
    value.split(';').next().map(str::trim)
}

fn takes_json(headers: &HeaderMap) -> bool {
    let Some(accept) = text_of(headers, &header::ACCEPT) else {
        return true;
    };
    let ranges = accept
        .split(',')
        .filter_map(|range| range.split(';').next());
    let known = [
        "*/*",
        "application/*",
        "application/json",
        "application/fhir+json",
    ];
    ranges.map(str::trim).any(|range| known.contains(&range))
}

fn text_of<'a>(headers: &'a HeaderMap, name: &HeaderName) -> Option<&'a str> {
    headers.get(name).and_then(|value| value.to_str().ok())
}

/// The address of this server as the client knows it.
fn base(headers: &HeaderMap) -> String {
    let plain = |letter: char| letter.is_ascii_alphanumeric() || ".:-[]".contains(letter);
    let host = text_of(headers, &header::HOST).filter(|host| host.chars().all(plain));
    format!("http://{}/fhir", host.unwrap_or("localhost"))
}

fn json(status: StatusCode, node: &Node) -> Response {
    let kind = HeaderValue::from_static(FHIR_JSON);
    (status, [(header::CONTENT_TYPE, kind)], node.compact()).into_response()
}

/// FHIR R4 (4.0.1), http.html#create: "The server returns a 201 Created HTTP status code, and SHALL
/// also return a Location header which contains the new Logical Id and Version Id" of the version.
fn written(status: StatusCode, stored: &Stored, headers: &HeaderMap) -> Response {
    let wanted = text_of(headers, &HeaderName::from_static("prefer"));
    let body = if wanted == Some("return=minimal") {
        String::new()
    } else {
        stored.body.clone().unwrap_or_default()
    };
    let mut response = marked(status, stored, body);
    let address = format!("{}/{}", base(headers), location(stored));
    if let Ok(address) = HeaderValue::try_from(address) {
        response.headers_mut().insert(header::LOCATION, address);
    }
    response
}

/// A response that says which version it is about.
fn marked(status: StatusCode, stored: &Stored, body: String) -> Response {
    let empty = body.is_empty();
    let mut response = (status, body).into_response();
    let headers = response.headers_mut();
    headers.remove(header::CONTENT_TYPE);
    if !empty {
        headers.insert(header::CONTENT_TYPE, HeaderValue::from_static(FHIR_JSON));
    }
    if let Ok(tag) = HeaderValue::try_from(etag(stored)) {
        headers.insert(header::ETAG, tag);
    }
    let updated = DateTime::parse_from_rfc3339(&stored.updated).ok();
    let modified = updated.map(|at| httpdate::fmt_http_date(at.into()));
    if let Some(Ok(modified)) = modified.map(HeaderValue::try_from) {
        headers.insert(header::LAST_MODIFIED, modified);
    }
    response
}
