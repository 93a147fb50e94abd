//! A session in words, for people.

use crate::catalogue::rows::{Kind, Measure};
use crate::catalogue::{Catalogue, LOINC, RELATIVE, SNOMED};
use crate::compare::{self, Change, Meaning, NotCompared};
use crate::exact::Exact;
use crate::finding::{Ending, Outcome, Precaution, Session};
use crate::intake::draft::Side;
use crate::json::Node;
use crate::measure::{Extent, Measured, Value};

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
        let found = words(one, catalogue);
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

/// What was found, in words.
pub fn words(one: &Measured, catalogue: &Catalogue) -> String {
    let list = one.row.scale.as_deref().unwrap_or_default();
    let label = |list: &str, code: &str| {
        catalogue
            .word(list, code)
            .map_or_else(|| code.to_owned(), |row| row.label.clone())
    };
    match &one.value {
        Value::Angle(angle) => {
            let place = place(angle.degrees(), &one.row);
            match (angle.fixed, angle.extent()) {
                (true, _) => format!("fixed at {place}"),
                (false, Extent::Reached) => place,
                (false, Extent::AtLeast) => {
                    format!("end not reached: {} at {place}", ending(one, catalogue))
                }
            }
        }
        Value::Word(code) => label(list, code),
        Value::Grade(code) => format!("grade {code}"),
        Value::Amount(points) if one.row.kind == Kind::Score => format!("{points} of 10"),
        Value::Amount(number) => {
            format!("{number} {}", one.row.unit.as_deref().unwrap_or_default())
        }
        Value::Relative(code) => label(RELATIVE, code),
        Value::NoCatch => "no catch".to_owned(),
        Value::NotTested(reason) => {
            format!("not tested: {}", label("not-tested-reason", reason))
        }
    }
}

/// Where an angle lies, in words that need no sign: on which side of neutral, named by movement.
fn place(degrees: Exact, row: &Measure) -> String {
    let of = |movement: &Option<String>| movement.clone().unwrap_or_default();
    if degrees.is_zero() {
        "neutral".to_owned()
    } else if degrees.is_negative() {
        let magnitude = degrees.magnitude();
        format!(
            "{magnitude}\u{b0} {}, neutral not reached",
            of(&row.opposite)
        )
    } else {
        format!("{degrees}\u{b0} {}", of(&row.movement))
    }
}

fn ending(one: &Measured, catalogue: &Catalogue) -> String {
    match &one.finding.outcome {
        Outcome::Found(_, Some(Ending { how, .. })) => catalogue
            .word("ending", how)
            .map(|row| row.label.clone())
            .unwrap_or_default(),
        Outcome::Found(_, None) | Outcome::NotTested(_) => String::new(),
    }
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
