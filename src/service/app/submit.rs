//! Accepting a session document.

use crate::base::code::Code;
use crate::base::code::meaning::Sign;
use crate::base::json::Node;
use crate::base::problem::{Problem, Problems};
use crate::delivery::deliver::breaker::Permit;
use crate::delivery::deliver::http::Connection;
use crate::delivery::outbox::kept::Unread;
use crate::delivery::outbox::offer::{
    Before, Key, New, Rejected, StatedPrecaution, Tables, Wanted,
};
use crate::delivery::outbox::{Accepted, Item, Outbox, OutboxError};
use crate::examination::compare::part::EarlierSession;
use crate::examination::intake::kept::form_of;
use crate::service::app::assess::Earlier;
use crate::service::app::encode::{Encoded, Held, encode};
use crate::service::app::held::{self, NotFound};
use crate::service::app::key::key_of;
use crate::service::app::{kept, not_accepted, routed, urgent};
use crate::service::config::route::Routes;
use crate::tables::catalogue::Catalogue;
use chrono::{DateTime, Utc};
use std::time::Duration;
use tracing::Instrument as _;
use tracing::field::Empty;
use uuid::Uuid;

/// A record server that is asked for earlier sessions while a session is accepted.
#[derive(Debug, Clone)]
pub struct Elsewhere {
    /// The connection to it.
    pub connection: Connection,
    /// The longest that it is waited for: a server that sleeps is not to keep a session from being accepted.
    pub patience: Duration,
}

/// What documents are held against, and where they go.
#[derive(Debug, Clone, Copy)]
pub struct Intake<'a> {
    /// The tables.
    pub catalogue: &'a Catalogue,
    /// Which goes where.
    pub routes: &'a Routes,
    /// The record server that is asked for earlier sessions besides our own store.
    pub elsewhere: Option<&'a Elsewhere>,
}

/// What came of submitting a document.
#[derive(Debug)]
pub enum Submitted {
    /// Accepted, or accepted before with the same content.
    Accepted {
        /// Session.
        session: Uuid,
        /// Version.
        version: u32,
        /// True when it was accepted before.
        before: bool,
        /// One delivery for each target.
        items: Vec<Item>,
        /// Notes.
        told: Vec<Problem>,
    },
    /// Not accepted: every problem at once. Nothing was stored.
    Held(Held),
}

/// Accepts a document for delivery to all of the named targets: [`submit_by`] without a route.
///
/// # Errors
/// [`OutboxError`] when the store fails.
pub async fn submit(
    outbox: &Outbox,
    catalogue: &Catalogue,
    targets: &[String],
    text: &str,
    now: DateTime<Utc>,
) -> Result<Submitted, OutboxError> {
    submit_by(
        outbox,
        catalogue,
        &Routes::to_all(targets.to_vec()),
        text,
        now,
    )
    .await
}

/// Accepts a document for delivery to the targets that the routes say: [`submit_to`] without a record
/// server that is asked for earlier sessions.
///
/// # Errors
/// [`OutboxError`] when the store fails.
pub async fn submit_by(
    outbox: &Outbox,
    catalogue: &Catalogue,
    routes: &Routes,
    text: &str,
    now: DateTime<Utc>,
) -> Result<Submitted, OutboxError> {
    let intake = Intake {
        catalogue,
        routes,
        elsewhere: None,
    };
    submit_to(outbox, intake, text, now).await
}

/// Accepts a document for delivery to the targets that the routes say. Nothing is stored when anything stands in
/// the way; the same content submitted again gets the same deliveries.
///
/// A record server that is asked for earlier sessions and does not tell holds nothing up: a note says so.
///
/// # Errors
/// [`OutboxError`] when the store fails.
pub async fn submit_to(
    outbox: &Outbox,
    intake: Intake<'_>,
    text: &str,
    now: DateTime<Utc>,
) -> Result<Submitted, OutboxError> {
    let Some(key) = key_of(text) else {
        // Too little to know whose it is: the pure way tells why.
        return Ok(Submitted::Held(refused(encode(
            text,
            &Earlier::default(),
            intake.catalogue,
            now,
        ))));
    };
    // Its target keeps it out of the log. Nothing in it tells of a person.
    let span = tracing::info_span!(
        target: "traces",
        "accept",
        "fascicle.session" = %key.session,
        "fascicle.version" = i64::from(key.version),
        "fascicle.outcome" = Empty,
        "error.type" = Empty,
    );
    let taking = take(outbox, intake, text, &key, now);
    let submitted = taking.instrument(span.clone()).await;
    match &submitted {
        Ok(Submitted::Accepted { before: false, .. }) => {
            span.record("fascicle.outcome", "accepted")
        }
        Ok(Submitted::Accepted { before: true, .. }) => {
            span.record("fascicle.outcome", "accepted-before")
        }
        Ok(Submitted::Held(_)) => span.record("fascicle.outcome", "held"),
        Err(_store) => span.record("error.type", "store"),
    };
    submitted
}

/// Accepts a document of which it is known what it is about.
async fn take(
    outbox: &Outbox,
    intake: Intake<'_>,
    text: &str,
    key: &Key,
    now: DateTime<Utc>,
) -> Result<Submitted, OutboxError> {
    let (catalogue, routes) = (intake.catalogue, intake.routes);
    let mut told = Vec::new();
    let (elsewhere, not_asked) = elsewhere(intake, text, now).await;
    let leads = routed::targets(routes, text);
    let wanted = Wanted {
        targets: leads.map(|(targets, _)| targets).unwrap_or_default(),
        all: routes.targets(),
        route: leads.and_then(|(_, number)| number),
    };
    let encoding = |before: Before| {
        let mut way = routed::problems(wanted, &before);
        let earlier = kept::earlier(&before, elsewhere.clone(), catalogue, &mut way)?;
        let encoded = match encode(text, &earlier, catalogue, now) {
            Ok(encoded) if way.any_error() => Err(Held::new(encoded.told)),
            other => other,
        };
        let mut encoded = match encoded {
            Ok(encoded) => encoded,
            Err(held) => {
                let urgent = urgent::of_held(text, &earlier, &before, catalogue, now)?;
                let held = routed::with(held, &way);
                return Err(Stopped::Held(Held { urgent, ..held }));
            }
        };
        encoded.told.extend(way.sorted());
        encoded.told.extend(not_asked.clone());
        told.clone_from(&encoded.told);
        let urgent = urgent::of(&encoded, &before)?;
        new(encoded, catalogue, urgent).map_err(Stopped::Held)
    };
    let accepted = outbox.accept(key, wanted, now, encoding).await;
    came_of(accepted, key, told)
}

fn came_of(
    accepted: Result<Result<Accepted, Rejected<Stopped>>, OutboxError>,
    key: &Key,
    told: Vec<Problem>,
) -> Result<Submitted, OutboxError> {
    let of = |before, items| Submitted::Accepted {
        session: key.session,
        version: key.version,
        before,
        items,
        told,
    };
    let accepted = match accepted {
        Err(OutboxError::Contended) => {
            let (session, version) = (key.session, key.version);
            tracing::warn!(%session, version, "others changed what is known of its person each time");
            return Ok(Submitted::Held(Held::new(not_accepted::contended())));
        }
        other => other?,
    };
    Ok(match accepted {
        Ok(Accepted::New(items)) => of(false, items),
        Ok(Accepted::Before(items)) => of(true, items),
        Err(Rejected::Encoding(Stopped::Unread(unread))) => return Err(unread.into()),
        Err(Rejected::Encoding(Stopped::Held(held))) => {
            if !held.urgent.is_empty() {
                tracing::error!(
                    session = %key.session,
                    version = key.version,
                    urgent = held.urgent.join(","),
                    "something urgent was refused and is not kept: whoever sent it has to tell the treating team"
                );
            }
            Submitted::Held(held)
        }
        Err(Rejected::Store(reason)) => Submitted::Held(Held::new(not_accepted::by(reason))),
    })
}

/// Earlier sessions that a record server holds, or the note that it does not tell. One that sleeps is left
/// alone for a while, so that not every session waits for it.
async fn elsewhere(
    intake: Intake<'_>,
    text: &str,
    now: DateTime<Utc>,
) -> (Vec<EarlierSession>, Option<Problem>) {
    let Some(Elsewhere {
        connection,
        patience,
    }) = intake.elsewhere
    else {
        return (Vec::new(), None);
    };
    let breaker = connection.breaker();
    let why = match breaker.ask(now) {
        Permit::No => "it did not answer before, and is left alone for a while".to_owned(),
        leave @ (Permit::Go | Permit::Probe) => {
            let asking = held::sessions(connection, text, intake.catalogue);
            let asked = tokio::time::timeout(*patience, asking).await;
            let fails = match &asked {
                Ok(Ok(_) | Err(NotFound::Document | NotFound::Person(_))) => false,
                Ok(Err(NotFound::Answer(status))) => *status >= 500,
                Ok(Err(NotFound::Silence(_))) | Err(_) => true,
            };
            breaker.tell(if fails { Sign::Fails } else { Sign::Works }, leave, now);
            match asked {
                Ok(Ok(found)) => return found.told_of(&connection.target().name),
                Ok(Err(why)) => why.to_string(),
                Err(_elapsed) => format!("no answer within {} seconds", patience.as_secs()),
            }
        }
    };
    let mut problems = Problems::new();
    let target = &connection.target().name;
    problems.note(
        Code::EarlierNotTold,
        "/session",
        format!("record server {target} did not tell of earlier sessions: {why}"),
        "only sessions in this store were compared with; nothing else is held up by it",
    );
    (Vec::new(), problems.sorted().pop())
}

/// Why a document is not kept.
enum Stopped {
    /// It does not hold.
    Held(Held),
    /// What it would be held against does not read, so nobody knows whether it holds.
    Unread(Unread),
}

impl From<Unread> for Stopped {
    fn from(unread: Unread) -> Self {
        Self::Unread(unread)
    }
}

/// What is to be kept of a document that holds. A precaution of it that is not found in its text is told,
/// never left out.
fn new(encoded: Encoded, catalogue: &Catalogue, urgent: Vec<String>) -> Result<New, Held> {
    let node = Node::parse(&encoded.canonical);
    let stated = node
        .as_ref()
        .map_or(&[][..], |node| node.items_of("precautions"));
    let mut precautions = Vec::new();
    let own = encoded.session.precautions.iter();
    for precaution in own.filter(|precaution| !precaution.carried) {
        let is_it = |node: &&Node| {
            let id = node.text_of("id").map(Uuid::parse_str);
            id == Some(Ok(precaution.id))
        };
        let Some(stated) = stated.iter().find(is_it) else {
            let mut problems = Problems::new();
            let what = "a precaution is not found in the text of the document".to_owned();
            problems.error(Code::DocumentKey, &precaution.path, what, "report this");
            return Err(Held::new(problems.sorted()));
        };
        precautions.push(StatedPrecaution {
            id: precaution.id,
            stated: stated.compact(),
            standing: precaution.lifted.is_none() && precaution.status != "entered-in-error",
        });
    }
    Ok(New {
        precautions,
        urgent,
        record: encoded.checked.seal(),
        document: encoded.canonical,
        form: form_of(encoded.session.form),
        tables: Tables {
            sha256: catalogue.sha256.clone(),
            own_files: catalogue.own_files.clone(),
        },
    })
}

fn refused(encoded: Result<Encoded, Held>) -> Held {
    encoded.err().unwrap_or_else(|| {
        let mut problems = Problems::new();
        let what = "the document holds, but its session cannot be told".to_owned();
        problems.error(Code::DocumentKey, "/session", what, "report this");
        Held::new(problems.sorted())
    })
}

#[cfg(test)]
mod tests {
    use super::{Submitted, came_of, key_of};
    use crate::base::code::Code;
    use crate::base::code::meaning::Retry;
    use crate::delivery::outbox::OutboxError;

    #[test]
    fn whoever_met_others_each_time_is_told_to_send_the_same_again() {
        let key = key_of(include_str!("../../../fixtures/sessions/first.json")).expect("a key");

        let came = came_of(Err(OutboxError::Contended), &key, Vec::new());

        let Ok(Submitted::Held(held)) = came else {
            panic!("{came:?}");
        };
        let [problem] = held.problems.as_slice() else {
            panic!("{held:?}");
        };
        assert_eq!(problem.code, Code::SessionContended);
        assert_eq!(problem.code.meaning().retry, Retry::Again);
        assert!(
            problem.hint.contains("nothing was stored"),
            "{}",
            problem.hint
        );
    }
}
