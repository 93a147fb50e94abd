//! What waits, what persons decide about it, and the targets.

use crate::base::json::{Node, object, text};
use crate::delivery::deliver::Purpose;
use crate::delivery::outbox::{Decision, Item, Pausing, State as Standing, WantedItems};
use crate::service::app::shown;
use crate::service::web::api::fault::Fault;
use crate::service::web::api::request::{self, Said};
use crate::service::web::api::{Desk, json};
use axum::body::Body;
use axum::extract::{Path, State};
use axum::http::{HeaderMap, StatusCode, Uri};
use axum::response::Response;
use serde::Deserialize;
use uuid::Uuid;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Asked {
    #[serde(default)]
    all: bool,
    state: Option<String>,
    target: Option<String>,
    session: Option<Uuid>,
}

pub(super) async fn items(State(desk): State<Desk>, uri: Uri) -> Result<Response, Fault> {
    let asked: Asked = request::query(&uri)?;
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
    let items = desk.outbox.items_wanted(&wanted).await?;
    let answer = object([("items", shown::items(&items))]);
    Ok(json(StatusCode::OK, &answer))
}

pub(super) async fn item(
    State(desk): State<Desk>,
    Path(item): Path<String>,
) -> Result<Response, Fault> {
    let item = known(&desk, &item).await?;
    Ok(json(StatusCode::OK, &shown::item(&item)))
}

async fn known(desk: &Desk, item: &str) -> Result<Item, Fault> {
    let unknown = || Fault::not_found("there is no delivery of this id");
    let id = Uuid::parse_str(item).map_err(|_no_uuid| unknown())?;
    desk.outbox.item(id).await?.ok_or_else(unknown)
}

pub(super) async fn release(
    State(desk): State<Desk>,
    Path(item): Path<String>,
    headers: HeaderMap,
    body: Body,
) -> Result<Response, Fault> {
    decide(&desk, &item, &Decision::Release, &headers, body).await
}

pub(super) async fn give_up(
    State(desk): State<Desk>,
    Path(item): Path<String>,
    headers: HeaderMap,
    body: Body,
) -> Result<Response, Fault> {
    decide(&desk, &item, &Decision::Drop, &headers, body).await
}

async fn decide(
    desk: &Desk,
    item: &str,
    decision: &Decision,
    headers: &HeaderMap,
    body: Body,
) -> Result<Response, Fault> {
    let said = Said::read(headers, body).await?;
    let id = known(desk, item).await?.id;
    let now = desk.clock.now();
    if !desk.outbox.decide(id, decision, said.words(), now).await? {
        return Err(Fault::new(
            StatusCode::CONFLICT,
            "nothing-to-decide",
            "there is nothing to decide about this delivery",
            "it is done, or being sent right now; nothing was changed",
        ));
    }
    let item = known(desk, item).await?;
    Ok(json(StatusCode::OK, &shown::item(&item)))
}

pub(super) async fn targets(State(desk): State<Desk>) -> Result<Response, Fault> {
    let held = desk.outbox.targets().await?;
    let left_alone = desk.outbox.left_alone().await?;
    let targets = held.iter().map(|held| {
        let mut shown = shown::target(held, left_alone.get(&held.name));
        let set = desk
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
    State(desk): State<Desk>,
    Path(target): Path<String>,
    headers: HeaderMap,
    body: Body,
) -> Result<Response, Fault> {
    set_paused(&desk, &target, true, &headers, body).await
}

pub(super) async fn resume(
    State(desk): State<Desk>,
    Path(target): Path<String>,
    headers: HeaderMap,
    body: Body,
) -> Result<Response, Fault> {
    set_paused(&desk, &target, false, &headers, body).await
}

async fn set_paused(
    desk: &Desk,
    target: &str,
    paused: bool,
    headers: &HeaderMap,
    body: Body,
) -> Result<Response, Fault> {
    let said = Said::read(headers, body).await?;
    let now = desk.clock.now();
    let done = desk.outbox.pause(target, paused, said.words(), now).await?;
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
