//! What people said in their own words, under the codes of ours.

use crate::base::private::Private;
use crate::examination::finding::Session;
use crate::examination::finding::own_words::{Says, Statement};
use crate::fhir::coding::{Coded, CodedValue, Concept, measure_concept, sentence, word};
use crate::tables::catalogue::Catalogue;
use crate::tables::catalogue::rows::Kind;

/// One statement: its words are the value, what belongs to them its parts.
pub(super) fn statement(one: &Statement, session: &Session, catalogue: &Catalogue) -> Coded {
    let measure = format!("statement.{}", one.says.key());
    let label = catalogue.measures.get(&measure);
    let label = label.map(|row| row.label.clone()).unwrap_or_default();
    let mut coded = Coded {
        id: one.id,
        role: "statement",
        kind: Kind::Statement,
        code: measure_concept(catalogue, &measure, label),
        value: CodedValue::Words(one.words.clone()),
        body_site: None,
        position: None,
        method: None,
        parts: parts(&one.says, session, catalogue),
        ranges: Vec::new(),
        interpretation: None,
        derived_from: Vec::new(),
        notes: Vec::new(),
        finding: None,
        withdrawn: one.withdrawn,
        preliminary: false,
        told: Private::default(),
    };
    coded.told = sentence::whole(&coded, None);
    coded
}

fn parts(says: &Says, session: &Session, catalogue: &Catalogue) -> Vec<(Concept, CodedValue)> {
    let part = |name: &str, value: CodedValue| (word(catalogue, "component", name), value);
    let words = |text: &Private<String>| CodedValue::Words(text.clone());
    match says {
        Says::Conclusion | Says::Priority => Vec::new(),
        Says::Goal {
            target,
            agreed_with,
            state,
        } => {
            let target = target.map(|day| part("target-day", CodedValue::Day(day)));
            let agreed = part("agreed-with", words(agreed_with));
            let mut parts: Vec<_> = target.into_iter().chain([agreed]).collect();
            if let Some(state) = state {
                let is = word(catalogue, "goal-state", &state.is);
                parts.push(part("goal-state", CodedValue::Concept(is)));
                parts.push(part("goal-state-day", CodedValue::Day(state.on)));
                parts.push(part("goal-state-words", words(&state.words)));
            }
            parts
        }
        Says::HandlingStep {
            number,
            author,
            review,
        } => {
            let author = Private::new(role_of(author, session));
            vec![
                part("step-number", CodedValue::Count(*number)),
                part("author", CodedValue::Words(author)),
                part("review-day", CodedValue::Day(*review)),
            ]
        }
        Says::Recommendation { to } => vec![part("recommended-to", words(to))],
        Says::Told {
            prompt,
            to,
            at,
            how,
        } => {
            let mut parts = vec![
                part("told-to", words(to)),
                part("told-at", CodedValue::When(at.text.clone())),
                part("told-how", words(how)),
            ];
            parts.extend(prompt.as_ref().map(|prompt| {
                let of = prompt.session.unwrap_or(session.id);
                let named = format!("{} at {} of session {of}", prompt.code, prompt.path);
                part("told-prompt", CodedValue::Words(Private::new(named)))
            }));
            parts
        }
    }
}

/// Role and identifier of a performer, as a reader can ask for them.
pub fn role_of(key: &str, session: &Session) -> String {
    let performer = session.performers.iter().find(|one| one.key == key);
    performer.map_or_else(String::new, |one| {
        format!("{} {}", one.role, one.identifier.value.open())
    })
}
