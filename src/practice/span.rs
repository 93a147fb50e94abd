//! Dates as the span of time they cover.
//!
//! Owns: reading FHIR dates and comparing them as search does.
//! In: a date as written. Out: a [`Span`] in milliseconds, UTC. Never: guesses a missing part.

use chrono::{DateTime, Months, NaiveDate, NaiveDateTime, NaiveTime, TimeDelta};

/// From `low` up to but not including `high`, in milliseconds since 1970, UTC.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Span {
    /// The first millisecond inside.
    pub(super) low: i64,
    /// The first millisecond after.
    pub(super) high: i64,
}

impl Span {
    /// Reads a `date`, `dateTime` or `instant` as R4 allows it in a resource.
    ///
    /// FHIR R4 (4.0.1), datatypes.html#dateTime: where there are hours and minutes, there are seconds
    /// and a zone.
    pub(super) fn stored(text: &str) -> Option<Self> {
        Self::day(text).or_else(|| Self::instant(text))
    }

    /// Reads a date as R4 allows it in a search, which is laxer.
    ///
    /// FHIR R4 (4.0.1), search.html#date: minutes stand where an hour stands, and seconds and zone
    /// may be left out. A date without a zone is taken as UTC; R4 leaves that to the server.
    pub(super) fn searched(text: &str) -> Option<Self> {
        Self::stored(text)
            .or_else(|| Self::instant(&format!("{text}Z")))
            .or_else(|| Self::minute(text))
    }

    fn day(text: &str) -> Option<Self> {
        let (first, months, days) = match text.len() {
            4 => (format!("{text}-01-01"), 12, 0),
            7 => (format!("{text}-01"), 1, 0),
            10 => (text.to_owned(), 0, 1),
            _ => return None,
        };
        let low = NaiveDate::parse_from_str(&first, "%Y-%m-%d").ok()?;
        let high = low
            .checked_add_months(Months::new(months))?
            .checked_add_signed(TimeDelta::try_days(days)?)?;
        let at = |day: NaiveDate| day.and_time(NaiveTime::MIN).and_utc().timestamp_millis();
        Some(Self {
            low: at(low),
            high: at(high),
        })
    }

    fn instant(text: &str) -> Option<Self> {
        if text.as_bytes().get(10) != Some(&b'T') {
            return None;
        }
        let low = DateTime::parse_from_rfc3339(text).ok()?.timestamp_millis();
        let length = if text.contains('.') { 1 } else { 1_000 };
        Some(Self {
            low,
            high: low.checked_add(length)?,
        })
    }

    fn minute(text: &str) -> Option<Self> {
        let low = NaiveDateTime::parse_from_str(text, "%Y-%m-%dT%H:%M")
            .map(|local| local.and_utc().timestamp_millis())
            .or_else(|_| {
                let zoned = text.strip_suffix('Z').map(|local| format!("{local}+00:00"));
                let zoned = zoned.as_deref().unwrap_or(text);
                DateTime::parse_from_str(zoned, "%Y-%m-%dT%H:%M%:z")
                    .map(|zoned| zoned.timestamp_millis())
            })
            .ok()?;
        let high = low.checked_add(60_000)?;
        Some(Self { low, high })
    }
}

#[cfg(test)]
mod tests {
    use super::Span;

    #[test]
    fn a_date_covers_all_it_leaves_open() {
        let year = Span::stored("2026").expect("a year");
        let month = Span::stored("2026-02").expect("a month");
        let day = Span::stored("2026-02-28").expect("a day");
        let second = Span::stored("2026-02-28T23:59:59+01:00").expect("a second");

        assert_eq!(month.high - month.low, 28 * 86_400_000);
        assert_eq!(day.high, month.high);
        assert!(year.low < month.low && month.high < year.high);
        assert_eq!(second.high, day.high - 3_600_000);
    }

    #[test]
    fn a_resource_may_not_leave_out_zone_or_seconds_but_a_search_may() {
        for text in [
            "2026-02-28T10:00",
            "2026-02-28T10:00:00",
            "2026-02-28T10:00Z",
        ] {
            assert_eq!(Span::stored(text), None, "{text}");
            assert!(Span::searched(text).is_some(), "{text}");
        }
        for text in [
            "",
            "26",
            "2026-13",
            "2026-02-30",
            "2026-02-28 10:00:00Z",
            "yesterday",
        ] {
            assert_eq!(Span::searched(text), None, "{text}");
        }
    }
}
