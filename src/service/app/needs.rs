//! What Fascicle needs of each type of a record server, and whether it is declared.

use crate::base::json::Node;
use crate::service::app::checked::{Check, Readiness};
use crate::tables::catalogue::conformance::needs::Declared::{Interaction, Search};
use crate::tables::catalogue::conformance::needs::{CONDITIONAL, NEEDS, Need};

/// The lines of one type.
pub(super) fn of_kind(rest: Option<&Node>, kind: &'static str, lines: &mut Vec<Check>) {
    let listed = rest.map_or(&[][..], |rest| rest.items_of("resource"));
    let Some(resource) = listed.iter().find(|one| one.text_of("type") == Some(kind)) else {
        lines.push(not_listed(kind, listed.is_empty()));
        return;
    };
    let mut declares = Vec::new();
    let mut missing = Vec::new();
    for need in NEEDS.iter().filter(|need| need.kind == kind) {
        let names = match need.place {
            Interaction => declared(Some(resource), "interaction", "code"),
            Search => searches(rest, resource),
        };
        match names {
            Some(names) if names.contains(&need.name) => declares.push(words(need)),
            names => missing.push(lacking(need, names.is_some())),
        }
    }
    if CONDITIONAL.contains(&kind) {
        match resource.member("conditionalCreate") {
            Some(Node::Bool(true)) => declares.push("conditional create".to_owned()),
            said => missing.push(unconditional(kind, said == Some(&Node::Bool(false)))),
        }
    }
    if !declares.is_empty() {
        lines.push(Check::fine(
            kind,
            format!("declares {}", declares.join(", ")),
        ));
    }
    lines.extend(missing);
}

fn not_listed(kind: &'static str, silent: bool) -> Check {
    let mut needs = NEEDS.iter().filter(|need| need.kind == kind);
    let must = needs.clone().any(|need| need.must);
    let without = needs.next().map_or("", |need| need.without);
    let (readiness, what) = match (silent, must) {
        (true, _) => (Readiness::NotSaid, "the statement lists no types at all"),
        (false, true) => (
            Readiness::No,
            "it is not among the types the server declares",
        ),
        (false, false) => (
            Readiness::Warning,
            "it is not among the types the server declares",
        ),
    };
    let change = match (silent, must) {
        (true, _) => format!("ask the vendor whether {kind} can be used with this account"),
        (false, true) => format!("have {kind} turned on for this account"),
        (false, false) => "nothing, if this is good enough".to_owned(),
    };
    Check::other(
        kind,
        readiness,
        format!("{what}; without it {without}"),
        change,
    )
}

fn lacking(need: &Need, listed: bool) -> Check {
    let (kind, without) = (need.kind, need.without);
    let thing = words(need);
    if !listed {
        let what =
            format!("the statement does not say whether {thing} works; without it {without}");
        let change = format!("ask the vendor whether {thing} of {kind} works with this account");
        return Check::other(kind, Readiness::NotSaid, what, change);
    }
    let readiness = if need.must {
        Readiness::No
    } else {
        Readiness::Warning
    };
    let what = format!("{thing} is not among what it declares; without it {without}");
    Check::other(
        kind,
        readiness,
        what,
        format!("have {thing} of {kind} turned on for this account"),
    )
}

fn unconditional(kind: &'static str, denied: bool) -> Check {
    let without = "without it a request that arrives late could store a thing twice";
    if denied {
        let what = format!("conditional create is declared not to work; {without}");
        let change = format!("have conditional create (If-None-Exist) of {kind} turned on");
        return Check::other(kind, Readiness::No, what, change);
    }
    let what = format!("the statement does not say whether conditional create works; {without}");
    let change = format!("ask the vendor whether {kind} can be created under If-None-Exist");
    Check::other(kind, Readiness::NotSaid, what, change)
}

/// How a need is called in a sentence.
fn words(need: &Need) -> String {
    match need.place {
        Interaction => need.name.to_owned(),
        Search => format!("search by {}", need.name),
    }
}

/// The names in a list of the statement; nothing when the list is absent or empty.
pub(super) fn declared<'a>(node: Option<&'a Node>, list: &str, key: &str) -> Option<Vec<&'a str>> {
    let items = node?.items_of(list).iter();
    let names: Vec<&str> = items.filter_map(|item| item.text_of(key)).collect();
    (!names.is_empty()).then_some(names)
}

/// The search parameters of a type, with those that the server declares for all types.
pub(super) fn searches<'a>(rest: Option<&'a Node>, resource: &'a Node) -> Option<Vec<&'a str>> {
    let mut names = declared(Some(resource), "searchParam", "name")?;
    names.extend(declared(rest, "searchParam", "name").unwrap_or_default());
    Some(names)
}
