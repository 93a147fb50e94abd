#![cfg(test)]
#![expect(clippy::disallowed_methods, reason = "tables are files")]
//! The tables with one code changed, as the loader that ships reads them.

use crate::golden::root;
use fascicle::tables::catalogue::{Catalogue, TableFile, embedded_names};
use std::fs;

/// The faults the loader finds once a code is exchanged for another in one table.
pub(crate) fn faults_with(table: &str, code: &str, other: &str) -> Vec<String> {
    let texts: Vec<(&str, String)> = embedded_names()
        .map(|name| {
            let text = fs::read_to_string(root("profiles").join(name)).expect("a table");
            let exchanged = text.replace(&format!(",{code},"), &format!(",{other},"));
            (name, if name == table { exchanged } else { text })
        })
        .collect();
    let files: Vec<TableFile<'_>> = texts
        .iter()
        .map(|(name, text)| TableFile { name, text })
        .collect();
    let faults = Catalogue::read(&files).err().unwrap_or_default();
    faults.iter().map(ToString::to_string).collect()
}

/// Every other last digit of a code.
pub(crate) fn other_last_digits(code: &str) -> Vec<String> {
    let (rest, last) = code.split_at(code.len() - 1);
    ('0'..='9')
        .filter(|digit| last != digit.to_string())
        .map(|digit| format!("{rest}{digit}"))
        .collect()
}
