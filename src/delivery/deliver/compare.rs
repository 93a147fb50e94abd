//! What the server holds against what was meant, on raw JSON.

use crate::base::exact::Exact;
use crate::base::json::{Node, pointer_step};

/// One way in which a held resource differs from what was sent.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Drift {
    /// JSON Pointer in the resource.
    pub path: String,
    /// `missing`, `changed`, `digits` or `narrative`.
    pub kind: &'static str,
}

/// Where a held resource differs from the one sent. What a server adds is ignored: the id, more of
/// meta, a narrative, members we did not send.
pub fn drift(sent: &Node, held: &Node) -> Vec<Drift> {
    let mut found = Vec::new();
    walk(sent, held, "", &mut found);
    found
}

/// True when a difference changes what is said, and is not only the digits of a number. A narrative
/// says nothing that the rest does not, and a server may write its own.
pub(super) fn other_content(found: &[Drift]) -> bool {
    let only_told = ["digits", "narrative"];
    found.iter().any(|drift| !only_told.contains(&drift.kind))
}

fn walk(sent: &Node, held: &Node, path: &str, found: &mut Vec<Drift>) {
    let mut differs = |kind| {
        found.push(Drift {
            path: path.to_owned(),
            kind,
        });
    };
    match (sent, held) {
        (Node::Object(members), Node::Object(_)) => {
            for (key, value) in members {
                if path.is_empty() && key == "id" {
                    continue;
                }
                if path.is_empty() && key == "text" {
                    if held.member(key) != Some(value) {
                        found.push(Drift {
                            path: "/text".to_owned(),
                            kind: "narrative",
                        });
                    }
                    continue;
                }
                let path = format!("{path}/{}", pointer_step(key));
                match held.member(key) {
                    Some(held) => walk(value, held, &path, found),
                    None => found.push(Drift {
                        path,
                        kind: "missing",
                    }),
                }
            }
        }
        (Node::List(sent), Node::List(held)) => {
            if path == "/meta/profile" || path == "/meta/tag" {
                if !sent.iter().all(|item| contains(held, item)) {
                    differs("missing");
                }
                return;
            }
            if sent.len() != held.len() {
                differs("changed");
                return;
            }
            for (index, (sent, held)) in sent.iter().zip(held).enumerate() {
                walk(sent, held, &format!("{path}/{index}"), found);
            }
        }
        (Node::Number(sent), Node::Number(held)) if sent != held => {
            differs(if same_number(sent, held) {
                "digits"
            } else {
                "changed"
            });
        }
        (sent, held)
            if sent != held && !same_reference(path, sent, held) && !same_instant(sent, held) =>
        {
            differs("changed");
        }
        _ => {}
    }
}

/// A tag is its system and code: some servers keep one display for all resources that carry it.
fn contains(held: &[Node], item: &Node) -> bool {
    let same_tag = |held: &Node| {
        ["system", "code"]
            .iter()
            .all(|part| held.text_of(part) == item.text_of(part))
    };
    if item.member("code").is_some() {
        return held.iter().any(same_tag);
    }
    held.iter().any(|held| {
        let mut found = Vec::new();
        walk(item, held, "/item", &mut found);
        found.is_empty()
    })
}

fn same_number(a: &str, b: &str) -> bool {
    matches!((Exact::parse(a), Exact::parse(b)), (Ok(a), Ok(b)) if a == b)
}

/// A server may write a reference as an address of its own, or with a version.
fn same_reference(path: &str, sent: &Node, held: &Node) -> bool {
    let (Some(sent), Some(held)) = (sent.text(), held.text()) else {
        return false;
    };
    let held = held
        .split_once("/_history/")
        .map_or(held, |(before, _)| before);
    path.ends_with("/reference") && (held == sent || held.ends_with(&format!("/{sent}")))
}

/// A server may write an instant in another zone.
fn same_instant(sent: &Node, held: &Node) -> bool {
    let instant = |node: &Node| {
        node.text()
            .and_then(|text| chrono::DateTime::parse_from_rfc3339(text).ok())
    };
    matches!((instant(sent), instant(held)), (Some(a), Some(b)) if a == b)
}

#[cfg(test)]
mod tests {
    use super::{Drift, drift, other_content};
    use crate::base::json::Node;

    fn found(sent: &str, held: &str) -> Vec<(String, &'static str)> {
        let node = |text| Node::parse(text).expect("JSON");
        let found = drift(&node(sent), &node(held));
        found
            .into_iter()
            .map(|Drift { path, kind }| (path, kind))
            .collect()
    }

    #[test]
    fn what_a_server_adds_or_rewrites_without_changing_the_sense_is_no_drift() {
        let sent = r#"{"status":"final","issued":"2026-11-16T10:20:00+01:00",
            "meta":{"profile":["p"],"tag":[{"system":"s","code":"c","display":"ours"}]},"subject":{"reference":"Patient/1"}}"#;
        let held = r#"{"id":"9","status":"final","issued":"2026-11-16T09:20:00Z","text":{},
            "meta":{"versionId":"1","profile":["q","p"],"tag":[{"system":"s","code":"c"}]},
            "subject":{"reference":"http://h/fhir/Patient/1"}}"#;

        assert_eq!(found(sent, held), []);
    }

    #[test]
    fn lost_digits_dropped_members_and_changed_codes_are_told_apart() {
        let sent = r#"{"valueQuantity":{"value":12.50,"code":"deg"},"note":[{"text":"a"}]}"#;
        let held = r#"{"valueQuantity":{"value":12.5,"code":"rad"}}"#;

        assert_eq!(
            found(sent, held),
            [
                ("/valueQuantity/value".to_owned(), "digits"),
                ("/valueQuantity/code".to_owned(), "changed"),
                ("/note".to_owned(), "missing"),
            ]
        );
        assert!(!other_content(&[Drift {
            path: String::new(),
            kind: "digits"
        }]));
    }
}
