//! One attempt at one item.

use crate::clock::Clock;
use crate::deliver::gate;
use crate::deliver::guard;
use crate::deliver::held::Trouble;
use crate::deliver::http::{Answer, Connection, Silence, server_words};
use crate::deliver::look::Look;
use crate::deliver::parties::{instruments, performers, person};
use crate::deliver::retry;
use crate::deliver::send::{self, Meaning, References, Step};
use crate::json::Node;
use crate::outbox::{LeaseLength, Leased, Outbox, OutboxError, Outcome};
use crate::private::Private;
use crate::record::{REPORT, without_report};
use chrono::{DateTime, Utc};
use std::sync::atomic::{AtomicBool, Ordering};

/// Transactions of one item that may leave before a person is asked.
const MOST_SENDS: u32 = 8;

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
pub(super) enum Early {
    Trouble(Trouble),
    Stopped(gate::Stopped),
    Kept(guard::Kept),
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
            Ok(unknown(worker, leased, "attempt.cut-off", None))
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
        Early::Kept(kept) => Outcome::Waiting {
            reason: kept.code().to_owned(),
            words: Private::new(kept.words().to_owned()),
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
        Early::Trouble(_) if sent => unknown(worker, leased, "read-back.failed", None),
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

fn unknown(worker: &Worker<'_>, leased: &Leased, reason: &str, answer: Option<&Answer>) -> Outcome {
    let now = worker.clock.now();
    let words = answer.map(server_words);
    // What a server cannot take in so many tries is for a person to look at.
    if leased.sends >= MOST_SENDS {
        let words = words.or_else(|| leased.item.words.clone());
        return Outcome::Waiting {
            reason: format!("unknown.too-often ({reason})"),
            words: words.unwrap_or_else(|| Private::new("no answer was read".to_owned())),
        };
    }
    let wait = answer.and_then(|answer| answer.retry_after.as_ref());
    let wait = wait.and_then(|text| retry::retry_after(text, now));
    // Looking again costs little and settles it: the waits stay short.
    let due_at = retry::next(leased.item.attempts.min(6), wait, worker.random, now);
    Outcome::Unknown {
        reason: reason.to_owned(),
        words,
        due_at,
    }
}

async fn work(worker: &Worker<'_>, leased: &Leased, sent: &AtomicBool) -> Result<Outcome, Early> {
    let record = Node::parse(leased.record.open()).map_err(|_unreadable| Early::Record)?;
    let record = if wants_report(worker, leased, &record) {
        record
    } else {
        without_report(&record)
    };
    let purpose = worker.connection.target().purpose;
    guard::record(purpose, &record).map_err(Early::Kept)?;
    let mut references = References::new();
    person(worker, leased, &record, &mut references).await?;
    performers(worker, &record, &mut references).await?;
    instruments(worker, leased, &record, &mut references).await?;
    let look = Look::new(leased, &record);
    let seen = look.at(worker.connection, &references).await?;
    let steps = seen.steps(&look, leased)?;
    if steps.is_empty() {
        return Ok(seen.delivered(&look, 0));
    }
    if let Some(due_at) = too_early(worker, leased, &steps) {
        // What is known of the attempt before stays told.
        let reason = leased
            .item
            .reason
            .clone()
            .unwrap_or("visibility.window".to_owned());
        let words = leased.item.words.clone();
        return Ok(Outcome::Unknown {
            reason,
            words,
            due_at,
        });
    }
    let now = worker.clock.now();
    let safe = leased.until - worker.lease.margin;
    if now >= safe || !worker.outbox.about_to_send(leased, now).await? {
        return Ok(later(worker, leased, "attempt.cut-off", None));
    }
    sent.store(true, Ordering::SeqCst);
    let leased = &Leased {
        sends: leased.sends.saturating_add(1),
        ..leased.clone()
    };
    let bundle = send::bundle(&steps);
    let answer = match worker.connection.transaction(&bundle).await {
        Ok(answer) => answer,
        Err(silence @ (Silence::Unreachable | Silence::Secret | Silence::NoToken(_))) => {
            sent.store(false, Ordering::SeqCst);
            return Err(silence.into());
        }
        Err(Silence::NoAnswer) => return Ok(unknown(worker, leased, "target.no-answer", None)),
    };
    if let Some(outcome) = not_stored(worker, leased, &answer, steps.len()) {
        return Ok(outcome);
    }
    let after = look.at(worker.connection, &references).await?;
    if after.missing(&look) {
        return Ok(unknown(worker, leased, "read-back.missing", Some(&answer)));
    }
    Ok(after.delivered(&look, steps.len()))
}

/// A target has the report when its settings say so; one that got it with the version before gets the
/// correction as well, whatever they say now, so that no old summary stays behind as if it stood.
fn wants_report(worker: &Worker<'_>, leased: &Leased, record: &Node) -> bool {
    let mut entries = record.items_of("entry").iter();
    let report = entries.find(|entry| {
        let kind = entry.at(&["resource", "resourceType"]).and_then(Node::text);
        kind == Some(REPORT)
    });
    let name = report.and_then(|entry| entry.text_of("fullUrl"));
    let receipt = leased.receipt_before.as_deref();
    let receipt = receipt.and_then(|receipt| Node::parse(receipt).ok());
    let had = receipt.is_some_and(|receipt| {
        let mut rows = receipt.items_of("resources").iter();
        rows.any(|row| row.text_of("full_url") == name)
    });
    worker.connection.target().report || had
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
            Some(answer),
        )),
    }
}

/// A server may take a while to show what it stored: what is not seen is not created again before
/// that time has passed since the last transaction left.
fn too_early(worker: &Worker<'_>, leased: &Leased, steps: &[Step]) -> Option<DateTime<Utc>> {
    let creates = steps.iter().any(|step| matches!(step, Step::Create(..)));
    let since = leased.sent_before.filter(|_| creates)?;
    // Whoever sent it was cut off within its lease, even if a clock jumped since.
    let shows = since
        + worker
            .connection
            .target()
            .visibility
            .max(worker.lease.whole);
    (worker.clock.now() < shows).then_some(shows)
}
