//! The title of the summary of one session: what, when, and whether the person is invented.

use crate::examination::finding::Session;
use crate::examination::intake::draft::DocumentVersion;
use crate::fhir::summary::words::day;

pub(super) fn title(session: &Session) -> String {
    let start = session.start.instant;
    let test = if session.test_data {
        " (test data: an invented person)"
    } else {
        ""
    };
    format!(
        "Neurological physiotherapy examination on {}, {} to {}{test}",
        day(start.date_naive()),
        start.format("%H:%M"),
        ended(session)
    )
}

/// When it ended: with its day where that is another one, and with both offsets where the clocks were
/// changed in between.
fn ended(session: &Session) -> String {
    let (start, end) = (session.start.instant, session.end.instant);
    let time = end.format("%H:%M");
    if session.form == DocumentVersion::Session1 {
        return time.to_string();
    }
    let (days, offsets) = (
        start.date_naive() != end.date_naive(),
        start.offset() != end.offset(),
    );
    let on = if days {
        format!(" on {}", day(end.date_naive()))
    } else {
        String::new()
    };
    let clocks = if offsets {
        format!(
            " (clocks changed: from UTC{} to UTC{})",
            start.format("%:z"),
            end.format("%:z")
        )
    } else {
        String::new()
    };
    format!("{time}{on}{clocks}")
}
