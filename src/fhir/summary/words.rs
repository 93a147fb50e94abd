//! Days, quotations and the like, in ordinary words.

use crate::base::private::Private;
use crate::examination::finding::{Session, Written};
use crate::fhir::summary::Examined;
use chrono::{DateTime, NaiveDate};

/// `19 October 2026`.
pub(super) fn day(day: NaiveDate) -> String {
    day.format("%-d %B %Y").to_string()
}

/// `19 October 2026 at 10:25`, in the time of its own place.
pub(super) fn moment(at: &Written) -> String {
    at.instant.format("%-d %B %Y at %H:%M").to_string()
}

/// A year, a month, a day or an instant as it was written, in words.
pub(super) fn partial(written: &str) -> String {
    if let Ok(instant) = DateTime::parse_from_rfc3339(written) {
        return instant.format("%-d %B %Y at %H:%M").to_string();
    }
    let month = || NaiveDate::parse_from_str(&format!("{written}-01"), "%Y-%m-%d");
    match (written.parse::<NaiveDate>(), month()) {
        (Ok(whole), _) => day(whole),
        (_, Ok(first)) => first.format("%B %Y").to_string(),
        (Err(_), Err(_)) => written.to_owned(),
    }
}

/// Somebody's own words, marked as such; breaks of a line become blanks.
pub(super) fn quoted(words: &Private<String>) -> String {
    format!("\u{201c}{}\u{201d}", one_line(words.open()))
}

/// Words in one line.
pub(super) fn one_line(words: &str) -> String {
    words.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// With a capital letter at its beginning.
pub(super) fn capital(words: &str) -> String {
    let mut letters = words.chars();
    let first = letters.next().map(char::to_uppercase);
    first.into_iter().flatten().chain(letters).collect()
}

/// `1 finding`, `2 findings`.
pub(super) fn counted(count: usize, one: &str, many: &str) -> String {
    if count == 1 {
        format!("1 {one}")
    } else {
        format!("{count} {many}")
    }
}

pub(super) fn of(one: &Examined<'_>) -> String {
    day(date(one.session))
}

pub(super) fn date(session: &Session) -> NaiveDate {
    session.start.instant.date_naive()
}

#[cfg(test)]
mod tests {
    use super::{capital, one_line, partial};

    #[test]
    fn a_year_a_month_and_a_day_are_read_as_they_were_written() {
        assert_eq!(partial("2026"), "2026");
        assert_eq!(partial("2026-06"), "June 2026");
        assert_eq!(partial("2026-06-09"), "9 June 2026");
        assert_eq!(partial("2026-06-09T07:30:00+02:00"), "9 June 2026 at 07:30");
        assert_eq!(one_line(" a\r\n\tb "), "a b");
        assert_eq!(capital("left ankle"), "Left ankle");
    }
}
