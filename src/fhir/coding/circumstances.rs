//! The circumstances of a session, as parts of its panel.

use crate::base::private::Private;
use crate::examination::finding::Session;
use crate::examination::finding::circumstances::Injection;
use crate::fhir::coding::{Code, CodedValue, Concept, body_site, word};
use crate::tables::catalogue::{Catalogue, VISIT};

/// Each circumstance as a part; where several are alike, the words of their code tell which is
/// meant, because the parts of an Observation are one flat list.
pub(super) fn parts(session: &Session, catalogue: &Catalogue) -> Vec<(Concept, CodedValue)> {
    let said = &session.circumstances;
    let mut parts = visit(session, catalogue);
    for (name, word_of) in [
        ("handedness", &said.handedness),
        ("alertness", &said.alertness),
        ("ability-to-answer", &said.ability_to_answer),
    ] {
        parts.extend(word_of.as_ref().map(|code| {
            let value = CodedValue::Concept(word(catalogue, name, code));
            (word(catalogue, "component", name), value)
        }));
    }
    for (words, on) in &said.earlier_strokes {
        let name = named(catalogue, "earlier-stroke", words.open());
        let value = on
            .as_ref()
            .map_or_else(not_known, |on| CodedValue::When(on.clone()));
        parts.push((name, value));
    }
    for (words, dose) in &said.medicines {
        let name = named(catalogue, "last-dose", words.open());
        let value = dose.as_ref();
        let value = value.map_or_else(not_known, |dose| CodedValue::When(dose.text.clone()));
        parts.push((name, value));
    }
    for (number, injection) in (1..).zip(&said.injections) {
        parts.extend(injected(number, injection, catalogue));
    }
    for splint in &said.splints {
        let site = body_site(catalogue, &splint.site, splint.side);
        let site = site.and_then(|site| site.text).unwrap_or_default();
        let value = CodedValue::Concept(word(catalogue, "splint-worn", &splint.worn));
        parts.push((named(catalogue, "splint-worn", &site), value));
    }
    parts
}

/// What became of the visit, and why.
fn visit(session: &Session, catalogue: &Catalogue) -> Vec<(Concept, CodedValue)> {
    let part = |name: &str| word(catalogue, "component", name);
    session.visit.as_ref().map_or_else(Vec::new, |visit| {
        let outcome = word(catalogue, VISIT, &visit.outcome);
        vec![
            (part("visit-outcome"), CodedValue::Concept(outcome)),
            (
                part("visit-reason"),
                CodedValue::Words(visit.reason.clone()),
            ),
        ]
    })
}

fn injected(
    number: u32,
    injection: &Injection,
    catalogue: &Catalogue,
) -> Vec<(Concept, CodedValue)> {
    let name = |code: &str| named(catalogue, code, &format!("injection {number}"));
    let muscle = body_site(catalogue, &injection.muscle, injection.side).unwrap_or_default();
    vec![
        (
            name("injection"),
            CodedValue::Words(Private::new(injection.words.open().clone())),
        ),
        (name("injected-muscle"), CodedValue::Concept(muscle)),
        (name("injection-day"), CodedValue::Day(injection.on)),
    ]
}

fn named(catalogue: &Catalogue, code: &str, which: &str) -> Concept {
    let mut name = word(catalogue, "component", code);
    name.text = name.text.map(|text| format!("{text}: {which}"));
    name
}

/// Asked, and not known.
fn not_known() -> CodedValue {
    CodedValue::Absent(Concept {
        codes: vec![Code {
            system: "http://terminology.hl7.org/CodeSystem/data-absent-reason".to_owned(),
            code: "unknown".to_owned(),
            display: "Unknown".to_owned(),
        }],
        text: Some("not known".to_owned()),
    })
}
