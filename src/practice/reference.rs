//! References between resources.
//!
//! Owns: telling which references point into this server, and rewriting those of a Bundle.
//! In: resources as JSON. Out: what they point to. Never: looks whether it is there.

use crate::base::json::Node;
use crate::practice::kind::Kind;
use std::collections::BTreeMap;

/// What the text of a reference points to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Aim {
    /// A resource of this server.
    Here(Kind, String),
    /// A resource of this server of a type it does not keep, or no reference at all.
    Nowhere,
    /// A placeholder, `urn:uuid:…` or `urn:oid:…`, which only a transaction can resolve.
    Placeholder,
    /// A search, `Patient?identifier=…`.
    Conditional,
    /// A contained resource, `#…`, or a resource of another server.
    Elsewhere,
}

/// Reads the text of a reference; `base` is the address of this server.
pub(super) fn aim(reference: &str, base: &str) -> Aim {
    if reference.starts_with('#') {
        return Aim::Elsewhere;
    }
    if reference.starts_with("urn:") {
        return Aim::Placeholder;
    }
    let own = reference
        .strip_prefix(base)
        .and_then(|rest| rest.strip_prefix('/'));
    if own.is_none() && reference.contains("://") {
        return Aim::Elsewhere;
    }
    let relative = own.unwrap_or(reference);
    if relative.contains('?') {
        return Aim::Conditional;
    }
    let steps: Vec<&str> = relative.split('/').collect();
    match *steps.as_slice() {
        [kind, id] | [kind, id, "_history", _] => match Kind::named(kind) {
            Some(kind) => Aim::Here(kind, id.to_owned()),
            None => Aim::Nowhere,
        },
        _ => Aim::Nowhere,
    }
}

/// Every reference of a resource, with its path.
pub(super) fn all(node: &Node) -> Vec<(String, &str)> {
    let mut found = Vec::new();
    let root = node.text_of("resourceType").unwrap_or("Resource");
    walk(node, root, &mut found);
    found
}

fn walk<'a>(node: &'a Node, path: &str, found: &mut Vec<(String, &'a str)>) {
    for (key, value) in node.members() {
        if let (true, Some(reference)) = (key == "reference", value.text()) {
            found.push((path.to_owned(), reference));
        }
        walk(value, &format!("{path}.{key}"), found);
    }
    for (index, item) in node.items().iter().enumerate() {
        walk(item, &format!("{path}[{index}]"), found);
    }
}

/// Replaces the placeholders of a Bundle by what they became.
///
/// FHIR R4 (4.0.1), http.html#trules: "Servers SHALL replace all matching links in the bundle,
/// whether they are found in the resource ids, resource references, elements of type uri, url, oid,
/// uuid, and `<a href=""` & `<img src=""` in the narrative."
pub(super) fn rewrite(node: &mut Node, became: &BTreeMap<String, String>) {
    match node {
        Node::Object(members) => {
            for (key, value) in members {
                // An identifier is the name of a thing and not a link to it, even as a urn; and
                // "elements of type canonical are not replaced".
                match (key.as_ref(), value) {
                    ("identifier" | "profile", _) => {}
                    ("div", Node::Text(narrative)) => {
                        for (from, to) in became {
                            let quoted = [format!("\"{from}\""), format!("\"{to}\"")];
                            let [from, to] = quoted;
                            *narrative = narrative.replace(&from, &to);
                        }
                    }
                    (_, value) => rewrite(value, became),
                }
            }
        }
        Node::List(items) => items.iter_mut().for_each(|item| rewrite(item, became)),
        Node::Text(text) => {
            if let Some(to) = became.get(text.as_str()) {
                to.clone_into(text);
            }
        }
        Node::Null | Node::Bool(_) | Node::Number(_) => {}
    }
}

#[cfg(test)]
mod tests {
    use super::{Aim, aim, rewrite};
    use crate::base::json::Node;
    use crate::practice::kind::Kind;
    use std::collections::BTreeMap;

    #[test]
    fn a_reference_points_here_elsewhere_or_nowhere() {
        let base = "http://localhost/fhir";

        let here = Aim::Here(Kind::Patient, "1".to_owned());
        assert_eq!(aim("Patient/1", base), here);
        assert_eq!(aim("http://localhost/fhir/Patient/1", base), here);
        assert_eq!(aim("Patient/1/_history/2", base), here);
        assert_eq!(
            aim("http://localhost/other/Patient/1", base),
            Aim::Elsewhere
        );
        assert_eq!(aim("#one", base), Aim::Elsewhere);
        assert_eq!(aim("Location/1", base), Aim::Nowhere);
        assert_eq!(aim("urn:uuid:0", base), Aim::Placeholder);
        assert_eq!(aim("Patient?identifier=a|b", base), Aim::Conditional);
    }

    #[test]
    fn placeholders_are_replaced_in_links_and_narrative_and_not_in_identifiers() {
        let mut node = Node::parse(
            r#"{"text":{"div":"<a href=\"urn:uuid:1\">urn:uuid:1</a>"},
                "identifier":[{"value":"urn:uuid:1"}],
                "subject":{"reference":"urn:uuid:1"},"extension":[{"valueUri":"urn:uuid:1"}]}"#,
        )
        .expect("JSON");
        let became = BTreeMap::from([("urn:uuid:1".to_owned(), "Patient/9".to_owned())]);

        rewrite(&mut node, &became);

        assert_eq!(
            node.compact(),
            "{\"text\":{\"div\":\"<a href=\\\"Patient/9\\\">urn:uuid:1</a>\"},\
             \"identifier\":[{\"value\":\"urn:uuid:1\"}],\
             \"subject\":{\"reference\":\"Patient/9\"},\
             \"extension\":[{\"valueUri\":\"Patient/9\"}]}"
        );
    }
}
