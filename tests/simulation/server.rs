#![cfg(test)]
//! The record server of the simulation: a small model of FHIR R4 that keeps what transactions,
//! conditional creates, versions and searches promise, and shows what it stored in a search only after
//! a while.
//!
//! It is a model, because a database behind it would cost ten times the time, and because it has to be
//! slow to index, which no server can be told to be. What it promises is what `tests/contract` asks of
//! the practice server and of a real one.

use crate::scenario::Searches;
use crate::sessions::{PEOPLE, identifier, says};
use fascicle::base::json::{Node, object, text};
use reqwest::Url;
use std::collections::BTreeMap;

/// What kind of server it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    /// It honours conditional creates, whatever it shows in a search.
    Conditional,
    /// It stores what it is sent: nothing but the search protects from storing a thing twice.
    Plain,
}

/// What it makes of the wish to get with what is found what refers to it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Includes {
    /// It obeys.
    Given,
    /// It gives nothing.
    Ignored,
    /// It refuses the search.
    Refused,
}

/// A resource with its versions.
#[derive(Debug)]
pub(crate) struct Stored {
    pub(crate) kind: String,
    pub(crate) id: String,
    pub(crate) version: usize,
    pub(crate) resource: Node,
    /// From when on a search shows it.
    shows: u64,
}

/// Something that was stored, in the order in which it was.
#[derive(Debug)]
pub(crate) struct Write {
    pub(crate) kind: String,
    /// The identifier of an Observation, what a Provenance is about.
    pub(crate) about: String,
    /// What it says.
    pub(crate) says: String,
}

/// The server.
#[derive(Debug)]
pub(crate) struct Server {
    kind: Kind,
    searches: Searches,
    stored: Vec<Stored>,
    writes: Vec<Write>,
    /// Identifiers that it refuses to store.
    refuses: Vec<String>,
}

/// An answer: a status and a body.
pub(crate) type Answer = (u16, Node);

/// One thing that is to be stored.
enum Entry<'a> {
    Create(&'a str, Option<&'a str>, Node),
    Replace(&'a str, Option<&'a str>, Node),
}

impl Server {
    pub(crate) fn new((kind, searches): (Kind, Searches), refuses: Vec<String>) -> Self {
        let patients = (0..PEOPLE).map(|person| Stored {
            kind: "Patient".to_owned(),
            id: format!("p{person}"),
            version: 1,
            resource: patient(person),
            shows: 0,
        });
        Self {
            kind,
            searches,
            stored: patients.collect(),
            writes: Vec::new(),
            refuses,
        }
    }

    /// Everything that is stored of one type.
    pub(crate) fn of<'a>(&'a self, kind: &'a str) -> impl Iterator<Item = &'a Stored> {
        self.stored.iter().filter(move |one| one.kind == kind)
    }

    /// Everything that was written.
    pub(crate) fn writes(&self) -> &[Write] {
        &self.writes
    }

    /// Does what a request asks for; what it stores shows from this time on.
    pub(crate) fn answer(
        &mut self,
        (method, path): (&str, &str),
        header: impl Fn(&str) -> Option<String>,
        body: &str,
        (now, shows): (u64, u64),
    ) -> Answer {
        if let Some(kind) = path.strip_suffix("/_search") {
            let with = body.contains("_revinclude=");
            if with && self.searches.includes == Includes::Refused {
                return outcome(400, "nothing is known of searching by _revinclude");
            }
            return (200, self.search(kind.trim_start_matches('/'), body, now));
        }
        let Ok(node) = Node::parse(body) else {
            return outcome(400, "no JSON");
        };
        if path.is_empty() {
            return self.bundle(&node, shows);
        }
        let path = path.trim_start_matches('/');
        let condition = header("if-none-exist");
        let if_match = header("if-match");
        let entry = if method == "PUT" {
            Entry::Replace(path, if_match.as_deref(), node)
        } else {
            Entry::Create(path, condition.as_deref(), node)
        };
        match self.holds(&entry) {
            Err(refused) => refused,
            Ok(found) => {
                let (status, at) = self.store(entry, found, shows);
                (status, self.shown(at))
            }
        }
    }

    fn bundle(&mut self, bundle: &Node, shows: u64) -> Answer {
        let entries = bundle.items_of("entry");
        if bundle.text_of("type") == Some("batch") {
            let mut answers = Vec::new();
            for entry in entries {
                let read = read(entry, entry.member("resource").cloned());
                answers.push(match self.holds(&read) {
                    Err((status, said)) => response(status, None, Some(said)),
                    Ok(found) => {
                        let (status, at) = self.store(read, found, shows);
                        response(status, Some(&self.stored[at]), None)
                    }
                });
            }
            return answered("batch-response", answers);
        }
        // "servers SHALL either accept all actions […] or reject all resources"
        // (FHIR R4, http.html#trules).
        let mut found = Vec::new();
        for entry in entries {
            match self.holds(&read(entry, entry.member("resource").cloned())) {
                Ok(one) => found.push(one),
                Err(refused) => return refused,
            }
        }
        let mut names = BTreeMap::new();
        let mut next = self.stored.len();
        for (entry, found) in entries.iter().zip(&found) {
            let at = found.unwrap_or(next);
            next += usize::from(found.is_none());
            let kind = entry.at(&["resource", "resourceType"]).and_then(Node::text);
            let (url, kind) = (entry.text_of("fullUrl"), kind.expect("a type"));
            let id = self
                .stored
                .get(at)
                .map_or(format!("r{at}"), |one| one.id.clone());
            names.insert(url.expect("a fullUrl").to_owned(), format!("{kind}/{id}"));
        }
        let mut answers = Vec::new();
        for (entry, found) in entries.iter().zip(found) {
            let mut resource = entry.member("resource").cloned().expect("a resource");
            resolve(&mut resource, &names);
            let (status, at) = self.store(read(entry, Some(resource)), found, shows);
            answers.push(response(status, Some(&self.stored[at]), None));
        }
        answered("transaction-response", answers)
    }

    /// Whether an entry may be stored, and which resource it finds in its place.
    fn holds(&self, entry: &Entry<'_>) -> Result<Option<usize>, Answer> {
        let resource = match entry {
            Entry::Create(_, _, resource) | Entry::Replace(_, _, resource) => resource,
        };
        let about = about(resource);
        if self.refuses.contains(&about) {
            return Err(outcome(422, "this server refuses it"));
        }
        match entry {
            Entry::Create(kind, Some(condition), _) if self.kind == Kind::Conditional => {
                let found = self.matching(kind, condition, u64::MAX);
                match found.as_slice() {
                    [] => Ok(None),
                    [only] => Ok(Some(*only)),
                    _ => Err(outcome(412, "several fit the condition")),
                }
            }
            Entry::Create(..) => Ok(None),
            Entry::Replace(reference, if_match, _) => {
                let found = self.stored.iter().position(|one| {
                    let (kind, id) = (&one.kind, &one.id);
                    format!("{kind}/{id}") == *reference
                });
                let Some(at) = found else {
                    return Err(outcome(404, "nothing to replace"));
                };
                let version = format!("W/\"{}\"", self.stored[at].version);
                if if_match.is_some_and(|wanted| wanted != version) {
                    return Err(outcome(412, "another version"));
                }
                Ok(Some(at))
            }
        }
    }

    fn store(&mut self, entry: Entry<'_>, found: Option<usize>, shows: u64) -> (u16, usize) {
        match (entry, found) {
            (Entry::Create(..), Some(at)) => (200, at),
            (Entry::Replace(_, _, resource), Some(at)) => {
                self.note(&resource);
                let one = &mut self.stored[at];
                one.version += 1;
                one.resource = resource;
                (200, at)
            }
            (Entry::Create(kind, _, resource) | Entry::Replace(kind, _, resource), None) => {
                self.note(&resource);
                let at = self.stored.len();
                self.stored.push(Stored {
                    kind: kind.to_owned(),
                    id: format!("r{at}"),
                    version: 1,
                    resource,
                    shows,
                });
                (201, at)
            }
        }
    }

    fn note(&mut self, resource: &Node) {
        self.writes.push(Write {
            kind: resource
                .text_of("resourceType")
                .unwrap_or_default()
                .to_owned(),
            about: about(resource),
            says: says(resource),
        });
    }

    fn search(&self, kind: &str, form: &str, now: u64) -> Node {
        let found = self.matching(kind, form, now);
        let entries = found
            .iter()
            .take(self.searches.page)
            .map(|at| object([("resource", self.shown(*at))]));
        let shown: Vec<usize> = found.iter().copied().take(self.searches.page).collect();
        let with = form.contains("_revinclude=Provenance:target")
            && self.searches.includes == Includes::Given;
        let included = self.stored.iter().enumerate().filter(|(_, one)| {
            with && one.kind == "Provenance" && one.shows <= now && {
                let mut targets = one.resource.items_of("target").iter();
                targets.any(|target| {
                    shown.iter().any(|at| {
                        let (kind, id) = (&self.stored[*at].kind, &self.stored[*at].id);
                        target.text_of("reference") == Some(&format!("{kind}/{id}"))
                    })
                })
            }
        });
        let included = included.map(|(at, _)| object([("resource", self.shown(at))]));
        let entries = entries.chain(included);
        let next = [("relation", text("next")), ("url", text("page/2"))];
        let next = (found.len() > self.searches.page).then(|| object(next));
        object([
            ("resourceType", text("Bundle")),
            ("type", text("searchset")),
            ("link", Node::List(next.into_iter().collect())),
            ("entry", Node::List(entries.collect())),
        ])
    }

    /// What of a type fits a query and shows at a time.
    fn matching(&self, kind: &str, query: &str, now: u64) -> Vec<usize> {
        let mut url = Url::parse("http://localhost/").expect("an address");
        url.set_query(Some(query));
        let pairs: Vec<(String, String)> = url.query_pairs().into_owned().collect();
        let fits = |one: &Stored| {
            one.kind == kind
                && one.shows <= now
                && pairs.iter().all(|(name, value)| {
                    ["_count", "_revinclude"].contains(&name.as_str())
                        || value.split(',').any(|value| fits(one, name, value))
                })
        };
        let all = self.stored.iter().enumerate();
        all.filter_map(|(at, one)| fits(one).then_some(at))
            .collect()
    }

    fn shown(&self, at: usize) -> Node {
        let one = &self.stored[at];
        let mut resource = one.resource.clone();
        resource.set("id", text(one.id.clone()));
        let mut meta = resource
            .member("meta")
            .cloned()
            .unwrap_or_else(|| object::<&str>([]));
        meta.set("versionId", text(one.version.to_string()));
        resource.set("meta", meta);
        resource
    }
}

/// Whether one value of one parameter fits. None of ours has a letter that needs a backslash.
fn fits(one: &Stored, name: &str, value: &str) -> bool {
    let resource = &one.resource;
    let token = |node: &Node, key: &str| {
        let system = node.text_of("system").unwrap_or_default();
        format!("{system}|{}", node.text_of(key).unwrap_or_default()) == value
    };
    match name {
        "identifier" => {
            let mut identifiers = resource.items_of("identifier").iter();
            identifiers.any(|identifier| token(identifier, "value"))
        }
        "_tag" => {
            let tags = resource.at(&["meta", "tag"]).map(Node::items);
            tags.unwrap_or_default()
                .iter()
                .any(|tag| token(tag, "code"))
        }
        "target" => {
            let mut targets = resource.items_of("target").iter();
            targets.any(|target| target.text_of("reference") == Some(value))
        }
        _ => panic!("nothing is known of searching by {name}"),
    }
}

/// By what an Observation, a Device or a Provenance is known, whoever stored it.
pub(crate) fn about(resource: &Node) -> String {
    let entity = resource.items_of("entity").iter();
    let mut version = entity.filter_map(|entity| {
        let value = entity.at(&["what", "identifier", "value"]);
        value.and_then(Node::text)
    });
    let identifier = resource.items_of("identifier").first();
    let value = identifier.and_then(|identifier| identifier.text_of("value"));
    value
        .or_else(|| version.next())
        .unwrap_or_default()
        .to_owned()
}

fn read(entry: &Node, resource: Option<Node>) -> Entry<'_> {
    let request = entry.member("request").expect("a request");
    let url = request.text_of("url").expect("an address");
    let resource = resource.expect("a resource");
    match request.text_of("method") {
        Some("PUT") => Entry::Replace(url, request.text_of("ifMatch"), resource),
        _ => Entry::Create(url, request.text_of("ifNoneExist"), resource),
    }
}

fn resolve(node: &mut Node, names: &BTreeMap<String, String>) {
    let known = node.text_of("reference").and_then(|urn| names.get(urn));
    if let Some(reference) = known.cloned() {
        node.set("reference", text(reference));
    }
    let keys: Vec<String> = node
        .members()
        .iter()
        .map(|(key, _)| key.to_string())
        .collect();
    for key in keys {
        if let Some(member) = node.member_mut(&key) {
            resolve(member, names);
        }
    }
    node.items_mut()
        .iter_mut()
        .for_each(|item| resolve(item, names));
}

fn answered(kind: &str, answers: Vec<Node>) -> Answer {
    let entries = answers
        .into_iter()
        .map(|answer| object([("response", answer)]));
    let bundle = object([
        ("resourceType", text("Bundle")),
        ("type", text(kind)),
        ("entry", Node::List(entries.collect())),
    ]);
    (200, bundle)
}

fn response(status: u16, stored: Option<&Stored>, said: Option<Node>) -> Node {
    let mut response = object([("status", text(status.to_string()))]);
    if let Some(one) = stored {
        let (kind, id, version) = (&one.kind, &one.id, one.version);
        response.set("location", text(format!("{kind}/{id}/_history/{version}")));
        response.set("etag", text(format!("W/\"{version}\"")));
    }
    if let Some(said) = said {
        response.set("outcome", said);
    }
    response
}

/// An answer that says why.
pub(crate) fn outcome(status: u16, why: &str) -> Answer {
    let issue = object([
        ("severity", text("error")),
        ("code", text("processing")),
        ("diagnostics", text(why)),
    ]);
    let outcome = object([
        ("resourceType", text("OperationOutcome")),
        ("issue", Node::List(vec![issue])),
    ]);
    (status, outcome)
}

fn patient(person: usize) -> Node {
    let identifier = object([
        ("system", text("https://invented-clinic.example/patients")),
        ("value", text(identifier(person))),
    ]);
    object([
        ("resourceType", text("Patient")),
        ("identifier", Node::List(vec![identifier])),
        (
            "name",
            Node::List(vec![object([("family", text("Testperson"))])]),
        ),
        ("birthDate", text("1958-03-14")),
    ])
}
