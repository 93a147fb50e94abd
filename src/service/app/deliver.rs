//! Working off what is queued.

use crate::base::clock::Clock;
use crate::base::code::meaning::Sign;
use crate::base::code::reason::Reason;
use crate::delivery::deliver::attempt::attempt;
use crate::delivery::deliver::breaker::{Permit, StateChange};
use crate::delivery::deliver::early::Worker;
use crate::delivery::deliver::http::Connection;
use crate::delivery::outbox::{Item, LeaseLength, Outbox, OutboxError, Outcome, State};
use chrono::{DateTime, TimeDelta, Utc};
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::watch;
use tracing::Instrument as _;
use tracing::field::Empty;
use uuid::Uuid;

/// The longest sleep between two looks at the queue: other processes work on the same one.
const LOOK_AGAIN: Duration = Duration::from_millis(200);

/// How long a worker waits after the store failed.
const AFTER_A_FAULT: Duration = Duration::from_secs(2);

/// Delivers to one target.
#[derive(Debug, Clone)]
pub struct Delivery {
    /// The store.
    pub outbox: Outbox,
    /// The target.
    pub connection: Connection,
    /// The time.
    pub clock: Arc<dyn Clock>,
    /// How long a worker holds a lane.
    pub lease: LeaseLength,
}

impl Delivery {
    /// Makes one attempt at the next delivery that is due; false when none is.
    ///
    /// # Errors
    /// [`OutboxError`] when the store fails.
    pub async fn once(&self) -> Result<bool, OutboxError> {
        if self.connection.target().paused {
            return Ok(false);
        }
        let breaker = self.connection.breaker();
        let leave = breaker.ask(self.clock.now());
        if leave == Permit::No {
            return Ok(false);
        }
        let attempted = self.attempted().await;
        let Ok(Some((sign, outcome))) = attempted else {
            breaker.give_back(leave);
            return attempted.map(|_nothing_due| false);
        };
        let turn = breaker.tell(sign, leave, self.clock.now());
        self.turned(turn, sign, &outcome).await?;
        Ok(true)
    }

    /// One attempt: what it says of the target, and how it ended; nothing where none is due.
    async fn attempted(&self) -> Result<Option<(Sign, Outcome)>, OutboxError> {
        let target = &self.connection.target().name;
        // Before the claim: a clock that runs ahead of that of the store cuts work off too early, never
        // too late.
        let before = self.clock.now();
        let claimed = self.outbox.claim(target, self.lease, before).await?;
        let Some(mut leased) = claimed else {
            return Ok(None);
        };
        let worker = Worker {
            outbox: &self.outbox,
            connection: &self.connection,
            clock: &OfTheStore {
                clock: &*self.clock,
                ahead: leased.claimed_at - before,
            },
            lease: self.lease,
            random: fastrand::u64(0..1000),
        };
        let span = span_of(&leased.item, target);
        let attempted = attempt(&worker, &mut leased).instrument(span.clone()).await;
        let (outcome, sign) = attempted.inspect_err(|_store| {
            span.record("error.type", "store");
        })?;
        let kept = self
            .outbox
            .finish(&leased, &outcome, self.clock.now())
            .await?;
        let (ended, reason) = told(&outcome);
        let reason = reason.map(ToString::to_string).unwrap_or_default();
        span.record("fascicle.outcome", ended);
        if !reason.is_empty() {
            span.record("fascicle.reason", &reason);
        }
        tracing::info!(
            item = %leased.item.id,
            target = %target,
            session = %leased.item.session,
            version = leased.item.version,
            attempt = leased.item.attempts,
            ended,
            reason,
            kept,
            "attempt ended"
        );
        Ok(Some((sign, outcome)))
    }

    /// Notes where the target begins to be left alone, and where it goes on.
    async fn turned(
        &self,
        turn: StateChange,
        sign: Sign,
        outcome: &Outcome,
    ) -> Result<(), OutboxError> {
        let target = &self.connection.target().name;
        let now = self.clock.now();
        let (_, reason) = told(outcome);
        match (turn, reason) {
            (StateChange::Opened(until, failures), Some(reason)) => {
                let until = until.to_rfc3339();
                tracing::warn!(target = %target, failures, %reason, until, "target is left alone");
                let noted = self.outbox.leave_alone(target, failures, reason, now);
                noted.await?;
            }
            (StateChange::StillOpen(until), Some(reason)) => {
                let until = until.to_rfc3339();
                tracing::warn!(target = %target, %reason, until, "target is still left alone");
            }
            (StateChange::Closed, _) => {
                tracing::info!(target = %target, "target goes on");
                self.outbox.go_on(target, now).await?;
            }
            // A process that ended while it left the target alone could not note its end.
            (StateChange::Same, _)
                if sign == Sign::Works && self.connection.breaker().first_sign() =>
            {
                self.outbox.go_on(target, now).await?;
            }
            // What is delivered never says that a target fails.
            (StateChange::Same, _)
            | (StateChange::Opened(..) | StateChange::StillOpen(_), None) => {}
        }
        Ok(())
    }

    /// Works until it is told to stop; an attempt that runs then is finished first.
    ///
    /// A store that fails is told and asked again: what is kept in it is still to be delivered.
    pub async fn until_stopped(&self, mut stop: watch::Receiver<bool>) {
        while !*stop.borrow_and_update() {
            let wait = match self.once().await {
                Ok(true) => continue,
                Ok(false) => LOOK_AGAIN,
                Err(cause) => {
                    let target = &self.connection.target().name;
                    tracing::error!(target = %target, error = %cause, "the store failed");
                    AFTER_A_FAULT
                }
            };
            tokio::select! {
                () = tokio::time::sleep(wait) => {}
                // A sender that is gone tells to stop as well.
                changed = stop.changed() => if changed.is_err() { return },
            }
        }
    }

    /// Works until these items have settled, nothing more can happen without a person, or the time
    /// is up.
    ///
    /// # Errors
    /// [`OutboxError`] when the store fails.
    pub async fn until_settled(
        &self,
        items: &[Uuid],
        until: DateTime<Utc>,
    ) -> Result<(), OutboxError> {
        while self.clock.now() < until && !self.settled(items).await? {
            if !self.once().await? && !self.sleep(until).await? {
                break;
            }
        }
        Ok(())
    }

    async fn settled(&self, items: &[Uuid]) -> Result<bool, OutboxError> {
        for id in items {
            if !self
                .outbox
                .item(*id)
                .await?
                .is_some_and(|item| settled(&item))
            {
                return Ok(false);
            }
        }
        Ok(true)
    }

    /// Sleeps until something may be due; false when every lane is empty or waits for a
    /// person, or the target is paused.
    async fn sleep(&self, until: DateTime<Utc>) -> Result<bool, OutboxError> {
        if self.connection.target().paused {
            return Ok(false);
        }
        let now = self.clock.now();
        let due = self.outbox.next_due(&self.connection.target().name).await?;
        let Some(due) = due else { return Ok(false) };
        let wait = |milliseconds: i64| {
            Duration::from_millis(u64::try_from(milliseconds).unwrap_or(0).max(5))
        };
        let next = wait(due.saturating_sub(now.timestamp_millis())).min(LOOK_AGAIN);
        tokio::time::sleep(next.min(wait((until - now).num_milliseconds()))).await;
        Ok(true)
    }
}

/// The trace of one attempt; its target keeps it out of the log, which has its own line. Nothing in it
/// tells of a person.
fn span_of(item: &Item, target: &str) -> tracing::Span {
    tracing::info_span!(
        target: "traces",
        "attempt",
        "fascicle.item" = %item.id,
        "fascicle.target" = target,
        "fascicle.session" = %item.session,
        "fascicle.version" = i64::from(item.version),
        "fascicle.attempt" = i64::from(item.attempts),
        "fascicle.outcome" = Empty,
        "fascicle.reason" = Empty,
        "error.type" = Empty,
    )
}

/// The clock by which a store holds its leases, as far as it can be told from here: that of another
/// machine where nodes share a database.
#[derive(Debug)]
struct OfTheStore<'a> {
    clock: &'a dyn Clock,
    ahead: TimeDelta,
}

impl Clock for OfTheStore<'_> {
    fn now(&self) -> DateTime<Utc> {
        self.clock.now() + self.ahead
    }
}

/// True when nothing more happens to an item without a person.
pub const fn settled(item: &Item) -> bool {
    match item.state {
        State::Delivered | State::Refused | State::Waiting | State::Dropped => true,
        State::Queued | State::Sending | State::Unknown => false,
    }
}

fn told(outcome: &Outcome) -> (&'static str, Option<&Reason>) {
    match outcome {
        Outcome::Delivered { .. } => ("delivered", None),
        Outcome::Refused { reason, .. } => ("refused", Some(reason)),
        Outcome::Unknown { reason, .. } => ("unknown", Some(reason)),
        Outcome::Later { reason, .. } => ("later", Some(reason)),
        Outcome::Waiting { reason, .. } => ("waiting", Some(reason)),
    }
}
