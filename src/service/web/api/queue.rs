//! What waits, what persons decide about it, and the targets.

use crate::base::json::{Node, object, text};
use crate::delivery::deliver::Purpose;
use crate::delivery::outbox::{Decision, Item, Pausing, State as Standing, WantedItems};
use crate::service::app::shown;
use crate::service::web::api::answer::json;
use crate::service::web::api::fault::Fault;
use crate::service::web::api::request::{self, ByAndWhy};
use crate::service::web::api::serving::Serving;
use axum::body::Bytes;
use axum::extract::{Path, State};
use axum::http::{HeaderMap, StatusCode, Uri};
use axum::response::Response;
use serde::Deserialize;
use uuid::Uuid;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Query {
    #[serde(default)]
    all: bool,
    state: Option<String>,
    target: Option<String>,
    session: Option<Uuid>,
}

pub(super) async fn items(State(serving): State<Serving>, uri: Uri) -> Result<Response, Fault> {
    let asked: Query = request::query(&uri)?;
    let state = match &asked.state {
        None => None,
        Some(word) => Some(Standing::named(word).ok_or_else(|| {
            let known: Vec<&str> = Standing::ALL.iter().map(|one| one.word()).collect();
            Fault::bad_request(format!("state has to be one of {}", known.join(", ")))
        })?),
    };
    let wanted = WantedItems {
        open_only: !asked.all && !state.is_some_and(Standing::is_done),
        state,
        target: asked.target,
        session: asked.session,
    };
    let items = serving.outbox.items_wanted(&wanted).await?;
    let answer = object([("items", shown::items(&items))]);
    Ok(json(StatusCode::OK, &answer))
}

pub(super) async fn item(
    State(serving): State<Serving>,
    Path(item): Path<String>,
) -> Result<Response, Fault> {
    let item = known(&serving, &item).await?;
    Ok(json(StatusCode::OK, &shown::item(&item)))
}

async fn known(serving: &Serving, item: &str) -> Result<Item, Fault> {
    let unknown = || Fault::not_found("there is no delivery of this id");
    let id = Uuid::parse_str(item).map_err(|_no_uuid| unknown())?;
    serving.outbox.item(id).await?.ok_or_else(unknown)
}

pub(super) async fn release(
    State(serving): State<Serving>,
    Path(item): Path<String>,
    headers: HeaderMap,
    body: Bytes,
) -> Result<Response, Fault> {
    decide(&serving, &item, &Decision::Release, &headers, &body).await
}

pub(super) async fn give_up(
    State(serving): State<Serving>,
    Path(item): Path<String>,
    headers: HeaderMap,
    body: Bytes,
) -> Result<Response, Fault> {
    decide(&serving, &item, &Decision::Drop, &headers, &body).await
}

async fn decide(
    serving: &Serving,
    item: &str,
    decision: &Decision,
    headers: &HeaderMap,
    body: &Bytes,
) -> Result<Response, Fault> {
    let said = ByAndWhy::read(headers, body)?;
    let id = known(serving, item).await?.id;
    let now = serving.clock.now();
    if !serving
        .outbox
        .decide(id, decision, said.by(), said.why(), now)
        .await?
    {
        return Err(Fault::new(
            StatusCode::CONFLICT,
            "nothing-to-decide",
            "there is nothing to decide about this delivery",
            "it is done, or being sent right now; nothing was changed",
        ));
    }
    let item = known(serving, item).await?;
    Ok(json(StatusCode::OK, &shown::item(&item)))
}

pub(super) async fn targets(State(serving): State<Serving>) -> Result<Response, Fault> {
    let held = serving.outbox.targets().await?;
    let left_alone = serving.outbox.left_alone().await?;
    let targets = held.iter().map(|held| {
        let mut shown = shown::target(held, left_alone.get(&held.name));
        let set = serving
            .outside
            .targets
            .iter()
            .find(|one| one.name == held.name);
        let purpose = set.map(|one| purpose(one.purpose));
        shown.set("purpose", text(purpose.unwrap_or("not in the settings")));
        shown.set(
            "paused_by_settings",
            Node::Bool(set.is_some_and(|one| one.paused)),
        );
        shown
    });
    let answer = object([("targets", Node::List(targets.collect()))]);
    Ok(json(StatusCode::OK, &answer))
}

const fn purpose(purpose: Purpose) -> &'static str {
    match purpose {
        Purpose::NotSaid => "not said",
        Purpose::Production => "production",
        Purpose::Test => "test",
    }
}

pub(super) async fn pause(
    State(serving): State<Serving>,
    Path(target): Path<String>,
    headers: HeaderMap,
    body: Bytes,
) -> Result<Response, Fault> {
    set_paused(&serving, &target, true, &headers, &body).await
}

pub(super) async fn resume(
    State(serving): State<Serving>,
    Path(target): Path<String>,
    headers: HeaderMap,
    body: Bytes,
) -> Result<Response, Fault> {
    set_paused(&serving, &target, false, &headers, &body).await
}

async fn set_paused(
    serving: &Serving,
    target: &str,
    paused: bool,
    headers: &HeaderMap,
    body: &Bytes,
) -> Result<Response, Fault> {
    let said = ByAndWhy::read(headers, body)?;
    let now = serving.clock.now();
    let done = serving
        .outbox
        .pause(target, paused, said.by(), said.why(), now)
        .await?;
    match done {
        Pausing::Changed => {
            let answer = object([("target", text(target)), ("paused", Node::Bool(paused))]);
            Ok(json(StatusCode::OK, &answer))
        }
        Pausing::AsItWas => Err(Fault::new(
            StatusCode::CONFLICT,
            "nothing-to-decide",
            "there is nothing to decide about this target",
            "it was so before; nothing was changed",
        )),
        Pausing::NoSuchTarget => Err(Fault::not_found("there is no target of this name")),
    }
}
