//! Columns of a row in our types.

use crate::base::code::reason::Reason;
use crate::delivery::outbox::{OutboxError, State};
use chrono::{DateTime, TimeZone, Utc};
use uuid::Uuid;

/// A reason as it was written; one that a newer version of the program wrote is refused.
pub(super) fn reason(text: &str) -> Result<Reason, OutboxError> {
    text.parse()
        .map_err(|_not_one| OutboxError::Row("a reason"))
}

pub(super) fn uuid(text: &str) -> Result<Uuid, OutboxError> {
    Uuid::parse_str(text).map_err(|_not_one| OutboxError::Row("a UUID"))
}

pub(super) fn instant(milliseconds: i64) -> Result<DateTime<Utc>, OutboxError> {
    Utc.timestamp_millis_opt(milliseconds)
        .single()
        .ok_or(OutboxError::Row("a time"))
}

pub(super) fn written(text: &str) -> Result<DateTime<Utc>, OutboxError> {
    text.parse().map_err(|_not_one| OutboxError::Row("a time"))
}

pub(super) fn state(word: &str) -> Result<State, OutboxError> {
    State::named(word).ok_or(OutboxError::Row("a state"))
}
