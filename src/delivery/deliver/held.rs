//! What the record server already holds of a record.

use crate::base::json::Node;
use crate::base::private::Private;
use crate::delivery::deliver::http::{Answer, Connection};
use crate::delivery::deliver::unanswered::Silence;
use crate::fhir::record::percent;
use std::collections::{BTreeMap, BTreeSet};

/// Identifiers asked for in one search, as far as a page of the server holds as many: some give no more
/// than 50 at a time, whatever is asked for.
const AT_ONCE: usize = 50;

const PROVENANCE: &str = "Provenance";

/// More Provenances than any session has versions and resources are no answer to what was asked.
const MOST_PROVENANCES: usize = 1000;

/// A resource the server holds.
#[derive(Debug, Clone)]
pub(super) struct Held {
    /// `Type/id`.
    pub(super) reference: String,
    /// `meta.versionId`.
    pub(super) version: Option<String>,
    /// The resource.
    pub(super) resource: Node,
}

/// Why looking did not work. Nothing was sent by it.
#[derive(Debug, Clone)]
pub(super) enum Trouble {
    /// No answer.
    Silence(Silence),
    /// An answer that is none to a search.
    Answer(Answer),
    /// The server holds several resources under one identifier.
    Several(String),
}

impl From<Silence> for Trouble {
    fn from(silence: Silence) -> Self {
        Self::Silence(silence)
    }
}

/// Resources by `system|value` of their identifiers.
pub(super) type Found = BTreeMap<String, Held>;

/// Finds the resources of one type that carry one of these identifiers; several under one
/// identifier are an alarm, not a choice.
pub(super) async fn find(
    connection: &Connection,
    kind: &str,
    identifiers: &[(String, String)],
) -> Result<Found, Trouble> {
    Ok(found(connection, kind, identifiers, false).await?.0)
}

/// The same of Observations, and the Provenances that target them, as far as the server gives them with
/// these: one search in the place of two (FHIR R4, search.html#revinclude).
pub(super) async fn observations_with_provenances(
    connection: &Connection,
    identifiers: &[(String, String)],
) -> Result<(Found, Vec<Node>), Trouble> {
    found(connection, "Observation", identifiers, true).await
}

async fn found(
    connection: &Connection,
    kind: &str,
    identifiers: &[(String, String)],
    mut with_provenances: bool,
) -> Result<(Found, Vec<Node>), Trouble> {
    let (mut found, mut provenances) = (Found::new(), Vec::new());
    let at_once = connection.learned().page().min(AT_ONCE);
    let mut left: Vec<&[(String, String)]> = identifiers.chunks(at_once).rev().collect();
    while let Some(chunk) = left.pop() {
        let values: Vec<String> = chunk
            .iter()
            .map(|(system, value)| token(system, value))
            .collect();
        let mut form = format!("identifier={}&_count=200", percent(&values.join(",")));
        with_provenances &= connection.learned().includes();
        if with_provenances {
            form.push_str("&_revinclude=Provenance:target");
        }
        let answer = connection.search(kind, &form).await?;
        if with_provenances && matches!(answer.status, 400 | 403 | 404 | 422 | 501) {
            // It does not give the one with the other; what is wrong besides shows without it.
            connection.learned().gives_no_includes();
            left.push(chunk);
            continue;
        }
        if chunk.len() > 1 && has_next(&answer) {
            // Less than was asked for fits into a page of this server.
            let half = chunk.len().div_ceil(2);
            connection.learned().shows_at_most(half);
            let (first, second) = chunk.split_at(half);
            left.extend([second, first]);
            continue;
        }
        let Some(resources) = matching(&answer, kind) else {
            return Err(Trouble::Answer(answer));
        };
        if with_provenances {
            let Some(given) = matching(&answer, PROVENANCE) else {
                return Err(Trouble::Answer(answer));
            };
            provenances.extend(given.into_iter().cloned());
        }
        if provenances.len() > MOST_PROVENANCES {
            return Err(Trouble::Answer(answer));
        }
        let asked = chunk.iter();
        let asked: BTreeSet<String> = asked
            .map(|(system, value)| format!("{system}|{value}"))
            .collect();
        for resource in resources {
            for key in keys_of(resource) {
                if asked.contains(&key) && found.insert(key.clone(), held(kind, resource)).is_some()
                {
                    return Err(Trouble::Several(key));
                }
            }
        }
    }
    Ok((found, provenances))
}

/// The Provenance of one version of a session, found by the panel it targets: in R4 a Provenance
/// has no identifier of its own.
pub(super) async fn provenance(
    connection: &Connection,
    panel: &str,
    session_version: &str,
) -> Result<Option<Held>, Trouble> {
    let form = format!("target={}&_count=200", percent(panel));
    let found = search(connection, PROVENANCE, &form).await?;
    provenance_of(&found, session_version)
}

/// The Provenance of one version of a session among others.
pub(super) fn provenance_of(
    found: &[Node],
    session_version: &str,
) -> Result<Option<Held>, Trouble> {
    let of_version = |resource: &Node| {
        resource.items_of("entity").iter().any(|entity| {
            let value = entity
                .at(&["what", "identifier", "value"])
                .and_then(Node::text);
            value == Some(session_version)
        })
    };
    let mut of_it: BTreeMap<&str, &Node> = BTreeMap::new();
    for resource in found.iter().filter(|resource| of_version(resource)) {
        // One that targets several of those found may stand in several pages.
        of_it.insert(resource.text_of("id").unwrap_or_default(), resource);
    }
    let mut of_it = of_it.into_values();
    match (of_it.next(), of_it.next()) {
        (first, None) => Ok(first.map(|resource| held(PROVENANCE, resource))),
        (_, Some(_)) => Err(Trouble::Several(format!("Provenance of {session_version}"))),
    }
}

/// Searches and gives the matches; a page that has a next one is not the whole truth.
pub(super) async fn search(
    connection: &Connection,
    kind: &str,
    form: &str,
) -> Result<Vec<Node>, Trouble> {
    let answer = connection.search(kind, form).await?;
    matches(answer, kind).map_err(Trouble::Answer)
}

/// The resources of one type in the answer to a search, taken out of it.
///
/// # Errors
/// The answer when it is no whole answer, or when one of them cannot be referred to.
pub fn matches(mut answer: Answer, kind: &str) -> Result<Vec<Node>, Answer> {
    if matching(&answer, kind).is_none() {
        return Err(answer);
    }
    let mut found = Vec::new();
    let mut bundle = answer.body.take().map_or(Node::Null, Private::opened);
    for entry in bundle
        .member_mut("entry")
        .map(Node::items_mut)
        .unwrap_or_default()
    {
        let of_kind = |one: &&mut Node| one.text_of("resourceType") == Some(kind);
        let resource = entry.member_mut("resource").filter(of_kind);
        found.extend(resource.map(|one| std::mem::replace(one, Node::Null)));
    }
    Ok(found)
}

/// The resources of one type in the answer to a search; nothing when it is no whole answer, or when
/// one of them cannot be referred to.
fn matching<'a>(answer: &'a Answer, kind: &str) -> Option<Vec<&'a Node>> {
    let body = answer.body.as_ref().map(Private::open);
    let bundle = body.filter(|body| {
        (200..300).contains(&answer.status) && body.text_of("resourceType") == Some("Bundle")
    })?;
    if next_of(bundle) {
        return None;
    }
    let resources = bundle
        .items_of("entry")
        .iter()
        .filter_map(|entry| entry.member("resource"));
    let of_kind = resources.filter(|resource| resource.text_of("resourceType") == Some(kind));
    let referable = |resource: &Node| resource.text_of("id").is_some_and(is_id);
    of_kind
        .map(|resource| referable(resource).then_some(resource))
        .collect()
}

/// True for one page of an answer, where there are more.
fn has_next(answer: &Answer) -> bool {
    let body = answer.body.as_ref().map(Private::open);
    (200..300).contains(&answer.status) && body.is_some_and(next_of)
}

fn next_of(bundle: &Node) -> bool {
    let mut links = bundle.items_of("link").iter();
    links.any(|link| link.text_of("relation") == Some("next"))
}

/// `[A-Za-z0-9\-\.]{1,64}` (FHIR R4 4.0.1, datatypes.html#id): what a server calls a resource goes
/// into references and addresses, so nothing else may pass for it.
pub(super) fn is_id(text: &str) -> bool {
    let legal = |byte: u8| byte.is_ascii_alphanumeric() || b"-.".contains(&byte);
    (1..=64).contains(&text.len()) && text.bytes().all(legal)
}

/// A search token; `,`, `|` and `$` in its parts are escaped (FHIR R4, search.html#escaping).
pub(super) fn token(system: &str, value: &str) -> String {
    let escape = |part: &str| {
        part.replace('\\', "\\\\")
            .replace(',', "\\,")
            .replace('|', "\\|")
            .replace('$', "\\$")
    };
    format!("{}|{}", escape(system), escape(value))
}

fn keys_of(resource: &Node) -> Vec<String> {
    let identifiers = resource.items_of("identifier").iter();
    let key = |identifier: &Node| {
        Some(format!(
            "{}|{}",
            identifier.text_of("system")?,
            identifier.text_of("value")?
        ))
    };
    identifiers.filter_map(key).collect()
}

fn held(kind: &str, resource: &Node) -> Held {
    let version = resource.at(&["meta", "versionId"]).and_then(Node::text);
    Held {
        reference: format!("{kind}/{}", resource.text_of("id").unwrap_or_default()),
        version: version.map(str::to_owned),
        resource: resource.clone(),
    }
}
