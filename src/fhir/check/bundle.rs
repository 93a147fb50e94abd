//! The rules of a Bundle as such (bundle.html).

use crate::base::code::Code;
use crate::base::json::Node;
use crate::base::problem::Problems;
use crate::fhir::check::definitions::definitions;
use std::collections::{BTreeMap, BTreeSet};

/// The types of the resources by the full addresses of their entries.
pub(super) fn addresses(node: &Node) -> BTreeMap<String, String> {
    let entries = node.items_of("entry").iter();
    entries
        .filter_map(|entry| {
            let kind = entry.at(&["resource", "resourceType"])?.text()?;
            Some((entry.text_of("fullUrl")?.to_owned(), kind.to_owned()))
        })
        .collect()
}

/// Holds a Bundle against its rules.
pub(super) fn held(node: &Node, path: &str, problems: &mut Problems) {
    let known = definitions().list("bundle-type").iter();
    let known: BTreeSet<&str> = known.flat_map(|(_, codes)| codes).copied().collect();
    // What belongs into a Bundle of an unknown type, nobody can say.
    let Some(kind) = node.text_of("type").filter(|kind| known.contains(kind)) else {
        return;
    };
    // "bdl-1: total only when a search or history"
    if node.member("total").is_some() && !matches!(kind, "searchset" | "history") {
        let what = format!("a Bundle of type {kind} has no total");
        let hint = "remove total; only searchset and history have one";
        problems.error(Code::FhirBdl1, &format!("{path}/total"), what, hint);
    }
    let mut seen = BTreeSet::new();
    for (index, entry) in node.items_of("entry").iter().enumerate() {
        let path = format!("{path}/entry/{index}");
        if entry.members().is_empty() {
            continue;
        }
        asked_and_answered(kind, entry, &path, problems);
        address(kind, entry, &mut seen, &path, problems);
    }
    if kind == "document" {
        document(node, path, problems);
    }
    // "bdl-12: A message must have a MessageHeader as the first resource"
    if kind == "message" && first(node) != Some("MessageHeader") {
        let what = "the first entry of a message is a MessageHeader".to_owned();
        problems.error(
            Code::FhirBdl12,
            &format!("{path}/entry"),
            what,
            "put it first",
        );
    }
}

fn asked_and_answered(kind: &str, entry: &Node, path: &str, problems: &mut Problems) {
    let has = |member: &str| entry.member(member).is_some();
    // "bdl-2: entry.search only when a search"
    if has("search") && kind != "searchset" {
        let what = "search belongs to the entries of a searchset".to_owned();
        problems.error(Code::FhirBdl2, path, what, "remove search");
    }
    // "bdl-3: entry.request mandatory for batch/transaction/history, otherwise prohibited"
    if matches!(kind, "batch" | "transaction" | "history") != has("request") {
        let what = "request belongs to batch, transaction and history, and only there".to_owned();
        let hint = "give each entry its request there, and none elsewhere";
        problems.error(Code::FhirBdl3, path, what, hint);
    }
    // "bdl-4: entry.response mandatory for batch-response/transaction-response/history, otherwise
    // prohibited"
    if matches!(kind, "batch-response" | "transaction-response" | "history") != has("response") {
        let what = "response belongs to responses and history, and only there".to_owned();
        let hint = "give each entry its response there, and none elsewhere";
        problems.error(Code::FhirBdl4, path, what, hint);
    }
    // "bdl-5: must be a resource unless there's a request or response"
    if !["resource", "request", "response"]
        .iter()
        .any(|member| has(member))
    {
        let what = "an entry without resource, request and response".to_owned();
        problems.error(
            Code::FhirBdl5,
            path,
            what,
            "give the resource, or leave the entry out",
        );
    }
}

fn address(
    kind: &str,
    entry: &Node,
    seen: &mut BTreeSet<(String, Option<String>)>,
    path: &str,
    problems: &mut Problems,
) {
    let path = format!("{path}/fullUrl");
    let resource = entry.member("resource");
    let Some(url) = entry.text_of("fullUrl") else {
        // "The fullUrl element SHALL have a value except that: fullUrl can be empty on a POST …;
        // Results from operations might involve resources that are not identified"
        let asked = matches!(
            kind,
            "transaction" | "batch" | "transaction-response" | "batch-response"
        );
        if resource.is_some() && !asked {
            let what = "an entry without its full address".to_owned();
            let hint = "give fullUrl; only batch and transaction leave it out";
            problems.error(Code::FhirFullUrl, &path, what, hint);
        }
        return;
    };
    // "bdl-8: fullUrl cannot be a version specific reference"
    if url.contains("/_history/") {
        let what = format!("{url} names a version");
        problems.error(
            Code::FhirBdl8,
            &path,
            what,
            "give the address without _history",
        );
    }
    // "bdl-7: FullUrl must be unique in a bundle, or else entries with the same fullUrl must have
    // different meta.versionId (except in history bundles)"
    let version = resource.and_then(|one| one.at(&["meta", "versionId"])?.text());
    if kind != "history" && !seen.insert((url.to_owned(), version.map(str::to_owned))) {
        let what = format!("{url} stands twice");
        problems.error(
            Code::FhirBdl7,
            &path,
            what,
            "give each entry an address of its own",
        );
    }
    if let Some(resource) = resource {
        agrees(url, resource, &path, problems);
    }
}

/// "if the `fullUrl` does look like a `RESTful` server URL …, then the 'id' portion of the `fullUrl` SHALL
/// end with the Resource.id" (Bundle.entry.fullUrl)
fn agrees(url: &str, resource: &Node, path: &str, problems: &mut Problems) {
    let web = url.starts_with("http://") || url.starts_with("https://");
    let Some(kind) = resource.text_of("resourceType") else {
        return;
    };
    let id = resource.text_of("id");
    let mut steps = url.rsplit('/');
    let (last, before) = (steps.next(), steps.next());
    let names_a_type = before.is_some_and(|step| definitions().is_resource(step));
    if web && names_a_type && (last, before) != (id, Some(kind)) {
        let what = format!(
            "{url} is not the address of {kind}/{}",
            id.unwrap_or_default()
        );
        problems.error(Code::FhirFullUrl, path, what, "let address and id agree");
    }
}

fn document(node: &Node, path: &str, problems: &mut Problems) {
    let identifier = |member: &str| node.at(&["identifier", member]).is_some();
    // "bdl-9: A document must have an identifier with a system and a value"
    if !identifier("system") || !identifier("value") {
        let what = "a document has an identifier with system and value".to_owned();
        problems.error(
            Code::FhirBdl9,
            &format!("{path}/identifier"),
            what,
            "add it",
        );
    }
    // "bdl-10: A document must have a date"
    if node.member("timestamp").is_none() {
        let what = "a document has the time at which it was put together".to_owned();
        problems.error(
            Code::FhirBdl10,
            &format!("{path}/timestamp"),
            what,
            "add timestamp",
        );
    }
    // "bdl-11: A document must have a Composition as the first resource"
    if first(node) != Some("Composition") {
        let what = "the first entry of a document is a Composition".to_owned();
        problems.error(
            Code::FhirBdl11,
            &format!("{path}/entry"),
            what,
            "put it first",
        );
    }
}

fn first(node: &Node) -> Option<&str> {
    let entry = node.items_of("entry").first()?;
    entry.at(&["resource", "resourceType"])?.text()
}
