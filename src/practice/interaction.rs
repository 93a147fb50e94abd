//! Create, read, update, delete: one resource at a time.
//!
//! Owns: ids, version numbers, conditions, and that references hold.
//! In: a resource and an open transaction. Out: the stored version. Never: commits.

use crate::base::json::{Node, object, text};
use crate::practice::index;
use crate::practice::kind::Kind;
use crate::practice::outcome::{Fault, Issue};
use crate::practice::reference::{self, Aim, aim};
use crate::practice::rules;
use crate::practice::search::Search;
use crate::practice::store::{self, Stored};
use axum::http::StatusCode;
use chrono::{DateTime, SecondsFormat, Utc};
use sqlx::SqliteConnection;
use std::collections::BTreeMap;

/// What one request is done with.
#[derive(Debug)]
pub(super) struct Hand<'a> {
    /// The open transaction.
    pub(super) connection: &'a mut SqliteConnection,
    /// The address of this server.
    pub(super) base: &'a str,
    /// The instant of the request.
    pub(super) now: DateTime<Utc>,
}

/// What a create did.
#[derive(Debug)]
pub(super) enum Made {
    /// A new resource.
    New(Stored),
    /// The condition found this one, and nothing was stored.
    Found(Stored),
}

impl Hand<'_> {
    /// Creates a resource, unless its condition finds one.
    pub(super) async fn create(
        &mut self,
        kind: Kind,
        node: &Node,
        condition: Option<&Search>,
    ) -> Result<Made, Fault> {
        typed(kind, node)?;
        rules::check(kind, node)?;
        if let Some(condition) = condition
            && let Some(found) = self.only(kind, condition).await?
        {
            return Ok(Made::Found(found));
        }
        let stored = self.store(kind, &new_id(), 1, node).await?;
        self.hold(node).await?;
        Ok(Made::New(stored))
    }

    /// The one resource a condition finds.
    ///
    /// FHIR R4 (4.0.1), http.html#ccreate: "Multiple matches: The server returns a 412 Precondition
    /// Failed error indicating the client's criteria were not selective enough".
    pub(super) async fn only(
        &mut self,
        kind: Kind,
        condition: &Search,
    ) -> Result<Option<Stored>, Fault> {
        match *condition.run(self.connection).await?.as_slice() {
            [] => Ok(None),
            [number] => Ok(store::numbered(self.connection, kind, number).await?),
            _ => {
                let rule = "the condition finds more than one resource";
                Err(Fault::precondition("multiple-matches", rule))
            }
        }
    }

    /// Stores a new version of a resource that is there.
    pub(super) async fn update(
        &mut self,
        kind: Kind,
        id: &str,
        node: &Node,
        if_match: Option<&str>,
    ) -> Result<Stored, Fault> {
        typed(kind, node)?;
        // FHIR R4 (4.0.1), http.html#update: "The request body SHALL be a Resource with an id
        // element that has an identical value to the [id] in the URL. If no id element is
        // provided, or the id disagrees with the id in the URL, the server SHALL respond with an
        // HTTP 400 error code".
        if node.text_of("id") != Some(id) {
            let rule = "the id of the resource is not the id of the address";
            return Err(Fault::malformed(rule));
        }
        rules::check(kind, node)?;
        let current = store::current(self.connection, kind, id).await?;
        // "405 Method Not allowed - the resource did not exist prior to the update, and the server
        // does not allow client defined ids".
        let current = current.ok_or_else(|| {
            let rule = "no such resource, and a client may not choose an id";
            Fault::new(StatusCode::METHOD_NOT_ALLOWED, "not-supported", rule)
        })?;
        matches(&current, if_match)?;
        if current.body.is_none() {
            return Err(gone());
        }
        let next = current.version.saturating_add(1);
        let stored = self.store(kind, id, next, node).await?;
        self.hold(node).await?;
        Ok(stored)
    }

    /// Deletes a resource nothing refers to; its versions stay.
    ///
    /// FHIR R4 (4.0.1), http.html#delete: "Upon successful deletion, or if the resource does not
    /// exist at all, the server should return" 200, 204 or 202, and "409 Conflict" where "reasons
    /// specific to that resource, such as referential integrity" forbid it.
    pub(super) async fn delete(&mut self, kind: Kind, id: &str) -> Result<Option<Stored>, Fault> {
        let current = store::current(self.connection, kind, id).await?;
        let Some(current) = current.filter(|current| current.body.is_some()) else {
            return Ok(None);
        };
        if store::referred_to(self.connection, kind, id).await? {
            let rule = "another resource refers to this one";
            return Err(Fault::new(StatusCode::CONFLICT, "conflict", rule));
        }
        let deletion = Stored {
            version: current.version.saturating_add(1),
            updated: instant(self.now),
            method: "DELETE".to_owned(),
            body: None,
            ..current
        };
        self.insert(&deletion).await?;
        store::index(self.connection, kind, id, &[]).await?;
        Ok(Some(deletion))
    }

    /// The current version: 404 where there never was one, 410 where it is deleted.
    pub(super) async fn current(&mut self, kind: Kind, id: &str) -> Result<Stored, Fault> {
        let current = store::current(self.connection, kind, id).await?;
        let current = current.ok_or_else(|| Fault::unknown("no such resource"))?;
        if current.body.is_none() {
            return Err(gone());
        }
        Ok(current)
    }

    /// Stores a version under an id, with its index.
    pub(super) async fn store(
        &mut self,
        kind: Kind,
        id: &str,
        version: i64,
        node: &Node,
    ) -> Result<Stored, Fault> {
        let updated = instant(self.now);
        let method = if version == 1 { "POST" } else { "PUT" };
        let stored = Stored {
            kind,
            id: id.to_owned(),
            version,
            body: Some(stamped(node, id, version, &updated).compact()),
            updated,
            method: method.to_owned(),
        };
        self.insert(&stored).await?;
        let rows = index::rows(kind, node, self.base);
        store::index(self.connection, kind, id, &rows).await?;
        Ok(stored)
    }

    /// Refuses a resource with a reference that leads nowhere.
    pub(super) async fn hold(&mut self, node: &Node) -> Result<(), Fault> {
        let mut issues = Vec::new();
        for (path, text) in reference::all(node) {
            let rule = match aim(text, self.base) {
                Aim::Elsewhere => continue,
                Aim::Here(kind, id) => {
                    let there = store::current(self.connection, kind, &id).await?;
                    if there.is_some_and(|there| there.body.is_some()) {
                        continue;
                    }
                    "refers to a resource that is not on this server"
                }
                Aim::Nowhere => "not a reference to a type that this server keeps",
                Aim::Placeholder => "a placeholder that no entry of the same transaction resolves",
                Aim::Conditional => "a search in place of a reference is for transactions only",
            };
            issues.push(Issue::at("not-found", path, rule));
        }
        if issues.is_empty() {
            Ok(())
        } else {
            Err(Fault::unprocessable(issues))
        }
    }

    /// Finds what stands behind the searches that a resource of a transaction has for references.
    ///
    /// FHIR R4 (4.0.1), http.html#trules: "if there are no matches, or multiple matches, the
    /// transaction fails". They are resolved before anything of the transaction is stored; a
    /// resource of the same transaction is referred to by its `fullUrl`.
    pub(super) async fn resolve(&mut self, node: &Node) -> Result<BTreeMap<String, String>, Fault> {
        let (mut found, mut issues) = (BTreeMap::new(), Vec::new());
        for (path, text) in reference::all(node) {
            if aim(text, self.base) != Aim::Conditional {
                continue;
            }
            let name = text.split_once('?');
            let target = match name.and_then(|(name, query)| Some((Kind::named(name)?, query))) {
                Some((kind, query)) => {
                    let search = Search::condition(kind, query, self.base)?;
                    self.only(kind, &search).await?
                }
                None => None,
            };
            match target {
                Some(target) => {
                    let to = format!("{}/{}", target.kind.name(), target.id);
                    found.insert(text.to_owned(), to);
                }
                None => issues.push(Issue::at("not-found", path, "the search finds nothing")),
            }
        }
        if issues.is_empty() {
            Ok(found)
        } else {
            Err(Fault::precondition_of(issues))
        }
    }

    async fn insert(&mut self, stored: &Stored) -> Result<(), Fault> {
        if store::insert(self.connection, stored).await? {
            return Ok(());
        }
        let rule = "another request changed this resource meanwhile";
        Err(Fault::new(StatusCode::CONFLICT, "conflict", rule))
    }
}

/// A new id.
pub(super) fn new_id() -> String {
    uuid::Uuid::new_v4().to_string()
}

/// The resource of a stored version.
pub(super) fn node(stored: &Stored) -> Result<Option<Node>, Fault> {
    let parse = |body: &String| {
        Node::parse(body).map_err(|cause| {
            tracing::error!(error = %cause, "practice store holds what is not JSON");
            let status = StatusCode::INTERNAL_SERVER_ERROR;
            Fault::new(status, "exception", "a stored resource cannot be read")
        })
    };
    stored.body.as_ref().map(parse).transpose()
}

/// Refuses a version that is not the one the client knows.
///
/// FHIR R4 (4.0.1), http.html#concurrency: "If the version id given in the If-Match header does
/// not match, the server returns a 412 Precondition Failed status code instead of updating".
fn matches(current: &Stored, if_match: Option<&str>) -> Result<(), Fault> {
    let Some(tag) = if_match.map(str::trim) else {
        return Ok(());
    };
    let quoted = tag.strip_prefix("W/").unwrap_or(tag);
    let version = quoted
        .strip_prefix('"')
        .and_then(|rest| rest.strip_suffix('"'));
    match version {
        Some(version) if version == current.version.to_string() => Ok(()),
        Some(_) => Err(Fault::precondition(
            "conflict",
            "If-Match names a version that is not the current one",
        )),
        None if tag == "*" => Ok(()),
        None => Err(Fault::malformed("If-Match: expected W/\"[version]\"")),
    }
}

fn typed(kind: Kind, node: &Node) -> Result<(), Fault> {
    if rules::kind_of(node)? == kind {
        return Ok(());
    }
    Err(Fault::malformed(
        "resourceType is not the type of the address",
    ))
}

fn gone() -> Fault {
    Fault::new(StatusCode::GONE, "deleted", "this resource is deleted")
}

fn instant(now: DateTime<Utc>) -> String {
    now.to_rfc3339_opts(SecondsFormat::Millis, true)
}

/// The resource as it is stored, with the id, version and time this server gives it.
fn stamped(node: &Node, id: &str, version: i64, updated: &str) -> Node {
    let mut meta = object([
        ("versionId", text(version.to_string())),
        ("lastUpdated", text(updated)),
    ]);
    let old = node.member("meta").map_or(&[][..], Node::members);
    for (key, value) in old {
        if key != "versionId" && key != "lastUpdated" {
            meta.set(key, value.clone());
        }
    }
    let name = node.text_of("resourceType").unwrap_or_default();
    let mut stamped = object([
        ("resourceType", text(name)),
        ("id", text(id)),
        ("meta", meta),
    ]);
    for (key, value) in node.members() {
        if !matches!(key.as_ref(), "resourceType" | "id" | "meta") {
            stamped.set(key, value.clone());
        }
    }
    stamped
}
