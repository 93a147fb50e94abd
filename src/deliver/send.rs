//! Composing what is still to be sent, and reading the answer to it.

use crate::deliver::http::Answer;
use crate::json::{Node, object, text};
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

/// The transaction of the steps that are left.
pub(super) fn bundle(steps: &[Step]) -> Node {
    let entries = steps.iter().map(|step| {
        let (full_url, resource, request) = match step {
            Step::Create(full_url, kind, condition, resource) => {
                let mut request = vec![("method", text("POST")), ("url", text(kind.clone()))];
                request.extend(condition.clone().map(|c| ("ifNoneExist", text(c))));
                (full_url, resource.clone(), request)
            }
            Step::Replace(full_url, reference, version, resource) => {
                let id = reference.split('/').next_back().unwrap_or_default();
                let mut resource = resource.clone();
                resource.set("id", text(id));
                let mut request = vec![("method", text("PUT")), ("url", text(reference.clone()))];
                let if_match = version.as_ref().map(|version| format!("W/\"{version}\""));
                request.extend(if_match.map(|if_match| ("ifMatch", text(if_match))));
                (full_url, resource, request)
            }
        };
        object([
            ("fullUrl", text(full_url.clone())),
            ("resource", resource),
            ("request", object(request)),
        ])
    });
    object([
        ("resourceType", text("Bundle")),
        ("type", text("transaction")),
        ("entry", Node::List(entries.collect())),
    ])
}

/// What an answer to a transaction means.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Meaning {
    /// Every entry was stored.
    Stored,
    /// The content was refused; nothing was stored.
    Refused,
    /// Nothing was stored; try later.
    NotNow,
    /// Signing in did not work; nothing was stored.
    SignIn,
    /// Nobody knows.
    Unknown,
}

/// Classifies the answer to a transaction.
///
/// An answer that is no transaction-response, or one whose entries are not all stored, is unknown:
/// some servers answer a transaction with the meaning of a batch. 409 and 412 come from somebody
/// who wrote at the same time, so they too are settled by searching.
pub fn meaning(answer: &Answer, steps: usize) -> Meaning {
    match answer.status {
        200..=299 => {
            let body = answer.body.as_ref().map(crate::private::Private::open);
            let whole = body.is_some_and(|body| {
                body.text_of("type") == Some("transaction-response")
                    && body.items_of("entry").len() == steps
                    && body.items_of("entry").iter().all(entry_stored)
            });
            if whole {
                Meaning::Stored
            } else {
                Meaning::Unknown
            }
        }
        401 | 403 => Meaning::SignIn,
        425 | 429 => Meaning::NotNow,
        // A gateway may say 408 after it has passed the request on, as it may 503 below.
        408 | 409 | 412 => Meaning::Unknown,
        400..=499 => Meaning::Refused,
        _ => Meaning::Unknown,
    }
}

fn entry_stored(entry: &Node) -> bool {
    let status = entry.at(&["response", "status"]).and_then(Node::text);
    status.is_some_and(|status| status.starts_with('2'))
}

#[cfg(test)]
mod tests {
    use super::{Answer, Meaning, References, meaning, resolve};
    use crate::json::Node;
    use crate::private::Private;

    fn answer(status: u16, body: &str) -> Answer {
        let body = Node::parse(body).ok().map(Private::new);
        Answer {
            status,
            body,
            retry_after: None,
        }
    }

    #[test]
    fn answers_mean_what_the_standard_says_and_doubt_is_unknown() {
        let whole = r#"{"resourceType":"Bundle","type":"transaction-response",
            "entry":[{"response":{"status":"201 Created"}}]}"#;
        let batch = whole.replace("transaction-response", "batch-response");
        let part = whole.replace("201 Created", "429 Too Many Requests");
        let cases = [
            (answer(200, whole), Meaning::Stored),
            (answer(200, &batch), Meaning::Unknown),
            (answer(200, &part), Meaning::Unknown),
            (answer(200, "<html>"), Meaning::Unknown),
            (answer(202, ""), Meaning::Unknown),
            (answer(302, ""), Meaning::Unknown),
            (answer(400, "{}"), Meaning::Refused),
            (answer(401, ""), Meaning::SignIn),
            (answer(409, "{}"), Meaning::Unknown),
            (answer(412, "{}"), Meaning::Unknown),
            (answer(413, ""), Meaning::Refused),
            (answer(422, "{}"), Meaning::Refused),
            (answer(429, ""), Meaning::NotNow),
            (answer(500, "{}"), Meaning::Unknown),
            (answer(502, ""), Meaning::Unknown),
            (answer(503, ""), Meaning::Unknown),
            (answer(504, ""), Meaning::Unknown),
        ];
        for (answer, expected) in cases {
            assert_eq!(meaning(&answer, 1), expected, "{}", answer.status);
        }
    }

    #[test]
    fn an_answer_with_too_few_entries_is_unknown() {
        let one = r#"{"resourceType":"Bundle","type":"transaction-response",
            "entry":[{"response":{"status":"201"}}]}"#;

        assert_eq!(meaning(&answer(200, one), 2), Meaning::Unknown);
    }

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
