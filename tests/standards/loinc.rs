#![cfg(test)]
//! LOINC Users' Guide, appendix on check digits: loinc.org/kb/users-guide

use crate::document::catalogue;
use crate::tables::{each_is_told, faults_with, other_last_digits};
use fascicle::tables::catalogue::LOINC;

/// Source: <https://loinc.org/kb/users-guide>, calculating mod 10 check digits; said in our own words.
///
/// The digit after the hyphen follows from those before it, so no other digit holds there.
#[test]
fn no_code_of_the_tables_holds_with_another_check_digit() {
    let codes = catalogue().codes.iter().filter(|row| row.system == LOINC);
    let codes: Vec<&str> = codes.map(|row| row.code.as_str()).collect();
    assert!(!codes.is_empty());

    assert_eq!(faults_with("codes.csv", &[]), [""; 0]);
    for digit in 0..9 {
        let other = |code: &&'static str| (*code, other_last_digits(code).swap_remove(digit));
        let exchanged: Vec<(&str, String)> = codes.iter().map(other).collect();
        each_is_told("codes.csv", &exchanged);
    }
}
