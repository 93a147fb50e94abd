//! The invariants of R4 that more than presence decides, by the type or element they belong to.

use crate::base::code::Code;
use crate::base::exact::Exact;
use crate::base::json::Node;
use crate::base::problem::Problems;
use crate::fhir::check::{presence, primitive, rules};
use crate::tables::catalogue::UCUM;
use base64::Engine as _;
use std::cmp::Ordering;

/// Holds one object of a type, or of an element with children, against the rules of that type.
pub(super) fn held(of: &str, node: &Node, path: &str, problems: &mut Problems) {
    presence::held(of, node, path, problems);
    match of {
        "Age" | "Count" | "Distance" | "Duration" | "Quantity" => {
            quantity(of, node, path, problems);
        }
        "Attachment" => attachment(node, path, problems),
        "Coding" => unit(node, path, problems),
        "Identifier" => identifier(node, path, problems),
        "Observation" => rules::same_code(node, path, problems),
        "Period" => period(node, path, problems),
        "Range" => range(node, path, problems),
        "Ratio" => ratio(node, path, problems),
        "SampledData" => sampled(node, path, problems),
        "Timing.repeat" => repeat(node, path, problems),
        _ => {}
    }
}

/// A code of the system UCUM is written as UCUM writes it (datatypes.html#Quantity, ucum.html).
fn unit(node: &Node, path: &str, problems: &mut Problems) {
    if let (Some(code), Some(UCUM)) = (node.text_of("code"), node.text_of("system"))
        && octofhir_ucum::validate(code).is_err()
    {
        let what = format!("{code} is no UCUM code");
        problems.error(
            Code::UnitUcum,
            &format!("{path}/code"),
            what,
            "write a UCUM code",
        );
    }
}

/// "age-1, dis-1: There SHALL be a code if there is a value … If system is present, it SHALL be UCUM.";
/// "cnt-3: There SHALL be a code with a value of "1" if there is a value. … the value SHALL be a
/// whole number."; "drt-1: There SHALL be a code if there is a value …", by
/// its expression: a code implies a value and the system UCUM
fn quantity(of: &str, node: &Node, path: &str, problems: &mut Problems) {
    unit(node, path, problems);
    let has = |member: &str| node.member(member).is_some();
    let other_system = node.text_of("system").is_some_and(|system| system != UCUM);
    let no_code = has("value") && !has("code");
    let digits = match node.member("value") {
        Some(Node::Number(digits)) => digits.as_str(),
        _ => "1",
    };
    let negative = digits.starts_with('-') || digits.chars().all(|c| matches!(c, '0' | '.'));
    let other_code = node.text_of("code").is_some_and(|code| code != "1");
    let broken = match of {
        "Age" => other_system || no_code || negative,
        "Distance" => other_system || no_code,
        "Count" => other_system || no_code || other_code || digits.contains('.'),
        "Duration" => has("code") && (node.text_of("system") != Some(UCUM) || !has("value")),
        _ => false,
    };
    if broken {
        let what = format!("this {of} lacks what makes it one");
        let hint = "give value, system UCUM and code; an Age is above 0, a Count whole with code 1";
        problems.error(Code::FhirQuantity, path, what, hint);
    }
}

/// "Attachment.size: The number of bytes of data that make up this attachment (before base64
/// encoding, if that is done)" (datatypes.html#Attachment)
fn attachment(node: &Node, path: &str, problems: &mut Problems) {
    let (Some(data), Some(Node::Number(size))) = (node.text_of("data"), node.member("size")) else {
        return;
    };
    let packed: String = data.split_whitespace().collect();
    let Ok(bytes) = base64::engine::general_purpose::STANDARD.decode(packed) else {
        return;
    };
    if size.parse() != Ok(bytes.len()) {
        let what = format!("the data has {} bytes, size says {size}", bytes.len());
        problems.error(
            Code::FhirAttachmentSize,
            &format!("{path}/size"),
            what,
            "correct the size",
        );
    }
}

/// "If the value is a full URI, then the system SHALL be urn:ietf:rfc:3986" (Identifier.value); under
/// that system the value is one.
fn identifier(node: &Node, path: &str, problems: &mut Problems) {
    if node.text_of("system") == Some("urn:ietf:rfc:3986")
        && let Some(value) = node.text_of("value")
        && !primitive::absolute(value)
    {
        let what = format!("{value} is no whole URI, as its system says");
        let hint = "write the URI with its scheme, such as urn:oid:1.2.3";
        problems.error(Code::FhirIdentifier, &format!("{path}/value"), what, hint);
    }
}

/// "per-1: If present, start SHALL have a lower value than end" (equal is allowed: start <= end)
fn period(node: &Node, path: &str, problems: &mut Problems) {
    if let (Some(start), Some(end)) = (node.text_of("start"), node.text_of("end"))
        && later(start, end)
    {
        let what = format!("starts at {start}, after its end at {end}");
        problems.error(Code::FhirPer1, path, what, "correct start or end");
    }
}

/// True when one moment surely lies after another; a day and a time on it are not told apart.
fn later(one: &str, other: &str) -> bool {
    if !primitive::moment(one) || !primitive::moment(other) {
        return false;
    }
    let instant = |text: &str| chrono::DateTime::parse_from_rfc3339(text);
    if let (Ok(one), Ok(other)) = (instant(one), instant(other)) {
        return one > other;
    }
    let day = |text: &str| text.split('T').next().unwrap_or_default().to_owned();
    let (one, other) = (day(one), day(other));
    let parts = one.split('-').zip(other.split('-'));
    parts
        .map(|(one, other)| one.cmp(other))
        .find(|order| order.is_ne())
        == Some(Ordering::Greater)
}

fn number(node: Option<&Node>) -> Option<Exact> {
    match node? {
        Node::Number(digits) => Exact::parse(digits).ok(),
        Node::Null | Node::Bool(_) | Node::Text(_) | Node::List(_) | Node::Object(_) => None,
    }
}

/// "rng-2: If present, low SHALL have a lower value than high" (equal is allowed: low <= high); only
/// values in one unit can be compared.
fn range(node: &Node, path: &str, problems: &mut Problems) {
    let (Some(low), Some(high)) = (node.member("low"), node.member("high")) else {
        return;
    };
    let same = ["unit", "system", "code"]
        .iter()
        .all(|part| low.text_of(part) == high.text_of(part));
    if same
        && let (Some(low), Some(high)) = (number(low.member("value")), number(high.member("value")))
        && low > high
    {
        let what = format!("goes from {low} down to {high}");
        problems.error(
            Code::FhirRng2,
            path,
            what,
            "exchange low and high, or correct them",
        );
    }
}

/// "rat-1: Numerator and denominator SHALL both be present, or both are absent. If both are absent,
/// there SHALL be some extension present"
fn ratio(node: &Node, path: &str, problems: &mut Problems) {
    let has = |member: &str| node.member(member).is_some();
    let both = has("numerator") == has("denominator");
    if !both || !(has("numerator") || has("extension")) {
        let what = "has not both numerator and denominator".to_owned();
        problems.error(Code::FhirRat1, path, what, "give both");
    }
}

/// "SampledData.data: A series of data points which are decimal values separated by a single space
/// (character u20). The special values "E" (error), "L" (below detection limit) and "U" (above
/// detection limit) can also be used in place of a decimal value." (datatypes.html#SampledData)
fn sampled(node: &Node, path: &str, problems: &mut Problems) {
    let Some(data) = node.text_of("data") else {
        return;
    };
    let point = |text: &str| matches!(text, "E" | "L" | "U") || Exact::parse(text).is_ok();
    if let Some(stray) = data.split(' ').find(|text| !point(text)) {
        let shown: String = stray.chars().take(40).collect();
        let what = format!("{shown:?} is no data point");
        let hint = "write decimals, E, L or U, one blank between each two";
        problems.error(Code::FhirSampledData, &format!("{path}/data"), what, hint);
    }
}

/// "tim-4: duration SHALL be a non-negative value", "tim-5: period SHALL be a non-negative value",
/// "tim-9: If there's an offset, there must be a when (and not C, CM, CD, CV)"
fn repeat(node: &Node, path: &str, problems: &mut Problems) {
    for (member, code) in [("duration", Code::FhirTim4), ("period", Code::FhirTim5)] {
        if let Some(Node::Number(digits)) = node.member(member)
            && digits.starts_with('-')
        {
            let what = format!("{member} {digits} is below nought");
            problems.error(code, &format!("{path}/{member}"), what, "write 0 or more");
        }
    }
    let when = node.items_of("when");
    let meal = |one: &Node| {
        one.text()
            .is_some_and(|one| matches!(one, "C" | "CM" | "CD" | "CV"))
    };
    if node.member("offset").is_some() && (when.is_empty() || when.iter().any(meal)) {
        let what = "an offset without an event it counts from".to_owned();
        problems.error(
            Code::FhirTim9,
            path,
            what,
            "add when, and none of C, CM, CD, CV",
        );
    }
}
