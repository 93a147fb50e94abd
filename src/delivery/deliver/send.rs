//! Composing what is still to be sent.

use crate::base::json::{Node, object, text};
use std::collections::BTreeMap;

/// References by what stands for them in a record: a `urn:uuid:`, or `Type system|value` of a
/// logical reference.
pub(super) type References = BTreeMap<String, String>;

/// Writes literal references where they are known; nothing else changes.
pub(super) fn resolve(node: &Node, references: &References) -> Node {
    match node {
        Node::Object(members) => {
            let mut resolved = Vec::with_capacity(members.len() + 1);
            if let Some(reference) = logical(node).and_then(|key| references.get(&key)) {
                resolved.push(("reference".into(), text(reference.clone())));
            }
            for (key, value) in members {
                let literal = (key == "reference").then(|| value.text()).flatten();
                let known = literal.and_then(|urn| references.get(urn));
                let value = known.map_or_else(|| resolve(value, references), |r| text(r.clone()));
                resolved.push((key.clone(), value));
            }
            Node::Object(resolved)
        }
        Node::List(items) => {
            Node::List(items.iter().map(|item| resolve(item, references)).collect())
        }
        Node::Null | Node::Bool(_) | Node::Number(_) | Node::Text(_) => node.clone(),
    }
}

/// The key of a logical reference that has no literal one yet.
fn logical(node: &Node) -> Option<String> {
    if node.member("reference").is_some() {
        return None;
    }
    let identifier = node.member("identifier")?;
    Some(key(
        node.text_of("type")?,
        identifier.text_of("system")?,
        identifier.text_of("value")?,
    ))
}

/// How a logical reference is named in [`References`].
pub(super) fn key(kind: &str, system: &str, value: &str) -> String {
    format!("{kind} {system}|{value}")
}

/// Every logical reference of a type in a record.
pub(super) fn logical_of(node: &Node, kind: &str, found: &mut Vec<(String, String)>) {
    if node.text_of("type") == Some(kind)
        && let Some(identifier) = node.member("identifier")
        && let (Some(system), Some(value)) =
            (identifier.text_of("system"), identifier.text_of("value"))
    {
        let pair = (system.to_owned(), value.to_owned());
        if !found.contains(&pair) {
            found.push(pair);
        }
    }
    node.members()
        .iter()
        .for_each(|(_, member)| logical_of(member, kind, found));
    node.items()
        .iter()
        .for_each(|item| logical_of(item, kind, found));
}

/// One entry that is still to be sent.
#[derive(Debug, Clone)]
pub(super) enum Step {
    /// Create unless it is there: full URL, type, condition, resource.
    Create(String, String, Option<String>, Node),
    /// Put in the place of a version: full URL, reference, version, resource.
    Replace(String, String, Option<String>, Node),
}

impl Step {
    pub(super) fn full_url(&self) -> &str {
        match self {
            Self::Create(full_url, ..) | Self::Replace(full_url, ..) => full_url,
        }
    }

    pub(super) const fn resource(&self) -> &Node {
        match self {
            Self::Create(_, _, _, resource) | Self::Replace(_, _, _, resource) => resource,
        }
    }

    /// The resource as it stands in the body of a request: one that is replaced has its id.
    pub(super) fn body(&self) -> Node {
        let mut body = self.resource().clone();
        if let Self::Replace(_, reference, ..) = self {
            let id = reference.split('/').next_back().unwrap_or_default();
            body.set("id", text(id));
        }
        body
    }
}

/// How one request carries its steps.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    /// A Bundle that is stored whole or not at all.
    Transaction,
    /// A Bundle whose entries stand each for itself.
    Batch,
    /// One resource.
    Single,
}

/// "weak ETag": the version of a resource as a condition (FHIR R4, http.html#concurrency).
pub(super) fn if_match(version: &str) -> String {
    format!("W/\"{version}\"")
}

fn entry(step: &Step) -> Node {
    let request = match step {
        Step::Create(_, kind, condition, _) => {
            let mut request = vec![("method", text("POST")), ("url", text(kind.clone()))];
            request.extend(condition.clone().map(|c| ("ifNoneExist", text(c))));
            request
        }
        Step::Replace(_, reference, version, _) => {
            let mut request = vec![("method", text("PUT")), ("url", text(reference.clone()))];
            let version = version.as_deref().map(if_match);
            request.extend(version.map(|version| ("ifMatch", text(version))));
            request
        }
    };
    object([
        ("fullUrl", text(step.full_url())),
        ("resource", step.body()),
        ("request", object(request)),
    ])
}

/// The Bundle of some steps.
pub(super) fn bundle(way: Way, steps: &[Step]) -> Node {
    let kind = match way {
        Way::Transaction => "transaction",
        Way::Batch | Way::Single => "batch",
    };
    object([
        ("resourceType", text("Bundle")),
        ("type", text(kind)),
        ("entry", Node::List(steps.iter().map(entry).collect())),
    ])
}

/// Bytes of the body that carries one step alone.
pub(super) fn size(way: Way, step: &Step) -> usize {
    match way {
        Way::Single => step.body().compact().len(),
        Way::Transaction | Way::Batch => bundle(way, std::slice::from_ref(step)).compact().len(),
    }
}

#[cfg(test)]
mod tests {
    use super::{References, resolve};
    use crate::base::json::Node;

    #[test]
    fn references_are_written_and_nothing_else_changes() {
        let node = Node::parse(
            r#"{"subject":{"type":"Patient","identifier":{"system":"s","value":"v"}},
                "hasMember":[{"reference":"urn:uuid:a"},{"reference":"urn:uuid:b"}],"n":12.50}"#,
        )
        .expect("JSON");
        let references = References::from([
            ("Patient s|v".to_owned(), "Patient/7".to_owned()),
            ("urn:uuid:a".to_owned(), "Observation/1".to_owned()),
        ]);

        assert_eq!(
            resolve(&node, &references).compact(),
            r#"{"subject":{"reference":"Patient/7","type":"Patient","identifier":{"system":"s","value":"v"}},"hasMember":[{"reference":"Observation/1"},{"reference":"urn:uuid:b"}],"n":12.50}"#
        );
    }
}
