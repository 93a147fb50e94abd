//! The forms of primitive values (datatypes.html#primitive), beyond what the schema holds.

use crate::base::code::Code;
use crate::base::json::Node;
use crate::base::problem::Problems;
use base64::Engine as _;

const FORM: &str = "write it in the form of its type (datatypes.html)";

/// Tells what is wrong with one primitive value; null and emptiness are told elsewhere.
pub(super) fn value(kind: &str, node: &Node, path: &str, problems: &mut Problems) {
    match (kind, node) {
        ("boolean", Node::Bool(_)) => {}
        ("integer" | "positiveInt" | "unsignedInt", Node::Number(digits)) => {
            whole(kind, digits, path, problems);
        }
        ("decimal", Node::Number(digits)) => {
            if digits.contains(['e', 'E']) {
                let what = format!("{digits} is written with an exponent");
                problems.note(
                    Code::FhirDecimal,
                    path,
                    what,
                    "some servers refuse exponents",
                );
            }
        }
        ("boolean" | "integer" | "positiveInt" | "unsignedInt" | "decimal", _) => {
            wrong_type(kind, path, problems);
        }
        (_, Node::Text(text)) => text_value(kind, text, path, problems),
        (_, _) => wrong_type(kind, path, problems),
    }
}

fn wrong_type(kind: &str, path: &str, problems: &mut Problems) {
    let what = format!("this is no {kind}");
    let hint = "write it as the JSON type of its FHIR type (json.html)";
    problems.error(Code::FhirType, path, what, hint);
}

/// "integer: A signed integer in the range −2,147,483,648..2,147,483,647 (32-bit)", pattern
/// `[0]|[-+]?[1-9][0-9]*`; unsignedInt is 0 or more, positiveInt 1 or more (datatypes.html).
fn whole(kind: &str, digits: &str, path: &str, problems: &mut Problems) {
    let least = match kind {
        "positiveInt" => 1,
        "unsignedInt" => 0,
        _ => i32::MIN,
    };
    if digits == "-0" || !digits.parse::<i32>().is_ok_and(|number| number >= least) {
        problems.error(Code::FhirForm, path, format!("{digits} is no {kind}"), FORM);
    }
}

fn text_value(kind: &str, text: &str, path: &str, problems: &mut Problems) {
    let held = match kind {
        "date" => matches!(text.len(), 4 | 7 | 10) && day(text),
        "dateTime" => moment(text),
        "instant" => text.contains('T') && moment(text),
        "time" => time(text),
        _ => {
            if !held(kind, text) {
                let shown: String = text.chars().take(60).collect();
                problems.error(Code::FhirForm, path, format!("{shown} is no {kind}"), FORM);
            }
            return;
        }
    };
    if !held {
        no_time(text, path, problems);
    }
}

/// Tells that a text is no date or time.
pub(super) fn no_time(text: &str, path: &str, problems: &mut Problems) {
    let what = format!("{text} is no time of FHIR: seconds and zone are part of it");
    let hint =
        "write a day that exists, or day, time with seconds and zone (datatypes.html#dateTime)";
    problems.error(Code::FhirTime, path, what, hint);
}

/// The patterns of datatypes.html, and what RFC 4122 and X.660 say of the identifiers they name.
fn held(kind: &str, text: &str) -> bool {
    let token = |text: &str| !text.contains(char::is_whitespace);
    match kind {
        // "[^\s]+(\s[^\s]+)*"
        "code" => text.split(char::is_whitespace).all(|word| !word.is_empty()),
        // "[A-Za-z0-9\-\.]{1,64}"
        "id" => {
            (1..=64).contains(&text.len())
                && text
                    .chars()
                    .all(|c| c.is_ascii_alphanumeric() || c == '-' || c == '.')
        }
        "uri" | "url" => token(text) && named(text),
        // "A URI that is a reference to a canonical URL" (datatypes.html#canonical): absolute, or a
        // fragment of the same resource. The second half from memory; the reference validator holds it.
        "canonical" => token(text) && named(text) && (text.starts_with('#') || absolute(text)),
        "oid" => text.starts_with("urn:oid:") && named(text),
        "uuid" => text.starts_with("urn:uuid:") && named(text),
        "base64Binary" => {
            let packed: String = text.split_whitespace().collect();
            base64::engine::general_purpose::STANDARD
                .decode(packed)
                .is_ok()
        }
        // "Strings SHALL NOT exceed 1MB (1024*1024 characters) in size"
        "string" | "markdown" => text.chars().count() <= 1_048_576,
        _ => true,
    }
}

/// True when a scheme stands in front (RFC 3986, section 3.1).
pub(super) fn absolute(uri: &str) -> bool {
    let scheme = |c: char| c.is_ascii_alphanumeric() || matches!(c, '+' | '-' | '.');
    uri.split_once(':').is_some_and(|(before, after)| {
        before.starts_with(|c: char| c.is_ascii_alphabetic())
            && before.chars().all(scheme)
            && !after.is_empty()
    })
}

/// `urn:oid:[0-2](\.(0|[1-9][0-9]*))+`, and "UUIDs SHALL be represented in lowercase" (#uuid).
fn named(text: &str) -> bool {
    if let Some(oid) = text.strip_prefix("urn:oid:") {
        let mut arcs = oid.split('.');
        let first = arcs
            .next()
            .is_some_and(|arc| matches!(arc, "0" | "1" | "2"));
        let rest: Vec<&str> = arcs.collect();
        return first
            && !rest.is_empty()
            && rest.iter().all(|arc| {
                let digits = !arc.is_empty() && arc.chars().all(|c| c.is_ascii_digit());
                digits && (*arc == "0" || !arc.starts_with('0'))
            });
    }
    if let Some(uuid) = text.strip_prefix("urn:uuid:") {
        // A fragment or a version may follow in a canonical.
        let uuid = uuid.split(['#', '|']).next().unwrap_or_default();
        let mut groups = uuid.split('-').map(str::len);
        return [8, 4, 4, 4, 12].into_iter().eq(groups.by_ref())
            && uuid
                .chars()
                .all(|c| matches!(c, '0'..='9' | 'a'..='f' | '-'));
    }
    true
}

/// A year, a month, a day that exists, or a whole time.
pub(super) fn moment(text: &str) -> bool {
    match text.len() {
        4 | 7 | 10 => day(text),
        _ => date_time(text),
    }
}

fn day(text: &str) -> bool {
    let whole = match text.len() {
        4 => format!("{text}-01-01"),
        7 => format!("{text}-01"),
        _ => text.to_owned(),
    };
    // "([0-9]([0-9]([0-9][1-9]|[1-9]0)|[1-9]00)|[1-9]000)": no year of noughts
    whole.starts_with(|c: char| c.is_ascii_digit())
        && !whole.starts_with("0000")
        && whole.parse::<chrono::NaiveDate>().is_ok()
}

/// The library also reads a small t and z, a blank for the T, and any offset below a day.
fn date_time(text: &str) -> bool {
    let zone = |time: chrono::DateTime<chrono::FixedOffset>| time.offset().local_minus_utc().abs();
    !text.contains(['t', 'z', ' '])
        // "(Z|(\+|-)((0[0-9]|1[0-3]):[0-5][0-9]|14:00))" (datatypes.html#dateTime)
        && chrono::DateTime::parse_from_rfc3339(text).is_ok_and(|time| zone(time) <= 14 * 60 * 60)
}

/// `([01][0-9]|2[0-3]):[0-5][0-9]:([0-5][0-9]|60)(\.[0-9]+)?` (datatypes.html#time)
fn time(text: &str) -> bool {
    let (whole, fraction) = text.split_once('.').unwrap_or((text, "0"));
    whole.len() == 8
        && chrono::NaiveTime::parse_from_str(whole, "%H:%M:%S").is_ok()
        && !fraction.is_empty()
        && fraction.chars().all(|c| c.is_ascii_digit())
}
