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
