//! Times as written.

use crate::base::code::Code;
use crate::base::problem::Problems;
use crate::examination::finding::Written;
use crate::examination::intake::draft::{DocumentVersion, Draft, SessionDraft};
use chrono::{DateTime, FixedOffset, NaiveDate, Utc};

/// Reads an instant; the schema has checked its form, this its calendar.
pub(super) fn instant(text: &str, path: &str, problems: &mut Problems) -> Option<Written> {
    match DateTime::parse_from_rfc3339(text) {
        Ok(instant) if zone_exists(instant) => Some(Written {
            text: text.to_owned(),
            instant,
        }),
        Ok(_) | Err(_) => {
            let hint = "write an existing day and time with seconds and offset";
            problems.error(
                Code::TimeCalendar,
                path,
                format!("no such time: {text}"),
                hint,
            );
            None
        }
    }
}

/// `(Z|(\+|-)((0[0-9]|1[0-3]):[0-5][0-9]|14:00))` (FHIR R4 4.0.1, datatypes.html#dateTime).
fn zone_exists(instant: DateTime<FixedOffset>) -> bool {
    instant.offset().local_minus_utc().abs() <= 14 * 60 * 60
}

/// Reads a day.
pub(super) fn day(text: &str, path: &str, problems: &mut Problems) -> Option<NaiveDate> {
    match text.parse() {
        Ok(day) => Some(day),
        Err(_no_such_day) => {
            let hint = "write an existing day as 2026-11-02";
            problems.error(
                Code::TimeCalendar,
                path,
                format!("no such day: {text}"),
                hint,
            );
            None
        }
    }
}

/// The four times of a session that have to stand in order.
pub(super) struct Times {
    pub(super) start: Written,
    pub(super) end: Written,
    pub(super) entered: Written,
    pub(super) signed: Written,
}

/// Reads the times of a session and holds them against each other and against now.
///
/// In the place of a time that does not read stands now: the document carries an error and goes
/// nowhere, but the rooms that follow can still speak about the rest of it.
pub(super) fn of_session(
    session: &SessionDraft,
    now: DateTime<Utc>,
    problems: &mut Problems,
) -> Times {
    let start = instant(
        &session.performed.start,
        "/session/performed/start",
        problems,
    );
    let end = instant(&session.performed.end, "/session/performed/end", problems);
    let entered = instant(&session.entered_at, "/session/entered_at", problems);
    let signed = instant(&session.signed.at, "/session/signed/at", problems);
    let (end_of, begin) = ("/session/performed/end", start.as_ref());
    in_order(
        end.as_ref(),
        begin,
        end_of,
        "the end lies before the start",
        problems,
    );
    let (path, what) = ("/session/entered_at", "entered before it began");
    in_order(entered.as_ref(), begin, path, what, problems);
    let (path, what) = ("/session/signed/at", "signed before it was entered");
    in_order(signed.as_ref(), entered.as_ref(), path, what, problems);
    in_past(start.as_ref(), "/session/performed/start", now, problems);
    in_past(end.as_ref(), end_of, now, problems);
    in_past(entered.as_ref(), "/session/entered_at", now, problems);
    in_past(signed.as_ref(), "/session/signed/at", now, problems);
    let stand_in = || Written {
        text: now.to_rfc3339(),
        instant: now.fixed_offset(),
    };
    Times {
        start: start.unwrap_or_else(stand_in),
        end: end.unwrap_or_else(stand_in),
        entered: entered.unwrap_or_else(stand_in),
        signed: signed.unwrap_or_else(stand_in),
    }
}

/// Midnight or a change of clocks in an examination is rare, and a wrong day or offset looks the same.
pub(super) fn crosses(form: DocumentVersion, times: &Times, problems: &mut Problems) {
    if form == DocumentVersion::Session1 {
        return;
    }
    let (start, end) = (times.start.instant, times.end.instant);
    let other = if start.offset() != end.offset() {
        "under another offset"
    } else if start.date_naive() != end.date_naive() {
        "on another day"
    } else {
        return;
    };
    let what = format!(
        "the end lies {other} than the start: {} to {}",
        times.start.text, times.end.text
    );
    let hint = "nothing to do where midnight or a change of clocks lay in between; else correct it";
    problems.note(Code::TimeCrosses, "/session/performed/end", what, hint);
}

fn in_order(
    later: Option<&Written>,
    earlier: Option<&Written>,
    path: &str,
    what: &str,
    problems: &mut Problems,
) {
    if let (Some(later), Some(earlier)) = (later, earlier)
        && later.instant < earlier.instant
    {
        let what = format!("{what}: {} is before {}", later.text, earlier.text);
        problems.error(
            Code::TimeOrder,
            path,
            what,
            "correct the earlier or the later time",
        );
    }
}

fn in_past(time: Option<&Written>, path: &str, now: DateTime<Utc>, problems: &mut Problems) {
    if let Some(time) = time {
        not_in_the_future(time, path, now, problems);
    }
}

/// Holds a time against now.
pub(super) fn not_in_the_future(
    time: &Written,
    path: &str,
    now: DateTime<Utc>,
    problems: &mut Problems,
) {
    if time.instant > now {
        let what = format!("{} lies in the future", time.text);
        problems.error(
            Code::TimeFuture,
            path,
            what,
            "correct the time, or the clock",
        );
    }
}

/// A day of birth exists in the calendar, as far as it is given.
pub(super) fn day_of_birth(draft: &Draft, examined: NaiveDate, problems: &mut Problems) {
    let written = &draft.patient.birth_date;
    let whole = match written.len() {
        4 => format!("{written}-01-01"),
        7 => format!("{written}-01"),
        _ => written.clone(),
    };
    let path = "/patient/birth_date";
    match whole.parse::<NaiveDate>() {
        Ok(day) if day > examined => {
            let what = "the birth lies after the examination".to_owned();
            problems.error(Code::TimeOrder, path, what, "correct the birth date");
        }
        Ok(_) => {}
        Err(_no_such_day) => {
            let hint = "write an existing year, month or day";
            problems.error(Code::TimeCalendar, path, "no such day".to_owned(), hint);
        }
    }
}
