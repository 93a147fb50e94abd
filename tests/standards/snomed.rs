#![cfg(test)]
//! SNOMED CT Release File Specifications, SCTID: docs.snomed.org

use crate::document::catalogue;
use crate::tables::{faults_with, other_last_digits};
use fascicle::tables::catalogue::SNOMED;
use std::collections::BTreeSet;

/// Every SNOMED CT code of the tables with the table it stands in.
fn codes() -> BTreeSet<(&'static str, &'static str)> {
    let rows = catalogue().codes.iter().filter(|row| row.system == SNOMED);
    let rows = rows.map(|row| ("codes.csv", row.code.as_str()));
    let sites = catalogue().sites.values();
    let sites = sites.flat_map(|site| site.published().into_iter().flatten());
    let codes: BTreeSet<_> = rows
        .chain(sites.map(|(code, _)| ("sites.csv", code)))
        .collect();
    assert!(codes.len() > 10);
    codes
}

/// Source: <https://docs.snomed.org>, Release File Specifications, SCTID check-digit; said in our own
/// words.
///
/// The last digit is a check digit after Verhoeff, so no other digit holds there.
#[test]
fn no_code_of_the_tables_holds_with_another_check_digit() {
    for (table, code) in codes() {
        for other in other_last_digits(code) {
            let faults = faults_with(table, code, &other);
            let told = faults.iter().any(|fault| fault.contains(&other));
            assert!(told, "{other}: {faults:?}");
        }
    }
}

/// Source: <https://docs.snomed.org>, Release File Specifications, SCTID check-digit; said in our own
/// words.
///
/// Verhoeff's scheme finds every exchange of two neighbouring digits.
#[test]
fn two_neighbouring_digits_exchanged_are_always_found() {
    for (table, code) in codes() {
        for at in 1..code.len() {
            let mut digits: Vec<char> = code.chars().collect();
            digits.swap(at - 1, at);
            let other: String = digits.into_iter().collect();
            if other == code || other.starts_with('0') {
                continue;
            }

            let faults = faults_with(table, code, &other);

            let told = faults.iter().any(|fault| fault.contains(&other));
            assert!(told, "{other}: {faults:?}");
        }
    }
}
