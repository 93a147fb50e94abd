//! Who and what a record refers to at the server: the person, the performers, the instruments.

use crate::base::code::Code;
use crate::base::code::reason::Reason;
use crate::base::json::Node;
use crate::base::private::Private;
use crate::delivery::deliver::answer::{self, Meaning};
use crate::delivery::deliver::early::{Early, Worker};
use crate::delivery::deliver::gate::{self, Expected};
use crate::delivery::deliver::held::{self, Held, Trouble};
use crate::delivery::deliver::http::server_words;
use crate::delivery::deliver::send::{self, References, Way};
use crate::delivery::deliver::{Unmatched, encounter, guard};
use crate::delivery::outbox::{Leased, OutboxError, Outcome};
use crate::examination::intake::kept::NotRead;
use crate::fhir::record::fitted::{self, LeftOut};
use uuid::Uuid;

pub(super) async fn person(
    worker: &Worker<'_>,
    leased: &Leased,
    record: &Node,
    references: &mut References,
) -> Result<(), Early> {
    let document = leased.document.node()?;
    let lacks = |what| Early::Unread(leased.document.unread(NotRead::Lacks(what)));
    let patient = document.member("patient");
    let patient = patient.ok_or_else(|| lacks("the patient"))?;
    let written = |key: &str| {
        patient
            .text_of(key)
            .map(|text| Private::new(text.to_owned()))
    };
    let expected = Expected {
        birth_date: written("birth_date").ok_or_else(|| lacks("the birth date"))?,
        family_name: written("family_name"),
    };
    let mut subjects = Vec::new();
    send::logical_of(record, "Patient", &mut subjects);
    let [(system, value)] = subjects.as_slice() else {
        let why = NotRead::Lacks("the one person it is about");
        return Err(Early::Unread(leased.record.unread(why)));
    };
    let form = format!(
        "identifier={}",
        crate::fhir::record::percent(&held::token(system, value))
    );
    let answer = worker.connection.search("Patient", &form).await?;
    let bundle = answer
        .body
        .as_ref()
        .map(Private::open)
        .filter(|body| answer.status == 200 && body.text_of("resourceType") == Some("Bundle"));
    let Some(bundle) = bundle else {
        return Err(Trouble::Answer(answer).into());
    };
    let purpose = worker.connection.target().purpose;
    guard::people(purpose, bundle).map_err(Early::Kept)?;
    let reference = gate::person(bundle, system, value, &expected, &leased.confirmed)
        .map_err(Early::Stopped)?;
    references.insert(send::key("Patient", system, value), reference);
    Ok(())
}

/// Who and what else a record names: whom the server knows exactly once is referred to; what is done with
/// the others is for the target to say.
pub(super) async fn others(
    worker: &Worker<'_>,
    leased: &Leased,
    record: &mut Node,
    references: &mut References,
    left_out: &mut LeftOut,
) -> Result<(), Early> {
    let target = worker.connection.target();
    for (kind, unmatched) in [
        ("Practitioner", target.practitioners),
        ("Organization", Unmatched::Identifier),
        ("Encounter", target.encounters),
    ] {
        let mut wanted = Vec::new();
        send::logical_of(record, kind, &mut wanted);
        for (system, value) in wanted {
            let key = send::key(kind, &system, &value);
            if let Some(held) = one(worker, kind, &system, &value).await? {
                if kind == "Encounter" {
                    encounter::stands(&held.resource, subject(references))
                        .map_err(Early::Outcome)?;
                }
                references.insert(key, held.reference);
                continue;
            }
            match unmatched {
                Unmatched::Identifier => {}
                Unmatched::LeftOut => {
                    fitted::leave_out(record, kind, &system, &value, left_out);
                }
                Unmatched::Held => not_known(kind, leased).map_err(Early::Outcome)?,
            }
        }
    }
    Ok(())
}

/// The one resource under an identifier. Not every server keeps them, or shows them to this account.
async fn one(
    worker: &Worker<'_>,
    kind: &str,
    system: &str,
    value: &str,
) -> Result<Option<Held>, Early> {
    let identifier = [(system.to_owned(), value.to_owned())];
    match held::find(worker.connection, kind, &identifier).await {
        Ok(found) => Ok(found.into_values().next()),
        Err(Trouble::Several(_)) => Ok(None),
        Err(Trouble::Answer(answer)) if matches!(answer.status, 400 | 403 | 404 | 405) => Ok(None),
        Err(trouble) => Err(trouble.into()),
    }
}

/// The Patient whom the gate let pass.
fn subject(references: &References) -> Option<&str> {
    let mut of_person = references.values();
    of_person
        .find(|reference| reference.starts_with("Patient/"))
        .map(String::as_str)
}

/// Holds a session whose encounter or performer is not known, unless a person let it pass: it then names
/// them by identifier.
fn not_known(kind: &str, leased: &Leased) -> Result<(), Outcome> {
    let (code, words) = if kind == "Encounter" {
        (
            Code::EncounterNotFound,
            "the record server does not know the encounter exactly once",
        )
    } else {
        (
            Code::PractitionerNotFound,
            "the record server does not know a performer exactly once",
        )
    };
    if gate::lets_pass(code, &leased.confirmed) {
        return Ok(());
    }
    Err(Outcome::Waiting {
        reason: code.into(),
        words: Private::new(words.to_owned()),
    })
}

/// Instruments are shared by sessions and people, so each is created on its own under a lane of
/// its own: two workers would otherwise both find none and both create one.
pub(super) async fn instruments(
    worker: &Worker<'_>,
    leased: &Leased,
    record: &Node,
    references: &mut References,
) -> Result<(), Early> {
    let lacks = || {
        let why = NotRead::Lacks("the name of an instrument");
        Early::Unread(leased.record.unread(why))
    };
    for entry in record.items_of("entry") {
        let resource = entry.member("resource").ok_or_else(lacks)?;
        if resource.text_of("resourceType") != Some("Device") {
            continue;
        }
        let urn = entry.text_of("fullUrl").ok_or_else(lacks)?;
        let condition = entry.at(&["request", "ifNoneExist"]).and_then(Node::text);
        let identifier = resource.items_of("identifier").first().ok_or_else(lacks)?;
        let (system, value) = (identifier.text_of("system"), identifier.text_of("value"));
        let (Some(system), Some(value), Some(condition)) = (system, value, condition) else {
            return Err(lacks());
        };
        let wanted = [(system.to_owned(), value.to_owned())];
        let found = held::find(worker.connection, "Device", &wanted).await?;
        let reference = match found.into_values().next() {
            Some(held) => held.reference,
            None => create_instrument(worker, leased, resource, &wanted, condition).await?,
        };
        references.insert(urn.to_owned(), reference);
    }
    Ok(())
}

async fn create_instrument(
    worker: &Worker<'_>,
    leased: &Leased,
    resource: &Node,
    wanted: &[(String, String)],
    condition: &str,
) -> Result<String, Early> {
    let lane = format!(
        "instrument {}",
        crate::tables::catalogue::sha256_hex(condition.as_bytes())
    );
    let target = &leased.item.target;
    let now = worker.clock.now();
    let held = worker.outbox.hold(target, &lane, leased.until, now).await?;
    let Some(token) = held else {
        return Err(Early::InstrumentBusy);
    };
    let lane = Lane {
        target,
        name: &lane,
        token,
    };
    let (created, may_be_there) =
        create_under_lane(worker, &lane, resource, wanted, condition).await;
    // What may be there and was not seen may still arrive, and show later: then the lane stays held as
    // long as that may take, and the next attempt looks first.
    if !may_be_there {
        worker.outbox.let_go(target, lane.name, token).await?;
    }
    created
}

/// The lane of an instrument, held by this attempt.
struct Lane<'a> {
    target: &'a str,
    name: &'a str,
    token: Uuid,
}

/// Creates an instrument that is not there; beside what came of it, whether one may be there that was
/// not seen.
async fn create_under_lane(
    worker: &Worker<'_>,
    lane: &Lane<'_>,
    resource: &Node,
    wanted: &[(String, String)],
    condition: &str,
) -> (Result<String, Early>, bool) {
    let look = || async {
        let found = held::find(worker.connection, "Device", wanted).await?;
        Ok::<_, Early>(found.into_values().next().map(|held| held.reference))
    };
    match look().await {
        Ok(None) => {}
        Ok(Some(reference)) => return (Ok(reference), false),
        Err(early) => return (Err(early), false),
    }
    match hold_on(worker, lane).await {
        Ok(true) => {}
        Ok(false) => return (Err(Early::InstrumentBusy), false),
        Err(error) => return (Err(error.into()), false),
    }
    let condition = Some(condition);
    let sent = worker
        .connection
        .create("Device", condition, resource)
        .await;
    let answer = match sent {
        Ok(answer) => answer,
        Err(silence) => return (Err(silence.into()), silence.may_have_arrived()),
    };
    match answer::read(&answer, Way::Single, 1).meaning {
        Meaning::Stored => match look().await {
            Ok(Some(reference)) => (Ok(reference), false),
            // It is there and does not show yet.
            Ok(None) => (Err(Early::InstrumentBusy), true),
            Err(early) => (Err(early), true),
        },
        Meaning::Refused | Meaning::TooLarge => {
            let refused = Early::Outcome(Outcome::Refused {
                reason: Reason::answered(Code::TargetRefused, answer.status),
                words: server_words(&answer),
            });
            (Err(refused), false)
        }
        Meaning::NotNow | Meaning::SignIn => (Err(Trouble::Answer(answer).into()), false),
        Meaning::Unknown => (Err(Trouble::Answer(answer).into()), true),
    }
}

/// Holds the lane of an instrument for as long as a request that leaves now may take to arrive and to
/// show; false when it is not ours any more.
async fn hold_on(worker: &Worker<'_>, lane: &Lane<'_>) -> Result<bool, OutboxError> {
    let visibility = worker.connection.target().visibility;
    let length = visibility.max(worker.lease.whole);
    let (outbox, now) = (worker.outbox, worker.clock.now());
    outbox
        .hold_on(lane.target, lane.name, lane.token, length, now)
        .await
}
