#![cfg(test)]
#![expect(clippy::disallowed_methods, reason = "tables are files")]
//! The tables with one code changed, as the loader that ships reads them.

use crate::golden::root;
use fascicle::tables::catalogue::{Catalogue, TableFile, embedded_names};
use std::fs;

/// The faults the loader finds once codes are exchanged for others in one table, all in one reading.
pub(crate) fn faults_with(table: &str, exchanged: &[(&str, String)]) -> Vec<String> {
    let texts: Vec<(&str, String)> = embedded_names()
        .map(|name| {
            let mut text = fs::read_to_string(root("profiles").join(name)).expect("a table");
            if name == table {
                for (code, other) in exchanged {
                    text = text.replace(&format!(",{code},"), &format!(",{other},"));
                }
            }
            (name, text)
        })
        .collect();
    let files: Vec<TableFile<'_>> = texts
        .iter()
        .map(|(name, text)| TableFile { name, text })
        .collect();
    let faults = Catalogue::read(&files).err().unwrap_or_default();
    faults.iter().map(ToString::to_string).collect()
}

/// Holds that each of the other codes is told when all of them stand in the table.
pub(crate) fn each_is_told(table: &str, exchanged: &[(&str, String)]) {
    let faults = faults_with(table, exchanged);
    for (code, other) in exchanged {
        let told = faults.iter().any(|fault| fault.contains(other.as_str()));
        assert!(told, "{other} in the place of {code}: {faults:#?}");
    }
}

/// Every other last digit of a code.
pub(crate) fn other_last_digits(code: &str) -> Vec<String> {
    let (rest, last) = code.split_at(code.len() - 1);
    ('0'..='9')
        .filter(|digit| last != digit.to_string())
        .map(|digit| format!("{rest}{digit}"))
        .collect()
}
