//! Check digits of published codes.

use crate::tables::catalogue::{LOINC, SNOMED};

/// True when the check digit of a LOINC number (modulus 10) or a SNOMED CT identifier (Verhoeff)
/// holds; other systems have none.
///
/// Sources: LOINC Users' Guide, appendix on the check digit; SNOMED CT Technical Implementation
/// Guide, "Check-digit".
pub(super) fn holds(system: &str, code: &str) -> bool {
    match system {
        LOINC => loinc_check_digit_holds(code),
        SNOMED => verhoeff_holds(code),
        _ => true,
    }
}

fn loinc_check_digit_holds(code: &str) -> bool {
    let Some((number, check)) = code.split_once('-') else {
        return false;
    };
    let Some(digits) = digits_of(number) else {
        return false;
    };
    let sum: u32 = digits
        .iter()
        .rev()
        .enumerate()
        .map(|(place, digit)| match (place % 2, digit * 2) {
            (0, doubled) if doubled > 9 => doubled.saturating_sub(9),
            (0, doubled) => doubled,
            (_, _) => *digit,
        })
        .sum();
    check.parse::<u32>() == Ok((10_u32.saturating_sub(sum % 10)) % 10)
}

/// Verhoeff's dihedral group of order 10, computed rather than tabulated.
fn verhoeff_holds(code: &str) -> bool {
    const PERMUTATION: [u32; 10] = [1, 5, 7, 6, 2, 8, 3, 0, 9, 4];
    let Some(digits) = digits_of(code) else {
        return false;
    };
    let permuted = |digit: u32, times: usize| {
        (0..times % 8).fold(digit, |d, _| {
            usize::try_from(d)
                .ok()
                .and_then(|index| PERMUTATION.get(index).copied())
                .unwrap_or(d)
        })
    };
    let sum = digits
        .iter()
        .rev()
        .enumerate()
        .fold(0, |sum, (place, digit)| {
            dihedral(sum, permuted(*digit, place))
        });
    sum == 0 && code.len() >= 6
}

/// The product of two elements of the dihedral group D5, rotations 0 to 4, reflections 5 to 9.
fn dihedral(a: u32, b: u32) -> u32 {
    match (a < 5, b < 5) {
        (true, true) => (a + b) % 5,
        (true, false) => (a + (b - 5)) % 5 + 5,
        (false, true) => (a - 5 + 5 - b) % 5 + 5,
        (false, false) => (a - 5 + 5 - (b - 5)) % 5,
    }
}

fn digits_of(text: &str) -> Option<Vec<u32>> {
    let digits: Option<Vec<u32>> = text.chars().map(|c| c.to_digit(10)).collect();
    digits.filter(|digits| !digits.is_empty())
}

#[cfg(test)]
mod tests {
    use super::holds;
    use crate::tables::catalogue::{LOINC, SNOMED};

    #[test]
    fn check_digits_of_published_codes_hold_and_of_damaged_ones_fail() {
        // 8302-2 and 72514-3 are LOINC's body height and verbal pain rating; 364564000 and
        // 22298006 are SNOMED CT's range of joint movement and myocardial infarction.
        for (system, good, bad) in [
            (LOINC, "8302-2", "8302-3"),
            (LOINC, "72514-3", "72541-3"),
            (SNOMED, "364564000", "364564001"),
            (SNOMED, "22298006", "22289006"),
        ] {
            assert!(holds(system, good), "{good}");
            assert!(!holds(system, bad), "{bad}");
        }
    }
}
