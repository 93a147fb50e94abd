//! One attempt at one item.

use crate::clock::Clock;
use crate::deliver::compare::{self, Drift};
use crate::deliver::gate::{self, Expected};
use crate::deliver::held::{self, Found, Held, Trouble};
use crate::deliver::http::{Answer, Connection, Silence, server_words};
use crate::deliver::retry;
use crate::deliver::send::{self, Meaning, References, Step};
use crate::json::{Node, object, text};
use crate::outbox::{LeaseLength, Leased, Outbox, OutboxError, Outcome};
use crate::private::Private;
use chrono::{DateTime, Utc};
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

/// What an attempt works with.
#[derive(Debug)]
pub struct Worker<'a> {
    /// The store, for the lanes of instruments.
    pub outbox: &'a Outbox,
    /// The target.
    pub connection: &'a Connection,
    /// The time.
    pub clock: &'a dyn Clock,
    /// How long a lease lasts.
    pub lease: LeaseLength,
    /// A number from 0 to 999 for the jitter.
    pub random: u64,
}

/// Why an attempt ended early; each becomes an outcome.
enum Early {
    Trouble(Trouble),
    Stopped(gate::Stopped),
    Store(OutboxError),
    /// The record does not read back; it was written by us.
    Record,
    /// Another worker is creating the same instrument.
    InstrumentBusy,
    /// Several resources under one identifier.
    Outcome(Outcome),
}

impl From<Trouble> for Early {
    fn from(trouble: Trouble) -> Self {
        Self::Trouble(trouble)
    }
}

impl From<Silence> for Early {
    fn from(silence: Silence) -> Self {
        Self::Trouble(Trouble::Silence(silence))
    }
}

impl From<OutboxError> for Early {
    fn from(error: OutboxError) -> Self {
        Self::Store(error)
    }
}

/// Makes one attempt, cut off before the lease ends.
///
/// Before anything is sent the server is searched for what it already holds; what is there is
/// never created again. After sending, everything is read back.
///
/// # Errors
/// [`OutboxError`] when the store fails; the item stays in sending and becomes unknown with the
/// end of its lease.
pub async fn attempt(worker: &Worker<'_>, leased: &Leased) -> Result<Outcome, OutboxError> {
    let sent = AtomicBool::new(false);
    let left = (leased.until - worker.clock.now())
        .to_std()
        .unwrap_or_default();
    let left = left.saturating_sub(worker.lease.margin);
    match tokio::time::timeout(left, Box::pin(work(worker, leased, &sent))).await {
        Ok(Ok(outcome)) => Ok(outcome),
        Ok(Err(early)) => end(early, worker, leased, sent.load(Ordering::SeqCst)),
        Err(_cut_off) if sent.load(Ordering::SeqCst) => {
            Ok(unknown(worker, leased, "attempt.cut-off"))
        }
        Err(_cut_off) => Ok(later(worker, leased, "attempt.cut-off", None)),
    }
}

fn end(
    early: Early,
    worker: &Worker<'_>,
    leased: &Leased,
    sent: bool,
) -> Result<Outcome, OutboxError> {
    Ok(match early {
        Early::Store(error) => return Err(error),
        Early::Outcome(outcome) => outcome,
        Early::Stopped(stopped) => Outcome::Waiting {
            reason: stopped.code().to_owned(),
            words: Private::new(stopped.words().to_owned()),
        },
        Early::Record => Outcome::Waiting {
            reason: "record.unreadable".to_owned(),
            words: Private::new("the kept record does not read back".to_owned()),
        },
        Early::InstrumentBusy => later(worker, leased, "instrument.busy", Some(0)),
        Early::Trouble(Trouble::Several(key)) => Outcome::Waiting {
            reason: "duplicate.found".to_owned(),
            words: Private::new(format!(
                "the record server holds several resources as {key}"
            )),
        },
        // Looking failed after sending: only the answer is missing.
        Early::Trouble(_) if sent => unknown(worker, leased, "read-back.failed"),
        Early::Trouble(Trouble::Silence(silence)) => later(worker, leased, silence.code(), None),
        Early::Trouble(Trouble::Answer(answer)) => {
            let code = if matches!(answer.status, 401 | 403) {
                "target.sign-in".to_owned()
            } else {
                format!("target.answer-{}", answer.status)
            };
            let now = worker.clock.now();
            let wait = answer
                .retry_after
                .and_then(|text| retry::retry_after(&text, now));
            let due_at = retry::next(leased.item.attempts, wait, worker.random, now);
            Outcome::Later {
                reason: code,
                due_at,
            }
        }
    })
}

fn later(worker: &Worker<'_>, leased: &Leased, reason: &str, attempts: Option<u32>) -> Outcome {
    let attempts = attempts.unwrap_or(leased.item.attempts);
    let due_at = retry::next(attempts, None, worker.random, worker.clock.now());
    Outcome::Later {
        reason: reason.to_owned(),
        due_at,
    }
}

fn unknown(worker: &Worker<'_>, leased: &Leased, reason: &str) -> Outcome {
    // Looking again costs nothing and settles it: start over with short waits.
    let attempts = leased.item.attempts.min(6);
    let due_at = retry::next(attempts, None, worker.random, worker.clock.now());
    Outcome::Unknown {
        reason: reason.to_owned(),
        due_at,
    }
}

async fn work(worker: &Worker<'_>, leased: &Leased, sent: &AtomicBool) -> Result<Outcome, Early> {
    let record = Node::parse(leased.record.open()).map_err(|_unreadable| Early::Record)?;
    let mut references = References::new();
    person(worker, leased, &record, &mut references).await?;
    performers(worker, &record, &mut references).await?;
    instruments(worker, leased, &record, &mut references).await?;
    let look = Look::new(leased, &record);
    let seen = look.at(worker.connection, &references).await?;
    let steps = seen.steps(&look, leased);
    if steps.is_empty() {
        return Ok(seen.delivered(&look, 0));
    }
    if let Some(due_at) = too_early(worker, leased, &seen) {
        return Ok(Outcome::Unknown {
            reason: "visibility.window".to_owned(),
            due_at,
        });
    }
    sent.store(true, Ordering::SeqCst);
    let bundle = send::bundle(&steps);
    let answer = match worker.connection.transaction(&bundle).await {
        Ok(answer) => answer,
        Err(Silence::Unreachable | Silence::Secret) => {
            sent.store(false, Ordering::SeqCst);
            return Err(Silence::Unreachable.into());
        }
        Err(Silence::NoAnswer) => return Ok(unknown(worker, leased, "target.no-answer")),
    };
    if let Some(outcome) = not_stored(worker, leased, &answer, steps.len()) {
        return Ok(outcome);
    }
    let after = look.at(worker.connection, &references).await?;
    if after.missing(&look) {
        return Ok(unknown(worker, leased, "read-back.missing"));
    }
    Ok(after.delivered(&look, steps.len()))
}

/// What an answer that stored nothing, or perhaps something, leads to.
fn not_stored(
    worker: &Worker<'_>,
    leased: &Leased,
    answer: &Answer,
    steps: usize,
) -> Option<Outcome> {
    let now = worker.clock.now();
    let wait = answer
        .retry_after
        .as_ref()
        .and_then(|text| retry::retry_after(text, now));
    let due_at = retry::next(leased.item.attempts, wait, worker.random, now);
    match send::meaning(answer, steps) {
        Meaning::Stored => None,
        Meaning::Refused => Some(Outcome::Refused {
            reason: format!("target.refused-{}", answer.status),
            words: server_words(answer),
        }),
        Meaning::NotNow => Some(Outcome::Later {
            reason: format!("target.answer-{}", answer.status),
            due_at,
        }),
        Meaning::SignIn => Some(Outcome::Later {
            reason: "target.sign-in".to_owned(),
            due_at,
        }),
        Meaning::Unknown => Some(unknown(
            worker,
            leased,
            &format!("target.answer-{}", answer.status),
        )),
    }
}

/// A server may take a while to show what it stored: an unknown item of which nothing is seen
/// waits that long after its last attempt before it is sent again.
fn too_early(worker: &Worker<'_>, leased: &Leased, seen: &Seen) -> Option<DateTime<Utc>> {
    let since = leased
        .sent_before
        .filter(|_| leased.unknown && seen.found.is_empty())?;
    let shows = since + worker.connection.target().visibility;
    (worker.clock.now() < shows).then_some(shows)
}

async fn person(
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
    let reference = gate::person(bundle, &expected, &leased.confirmed).map_err(Early::Stopped)?;
    references.insert(send::key("Patient", system, value), reference);
    Ok(())
}

/// A performer the server knows exactly once is referred to; any other stays an identifier.
async fn performers(
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
async fn instruments(
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
        .create("Device", condition, resource)
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

/// What has to be looked for.
struct Look<'a> {
    /// Entries that carry an identifier of ours: Observations.
    observations: Vec<(&'a str, &'a Node)>,
    panel: &'a str,
    provenance: Option<(&'a str, &'a Node)>,
    session_version: String,
}

/// What was seen.
struct Seen {
    found: Found,
    provenance: Option<Held>,
    references: References,
}

impl<'a> Look<'a> {
    fn new(leased: &Leased, record: &'a Node) -> Self {
        let entries = record
            .items_of("entry")
            .iter()
            .filter_map(|entry| Some((entry.text_of("fullUrl")?, entry.member("resource")?)));
        let of = |kind: &'static str| {
            entries
                .clone()
                .filter(move |(_, resource)| resource.text_of("resourceType") == Some(kind))
        };
        let is_panel = |resource: &Node| !resource.items_of("hasMember").is_empty();
        let panel = of("Observation").find(|(_, resource)| is_panel(resource));
        Self {
            observations: of("Observation").collect(),
            panel: panel.map(|(url, _)| url).unwrap_or_default(),
            provenance: of("Provenance").next(),
            session_version: format!("{}/{}", leased.item.session, leased.item.version),
        }
    }

    async fn at(&self, connection: &Connection, references: &References) -> Result<Seen, Trouble> {
        let system = crate::record::URI_SYSTEM;
        let wanted: Vec<(String, String)> = self
            .observations
            .iter()
            .map(|(url, _)| (system.to_owned(), (*url).to_owned()))
            .collect();
        let found: Found = held::find(connection, "Observation", &wanted)
            .await?
            .into_iter()
            .filter_map(|(key, held)| Some((key.strip_prefix(system)?.get(1..)?.to_owned(), held)))
            .collect();
        let provenance = match found.get(self.panel) {
            Some(panel) => {
                held::provenance(connection, &panel.reference, &self.session_version).await?
            }
            None => None,
        };
        let mut references = references.clone();
        references.extend(
            found
                .iter()
                .map(|(url, held)| (url.clone(), held.reference.clone())),
        );
        Ok(Seen {
            found,
            provenance,
            references,
        })
    }
}

impl Seen {
    fn missing(&self, look: &Look<'_>) -> bool {
        self.provenance.is_none()
            || look
                .observations
                .iter()
                .any(|(url, _)| !self.found.contains_key(*url))
    }

    /// What is left to send: what is missing is created; what a correction changes is replaced.
    fn steps(&self, look: &Look<'_>, leased: &Leased) -> Vec<Step> {
        let mut steps = Vec::new();
        for (url, resource) in &look.observations {
            let resolved = send::resolve(resource, &self.references);
            match self.found.get(*url) {
                None => {
                    let condition = crate::record::if_none_exist(crate::record::URI_SYSTEM, url);
                    let kind = "Observation".to_owned();
                    steps.push(Step::Create(
                        (*url).to_owned(),
                        kind,
                        Some(condition),
                        resolved,
                    ));
                }
                Some(held) if leased.item.version > 1 => {
                    if compare::other_content(&compare::drift(&resolved, &held.resource)) {
                        steps.push(Step::Replace(
                            (*url).to_owned(),
                            held.reference.clone(),
                            held.version.clone(),
                            resolved,
                        ));
                    }
                }
                Some(_) => {}
            }
        }
        if let (None, Some((url, resource))) = (&self.provenance, look.provenance) {
            let resolved = send::resolve(resource, &self.references);
            steps.push(Step::Create(
                url.to_owned(),
                "Provenance".to_owned(),
                None,
                resolved,
            ));
        }
        steps
    }

    /// The receipt: where everything lies, and what the server holds otherwise than it was sent.
    fn delivered(&self, look: &Look<'_>, sent: usize) -> Outcome {
        let mut resources = Vec::new();
        let mut drifts = Vec::new();
        for (url, resource) in &look.observations {
            let Some(held) = self.found.get(*url) else {
                continue;
            };
            resources.push(receipt_row(url, held));
            let resolved = send::resolve(resource, &self.references);
            drifts.extend(drift_rows(url, &compare::drift(&resolved, &held.resource)));
        }
        if let (Some(held), Some((url, resource))) = (&self.provenance, look.provenance) {
            resources.push(receipt_row(url, held));
            let resolved = send::resolve(resource, &self.references);
            drifts.extend(drift_rows(url, &compare::drift(&resolved, &held.resource)));
        }
        let receipt = object([
            ("sent", Node::Number(sent.to_string())),
            ("resources", Node::List(resources)),
            ("drift", Node::List(drifts)),
        ]);
        Outcome::Delivered {
            receipt: receipt.compact(),
        }
    }
}

fn receipt_row(url: &str, held: &Held) -> Node {
    let mut row = vec![
        ("full_url", text(url)),
        ("reference", text(held.reference.clone())),
    ];
    row.extend(
        held.version
            .clone()
            .map(|version| ("version", text(version))),
    );
    object(row)
}

fn drift_rows<'a>(url: &'a str, drifts: &'a [Drift]) -> impl Iterator<Item = Node> + 'a {
    drifts.iter().map(move |drift| {
        object([
            ("full_url", text(url)),
            ("path", text(drift.path.clone())),
            ("kind", text(drift.kind)),
        ])
    })
}

/// How long the whole of an attempt may take at most, for settings that name both.
pub const fn longest(lease: LeaseLength) -> Duration {
    lease.whole.saturating_sub(lease.margin)
}
