//! Bundles that are to be done: transaction and batch.
//!
//! Owns: the order of a transaction, and what its placeholders become.
//! In: a Bundle. Out: the Bundle that answers it, or one fault. Never: leaves half of it done.

use crate::base::json::{Node, object, text};
use crate::practice::bundle::response;
use crate::practice::interaction::{self, Hand, Made};
use crate::practice::kind::Kind;
use crate::practice::outcome::{Fault, Issue};
use crate::practice::search::Search;
use crate::practice::state::Shared;
use crate::practice::store::Stored;
use crate::practice::{reference, rules};
use axum::http::StatusCode;
use std::collections::{BTreeMap, BTreeSet};

/// What one entry asks for.
#[derive(Debug)]
enum Verb {
    Create(Option<Search>),
    Update {
        id: String,
        if_match: Option<String>,
    },
}

#[derive(Debug)]
struct Entry {
    kind: Kind,
    verb: Verb,
    full_url: Option<String>,
    node: Node,
    path: String,
}

/// Does a Bundle, of either type.
pub(super) async fn process(shared: &Shared, base: &str, bundle: &Node) -> Result<Node, Fault> {
    if bundle.text_of("resourceType") != Some("Bundle") {
        let rule = "only a Bundle is posted to the address of the server";
        return Err(Fault::malformed(rule));
    }
    match bundle.text_of("type") {
        Some("transaction") => transaction(shared, base, bundle).await,
        Some("batch") => batch(shared, base, bundle).await,
        _ => Err(Fault::malformed(
            "Bundle.type is neither transaction nor batch",
        )),
    }
}

/// FHIR R4 (4.0.1), http.html#trules: "servers SHALL either accept all actions and return a 200 OK,
/// along with a response bundle (see below), or reject all resources and return an HTTP 400 or 500
/// type response."
async fn transaction(shared: &Shared, base: &str, bundle: &Node) -> Result<Node, Fault> {
    let mut entries = gather(parsed(bundle, base))?;
    refuse_twice(&entries)?;
    let mut open = shared.begin().await?;
    let mut hand = shared.hand(&mut open, base);
    let made = identify(&mut hand, &entries).await?;
    let became = placeholders(&entries, &made);
    for entry in &mut entries {
        reference::rewrite(&mut entry.node, &became);
        let found = hand.resolve(&entry.node).await;
        let found = found.map_err(|fault| fault.within(&entry.path))?;
        reference::rewrite(&mut entry.node, &found);
    }
    let answers = store(&mut hand, &entries, made).await?;
    open.commit().await?;
    Ok(answer("transaction-response", answers))
}

/// FHIR R4 (4.0.1), http.html#brules: "For a batch, there SHALL be no interdependencies between
/// the different entries in the Bundle that cause change on the server".
async fn batch(shared: &Shared, base: &str, bundle: &Node) -> Result<Node, Fault> {
    let mut answers = Vec::new();
    for entry in parsed(bundle, base) {
        let done = match entry {
            Ok(entry) => alone(shared, base, &entry).await,
            Err(fault) => Err(fault),
        };
        answers.push(done.unwrap_or_else(|fault| {
            object([
                ("status", text(fault.status.to_string())),
                ("outcome", fault.outcome()),
            ])
        }));
    }
    Ok(answer("batch-response", answers))
}

async fn alone(shared: &Shared, base: &str, entry: &Entry) -> Result<Node, Fault> {
    let mut open = shared.begin().await?;
    let mut hand = shared.hand(&mut open, base);
    let done = match &entry.verb {
        Verb::Create(condition) => {
            let made = hand.create(entry.kind, &entry.node, condition.as_ref());
            match made.await? {
                Made::New(stored) => response("201 Created", &stored),
                Made::Found(stored) => response("200 OK", &stored),
            }
        }
        Verb::Update { id, if_match } => {
            let update = hand.update(entry.kind, id, &entry.node, if_match.as_deref());
            response("200 OK", &update.await?)
        }
    };
    open.commit().await?;
    Ok(done)
}

/// What each create will be: found by its condition, or a new id.
async fn identify(
    hand: &mut Hand<'_>,
    entries: &[Entry],
) -> Result<Vec<Result<Stored, String>>, Fault> {
    let mut made = Vec::new();
    let mut touched = BTreeSet::new();
    for entry in entries {
        let target = match &entry.verb {
            Verb::Create(Some(condition)) => {
                let found = hand.only(entry.kind, condition).await;
                found
                    .map_err(|fault| fault.within(&entry.path))?
                    .ok_or_else(interaction::new_id)
            }
            Verb::Create(None) => Err(interaction::new_id()),
            Verb::Update { id, .. } => Err(id.clone()),
        };
        let id = match &target {
            Ok(found) => found.id.clone(),
            Err(id) => id.clone(),
        };
        if !touched.insert((entry.kind, id)) {
            return Err(twice(&entry.path, "two entries mean the same resource"));
        }
        made.push(target);
    }
    Ok(made)
}

fn placeholders(entries: &[Entry], made: &[Result<Stored, String>]) -> BTreeMap<String, String> {
    let pairs = entries.iter().zip(made).filter_map(|(entry, target)| {
        let full_url = entry.full_url.clone()?;
        let id = match target {
            Ok(found) => &found.id,
            Err(id) => id,
        };
        Some((full_url, format!("{}/{id}", entry.kind.name())))
    });
    pairs.collect()
}

/// FHIR R4 (4.0.1), http.html#trules: "Process any POST interactions", then "Process any PUT or
/// PATCH interactions". References are looked at last, when everything stands.
async fn store(
    hand: &mut Hand<'_>,
    entries: &[Entry],
    made: Vec<Result<Stored, String>>,
) -> Result<Vec<Node>, Fault> {
    let checked = entries.iter().map(|entry| {
        rules::check(entry.kind, &entry.node).map_err(|fault| fault.within(&entry.path))
    });
    gather(checked.collect())?;
    let mut answers: BTreeMap<usize, Node> = BTreeMap::new();
    let mut stored = Vec::new();
    let pairs = || entries.iter().enumerate();
    for ((index, entry), target) in pairs().zip(made) {
        match (&entry.verb, target) {
            (Verb::Create(_), Ok(found)) => {
                answers.insert(index, response("200 OK", &found));
            }
            (Verb::Create(_), Err(id)) => {
                let new = hand.store(entry.kind, &id, 1, &entry.node).await?;
                answers.insert(index, response("201 Created", &new));
                stored.push(entry);
            }
            (Verb::Update { .. }, _) => {}
        }
    }
    for (index, entry) in pairs() {
        if let Verb::Update { id, if_match } = &entry.verb {
            let update = hand.update(entry.kind, id, &entry.node, if_match.as_deref());
            let updated = update.await.map_err(|fault| fault.within(&entry.path))?;
            answers.insert(index, response("200 OK", &updated));
        }
    }
    let mut references = Vec::new();
    for entry in stored {
        let hold = hand.hold(&entry.node).await;
        references.push(hold.map_err(|fault| fault.within(&entry.path)));
    }
    gather(references)?;
    Ok(answers.into_values().collect())
}

fn parsed(bundle: &Node, base: &str) -> Vec<Result<Entry, Fault>> {
    let entries = bundle.items_of("entry").iter().enumerate();
    entries
        .map(|(index, node)| {
            let path = format!("Bundle.entry[{index}]");
            Entry::parse(node, base, &path).map_err(|fault| fault.within(&path))
        })
        .collect()
}

impl Entry {
    fn parse(node: &Node, base: &str, path: &str) -> Result<Self, Fault> {
        let request = node
            .member("request")
            .ok_or_else(|| Fault::malformed("bdl-3: an entry to be done needs a request"))?;
        let url = request.text_of("url").unwrap_or_default();
        let url = url.strip_prefix(base).unwrap_or(url).trim_matches('/');
        let (name, id) = url.split_once('/').unwrap_or((url, ""));
        let kind = Kind::named(name).ok_or_else(rules::unknown_kind)?;
        let condition = request.text_of("ifNoneExist");
        let verb = match (request.text_of("method"), id) {
            (Some("POST"), "") => {
                let condition = condition.map(|query| Search::condition(kind, query, base));
                Verb::Create(condition.transpose()?)
            }
            (Some("PUT"), id) if !id.is_empty() => Verb::Update {
                id: id.to_owned(),
                if_match: request.text_of("ifMatch").map(str::to_owned),
            },
            _ => {
                let rule = "an entry is POST [type] or PUT [type]/[id]; no other is offered";
                return Err(Fault::new(StatusCode::BAD_REQUEST, "not-supported", rule));
            }
        };
        let resource = node
            .member("resource")
            .ok_or_else(|| Fault::malformed("the entry has no resource"))?;
        if rules::kind_of(resource)? != kind {
            let rule = "resourceType is not the type of request.url";
            return Err(Fault::malformed(rule));
        }
        // FHIR R4 (4.0.1), bundle.html: a fullUrl is an absolute address. Any other text could
        // stand in a resource by chance, and would be replaced there.
        if node
            .text_of("fullUrl")
            .is_some_and(|url| !url.contains(':'))
        {
            return Err(Fault::malformed("fullUrl is not an absolute address"));
        }
        Ok(Self {
            kind,
            verb,
            full_url: node.text_of("fullUrl").map(str::to_owned),
            node: resource.clone(),
            path: path.to_owned(),
        })
    }
}

/// FHIR R4 (4.0.1), http.html#trules: "If any resource identities (including resolved identities
/// from conditional update/delete) overlap in steps 1-3, then the transaction SHALL fail." Steps
/// 1 to 3 do not name conditional creates; two of one condition would store two resources of one
/// identity, so they are refused as well.
fn refuse_twice(entries: &[Entry]) -> Result<(), Fault> {
    let (mut addresses, mut conditions) = (BTreeSet::new(), BTreeSet::new());
    for entry in entries {
        if let Some(full_url) = &entry.full_url
            && !addresses.insert(full_url)
        {
            return Err(twice(&entry.path, "bdl-7: the fullUrl stands twice"));
        }
        if let Verb::Create(Some(condition)) = &entry.verb
            && !conditions.insert(condition.identity())
        {
            return Err(twice(&entry.path, "two entries have the same ifNoneExist"));
        }
    }
    Ok(())
}

fn twice(path: &str, rule: &str) -> Fault {
    let status = StatusCode::BAD_REQUEST;
    let issues = vec![Issue::at("duplicate", path, rule)];
    Fault { status, issues }
}

/// All results, or one fault with every issue and the status of the first.
fn gather<T>(results: Vec<Result<T, Fault>>) -> Result<Vec<T>, Fault> {
    let (mut good, mut bad) = (Vec::new(), None::<Fault>);
    for result in results {
        match (result, &mut bad) {
            (Ok(one), _) => good.push(one),
            (Err(fault), Some(first)) => first.issues.extend(fault.issues),
            (Err(fault), none @ None) => *none = Some(fault),
        }
    }
    bad.map_or(Ok(good), Err)
}

fn answer(kind: &str, responses: Vec<Node>) -> Node {
    let mut bundle = object([("resourceType", text("Bundle")), ("type", text(kind))]);
    let entries: Vec<_> = responses
        .into_iter()
        .map(|response| object([("response", response)]))
        .collect();
    if !entries.is_empty() {
        bundle.set("entry", Node::List(entries));
    }
    bundle
}
