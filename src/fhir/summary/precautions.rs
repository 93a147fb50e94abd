//! The precautions of one session, before everything else.

use crate::fhir::coding::{Coded, CodedValue, sentence};
use crate::fhir::summary::findings::{self, Order, standing};
use crate::fhir::summary::words::{capital, day, quoted};
use crate::fhir::summary::{Examined, Line, Section};
use crate::tables::catalogue::Catalogue;
use crate::tables::catalogue::rows::Kind;

/// Each in one line, where it lies; or that none stands, or that none is known.
pub(super) fn section(one: &Examined<'_>, catalogue: &Catalogue) -> Section {
    let mut lines: Vec<(Order, Line)> = standing(one)
        .filter(|coded| coded.kind == Kind::Precaution)
        .map(|coded| {
            let place = findings::place(coded, one.session, catalogue);
            let words = in_words(coded);
            (place, Line::about(one.session, coded, words))
        })
        .collect();
    lines.sort_by(|a, b| a.0.cmp(&b.0));
    let mut lines: Vec<Line> = lines.into_iter().map(|(_, line)| line).collect();
    if one.session.none_known {
        lines.push(Line::plain("Asked and looked up: none is known."));
    } else if lines.is_empty() {
        lines.push(Line::plain("None stands."));
    }
    Section::new("precautions", "Precautions", lines)
}

/// True where nobody else said so: the therapist decided it.
fn is_own(source: &CodedValue) -> bool {
    let CodedValue::Concept(source) = source else {
        return false;
    };
    findings::own_code(source, "precaution-source") == Some("own-decision")
}

/// A precaution in one line: where, what it limits, and everything that was said about it.
pub(super) fn in_words(one: &Coded) -> String {
    let site = one.body_site.as_ref().and_then(|site| site.text.as_deref());
    let limit = sentence::in_words(&one.value).unwrap_or_default();
    let mut line = format!("{}: {limit}", capital(site.unwrap_or_default()));
    for (part, value) in &one.parts {
        let words = match value {
            CodedValue::Day(date) => Some(day(*date)),
            CodedValue::Words(words) => Some(quoted(words)),
            CodedValue::Amount(_)
            | CodedValue::Concept(_)
            | CodedValue::Absent(_)
            | CodedValue::Count(_)
            | CodedValue::When(_)
            | CodedValue::Samples(_)
            | CodedValue::Members => sentence::in_words(value),
        };
        let name = match findings::own_code(part, "component") {
            Some("precaution-status") => "status",
            Some("precaution-source") if is_own(value) => "set by",
            Some("precaution-source") => "said by",
            Some("precaution-reason") => "reason",
            Some("precaution-movement") => "movement",
            Some("precaution-angle") => "not beyond",
            Some("precaution-set") => "set on",
            Some("precaution-review") => "to be reviewed on",
            Some("precaution-end") => "to end on",
            Some("precaution-lifted") => "lifted on",
            Some("precaution-lifted-by") => "by",
            Some(_) | None => part.text.as_deref().unwrap_or_default(),
        };
        line.extend(words.iter().flat_map(|words| ["; ", name, " ", words]));
    }
    for note in &one.notes {
        line.extend(["; ", note.open()]);
    }
    line.push('.');
    line
}
