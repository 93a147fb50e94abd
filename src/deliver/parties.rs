//! Who and what a record refers to at the server: the person, the performers, the instruments.

use crate::deliver::attempt::{Early, Worker};
use crate::deliver::gate::{self, Expected};
use crate::deliver::guard;
use crate::deliver::held::{self, Trouble};
use crate::deliver::http::{Silence, server_words};
use crate::deliver::send::{self, References};
use crate::json::Node;
use crate::outbox::{Leased, Outcome};
use crate::private::Private;

pub(super) async fn person(
    worker: &Worker<'_>,
    leased: &Leased,
    record: &Node,
    references: &mut References,
) -> Result<(), Early> {
    let document = Node::parse(leased.document.open()).map_err(|_unreadable| Early::Record)?;
    let patient = document.member("patient").ok_or(Early::Record)?;
    let written = |key: &str| {
        patient
            .text_of(key)
            .map(|text| Private::new(text.to_owned()))
    };
    let expected = Expected {
        birth_date: written("birth_date").ok_or(Early::Record)?,
        family_name: written("family_name"),
    };
    let mut subjects = Vec::new();
    send::logical_of(record, "Patient", &mut subjects);
    let [(system, value)] = subjects.as_slice() else {
        return Err(Early::Record);
    };
    let form = format!(
        "identifier={}",
        crate::record::percent(&held::token(system, value))
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
    let reference = gate::person(bundle, (system, value), &expected, &leased.confirmed)
        .map_err(Early::Stopped)?;
    references.insert(send::key("Patient", system, value), reference);
    Ok(())
}

/// A performer the server knows exactly once is referred to; any other stays an identifier.
pub(super) async fn performers(
    worker: &Worker<'_>,
    record: &Node,
    references: &mut References,
) -> Result<(), Early> {
    for kind in ["Practitioner", "Organization"] {
        let mut wanted = Vec::new();
        send::logical_of(record, kind, &mut wanted);
        for (system, value) in wanted {
            let identifier = [(system.clone(), value.clone())];
            match held::find(worker.connection, kind, &identifier).await {
                Ok(found) => references.extend(
                    found
                        .into_values()
                        .map(|held| (send::key(kind, &system, &value), held.reference)),
                ),
                // Not every server keeps them; the identifier says enough.
                Err(Trouble::Several(_)) => {}
                Err(Trouble::Answer(answer)) if matches!(answer.status, 400 | 404 | 405) => {}
                Err(trouble) => return Err(trouble.into()),
            }
        }
    }
    Ok(())
}

/// Instruments are shared by sessions and people, so each is created on its own under a lane of
/// its own: two workers would otherwise both find none and both create one.
pub(super) async fn instruments(
    worker: &Worker<'_>,
    leased: &Leased,
    record: &Node,
    references: &mut References,
) -> Result<(), Early> {
    for entry in record.items_of("entry") {
        let Some(resource) = entry.member("resource") else {
            continue;
        };
        if resource.text_of("resourceType") != Some("Device") {
            continue;
        }
        let urn = entry.text_of("fullUrl").unwrap_or_default();
        let condition = entry.at(&["request", "ifNoneExist"]).and_then(Node::text);
        let identifier = resource
            .items_of("identifier")
            .first()
            .ok_or(Early::Record)?;
        let (system, value) = (identifier.text_of("system"), identifier.text_of("value"));
        let (Some(system), Some(value), Some(condition)) = (system, value, condition) else {
            return Err(Early::Record);
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
        crate::catalogue::sha256_hex(condition.as_bytes())
    );
    let target = &leased.item.target;
    let now = worker.clock.now();
    let held = worker.outbox.hold(target, &lane, leased.until, now).await?;
    let Some(token) = held else {
        return Err(Early::InstrumentBusy);
    };
    let created = create_under_lane(worker, resource, wanted, condition).await;
    // A request whose answer is missing may still arrive: then the lane stays held until the lease
    // ends, and the next attempt looks first.
    let settled = !matches!(
        created,
        Err(Early::Trouble(Trouble::Silence(Silence::NoAnswer)))
    );
    if settled {
        worker.outbox.let_go(target, &lane, token).await?;
    }
    created
}

async fn create_under_lane(
    worker: &Worker<'_>,
    resource: &Node,
    wanted: &[(String, String)],
    condition: &str,
) -> Result<String, Early> {
    let found = held::find(worker.connection, "Device", wanted).await?;
    if let Some(held) = found.into_values().next() {
        return Ok(held.reference);
    }
    let answer = worker
        .connection
        .create("Device", Some(condition), resource)
        .await?;
    match answer.status {
        200..=299 => {
            let found = held::find(worker.connection, "Device", wanted).await?;
            let held = found.into_values().next();
            held.map(|held| held.reference)
                .ok_or(Early::Trouble(Trouble::Answer(answer)))
        }
        400 | 404 | 405 | 413 | 415 | 422 => Err(Early::Outcome(Outcome::Refused {
            reason: format!("target.refused-{}", answer.status),
            words: server_words(&answer),
        })),
        _ => Err(Trouble::Answer(answer).into()),
    }
}
