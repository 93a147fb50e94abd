//! The Bundles this server answers with.
//!
//! Owns: searchset and history. In: stored versions. Out: a Bundle. Never: stores or searches.

use crate::base::json::{Node, object, text};
use crate::practice::interaction;
use crate::practice::kind::Kind;
use crate::practice::outcome::Fault;
use crate::practice::search::Search;
use crate::practice::store::Stored;
use reqwest::Url;

/// One page of what a search found.
#[derive(Debug)]
pub(super) struct Page {
    /// How many there are on all pages.
    pub(super) total: usize,
    /// Those of this page.
    pub(super) resources: Vec<Stored>,
    /// The number of the last of them, where another page follows.
    pub(super) next: Option<i64>,
}

/// The Bundle of a search.
pub(super) fn searchset(
    kind: Kind,
    search: &Search,
    page: &Page,
    base: &str,
) -> Result<Node, Fault> {
    let address = |after: i64| -> Result<String, Fault> {
        let mut url = Url::parse(&format!("{base}/{}", kind.name()))
            .map_err(|cause| Fault::malformed(format!("Host: {cause}")))?;
        for (name, value) in &search.sent {
            url.query_pairs_mut().append_pair(name, value);
        }
        let count = search.count.to_string();
        url.query_pairs_mut().append_pair("_count", &count);
        if after > 0 {
            let after = after.to_string();
            url.query_pairs_mut().append_pair("_after", &after);
        }
        Ok(url.into())
    };
    let mut links = vec![link("self", &address(search.after)?)];
    if let Some(next) = page.next {
        links.push(link("next", &address(next)?));
    }
    let mut entries = Vec::new();
    for stored in &page.resources {
        if let Some(resource) = interaction::node(stored)? {
            let matched = object([("mode", text("match"))]);
            entries.push(object([
                ("fullUrl", text(full_url(stored, base))),
                ("resource", resource),
                ("search", matched),
            ]));
        }
    }
    Ok(of("searchset", page.total, links, entries))
}

/// The Bundle of a history, the newest version first.
pub(super) fn history(versions: &[Stored], address: &str, base: &str) -> Result<Node, Fault> {
    let mut entries = Vec::new();
    for stored in versions {
        let name = stored.kind.name();
        // FHIR R4 (4.0.1), http.html#history: the request is the one that made the version.
        let url = if stored.method == "POST" {
            name.to_owned()
        } else {
            format!("{name}/{}", stored.id)
        };
        let mut entry = vec![("fullUrl", text(full_url(stored, base)))];
        if let Some(resource) = interaction::node(stored)? {
            entry.push(("resource", resource));
        }
        let request = object([("method", text(&stored.method)), ("url", text(url))]);
        entry.push(("request", request));
        entry.push(("response", response(status(stored), stored)));
        entries.push(object(entry));
    }
    let links = vec![link("self", address)];
    Ok(of("history", versions.len(), links, entries))
}

/// What one entry answers: status, location, version and time.
pub(super) fn response(status: &str, stored: &Stored) -> Node {
    object([
        ("status", text(status)),
        ("location", text(location(stored))),
        ("etag", text(etag(stored))),
        ("lastModified", text(&stored.updated)),
    ])
}

/// The address of a version, below the address of the server.
pub(super) fn location(stored: &Stored) -> String {
    let (kind, id, version) = (stored.kind.name(), &stored.id, stored.version);
    format!("{kind}/{id}/_history/{version}")
}

/// FHIR R4 (4.0.1), http.html#versioning: version ids are given as weak tags.
pub(super) fn etag(stored: &Stored) -> String {
    format!("W/\"{}\"", stored.version)
}

fn status(stored: &Stored) -> &'static str {
    match stored.method.as_str() {
        "POST" => "201 Created",
        "DELETE" => "204 No Content",
        _ => "200 OK",
    }
}

fn full_url(stored: &Stored, base: &str) -> String {
    format!("{base}/{}/{}", stored.kind.name(), stored.id)
}

fn link(relation: &str, url: &str) -> Node {
    object([("relation", text(relation)), ("url", text(url))])
}

/// An empty array is no FHIR, so a Bundle without entries has none at all.
fn of(kind: &str, total: usize, links: Vec<Node>, entries: Vec<Node>) -> Node {
    let mut bundle = object([
        ("resourceType", text("Bundle")),
        ("type", text(kind)),
        ("total", Node::Number(total.to_string())),
        ("link", Node::List(links)),
    ]);
    if !entries.is_empty() {
        bundle.set("entry", Node::List(entries));
    }
    bundle
}
