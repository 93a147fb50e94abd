//! What statements and recordings are read against, once the rest of the session is understood.

use crate::examination::finding::{Finding, Instrument, Performer, times};
use chrono::{DateTime, Utc};
use uuid::Uuid;

/// The session around a statement or a recording.
pub(super) struct Around<'a> {
    pub(super) session: Uuid,
    pub(super) performers: &'a [Performer],
    pub(super) instruments: &'a [Instrument],
    pub(super) findings: &'a [Finding],
    pub(super) times: &'a times::Times,
    pub(super) now: DateTime<Utc>,
}

impl<'a> Around<'a> {
    pub(super) const fn new(
        session: Uuid,
        performers: &'a [Performer],
        instruments: &'a [Instrument],
        findings: &'a [Finding],
        times: &'a times::Times,
        now: DateTime<Utc>,
    ) -> Self {
        Self {
            session,
            performers,
            instruments,
            findings,
            times,
            now,
        }
    }
}
