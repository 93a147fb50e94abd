//! What an attempt works with, and how it may end before it is through.

use crate::base::clock::Clock;
use crate::base::code::reason::Reason;
use crate::base::private::Private;
use crate::delivery::deliver::held::Trouble;
use crate::delivery::deliver::http::{Answer, Connection};
use crate::delivery::deliver::unanswered::Silence;
use crate::delivery::deliver::{gate, guard, retry};
use crate::delivery::outbox::kept::Unread;
use crate::delivery::outbox::{LeaseLength, Leased, Outbox, OutboxError, Outcome};

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
