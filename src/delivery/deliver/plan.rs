//! How what is left to send is divided into requests: by mode, by the limits of the target, and never
//! before what it refers to.

use crate::base::json::Node;
use crate::delivery::deliver::send::{self, Step, Way};
use serde::Deserialize;
use std::collections::BTreeSet;

/// How a target takes a session.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Mode {
    /// All or nothing, in one Bundle; in several, one after the other, where it passes a limit.
    #[default]
    Transaction,
    /// Bundles of entries that stand each for itself, in waves: what is referred to goes before.
    Batch,
    /// One request for each resource, in the same order as batches.
    Single,
}

/// How a target is sent to.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Sending {
    /// How it takes a session.
    pub mode: Mode,
    /// The most entries of one Bundle.
    pub most_entries: Option<usize>,
    /// The most bytes of one body.
    pub most_bytes: Option<usize>,
}

/// One request.
#[derive(Debug, Clone)]
pub(super) struct Part {
    pub(super) way: Way,
    pub(super) steps: Vec<Step>,
}

/// Why nothing can be divided.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum NoPart {
    /// The resources refer to each other in a circle; we make none that do.
    Circle,
    /// One resource alone is larger than the target takes: its full URL and its bytes.
    TooLarge(String, usize),
}

/// The requests of the next round: after them the server is looked at, and what refers to them can be
/// sent. A transaction is a round of its own; the requests of a wave do not refer to each other.
pub(super) fn round(
    steps: &[Step],
    sending: &Sending,
    limit: Option<usize>,
) -> Result<Vec<Part>, NoPart> {
    let entries = [limit, sending.most_entries].into_iter().flatten().min();
    let entries = entries.unwrap_or(usize::MAX).max(1);
    let bytes = sending.most_bytes.unwrap_or(usize::MAX);
    let waves = waves(steps)?;
    let all = waves.iter().flatten().copied();
    let first = waves.first().into_iter().flatten().copied();
    Ok(match sending.mode {
        Mode::Transaction => {
            let mut parts = divided(all, Way::Transaction, entries, bytes)?;
            parts.truncate(1);
            parts
        }
        Mode::Batch => divided(first, Way::Batch, entries, bytes)?,
        Mode::Single => divided(first, Way::Single, 1, bytes)?,
    })
}

/// Steps in waves: each refers only to what stands in waves before it, or at the server already.
fn waves(steps: &[Step]) -> Result<Vec<Vec<&Step>>, NoPart> {
    let mut left: Vec<(&Step, BTreeSet<&str>)> = steps
        .iter()
        .map(|step| {
            let mut named = BTreeSet::new();
            placeholders(step.resource(), &mut named);
            (step, named)
        })
        .collect();
    let mut waves = Vec::new();
    while !left.is_empty() {
        let waiting: BTreeSet<&str> = left.iter().map(|(step, _)| step.full_url()).collect();
        let (ready, rest): (Vec<_>, Vec<_>) = left
            .into_iter()
            .partition(|(_, named)| named.is_disjoint(&waiting));
        if ready.is_empty() {
            return Err(NoPart::Circle);
        }
        waves.push(ready.into_iter().map(|(step, _)| step).collect());
        left = rest;
    }
    Ok(waves)
}

fn divided<'a>(
    steps: impl Iterator<Item = &'a Step>,
    way: Way,
    entries: usize,
    bytes: usize,
) -> Result<Vec<Part>, NoPart> {
    let mut parts: Vec<Part> = Vec::new();
    let mut filled = 0_usize;
    for step in steps {
        // The body of one entry alone is never smaller than its share of a larger one.
        let size = send::size(way, step);
        if size > bytes {
            return Err(NoPart::TooLarge(step.full_url().to_owned(), size));
        }
        filled = filled.saturating_add(size);
        match parts.last_mut() {
            Some(part) if part.steps.len() < entries && filled <= bytes => {
                part.steps.push(step.clone());
            }
            Some(_) | None => {
                filled = size;
                let steps = vec![step.clone()];
                parts.push(Part { way, steps });
            }
        }
    }
    Ok(parts)
}

/// Every `urn:uuid:` a resource refers to; its own identifier is none.
fn placeholders<'a>(node: &'a Node, found: &mut BTreeSet<&'a str>) {
    let literal = node.text_of("reference");
    found.extend(literal.filter(|reference| reference.starts_with("urn:")));
    let members = node.members().iter();
    members.for_each(|(_, member)| placeholders(member, found));
    node.items()
        .iter()
        .for_each(|item| placeholders(item, found));
}

#[cfg(test)]
mod tests {
    use super::{Mode, NoPart, Sending, round};
    use crate::base::json::Node;
    use crate::delivery::deliver::send::Step;

    /// A step of a name that refers to others.
    fn step(name: &str, to: &[&str]) -> Step {
        let to: Vec<String> = to
            .iter()
            .map(|name| format!(r#"{{"reference":"urn:{name}"}}"#))
            .collect();
        let text = format!(r#"{{"resourceType":"Observation","m":[{}]}}"#, to.join(","));
        let resource = Node::parse(&text).expect("JSON");
        Step::Create(format!("urn:{name}"), "Observation".into(), None, resource)
    }

    fn session() -> [Step; 5] {
        [
            step("report", &["panel"]),
            step("panel", &["a", "b"]),
            step("b", &["a"]),
            step("a", &[]),
            step("c", &[]),
        ]
    }

    fn told(sending: &Sending, limit: Option<usize>) -> Result<Vec<String>, NoPart> {
        let parts = round(&session(), sending, limit)?;
        let names = |steps: &[Step]| {
            let names = steps
                .iter()
                .filter_map(|s| s.full_url().strip_prefix("urn:"));
            names.collect::<Vec<_>>().join(" ")
        };
        Ok(parts.iter().map(|part| names(&part.steps)).collect())
    }

    fn of(mode: Mode, most_entries: Option<usize>) -> Sending {
        Sending {
            mode,
            most_entries,
            most_bytes: None,
        }
    }

    #[test]
    fn a_transaction_is_whole_unless_a_limit_says_otherwise() {
        let whole = told(&of(Mode::Transaction, None), None);
        let cut = told(&of(Mode::Transaction, Some(4)), None);
        let halved = told(&of(Mode::Transaction, Some(4)), Some(2));

        assert_eq!(whole, Ok(vec!["a c b panel report".to_owned()]));
        assert_eq!(cut, Ok(vec!["a c b panel".to_owned()]));
        assert_eq!(halved, Ok(vec!["a c".to_owned()]));
    }

    #[test]
    fn a_wave_holds_nothing_that_refers_to_what_is_not_there_yet() {
        assert_eq!(
            told(&of(Mode::Batch, None), None),
            Ok(vec!["a c".to_owned()])
        );
        let single = told(&of(Mode::Single, None), None);
        assert_eq!(single, Ok(vec!["a".to_owned(), "c".to_owned()]));
    }

    #[test]
    fn bytes_divide_as_entries_do_and_what_alone_is_too_large_is_told() {
        let sending = |most_bytes| Sending {
            most_bytes: Some(most_bytes),
            ..of(Mode::Transaction, None)
        };

        let some = told(&sending(500), None).map(|parts| parts[0].clone());
        let none = told(&sending(40), None);

        assert_eq!(some, Ok("a c".to_owned()));
        assert!(matches!(none, Err(NoPart::TooLarge(name, _)) if name == "urn:a"));
    }

    #[test]
    fn a_circle_is_told_and_does_not_go_round_for_ever() {
        let steps = [step("a", &["b"]), step("b", &["a"])];

        let divided = round(&steps, &of(Mode::Batch, None), None);

        assert_eq!(divided.err(), Some(NoPart::Circle));
    }
}
