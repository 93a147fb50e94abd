//! The header of a sheet.

use crate::base::code::Code;
use crate::base::problem::Problems;
use crate::examination::intake::sheet::columns::{Column, NEEDED, named};
use std::collections::BTreeSet;

/// What the names of a header are separated by, where it is no comma: then its quotation marks mean nothing.
pub(super) fn separated_by(names: &[Vec<u8>]) -> Option<&'static str> {
    let [only] = names else { return None };
    let only = String::from_utf8_lossy(only);
    let others = [(';', "semicolons"), ('\t', "tabs"), ('|', "bars")];
    let (separator, word) = others.into_iter().find(|(one, _)| only.contains(*one))?;
    let quoted = |name: &str| named(name.trim_matches('"')).is_some();
    only.split(separator).any(quoted).then_some(word)
}

/// The columns of a header, and everything that is wrong with it.
pub(super) fn header(names: &[Vec<u8>], beside: bool, problems: &mut Problems) -> Vec<Column> {
    let mut columns: Vec<Column> = Vec::new();
    let texts: Vec<String> = names
        .iter()
        .map(|name| String::from_utf8_lossy(name).into_owned())
        .collect();
    if let Some(word) = separated_by(names) {
        let what = format!("the header is separated by {word}, and not by commas");
        let hint = "save it as CSV separated by commas (RFC 4180)";
        problems.error(Code::CsvSeparator, "", what, hint);
        return columns;
    }
    let mut known = BTreeSet::new();
    for (number, name) in (1_u32..).zip(&texts) {
        match named(name) {
            Some(column) if !known.insert(name) => {
                let what = format!("column {number}: {name} stands twice");
                problems.error(Code::CsvColumnTwice, "", what, "keep one of them");
                columns.push(column);
            }
            Some(column) => columns.push(column),
            None => {
                let shown: String = name.escape_debug().take(80).collect();
                let what = format!("column {number}: {shown} is no field of a session document");
                let hint = "correct its name or remove it: fascicle check --columns lists them";
                problems.error(Code::CsvColumnUnknown, "", what, hint);
            }
        }
    }
    for needed in NEEDED {
        if !columns.iter().any(|column| column.name == needed) {
            let what = format!("the column {needed} is missing");
            problems.error(
                Code::CsvColumnMissing,
                "",
                what,
                "every finding needs it: add it",
            );
        }
    }
    let of_session = columns.iter().any(|column| column.of_session);
    if of_session && beside {
        let what = "the session stands in the sheet and in a document beside it".to_owned();
        let hint = "keep one of them";
        problems.error(Code::CsvSessionTwice, "", what, hint);
    } else if !of_session && !beside {
        let what = "nothing says to which session and person the findings belong".to_owned();
        let hint = "name a session document without findings beside the sheet (--session FILE), or \
                    add the columns of the session, such as session.id and patient.identifier.value";
        problems.error(Code::CsvSessionMissing, "", what, hint);
    }
    columns
}
