#![cfg(test)]
//! RFC 9110, HTTP Semantics: www.rfc-editor.org/rfc/rfc9110

use chrono::{DateTime, Utc};
use fascicle::delivery::deliver::retry::retry_after;
use std::time::Duration;

fn instant(text: &str) -> DateTime<Utc> {
    text.parse().expect("a time")
}

/// Source: <https://www.rfc-editor.org/rfc/rfc9110>, June 2022, section 10.2.3.
///
/// "The Retry-After field value can be either an HTTP-date or a number of seconds to delay after
/// receiving the response." Its two examples: "Retry-After: Fri, 31 Dec 1999 23:59:59 GMT" and
/// "Retry-After: 120"
#[test]
fn both_published_examples_are_read() {
    let now = instant("1999-12-31T23:58:59Z");

    assert_eq!(retry_after("120", now), Some(Duration::from_mins(2)));
    assert_eq!(
        retry_after("Fri, 31 Dec 1999 23:59:59 GMT", now),
        Some(Duration::from_mins(1))
    );
}

/// Source: <https://www.rfc-editor.org/rfc/rfc9110>, June 2022, section 10.2.3.
///
/// "A delay-seconds value is a non-negative decimal integer, representing time in seconds."
#[test]
fn a_delay_is_a_whole_number_of_seconds() {
    let now = instant("1999-12-31T23:58:59Z");

    assert_eq!(retry_after("0", now), Some(Duration::ZERO));
    for refused in ["-1", "1.5", "two minutes", ""] {
        assert_eq!(retry_after(refused, now), None, "{refused}");
    }
}

/// Source: <https://www.rfc-editor.org/rfc/rfc9110>, June 2022, section 5.6.7.
///
/// "A recipient that parses a timestamp value in an HTTP field MUST accept all three HTTP-date
/// formats." Its examples of the three name one instant.
#[test]
fn all_three_forms_of_a_date_are_read() {
    let now = instant("1994-11-06T08:49:00Z");
    for date in [
        "Sun, 06 Nov 1994 08:49:37 GMT",
        "Sunday, 06-Nov-94 08:49:37 GMT",
        "Sun Nov  6 08:49:37 1994",
    ] {
        assert_eq!(
            retry_after(date, now),
            Some(Duration::from_secs(37)),
            "{date}"
        );
    }
}

/// Source: <https://www.rfc-editor.org/rfc/rfc9110>, June 2022, section 10.2.3.
///
/// It says nothing of a date that has passed or lies far ahead: the first asks for no wait, and the
/// second is cut to a day, so that a wrong clock on the other side stops nothing for good.
#[test]
fn a_date_that_has_passed_asks_for_nothing_and_one_far_ahead_is_cut() {
    let now = instant("2000-01-01T00:00:00Z");

    assert_eq!(retry_after("Fri, 31 Dec 1999 23:59:59 GMT", now), None);
    let day = Some(Duration::from_hours(24));
    assert_eq!(retry_after("Sun, 31 Dec 2000 23:59:59 GMT", now), day);
}
