//! What a colleague reads of a session, or of all sessions of its person.

use crate::service::app::summary::{SummaryAnswer, Wanted, kept, shown};
use crate::service::web::api::answer::json;
use crate::service::web::api::fault::Fault;
use crate::service::web::api::request;
use crate::service::web::api::serving::Serving;
use axum::extract::{Path, State};
use axum::http::{StatusCode, Uri};
use axum::response::Response;
use serde::Deserialize;
use uuid::Uuid;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Viewed {
    view: Option<String>,
}

pub(super) async fn summary(
    State(serving): State<Serving>,
    Path(session): Path<String>,
    uri: Uri,
) -> Result<Response, Fault> {
    let viewed: Viewed = request::query(&uri)?;
    let view = viewed.view.as_deref().unwrap_or(Wanted::Session.word());
    let wanted = Wanted::named(view)
        .ok_or_else(|| Fault::bad_request("view has to be session, handover or discharge"))?;
    let unknown = || Fault::not_found("no session of this id was accepted here");
    let id = Uuid::parse_str(&session).map_err(|_no_uuid| unknown())?;
    let today = serving.clock.now().date_naive();
    match kept(&serving.outbox, &serving.catalogue, id, wanted, today).await? {
        SummaryAnswer::Summary(summary) => Ok(json(StatusCode::OK, &shown(&summary))),
        SummaryAnswer::NotKept => Err(unknown()),
        SummaryAnswer::AllWithdrawn => Err(Fault::not_found(
            "every session of this person that is kept here was withdrawn",
        )),
        SummaryAnswer::Purged => Err(Fault::new(
            StatusCode::GONE,
            "purged",
            "the content of it was purged when its time of keeping was over",
            "the record server has what was sent",
        )),
        SummaryAnswer::SeveralPeople => Err(Fault::new(
            StatusCode::CONFLICT,
            "several-people",
            "sessions of several people have this id",
            "nothing is put together of them, so that nobody's findings stand under another's",
        )),
    }
}
