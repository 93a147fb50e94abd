//! When to try again.

use chrono::{DateTime, Utc};
use std::time::Duration;

/// The first wait.
const BASE_MS: u64 = 500;
/// The longest wait.
const CAP_MS: u64 = 15 * 60 * 1000;

/// The time of the next attempt: full jitter, a random part of an exponentially growing wait that
/// is capped at 15 minutes; never before what the server asked for in Retry-After.
///
/// `random` is a number from 0 to 999.
pub fn next(
    attempts: u32,
    retry_after: Option<Duration>,
    random: u64,
    now: DateTime<Utc>,
) -> DateTime<Utc> {
    let doubled = 1_u64.checked_shl(attempts.min(20)).unwrap_or(1);
    let ceiling = BASE_MS.saturating_mul(doubled).min(CAP_MS);
    let jittered = Duration::from_millis(ceiling.saturating_mul(random.min(999) + 1) / 1000);
    now + jittered.max(retry_after.unwrap_or_default())
}

/// Reads Retry-After: seconds or an HTTP date (RFC 9110, section 10.2.3). A wait of more than a
/// day is cut to a day, so that a broken clock on the other side does not stop a lane for good.
pub fn retry_after(text: &str, now: DateTime<Utc>) -> Option<Duration> {
    let day = Duration::from_hours(24);
    let seconds = text.trim().parse::<u64>().map(Duration::from_secs).ok();
    // "A recipient that parses a timestamp value in an HTTP field MUST accept all three HTTP-date
    // formats" (RFC 9110, section 5.6.7), as httpdate does.
    let date = || {
        let date = httpdate::parse_http_date(text.trim()).ok()?;
        (DateTime::<Utc>::from(date) - now).to_std().ok()
    };
    seconds.or_else(date).map(|wait| wait.min(day))
}

#[cfg(test)]
mod tests {
    use super::{next, retry_after};
    use std::time::Duration;

    #[test]
    fn the_wait_grows_with_the_attempts_and_stays_under_its_cap() {
        let now = "2026-11-25T08:00:00Z".parse().expect("a time");

        let longest = |attempts| (next(attempts, None, 999, now) - now).num_milliseconds();

        assert_eq!([longest(0), longest(1), longest(4)], [500, 1000, 8000]);
        assert_eq!([longest(20), longest(4_000_000)], [900_000, 900_000]);
        assert_eq!((next(9, None, 0, now) - now).num_milliseconds(), 256);
    }

    #[test]
    fn what_the_server_asks_for_is_honoured() {
        let now = "2026-11-25T08:00:00Z".parse().expect("a time");

        let asked = Duration::from_secs(90);

        assert_eq!((next(0, Some(asked), 0, now) - now).num_seconds(), 90);
        assert_eq!(retry_after("90", now), Some(asked));
        assert_eq!(
            retry_after("Wed, 25 Nov 2026 08:01:30 GMT", now),
            Some(asked)
        );
        assert_eq!(retry_after("Wed, 25 Nov 2026 07:00:00 GMT", now), None);
        assert_eq!(retry_after("soon", now), None);
        assert_eq!(retry_after("99999999", now), Some(Duration::from_hours(24)));
    }
}
