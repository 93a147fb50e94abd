//! A session in words, for people.

use crate::catalogue::{Catalogue, LOINC, SNOMED};
use crate::coding::sentence;
use crate::compare::{self, Change, Meaning, NotCompared};
use crate::finding::{Precaution, Session};
use crate::intake::draft::Side;
use crate::json::Node;
use crate::measure::{Measured, Value};

/// One line of a session: both sides beside each other.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    /// What was examined, and in which position of the neighbouring joint.
    pub what: String,
    /// What was found on the right.
    pub right: String,
    /// What was found on the left.
    pub left: String,
}

/// The findings of a session, both sides beside each other, in the order of the document.
pub fn lines(measured: &[Measured], catalogue: &Catalogue) -> Vec<Line> {
    let mut lines: Vec<Line> = Vec::new();
    for one in measured {
        let what = what(one);
        // Both sides stand in one line: the grade alone, not what it means.
        let found = if let Value::Grade(code) = &one.value {
            format!("grade {code}")
        } else {
            sentence::value(one, catalogue)
        };
        let index = lines
            .iter()
            .position(|line| line.what == what)
            .unwrap_or_else(|| {
                let nothing = "not recorded".to_owned();
                lines.push(Line {
                    what,
                    right: nothing.clone(),
                    left: nothing,
                });
                lines.len().saturating_sub(1)
            });
        if let Some(line) = lines.get_mut(index) {
            match one.finding.side {
                Side::Right => line.right = found,
                Side::Left => line.left = found,
                Side::Middle => {
                    line.right = found;
                    "in the middle of the body".clone_into(&mut line.left);
                }
            }
        }
    }
    lines
}

/// How an Observation is coded, in one line: its codes, the closest first, its value and its site.
pub fn coded(resource: &Node) -> String {
    let codes = |concept: Option<&Node>| {
        let codes = concept
            .map(|concept| concept.items_of("coding"))
            .unwrap_or_default();
        let code = |code: &Node| {
            let system = code.text_of("system").unwrap_or_default();
            let system = match system {
                SNOMED => "SNOMED CT ",
                LOINC => "LOINC ",
                _ => "",
            };
            format!("{system}{}", code.text_of("code").unwrap_or_default())
        };
        codes.iter().map(code).collect::<Vec<_>>().join(", ")
    };
    let value = match resource.member("valueQuantity") {
        Some(quantity) => {
            let digits = quantity
                .member("value")
                .map(Node::compact)
                .unwrap_or_default();
            let at_least = quantity.text_of("comparator").unwrap_or_default();
            format!(
                "{at_least}{digits} {}",
                quantity.text_of("code").unwrap_or_default()
            )
        }
        None => match resource.member("dataAbsentReason") {
            Some(reason) => format!("no value because {}", codes(Some(reason))),
            None => codes(resource.member("valueCodeableConcept")),
        },
    };
    let code = codes(resource.member("code"));
    format!("{code} = {value} at {}", codes(resource.member("bodySite")))
}

/// What was examined, with what tells it from the same measure done otherwise.
pub fn what(one: &Measured) -> String {
    let mut what = one.row.label.clone();
    if let Some((joint, position)) = &one.finding.neighbour {
        what.extend([", ", joint, " ", position]);
    }
    if let Some(condition) = &one.finding.condition {
        what.extend([", ", &condition.replace('-', " ")]);
    }
    if one.finding.repeat > 1 {
        what.extend([", repeat ", &one.finding.repeat.to_string()]);
    }
    what
}

/// A precaution in one line.
pub fn precaution(one: &Precaution, catalogue: &Catalogue) -> String {
    let label = |list: &str, code: &str| {
        catalogue
            .word(list, code)
            .map_or_else(|| code.to_owned(), |row| row.label.clone())
    };
    let mut line = format!(
        "{} {}: {} ({}; said by {}",
        one.side.word(),
        one.site,
        label("precaution-limit", &one.limit),
        one.status,
        label("precaution-source", &one.source)
    );
    for (word, day) in [("set", one.set), ("review", one.review), ("end", one.end)] {
        if let Some(day) = day {
            line.extend(["; ", word, " ", &day.to_string()]);
        }
    }
    line.push(')');
    if one.carried {
        line.push_str(", carried over from an earlier session");
    }
    line
}

/// The changes of angles since an earlier session, each with what it means beside the error of
/// measuring, or why it is not compared.
pub fn changes(
    earlier: (&[Measured], &Session),
    later: (&[Measured], &Session),
    catalogue: &Catalogue,
) -> Vec<(String, String)> {
    let mut told = Vec::new();
    for after in later.0.iter().filter(|one| one.angle().is_some()) {
        let before = earlier.0.iter().find(|before| {
            before.finding.side == after.finding.side && what(before) == what(after)
        });
        let Some(before) = before else { continue };
        let change = compare::change(
            (before, earlier.1),
            (after, later.1),
            &catalogue.measurement_error,
        );
        let name = format!("{}, {}", what(after), after.finding.side.word());
        told.push((name, change_words(change)));
    }
    told
}

fn change_words(change: Result<Change, NotCompared>) -> String {
    match change {
        Err(reason) => format!("not compared: {reason}"),
        Ok(Change { degrees, .. }) if degrees.is_zero() => "no difference".to_owned(),
        Ok(Change { degrees, meaning }) => {
            let sign = if degrees.is_negative() { "" } else { "+" };
            let meaning = match meaning {
                Meaning::Higher(row) => {
                    format!("higher by more than the error of measuring ({row})")
                }
                Meaning::Lower(row) => format!("lower by more than the error of measuring ({row})"),
                Meaning::WithinError(row) => format!("within the error of measuring ({row})"),
                Meaning::NotJudged => {
                    "not judged: no published error for this way of measuring".to_owned()
                }
            };
            format!("{sign}{degrees}\u{b0}, {meaning}")
        }
    }
}
