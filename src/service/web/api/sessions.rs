//! Session documents in, and what became of them.

use crate::base::code::meaning::Answer;
use crate::base::json::{Node, object, text};
use crate::delivery::outbox::WantedItems;
use crate::examination::intake::sheet::rows::Rows;
use crate::service::app::encode::Held;
use crate::service::app::shown;
use crate::service::app::submit::{Intake, Submitted};
use crate::service::web::api::answer::json;
use crate::service::web::api::fault::Fault;
use crate::service::web::api::request;
use crate::service::web::api::serving::Serving;
use crate::service::web::meters::Document;
use axum::body::Bytes;
use axum::extract::{Path, State};
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::Response;
use uuid::Uuid;

/// Takes one document, so that the status says what came of it.
///
/// Session and version are the key of a submission: the same content again gets the same answer, and
/// other content under the same key is refused. So no Idempotency-Key is needed, and none is read.
pub(super) async fn submit(
    State(serving): State<Serving>,
    headers: HeaderMap,
    body: Bytes,
) -> Result<Response, Fault> {
    let document = request::session(&headers, &body)?;
    let now = serving.clock.now();
    let intake = Intake {
        catalogue: &serving.catalogue,
        routes: &serving.outside.routes,
        elsewhere: serving.outside.elsewhere.as_ref(),
    };
    let submitted = document.submit(&serving.outbox, intake, now).await?;
    match submitted {
        Submitted::Accepted {
            session,
            version,
            before,
            items,
            told,
        } => {
            let (status, came) = if before {
                (StatusCode::OK, Document::AcceptedBefore)
            } else {
                (StatusCode::ACCEPTED, Document::Accepted)
            };
            serving.meters.document(came);
            let answer = object([
                ("session", text(session.to_string())),
                ("version", shown::number(version)),
                ("accepted_before", Node::Bool(before)),
                ("items", shown::items(&items)),
                ("problems", shown::problems(&told, document.rows.as_ref())),
            ]);
            let mut response = json(status, &answer);
            let location = HeaderValue::try_from(format!("/v1/sessions/{session}"));
            if let Ok(location) = location {
                response.headers_mut().insert(header::LOCATION, location);
            }
            Ok(response)
        }
        Submitted::Held(held) => {
            if let Some(webhook) = &serving.outside.webhook {
                serving.refusals.tell(webhook, &document.text, &held.urgent);
            }
            // What others were in the way of comes again.
            if held.answer() != Answer::Contended {
                serving.meters.document(if held.waits_for_confirmation() {
                    Document::WaitsForConfirmation
                } else {
                    Document::Refused
                });
            }
            Err(of_held(&held, document.rows.as_ref()))
        }
    }
}

/// A status for each thing a client has to do: 400 send JSON, 409 look at what is kept already, 422
/// mend the document, 428 have a named person confirm and send it again.
///
/// RFC 6585, section 3, gives 428 for a condition that the request has to state; here it is the
/// confirmation of a person, in the document. No other status is as near, and one of its own lets a
/// client that reads only the status tell "mend" from "ask".
fn of_held(held: &Held, rows: Option<&Rows>) -> Fault {
    let (status, kind, title, detail) = match held.answer() {
        Answer::NotJson => (
            StatusCode::BAD_REQUEST,
            "not-json",
            "the body is not one JSON document",
            "nothing was stored; problems says where",
        ),
        Answer::Contended => (
            StatusCode::SERVICE_UNAVAILABLE,
            "contended",
            "others changed what is known of this person each time",
            "nothing was stored; send the same document again a little later",
        ),
        Answer::OtherContent => (
            StatusCode::CONFLICT,
            "other-content",
            "this version was accepted before with other content",
            "nothing was stored; a correction is the next version of the session",
        ),
        Answer::VersionOrder => (
            StatusCode::CONFLICT,
            "version-order",
            "another version comes next",
            "nothing was stored; problems says which version is expected",
        ),
        Answer::OtherPerson => (
            StatusCode::CONFLICT,
            "other-person",
            "the version before belongs to another person",
            "nothing was stored; withdraw that session, then send a new one",
        ),
        Answer::Purged => (
            StatusCode::CONFLICT,
            "purged",
            "the content of this session was purged",
            "nothing was stored; correct it at the record server, which has it",
        ),
        Answer::WaitsForConfirmation => (
            StatusCode::PRECONDITION_REQUIRED,
            "waits-for-confirmation",
            "cautions wait for a named person's confirmation",
            "nothing was stored; to confirm, add to session.confirmations the code, path and mark of \
             each caution with by, at and reason, and send the document again",
        ),
        // What does not hold and has no error is told nowhere: then the document is at fault.
        Answer::DoesNotHold | Answer::Told | Answer::OfDelivery => (
            StatusCode::UNPROCESSABLE_ENTITY,
            "does-not-hold",
            "the document does not hold",
            "nothing was stored; problems says where, what, and what to do",
        ),
    };
    let fault = Fault::held(status, kind, title, detail, held, rows);
    if status == StatusCode::SERVICE_UNAVAILABLE {
        return fault.asked_for_again();
    }
    fault
}

/// The deliveries of a session, all versions.
pub(super) async fn session(
    State(serving): State<Serving>,
    Path(session): Path<String>,
) -> Result<Response, Fault> {
    let unknown = || Fault::not_found("no session of this id was accepted here");
    let id = Uuid::parse_str(&session).map_err(|_no_uuid| unknown())?;
    let wanted = WantedItems {
        session: Some(id),
        ..WantedItems::default()
    };
    let items = serving.outbox.items_wanted(&wanted).await?;
    if items.is_empty() {
        return Err(unknown());
    }
    let answer = object([
        ("session", text(id.to_string())),
        ("items", shown::items(&items)),
    ]);
    Ok(json(StatusCode::OK, &answer))
}

#[cfg(test)]
mod tests {
    use super::of_held;
    use crate::base::code::Code;
    use crate::base::problem::Problems;
    use crate::service::app::encode::Held;
    use axum::http::{StatusCode, header};
    use axum::response::IntoResponse as _;

    #[test]
    fn a_document_that_others_were_in_the_way_of_is_asked_for_again() {
        let mut problems = Problems::new();
        problems.error(Code::SessionContended, "", String::new(), "");

        let answer = of_held(&Held::new(problems.sorted()), None).into_response();

        assert_eq!(answer.status(), StatusCode::SERVICE_UNAVAILABLE);
        assert_eq!(
            answer.headers().get(header::RETRY_AFTER).expect("a time"),
            "1"
        );
    }
}
