//! The one place that asks what time it is.
//!
//! Owns: the trait by which time comes in as an argument.
//! In: nothing. Out: an instant in UTC. Never: sleeps.
#![expect(
    clippy::disallowed_methods,
    reason = "this is the one module that may read the machine's clock"
)]

use chrono::{DateTime, Utc};
use std::fmt::Debug;

/// A source of the current instant.
pub trait Clock: Debug + Send + Sync {
    /// The current instant, UTC.
    fn now(&self) -> DateTime<Utc>;
}

/// The machine's own clock.
#[derive(Debug, Clone, Copy, Default)]
pub struct MachineClock;

impl Clock for MachineClock {
    fn now(&self) -> DateTime<Utc> {
        Utc::now()
    }
}
