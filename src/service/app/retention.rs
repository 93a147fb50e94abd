//! Purging content whose time of keeping is over, as the site says.

use crate::base::clock::Clock;
use crate::delivery::outbox::purge::{Purged, Why};
use crate::delivery::outbox::{Outbox, OutboxError};
use crate::service::config::retention::Retention;
use chrono::{DateTime, TimeDelta, Utc};
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::watch;
use uuid::Uuid;

/// How long between two looks.
const LOOK_AGAIN: Duration = Duration::from_hours(1);

/// Sessions looked up at a time.
const AT_A_TIME: u32 = 200;

/// Purges what is due.
#[derive(Debug, Clone)]
pub struct Purging {
    /// The store.
    pub outbox: Outbox,
    /// For how long content is kept.
    pub retention: Retention,
    /// The time.
    pub clock: Arc<dyn Clock>,
}

/// What came of purging all that is due.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Done {
    /// Sessions whose content is gone.
    pub sessions: usize,
    /// Precautions of them that still stand, and stay.
    pub standing: u32,
    /// False while somebody was reading: then the log of the store keeps what was purged until the next
    /// time.
    pub forgotten: bool,
}

impl Purging {
    /// The sessions that are due now, at most so many; none where the site keeps everything.
    ///
    /// # Errors
    /// [`OutboxError`] when the store does not answer.
    pub async fn due(&self, most: u32) -> Result<Vec<(String, Uuid)>, OutboxError> {
        match self.kept_since() {
            Some(since) => self.outbox.purgeable(since, most).await,
            None => Ok(Vec::new()),
        }
    }

    /// Purges everything that is due now, each session by itself.
    ///
    /// # Errors
    /// [`OutboxError`] when the store fails; what was purged before that stays purged and told.
    pub async fn once(&self) -> Result<Done, OutboxError> {
        let mut done = Done::default();
        let Some(days) = self.retention.after_days else {
            return Ok(done);
        };
        loop {
            let due = self.due(AT_A_TIME).await?;
            let mut gone = 0_usize;
            for (source, session) in &due {
                let why = Why::Age { days };
                let now = self.clock.now();
                if let Purged::Gone { standing, .. } =
                    self.outbox.purge(source, *session, why, now).await?
                {
                    gone = gone.saturating_add(1);
                    done.standing = done.standing.saturating_add(standing);
                }
            }
            done.sessions = done.sessions.saturating_add(gone);
            if gone == 0 {
                break;
            }
        }
        if done.sessions > 0 {
            done.forgotten = self.outbox.forget_freed().await?;
        }
        Ok(done)
    }

    fn kept_since(&self) -> Option<DateTime<Utc>> {
        let days = TimeDelta::days(i64::from(self.retention.after_days?));
        self.clock.now().checked_sub_signed(days)
    }

    /// Purges until it is told to stop.
    pub async fn until_stopped(&self, mut stop: watch::Receiver<bool>) {
        while !*stop.borrow_and_update() {
            match self.once().await {
                Ok(Done { sessions: 0, .. }) => {}
                Ok(done) => tracing::info!(
                    sessions = done.sessions,
                    standing_precautions = done.standing,
                    "content was purged that was to be kept no longer"
                ),
                Err(cause) => tracing::error!(error = %cause, "the store failed while purging"),
            }
            tokio::select! {
                () = tokio::time::sleep(LOOK_AGAIN) => {}
                changed = stop.changed() => if changed.is_err() { return },
            }
        }
    }
}
