//! As which FHIR resource.
//!
//! Owns: the narrow part of FHIR R4 we emit, and building it. In: coded statements. Out: a
//! [`Record`]: a panel, its members, instruments and one Provenance. Never: applies the rules of a
//! profile, sends, reads a clock.

pub mod amend;
mod build;
pub mod fitted;
mod parts;
mod r4;
mod report;
pub mod status;

use crate::base::json::tree::NoTree;
use crate::base::json::{Node, object, text};
use crate::base::private::Private;
use crate::examination::finding::Session;
use crate::examination::intake::kept::NotRead;
use crate::fhir::coding::Coded;
use crate::fhir::summary::Summary;
use crate::tables::catalogue::Catalogue;
use percent_encoding::{AsciiSet, NON_ALPHANUMERIC, utf8_percent_encode};
use uuid::Uuid;

/// Namespace of identifiers that are URIs (RFC 3986), as FHIR names it: identifier-registry.html.
pub const URI_SYSTEM: &str = "urn:ietf:rfc:3986";

/// The type of the report: the one resource of a record that a target may do without.
pub const REPORT: &str = "DiagnosticReport";

/// True for types that a correction replaces: each carries an identifier of ours.
pub fn is_corrected(kind: &str) -> bool {
    matches!(kind, "Observation" | REPORT)
}

/// One resource of a record, as JSON.
#[derive(Clone, PartialEq, Eq)]
pub struct Entry {
    /// `urn:uuid:…`, unique in the record.
    pub full_url: String,
    /// Resource type.
    pub kind: &'static str,
    /// Namespace and value by which the record server is searched for it; a Provenance has none
    /// in R4.
    pub identifier: Option<(String, Private<String>)>,
    /// JSON Pointer of the finding or precaution it comes from, where it comes from one.
    pub path: Option<String>,
    /// The resource.
    pub resource: Node,
}

impl std::fmt::Debug for Entry {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(formatter, "{} {} [private]", self.kind, self.full_url)
    }
}

/// Everything one version of a session becomes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Record {
    /// The session.
    pub session: Uuid,
    /// Its version.
    pub version: u32,
    /// The system it was written in.
    pub source: String,
    /// Namespace and value by which the person is found.
    pub patient: (String, Private<String>),
    /// True for invented people.
    pub test_data: bool,
    /// The resources: instruments, findings, derived results, precautions, statements, report, panel,
    /// Provenance.
    pub entries: Vec<Entry>,
}

/// Builds the record of a session.
///
/// # Errors
/// [`NoTree`] should a resource not serialise, which the tests hold it does.
pub fn build(
    session: &Session,
    coded: &[Coded],
    summary: &Summary,
    catalogue: &Catalogue,
) -> Result<Record, NoTree> {
    build::record(session, coded, summary, catalogue)
}

/// The identifier of a statement: a UUID over source, session, identity and role, each preceded by
/// its length. No table key, name, record number or birth date enters it.
pub fn identifier_of(source: &str, session: Uuid, id: Uuid, role: &str) -> Uuid {
    let parts = [source, &session.to_string(), &id.to_string(), role];
    crate::examination::finding::derived_identity("record", &parts)
}

impl Record {
    /// The record as a transaction Bundle with conditional creates, subject and performers by
    /// identifier: what `encode` writes, and what delivery starts from.
    pub fn bundle(&self) -> Node {
        let entries = self.entries.iter().map(|entry| {
            object([
                ("fullUrl", text(entry.full_url.clone())),
                ("resource", entry.resource.clone()),
                ("request", self.request(entry)),
            ])
        });
        let mut bundle = self.head();
        bundle.set("entry", Node::List(entries.collect()));
        bundle
    }

    /// The text of [`Self::bundle`] without white space, written without a copy of every resource.
    pub fn text(&self) -> String {
        self.written(&self.entries.iter().collect::<Vec<_>>())
    }

    /// The same without the report, for whoever is not to have one.
    pub fn text_without_report(&self) -> String {
        let provenance = self
            .entries
            .iter()
            .filter(|entry| entry.kind == "Provenance");
        let mut changed: Vec<Entry> = provenance.cloned().collect();
        for entry in &mut changed {
            forget_report(&mut entry.resource);
        }
        let kept = self.entries.iter();
        let kept = kept.filter(|entry| entry.kind != REPORT && entry.kind != "Provenance");
        self.written(&kept.chain(&changed).collect::<Vec<_>>())
    }

    fn written(&self, entries: &[&Entry]) -> String {
        let mut out = self.head().compact();
        out.pop();
        out.push_str(r#","entry":["#);
        for (index, entry) in entries.iter().enumerate() {
            out.push_str(if index == 0 { "" } else { "," });
            out.push_str(r#"{"fullUrl":"#);
            text(entry.full_url.as_str()).add_to(&mut out);
            out.push_str(r#","resource":"#);
            entry.resource.add_to(&mut out);
            out.push_str(r#","request":"#);
            self.request(entry).add_to(&mut out);
            out.push('}');
        }
        out.push_str("]}");
        out
    }

    /// The Bundle without its entries.
    fn head(&self) -> Node {
        let mut head = object([("resourceType", text("Bundle"))]);
        if self.test_data {
            head.set("meta", test_meta());
        }
        head.set("type", text("transaction"));
        head
    }
}

impl Record {
    /// A first version is created unless it is there; a later one takes the place of the resource
    /// with the same identifier (FHIR R4, http.html#cond-update). Instruments are only created.
    fn request(&self, entry: &Entry) -> Node {
        let identified = entry
            .identifier
            .as_ref()
            .map(|(system, value)| if_none_exist(system, value.open()));
        let condition = identified.or_else(|| tagged(&entry.resource));
        let mut request = vec![("method", text("POST")), ("url", text(entry.kind))];
        match condition {
            Some(condition) if self.version > 1 && is_corrected(entry.kind) => {
                let address = format!("{}?{condition}", entry.kind);
                request = vec![("method", text("PUT")), ("url", text(address))];
            }
            Some(condition) => request.push(("ifNoneExist", text(condition))),
            None => {}
        }
        object(request)
    }
}

/// The entries of a kept record, read back from its Bundle: all of them, or none.
///
/// # Errors
/// [`NotRead`] when the text is not what we wrote.
pub fn entries_of(bundle: &str) -> Result<Vec<Entry>, NotRead> {
    let bundle = Node::parse(bundle)?;
    let entry = |entry: &Node| {
        let resource = entry.member("resource");
        let resource = resource.ok_or(NotRead::Lacks("the resource of an entry"))?;
        let kind = ["Observation", "Device", "Provenance", REPORT]
            .into_iter()
            .find(|kind| resource.text_of("resourceType") == Some(kind))
            .ok_or(NotRead::Lacks("the kind of a resource"))?;
        let identifier = resource
            .items_of("identifier")
            .first()
            .and_then(|identifier| {
                let value = Private::new(identifier.text_of("value")?.to_owned());
                Some((identifier.text_of("system")?.to_owned(), value))
            });
        let full_url = entry.text_of("fullUrl");
        let full_url = full_url.ok_or(NotRead::Lacks("the full URL of an entry"))?;
        Ok(Entry {
            full_url: full_url.to_owned(),
            kind,
            identifier,
            path: None,
            resource: resource.clone(),
        })
    };
    match bundle.items_of("entry") {
        [] => Err(NotRead::Lacks("entries")),
        entries => entries.iter().map(entry).collect(),
    }
}

/// The Bundle of a record without its report, for a target that is not to have one; nothing else
/// speaks of it but the Provenance.
pub fn without_report(bundle: &Node) -> Node {
    let mut bundle = bundle.clone();
    if let Some(Node::List(entries)) = bundle.member_mut("entry") {
        entries.retain(|entry| {
            let kind = entry.at(&["resource", "resourceType"]).and_then(Node::text);
            kind != Some(REPORT)
        });
        let resources = entries.iter_mut();
        resources
            .filter_map(|entry| entry.member_mut("resource"))
            .for_each(forget_report);
    }
    bundle
}

/// Takes the report out of what a Provenance is about.
fn forget_report(resource: &mut Node) {
    if let Some(Node::List(targets)) = resource.member_mut("target") {
        targets.retain(|target| target.text_of("type") != Some(REPORT));
    }
}

/// "ifNoneExist: this is what follows the '?', not including the '?' itself" (FHIR R4, Bundle);
/// the bar between namespace and value is percent-encoded, as some servers ask.
pub fn if_none_exist(system: &str, value: &str) -> String {
    format!("identifier={}%7C{}", percent(system), percent(value))
}

/// A Provenance has no identifier in R4, but every resource has tags, and `_tag` is a search
/// parameter of every resource (FHIR R4, search.html#all): its tag makes its creation conditional.
pub fn tagged(resource: &Node) -> Option<String> {
    let tags = resource.at(&["meta", "tag"])?.items();
    let tag = tags
        .iter()
        .find(|tag| tag.text_of("system") == Some(URI_SYSTEM))?;
    let code = tag.text_of("code")?;
    Some(format!("_tag={}%7C{}", percent(URI_SYSTEM), percent(code)))
}

/// Everything but the unreserved characters of RFC 3986, section 2.3.
const RESERVED: &AsciiSet = &NON_ALPHANUMERIC
    .remove(b'-')
    .remove(b'.')
    .remove(b'_')
    .remove(b'~');

/// Percent-encodes what is no unreserved character.
pub fn percent(text: &str) -> String {
    utf8_percent_encode(text, RESERVED).to_string()
}

/// Marks what is about invented people (v3-ActReason HTEST, test health data).
fn test_meta() -> Node {
    let tag = object([
        (
            "system",
            text("http://terminology.hl7.org/CodeSystem/v3-ActReason"),
        ),
        ("code", text("HTEST")),
        ("display", text("test health data")),
    ]);
    object([("tag", Node::List(vec![tag]))])
}
