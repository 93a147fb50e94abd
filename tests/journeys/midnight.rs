#![cfg(test)]
//! An examination over midnight, or over a change of clocks, ends on its own day and offset.

use crate::document::{edited, encoded, told};
use crate::second_form::second_form;
use fascicle::base::json::Node;

const MIDNIGHT: [(&str, &str); 3] = [
    (
        "/session/performed",
        r#"{"start":"2026-11-16T23:40:00+01:00","end":"2026-11-17T00:10:00+01:00"}"#,
    ),
    ("/session/entered_at", r#""2026-11-17T00:15:00+01:00""#),
    ("/session/signed/at", r#""2026-11-17T00:20:00+01:00""#),
];
const CLOCKS: [(&str, &str); 1] = [(
    "/session/performed",
    r#"{"start":"2026-10-25T02:40:00+02:00","end":"2026-10-25T02:20:00+01:00"}"#,
)];

fn title(document: &Node) -> String {
    encoded(document)
        .summary
        .text()
        .lines()
        .next()
        .unwrap_or_default()
        .to_owned()
}

#[test]
fn the_end_is_told_with_its_own_day() {
    let title = title(&second_form(&MIDNIGHT));

    assert!(
        title.contains("on 16 November 2026, 23:40 to 00:10 on 17 November 2026"),
        "{title}"
    );
}

#[test]
fn the_end_is_told_with_both_offsets_where_the_clocks_were_changed() {
    let title = title(&second_form(&CLOCKS));

    let words = "02:40 to 02:20 (clocks changed: from UTC+02:00 to UTC+01:00)";
    assert!(title.contains(words), "{title}");
}

#[test]
fn either_is_noted_because_a_wrong_day_looks_the_same_and_no_other_end_is() {
    let note = "note time.crosses /session/performed/end";

    assert_eq!(told(&second_form(&MIDNIGHT)), [note]);
    assert_eq!(told(&second_form(&CLOCKS)), [note]);
    assert_eq!(told(&second_form(&[])), [""; 0]);
    assert_eq!(told(&edited(&MIDNIGHT)), [""; 0]);
}

#[test]
fn an_end_before_the_start_is_refused_whatever_the_clock_shows() {
    let turned = [(
        "/session/performed",
        r#"{"start":"2026-10-25T02:20:00+01:00","end":"2026-10-25T02:40:00+02:00"}"#,
    )];

    let told = told(&second_form(&turned));
    assert!(
        told.contains(&"error time.order /session/performed/end".to_owned()),
        "{told:#?}"
    );
}
