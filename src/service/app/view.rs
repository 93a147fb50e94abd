//! A session in words, for people.

use crate::base::json::Node;
use crate::examination::compare::{Comparison, RowUsed, Rule};
use crate::examination::finding::Precaution;
use crate::examination::intake::parts::Side;
use crate::examination::measure::{Measured, Value};
use crate::fhir::coding::comparison::verdict_in_words;
use crate::fhir::coding::sentence;
use crate::tables::catalogue::rows::Kind;
use crate::tables::catalogue::{Catalogue, LOINC, SNOMED};

/// One line of a session: both sides beside each other.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SessionRow {
    /// What was examined, and in which position of the neighbouring joint.
    pub what: String,
    /// What was found on the right.
    pub right: String,
    /// What was found on the left.
    pub left: String,
}

/// The findings of a session, both sides beside each other, in the order of the document.
pub fn lines(measured: &[Measured], catalogue: &Catalogue) -> Vec<SessionRow> {
    let mut lines: Vec<SessionRow> = Vec::new();
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
                lines.push(SessionRow {
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

/// A comparison in words: what was compared, and what it came to with the rows it used.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Compared {
    /// What was compared, with its side.
    pub what: String,
    /// What it came to, or why there is nothing.
    pub came_to: String,
    /// The rows of the tables that were used.
    pub rows: Vec<String>,
    /// What belongs to it.
    pub told: Vec<String>,
}

/// Every comparison of one rule, in the order of the findings.
pub fn compared(comparisons: &[Comparison], rule: Rule, catalogue: &Catalogue) -> Vec<Compared> {
    let of_rule = comparisons.iter().filter(|one| one.rule == rule);
    of_rule.map(|one| in_words(one, catalogue)).collect()
}

/// One comparison in words.
pub fn in_words(one: &Comparison, catalogue: &Catalogue) -> Compared {
    let row = |row: &RowUsed| {
        let hash = row.sha256.get(..12).unwrap_or_default();
        format!(
            "{} of {}: {} ({}, {}; SHA-256 of the table {hash})",
            row.key, row.table, row.says, row.title, row.version
        )
    };
    let about = &one.about;
    let mut named = what(about);
    if one.rule == Rule::DynamicPart {
        // The two stretches have names of their own; what they have in common is the muscle.
        let dynamic = catalogue.measures.values().find(|row| {
            row.kind == Kind::Derived
                && (&row.site, &row.axis, &row.held)
                    == (&about.row.site, &about.row.axis, &about.row.held)
        });
        if let Some(dynamic) = dynamic {
            named = named.replace(&about.row.label, &dynamic.label);
        }
    }
    Compared {
        what: format!("{named}, {}", about.finding.side.word()),
        came_to: came_to(one, catalogue),
        rows: one.rows.iter().map(row).collect(),
        told: one.told.clone(),
    }
}

const fn of_a_stretch(rule: Rule) -> bool {
    matches!(
        rule,
        Rule::DynamicPart | Rule::FixedPart | Rule::FixedPartOfRange | Rule::DynamicShare
    )
}

fn came_to(one: &Comparison, catalogue: &Catalogue) -> String {
    let found = match &one.outcome {
        Err(reason) if of_a_stretch(one.rule) && reason.answer().is_some() => {
            return format!("not determinable: {reason}");
        }
        Err(reason) => return format!("not compared: {reason}"),
        Ok(found) => found,
    };
    let amount = found.amount.as_ref().map(|amount| {
        let unit = match amount.unit.as_str() {
            "deg" => "\u{b0}".to_owned(),
            "1" => String::new(),
            "{score}" => " points".to_owned(),
            unit => format!(" {unit}"),
        };
        let plus = if amount.number.is_negative() || amount.number.is_zero() || unit.is_empty() {
            ""
        } else {
            "+"
        };
        format!("{plus}{}{unit}", amount.number)
    });
    let verdict = verdict_in_words(one.rule, found.verdict, catalogue);
    let verdict = match &found.range {
        Some((range, _)) => format!("{verdict} {} to {}", range.low(), range.high()),
        None => verdict,
    };
    match (amount, one.rule) {
        (Some(amount), Rule::DynamicShare) => amount,
        (Some(amount), _) => format!("{amount}, {verdict}"),
        (None, _) => verdict,
    }
}
