//! Cells: what a spreadsheet made of them, and how ours survive one.
//!
//! "When exporting to CSV or other spreadsheet formats …, special characters (including '=', '+',
//! '-', '@', '\t' (tab), and '\0' (null character)) must be escaped with a single quote if they
//! appear as the first character in a field value" (OWASP ASVS 5.0, 1.2.10). A spreadsheet changes
//! more than formulas: `1-2` becomes a day, `12.50` loses a digit, a long number an exponent. So a
//! cell of ours is written bare only when it is a plain whole number or a plain word; before any
//! other an apostrophe is written, and on reading one apostrophe at the beginning is taken off.

use crate::examination::intake::sheet::columns::{Column, Kind};

/// The longest whole number a spreadsheet keeps every digit of.
const MOST_DIGITS: usize = 15;

/// A cell as it is written.
pub(super) fn guarded(text: &str) -> String {
    if is_plain(text) {
        text.to_owned()
    } else {
        format!("'{text}")
    }
}

fn is_plain(text: &str) -> bool {
    let whole = text.len() <= MOST_DIGITS
        && text.bytes().all(|byte| byte.is_ascii_digit())
        && (text == "0" || !text.starts_with('0'));
    let mut bytes = text.bytes();
    let word = bytes.next().is_some_and(|byte| byte.is_ascii_lowercase())
        && bytes.all(|byte| byte.is_ascii_lowercase() || b".-_".contains(&byte));
    text.is_empty() || whole || word
}

/// A cell as it is read: what was written, and whether an apostrophe stood before it.
pub(super) fn unguarded(cell: &str) -> (&str, bool) {
    match cell.strip_prefix('\'') {
        Some(text) => (text, true),
        None => (cell, false),
    }
}

/// What a spreadsheet did to a cell.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Mangled {
    /// A formula that gave no result.
    Formula,
    /// A number with an exponent.
    Exponent,
    /// A comma where the point of a decimal stands.
    DecimalComma,
    /// A day where a value stands.
    Day,
    /// A day in the form of a country.
    DayOfCountry,
}

/// Whether a bare cell shows what a spreadsheet made of it.
pub(super) fn mangled(column: &Column, text: &str) -> Option<Mangled> {
    const RESULTS: [&str; 7] = [
        "#DIV/0!", "#N/A", "#NAME?", "#NULL!", "#NUM!", "#REF!", "#VALUE!",
    ];
    let cut_off = text.len() > 1 && text.bytes().all(|byte| byte == b'#');
    if RESULTS.contains(&text) || cut_off {
        return Some(Mangled::Formula);
    }
    if column.kind == Kind::Words {
        return None;
    }
    if is_exponent(text) {
        return Some(Mangled::Exponent);
    }
    if column.kind == Kind::Day {
        let year_first = text
            .split('-')
            .next()
            .is_some_and(|part| part.len() == 4 && all_digits(part));
        return (!year_first && is_day(text, false)).then_some(Mangled::DayOfCountry);
    }
    let value = ["value.", "stretch.", "pain_during", "repeat"];
    let value = value.iter().any(|start| column.name.starts_with(start));
    if (value || has_digits(&column.name)) && is_decimal_comma(text) {
        return Some(Mangled::DecimalComma);
    }
    let notation = column.name == "value.notation.text";
    (value && is_day(text, notation)).then_some(Mangled::Day)
}

/// Columns of the session whose cells are digits.
fn has_digits(name: &str) -> bool {
    let last = name.rsplit('.').next();
    last.is_some_and(|last| matches!(last, "angle" | "resolution"))
}

fn all_digits(part: &str) -> bool {
    !part.is_empty() && part.bytes().all(|byte| byte.is_ascii_digit())
}

fn is_exponent(text: &str) -> bool {
    let Some((number, exponent)) = text.split_once(['E', 'e']) else {
        return false;
    };
    let digits = |part: &str| part.split(['.', ',']).all(all_digits);
    let sign = exponent.strip_prefix(['+', '-']);
    sign.is_some_and(all_digits) && digits(number.trim_start_matches('-'))
}

fn is_decimal_comma(text: &str) -> bool {
    let parts = text.trim_start_matches('-').split_once(',');
    parts.is_some_and(|(whole, part)| all_digits(whole) && all_digits(part))
}

/// The first letters of months as spreadsheets write them, in English and German.
const MONTHS: [&str; 15] = [
    "jan", "feb", "mar", "mrz", "apr", "may", "mai", "jun", "jul", "aug", "sep", "oct", "okt",
    "nov", "de",
];

/// Whether a text is a day as spreadsheets of some country write one; `2026-11-02` is none of them
/// where a day is asked for.
fn is_day(text: &str, notation: bool) -> bool {
    let parts: Vec<&str> = text.split(['-', '.', '/', ' ']).collect();
    let [first, second, ..] = parts.as_slice() else {
        return false;
    };
    let month = |part: &str| {
        let part = part.to_lowercase();
        part.len() >= 3 && MONTHS.iter().any(|month| part.starts_with(month))
    };
    let short = |part: &str| all_digits(part) && part.len() <= 4;
    if parts.len() <= 3 && month(first) != month(second) {
        return parts.iter().all(|part| month(part) || short(part));
    }
    let [_, _, third, ..] = parts.as_slice() else {
        return false;
    };
    let time_follows = parts.len() > 3 && text.contains(':');
    let three = [first, second, third].iter().all(|part| short(part));
    let year = [first, third].iter().any(|part| part.len() == 4);
    let dots = text.contains('.') && !text.contains(['-', '/']);
    three && (parts.len() == 3 || time_follows) && (year || dots || !notation)
}

impl Mangled {
    /// Its code, what happened, and what to do.
    pub(super) const fn words(self) -> [&'static str; 2] {
        match self {
            Self::Formula => [
                "is what a spreadsheet shows for a formula without a result",
                "format the column as text before typing, and begin the cell with an apostrophe",
            ],
            Self::Exponent => [
                "is a number that a spreadsheet shortened: digits are lost",
                "format the column as text and type it again with all its digits",
            ],
            Self::DecimalComma => [
                "has a comma where a point stands",
                "write a point, such as 12.5, and let the spreadsheet leave the column as text",
            ],
            Self::Day => [
                "is a day: a spreadsheet turned the value into one",
                "format the column as text and type the value again, such as 1-2",
            ],
            Self::DayOfCountry => [
                "is a day in the form of a country",
                "write year-month-day, such as 2026-11-02, in a column formatted as text",
            ],
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{Mangled, guarded, mangled, unguarded};
    use crate::examination::intake::sheet::columns::named;

    fn seen(column: &str, text: &str) -> Option<Mangled> {
        mangled(&named(column).expect("a column"), text)
    }

    #[test]
    fn what_a_spreadsheet_would_change_is_guarded_and_comes_back() {
        for text in [
            "1+",
            "-5",
            "+1",
            "=1+1",
            "@sum",
            "\tx",
            "\rx",
            "\nx",
            "\0x",
            "12.50",
            "007",
            "1-2",
            "0-20-150",
            "1E5",
            "2026-11-02",
            "TRUE",
            "may 5",
            "'x",
            "\u{ff1d}1",
            "a b",
        ] {
            let cell = guarded(text);

            assert_eq!(cell, format!("'{text}"));
            assert_eq!(unguarded(&cell), (text, true));
        }
        for text in ["", "0", "150", "left", "range.passive.ankle.dorsiflexion"] {
            assert_eq!(guarded(text), text);
            assert_eq!(unguarded(text), (text, false));
        }
    }

    #[test]
    fn what_a_spreadsheet_made_of_a_cell_is_seen() {
        for (column, text, made) in [
            ("value.grade", "01.Feb", Mangled::Day),
            ("value.grade", "1-Feb", Mangled::Day),
            ("value.grade", "Feb-01", Mangled::Day),
            ("value.word", "02.01.2026", Mangled::Day),
            ("value.beyond_neutral", "2026-02-01", Mangled::Day),
            ("value.notation.text", "01.02.2003", Mangled::Day),
            ("value.notation.text", "01/02/2003", Mangled::Day),
            ("value.beyond_neutral", "12,5", Mangled::DecimalComma),
            ("precautions.1.angle", "-12,5", Mangled::DecimalComma),
            ("value.amount", "1.5E+01", Mangled::Exponent),
            ("patient.identifier.value", "1,23457E+11", Mangled::Exponent),
            ("patient.birth_date", "14.03.1958", Mangled::DayOfCountry),
            (
                "session.performed.start",
                "02/11/2026 09:30",
                Mangled::DayOfCountry,
            ),
            ("note", "#NAME?", Mangled::Formula),
            ("value.score", "####", Mangled::Formula),
        ] {
            assert_eq!(seen(column, text), Some(made), "{column} {text}");
        }
    }

    #[test]
    fn what_somebody_wrote_is_left_alone() {
        for (column, text) in [
            ("value.grade", "1+"),
            ("value.notation.text", "10-0-150"),
            ("value.notation.text", "5/0/140"),
            ("value.notation.text", "S 15-0-120"),
            ("value.beyond_neutral", "12.5"),
            ("value.word", "slightly-reduced"),
            ("value.word", "mark"),
            ("value.unit", "deg"),
            ("note", "seen on 01.02.2026, 12,5 mm, 1E+05"),
            ("patient.identifier.value", "TEST-0001"),
            ("patient.birth_date", "1958-03-14"),
            ("patient.birth_date", "1958-03"),
            ("session.performed.start", "2026-11-02T09:30:00+01:00"),
            ("session.id", "7d1f0a52-3c68-4b0e-9a57-0f6b2e6c1e01"),
        ] {
            assert_eq!(seen(column, text), None, "{column} {text}");
        }
    }
}
