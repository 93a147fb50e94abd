//! What happened, and what stands behind one Observation.

use crate::base::json::{Node, object, text};
use crate::delivery::outbox::WantedRows;
use crate::service::app::shown;
use crate::service::app::words::{Looked, behind};
use crate::service::web::api::answer::json;
use crate::service::web::api::fault::Fault;
use crate::service::web::api::request;
use crate::service::web::api::serving::Serving;
use axum::extract::State;
use axum::http::{StatusCode, Uri};
use axum::response::Response;
use serde::Deserialize;
use uuid::Uuid;

/// Rows a page where the client does not say.
const A_PAGE: i64 = 500;
/// The largest page.
const LARGEST_PAGE: i64 = 5000;
/// The largest number of a row that is asked after: readers of JSON know no larger ones exactly (RFC 8259, section 6).
const LARGEST_NUMBER: i64 = 9_007_199_254_740_991;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Query {
    session: Option<Uuid>,
    target: Option<String>,
    event: Option<String>,
    #[serde(default)]
    after: i64,
    limit: Option<i64>,
}

pub(super) async fn rows(State(serving): State<Serving>, uri: Uri) -> Result<Response, Fault> {
    let asked: Query = request::query(&uri)?;
    let most = asked.limit.unwrap_or(A_PAGE);
    let after = (0..=LARGEST_NUMBER).contains(&asked.after);
    if !(after && (1..=LARGEST_PAGE).contains(&most)) {
        return Err(Fault::bad_request(format!(
            "limit has to be 1 to {LARGEST_PAGE}, and after 0 to {LARGEST_NUMBER}"
        )));
    }
    let wanted = WantedRows {
        session: asked.session,
        target: asked.target,
        event: asked.event,
        after: asked.after,
        most: Some(most),
    };
    let rows = serving.outbox.trail_wanted(&wanted).await?;
    let full = i64::try_from(rows.len()).is_ok_and(|count| count == most);
    let last = rows.last().filter(|_| full);
    let next = last.map_or(Node::Null, |row| shown::number(row.number));
    let rows = rows.iter().map(shown::trail_row);
    let answer = object([("rows", Node::List(rows.collect())), ("next", next)]);
    Ok(json(StatusCode::OK, &answer))
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Expected {
    expect: Option<String>,
}

pub(super) async fn verify(State(serving): State<Serving>, uri: Uri) -> Result<Response, Fault> {
    let asked: Expected = request::query(&uri)?;
    let held = serving.outbox.verify_trail(asked.expect.as_deref()).await?;
    let answer = object([
        ("holds", Node::Bool(held.faults.is_empty())),
        ("rows", shown::number(held.rows)),
        ("last_hash", held.last_hash.map_or(Node::Null, text)),
        (
            "faults",
            Node::List(held.faults.into_iter().map(text).collect()),
        ),
    ]);
    Ok(json(StatusCode::OK, &answer))
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct TraceQuery {
    observation: String,
}

pub(super) async fn trace(State(serving): State<Serving>, uri: Uri) -> Result<Response, Fault> {
    let asked: TraceQuery = request::query(&uri)?;
    match behind(&serving.outbox, &serving.catalogue, &asked.observation).await? {
        Looked::Behind(found) => Ok(json(StatusCode::OK, &shown::behind(&found))),
        Looked::Purged(session) => Err(Fault::new(
            StatusCode::GONE,
            "purged",
            "the content of the session that this Observation belongs to was purged",
            format!(
                "the trail of session {session} tells when; the record server has what was sent"
            ),
        )),
        Looked::NotKept => Err(Fault::not_found(
            "no session kept here was sent as this Observation",
        )),
    }
}
