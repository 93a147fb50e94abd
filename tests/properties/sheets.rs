#![cfg(test)]
//! What is written as a sheet and read again says the same.

use crate::document::{edited, encoded};
use crate::few;
use fascicle::base::json::{Node, text};
use fascicle::examination::intake::sheet::Sheet;
use fascicle::examination::intake::sheet::write::{Columns, Writer};
use fascicle::service::app::assess::Earlier;
use fascicle::service::app::encode::encode;
use proptest::prelude::{any, prop, prop_assert, prop_assert_eq, proptest};

fn again(document: &Node) -> String {
    let mut columns = Columns::default();
    columns.add(document).expect("every field has a column");
    let writer = Writer::new(columns);
    let sheet = writer.header().expect("a header") + &writer.rows(document).expect("rows");
    let mut sheet = Sheet::open(sheet.as_bytes(), None).expect("its header reads");
    let session = sheet.next_session().expect("it reads").expect("a session");
    assert!(session.told.is_empty(), "{:?}", session.told);
    Node::parse(&session.text).expect("JSON").canonical()
}

/// The notes of the findings of a sheet, and whether an error was told.
fn read(sheet: &str) -> (Vec<String>, bool) {
    let session = include_str!("../../fixtures/sheets/beside.json");
    let beside = Node::parse(session).expect("JSON");
    let mut sheet = match Sheet::open(sheet.as_bytes(), Some(&beside)) {
        Ok(sheet) => sheet,
        Err(_told) => return (Vec::new(), true),
    };
    let (mut notes, mut told) = (Vec::new(), false);
    while let Some(session) = sheet.next_session().expect("it reads") {
        told |= !session.told.is_empty();
        let document = Node::parse(&session.text).expect("JSON");
        let findings = document.items_of("findings").iter();
        notes.extend(findings.map(|one| one.text_of("note").unwrap_or_default().to_owned()));
    }
    (notes, told)
}

proptest! {
    #![proptest_config(few(64))]

    #[test]
    fn any_note_comes_back_letter_for_letter(note in "[^\\p{Cc}\\p{Z}]\\PC{0,40}", more in any::<bool>()) {
        let mut document = edited(&[("/findings/0/note", &text(note).compact())]);
        if more {
            document = edited(&[("/findings/0/note", r#""=1+1,\"'@\r\n\t-5""#)]);
        }

        prop_assert_eq!(again(&document), document.canonical());
    }

    /// An unclosed mark swallowed nine of ten findings, and nothing was told.
    #[test]
    fn a_quotation_mark_put_anywhere_loses_no_row_silently(at in any::<prop::sample::Index>(), quoted in any::<bool>()) {
        let mark = if quoted { "\"" } else { "" };
        let row = |number: usize| {
            format!("clonus.ankle,right,handling,{mark}row {number}{mark}\n")
        };
        let mut sheet = "measure,side,method,note\n".to_owned();
        sheet.extend((0..10).map(row));
        let whole = sheet.clone();
        sheet.insert(at.index(sheet.len()), '"');

        let (findings, told) = read(&sheet);

        let (expected, none) = read(&whole);
        prop_assert_eq!((expected.len(), none), (10, false));
        let kept = expected.iter().all(|one| {
            findings.iter().any(|found| found.replace('"', "") == *one)
        });
        prop_assert!(told || (kept && findings.len() == 10), "{}: {:?}", sheet, findings);
    }

    #[test]
    fn any_digits_come_back_as_they_were(angle in r"(4|[5-9]|[1-3][0-9])(\.[0-9]{1,20})?") {
        let value = format!(r#"{{"beyond_neutral":"{angle}","unit":"deg"}}"#);
        let document = edited(&[("/findings/3/value", &value)]);

        let sheet = again(&document);

        let now = "2026-11-25T00:00:00Z".parse().expect("a time");
        let catalogue = crate::document::catalogue();
        let read = encode(&sheet, &Earlier::default(), catalogue, now).expect("it holds");
        let captured = encoded(&document);
        prop_assert_eq!(read.checked.record(), captured.checked.record());
    }
}
