//! What a later version of a session does to the record of the one before.

use crate::json::{Node, text};
use crate::problem::Problems;
use crate::record::{Entry, Record};

/// Settles a later version against the record of the version before it.
///
/// What says the same keeps the resource it had, status and time of issue included; what differs
/// becomes `corrected`; a derived result that no longer follows becomes `entered-in-error`. A
/// finding that the later version does not speak of is an error: a correction withdraws by name.
pub fn settle(mut later: Record, earlier: &[Entry], problems: &mut Problems) -> Record {
    for entry in later
        .entries
        .iter_mut()
        .filter(|entry| entry.kind == "Observation")
    {
        let before = earlier
            .iter()
            .find(|before| before.full_url == entry.full_url);
        if let Some(before) = before {
            if same_statement(&before.resource, &entry.resource) {
                entry.resource = before.resource.clone();
            } else if entry.resource.text_of("status") == Some("final") {
                entry.resource.set("status", text("corrected"));
            }
        }
    }
    let missing = earlier.iter().filter(|before| {
        before.kind == "Observation"
            && !later
                .entries
                .iter()
                .any(|entry| entry.full_url == before.full_url)
    });
    let mut gone = Vec::new();
    for before in missing {
        if finding(&before.resource) {
            let what = "a finding of the earlier version is not spoken of".to_owned();
            let hint = "repeat it with its id, or with withdrawn: true; nothing is dropped";
            problems.error("correction.silent", "/findings", what, hint);
        } else {
            let mut entry = before.clone();
            entry.resource.set("status", text("entered-in-error"));
            gone.push(entry);
        }
    }
    let before_panel = later.entries.len().saturating_sub(2);
    later.entries.splice(before_panel..before_panel, gone);
    later
}

/// True for what a person entered: neither computed, nor a panel, nor a precaution.
fn finding(resource: &Node) -> bool {
    let precaution = resource
        .at(&["code", "coding"])
        .map(Node::items)
        .unwrap_or_default();
    let precaution = precaution
        .iter()
        .any(|code| code.text_of("code") == Some("precaution"));
    resource.items_of("derivedFrom").is_empty()
        && resource.items_of("hasMember").is_empty()
        && !precaution
}

/// True when two Observations state the same, whatever their status and time of issue.
fn same_statement(before: &Node, after: &Node) -> bool {
    let bare = |resource: &Node| {
        let mut resource = resource.clone();
        resource.remove("issued");
        let withdrawn = resource.text_of("status") == Some("entered-in-error");
        resource.set("status", Node::Bool(withdrawn));
        resource.canonical()
    };
    bare(before) == bare(after)
}
