#![cfg(test)]
//! SNOMED CT Release File Specifications, SCTID: docs.snomed.org

use crate::document::catalogue;
use crate::tables::{each_is_told, other_last_digits};
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

/// The tables that hold codes of SNOMED CT.
const TABLES: [&str; 2] = ["codes.csv", "sites.csv"];

/// The codes of a table, each with what is to stand in its place.
fn of_table(table: &str, other: impl Fn(&str) -> Option<String>) -> Vec<(&'static str, String)> {
    let codes = codes();
    let codes = codes.into_iter().filter(|(of, _)| *of == table);
    codes
        .filter_map(|(_, code)| Some((code, other(code)?)))
        .collect()
}

/// Source: <https://docs.snomed.org>, Release File Specifications, SCTID check-digit; said in our own
/// words.
///
/// The last digit is a check digit after Verhoeff, so no other digit holds there.
#[test]
fn no_code_of_the_tables_holds_with_another_check_digit() {
    for table in TABLES {
        for digit in 0..9 {
            let exchanged = of_table(table, |code| other_last_digits(code).into_iter().nth(digit));
            each_is_told(table, &exchanged);
        }
    }
}

/// Source: <https://docs.snomed.org>, Release File Specifications, SCTID check-digit; said in our own
/// words.
///
/// Verhoeff's scheme finds every exchange of two neighbouring digits.
#[test]
fn two_neighbouring_digits_exchanged_are_always_found() {
    let longest = codes().iter().map(|(_, code)| code.len()).max();
    for table in TABLES {
        for at in 1..longest.expect("a code") {
            let exchanged = of_table(table, |code| {
                let mut digits: Vec<char> = code.chars().collect();
                (at < digits.len()).then(|| digits.swap(at - 1, at))?;
                let other: String = digits.into_iter().collect();
                (other != code && !other.starts_with('0')).then_some(other)
            });
            each_is_told(table, &exchanged);
        }
    }
}
