//! What a later version of a session does to the record of the one before.

use crate::base::code::Code;
use crate::base::json::{Node, object, text};
use crate::base::problem::Problems;
use crate::fhir::record::status::Status;
use crate::fhir::record::{Entry, Record, is_corrected};
use std::collections::BTreeMap;

/// The version before: its entries, and what each finding of it was called.
#[derive(Debug, Clone, Default)]
pub struct VersionBefore {
    /// The entries of its record.
    pub entries: Vec<Entry>,
    /// Measure, side and id of each finding and precaution, by its full URL.
    pub names: BTreeMap<String, String>,
}

/// Settles a later version against the record of the version before it.
///
/// What says the same keeps the resource it had, status and time of issue included; what differs
/// becomes `corrected`, and a preliminary result that was accepted `final`; a derived result that no longer follows, and a precaution that was carried
/// over and no longer is, become `entered-in-error`. A finding or precaution of its own that the
/// later version does not speak of is an error: a correction withdraws by name.
pub fn settle(mut later: Record, before: &VersionBefore, problems: &mut Problems) -> Record {
    for entry in later
        .entries
        .iter_mut()
        .filter(|entry| is_corrected(entry.kind))
    {
        if let Some(before) = before
            .entries
            .iter()
            .find(|one| one.full_url == entry.full_url)
        {
            if same_statement(&before.resource, &entry.resource) {
                entry.resource = before.resource.clone();
            } else if Status::of(&entry.resource) == Some(Status::Final)
                && Status::of(&before.resource) != Some(Status::Preliminary)
            {
                Status::Corrected.set(&mut entry.resource);
            }
        }
    }
    let spoken_of = |url: &str| later.entries.iter().any(|entry| entry.full_url == url);
    let missing = before
        .entries
        .iter()
        .filter(|one| is_corrected(one.kind) && !spoken_of(&one.full_url));
    let mut gone = Vec::new();
    for entry in missing {
        let mut entry = entry.clone();
        let in_error = Status::of(&entry.resource) == Some(Status::EnteredInError);
        match before.names.get(&entry.full_url) {
            Some(name) if !in_error => {
                let what = format!("{name} of the earlier version is not spoken of");
                let hint = "repeat it with that id, or withdrawn: true (a precaution with status \
                            entered-in-error); nothing is dropped";
                problems.error(Code::CorrectionSilent, "/findings", what, hint);
            }
            Some(_) | None => Status::EnteredInError.set(&mut entry.resource),
        }
        gone.push(entry);
    }
    also_about(&mut later, &gone);
    let before_panel = later.entries.len().saturating_sub(2);
    later.entries.splice(before_panel..before_panel, gone);
    later
}

/// The Provenance of the later version speaks of what went as well.
fn also_about(later: &mut Record, gone: &[Entry]) {
    let provenance = later
        .entries
        .iter_mut()
        .find(|entry| entry.kind == "Provenance");
    let targets = provenance.and_then(|entry| entry.resource.member_mut("target"));
    if let Some(Node::List(targets)) = targets {
        targets.extend(gone.iter().map(|entry| {
            object([
                ("reference", text(entry.full_url.clone())),
                ("type", text(entry.kind)),
            ])
        }));
    }
}

/// True when two Observations state the same, whatever their time of issue, and neither was withdrawn or
/// accepted meanwhile.
fn same_statement(before: &Node, after: &Node) -> bool {
    let bare = |resource: &Node| {
        let mut resource = resource.clone();
        resource.remove("issued");
        let apart = Status::of(&resource)
            .filter(|status| matches!(status, Status::EnteredInError | Status::Preliminary))
            .map_or("", Status::code);
        resource.set("status", text(apart));
        resource.canonical()
    };
    bare(before) == bare(after)
}
