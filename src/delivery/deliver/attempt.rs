//! One attempt at one item.

use crate::base::clock::Clock;
use crate::base::code::Code;
use crate::base::code::meaning::Sign;
use crate::base::code::reason::Reason;
use crate::base::json::Node;
use crate::base::private::Private;
use crate::delivery::deliver::gate;
use crate::delivery::deliver::guard;
use crate::delivery::deliver::held::Trouble;
use crate::delivery::deliver::http::{Answer, Connection, Silence};
use crate::delivery::deliver::look::Look;
use crate::delivery::deliver::parties::{self, instruments, person};
use crate::delivery::deliver::retry;
use crate::delivery::deliver::rounds::{Progress, Sender};
use crate::delivery::deliver::send::References;
use crate::delivery::outbox::kept::Unread;
use crate::delivery::outbox::{LeaseLength, Leased, Outbox, OutboxError, Outcome};
use crate::examination::intake::kept::NotRead;
use crate::fhir::record::{REPORT, entries_of, fitted, without_report};

/// Attempts of one item that may send before a person is asked.
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
    /// What is kept of the session does not read.
    Unread(Unread),
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

impl From<Unread> for Early {
    fn from(unread: Unread) -> Self {
        Self::Unread(unread)
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
/// never created again. After sending, everything is read back. Beside the outcome stands what it says
/// of the target as such.
///
/// # Errors
/// [`OutboxError`] when the store fails; the item stays in sending and becomes unknown with the
/// end of its lease.
pub async fn attempt(
    worker: &Worker<'_>,
    leased: &mut Leased,
) -> Result<(Outcome, Sign), OutboxError> {
    let progress = Progress::default();
    let left = (leased.until - worker.clock.now())
        .to_std()
        .unwrap_or_default();
    let left = left.saturating_sub(worker.lease.margin);
    let outcome = match tokio::time::timeout(left, Box::pin(work(worker, leased, &progress))).await
    {
        Ok(Ok(outcome)) => outcome,
        Ok(Err(early)) => end(early, worker, leased, progress.is_open())?,
        Err(_cut_off) if progress.is_open() => unknown(worker, leased, Code::AttemptCutOff, None),
        Err(_cut_off) => later(worker, leased, Code::AttemptCutOff, None),
    };
    let sign = if progress.was_answered() {
        Sign::Works
    } else {
        sign_of(&outcome)
    };
    if progress.has_stored() {
        // Part of it is there: what the server made of it is not somebody else's, and it may take a
        // while to show.
        leased.sent_before = Some(worker.clock.now());
    }
    Ok((outcome, sign))
}

/// What the outcome of an attempt says about the target.
fn sign_of(outcome: &Outcome) -> Sign {
    match outcome {
        Outcome::Delivered { .. } => Sign::Works,
        Outcome::Refused { reason, .. }
        | Outcome::Unknown { reason, .. }
        | Outcome::Later { reason, .. }
        | Outcome::Waiting { reason, .. } => reason.sign(),
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
            reason: stopped.code().into(),
            words: Private::new(stopped.words().to_owned()),
        },
        Early::Kept(kept) => Outcome::Waiting {
            reason: kept.code().into(),
            words: Private::new(kept.words().to_owned()),
        },
        Early::Unread(unread) => does_not_read(&unread, worker, leased),
        // Mostly it is over at once; where its answer is missing, it takes as long as a server may.
        Early::InstrumentBusy => {
            let attempts = leased.item.attempts.min(6);
            later(worker, leased, Code::InstrumentBusy, Some(attempts))
        }
        Early::Trouble(Trouble::Several(key)) => Outcome::Waiting {
            reason: Code::DuplicateFound.into(),
            words: Private::new(format!(
                "the record server holds several resources as {key}"
            )),
        },
        // Looking failed after sending: only the answer is missing.
        Early::Trouble(_) if sent => unknown(worker, leased, Code::ReadBackFailed, None),
        Early::Trouble(Trouble::Silence(silence)) => later(worker, leased, silence.code(), None),
        Early::Trouble(Trouble::Answer(answer)) => {
            let reason = if matches!(answer.status, 401 | 403) {
                Code::TargetSignIn.into()
            } else {
                Reason::answered(Code::TargetAnswer, answer.status)
            };
            let now = worker.clock.now();
            let wait = answer
                .retry_after
                .and_then(|text| retry::retry_after(&text, now));
            let due_at = retry::next(leased.item.attempts, wait, worker.random, now);
            Outcome::Later { reason, due_at }
        }
    })
}

pub(super) fn later(
    worker: &Worker<'_>,
    leased: &Leased,
    reason: impl Into<Reason>,
    attempts: Option<u32>,
) -> Outcome {
    let attempts = attempts.unwrap_or(leased.item.attempts);
    let due_at = retry::next(attempts, None, worker.random, worker.clock.now());
    Outcome::Later {
        reason: reason.into(),
        due_at,
    }
}

pub(super) fn unknown(
    worker: &Worker<'_>,
    leased: &Leased,
    reason: impl Into<Reason>,
    answer: Option<(&Answer, Private<String>)>,
) -> Outcome {
    let now = worker.clock.now();
    let (answer, words) = answer.unzip();
    // What a server cannot take in so many tries is for a person to look at.
    if leased.sends >= MOST_SENDS {
        let words = words.or_else(|| leased.item.words.clone());
        return Outcome::Waiting {
            reason: Reason::too_often(reason.into()),
            words: words.unwrap_or_else(|| Private::new("no answer was read".to_owned())),
        };
    }
    let wait = answer.and_then(|answer| answer.retry_after.as_ref());
    let wait = wait.and_then(|text| retry::retry_after(text, now));
    // Looking again costs little and settles it: the waits stay short.
    let due_at = retry::next(leased.item.attempts.min(6), wait, worker.random, now);
    Outcome::Unknown {
        reason: reason.into(),
        words,
        due_at,
    }
}

/// A person has to look at what does not read. What a newer release wrote is left to a node that reads
/// it, or to this one after its upgrade.
fn does_not_read(unread: &Unread, worker: &Worker<'_>, leased: &Leased) -> Outcome {
    match unread.why {
        NotRead::Newer { .. } => later(worker, leased, Code::RecordNewer, None),
        NotRead::NoForm { .. }
        | NotRead::Syntax { .. }
        | NotRead::Json
        | NotRead::Shape { .. }
        | NotRead::Empty { .. }
        | NotRead::Meaning { .. }
        | NotRead::Tables { .. }
        | NotRead::Lacks(_)
        | NotRead::Column(_) => Outcome::Waiting {
            reason: Code::RecordUnreadable.into(),
            words: Private::new(unread.to_string()),
        },
    }
}

async fn work(worker: &Worker<'_>, leased: &Leased, progress: &Progress) -> Result<Outcome, Early> {
    // Whole, so that no entry is passed over further on.
    leased.record.read(|_form, text| entries_of(text))?;
    let record = leased.record.node()?;
    let before = match &leased.receipt_before {
        Some(receipt) => Some(receipt.node()?),
        None => None,
    };
    let before = before.as_ref();
    let record = if wants_report(worker, before, &record) {
        record
    } else {
        without_report(&record)
    };
    let target = worker.connection.target();
    guard::record(target.purpose, &record).map_err(Early::Kept)?;
    let (mut record, mut left_out) = fitted::fit(&record, &target.fitting);
    let mut references = References::new();
    person(worker, leased, &record, &mut references).await?;
    parties::others(worker, leased, &mut record, &mut references, &mut left_out).await?;
    instruments(worker, leased, &record, &mut references).await?;
    let look = Look::new(leased, &record);
    let sender = Sender {
        worker,
        progress,
        leased: leased.clone(),
        left_out,
        begun: false,
    };
    sender.all(&look, &references).await
}

/// A target has the report when its settings say so; one that got it with the version before gets the
/// correction as well, whatever they say now, so that no old summary stays behind as if it stood.
fn wants_report(worker: &Worker<'_>, before: Option<&Node>, record: &Node) -> bool {
    let mut entries = record.items_of("entry").iter();
    let report = entries.find(|entry| {
        let kind = entry.at(&["resource", "resourceType"]).and_then(Node::text);
        kind == Some(REPORT)
    });
    let name = report.and_then(|entry| entry.text_of("fullUrl"));
    let had = before.is_some_and(|receipt| {
        let mut rows = receipt.items_of("resources").iter();
        rows.any(|row| row.text_of("full_url") == name)
    });
    worker.connection.target().report || had
}
