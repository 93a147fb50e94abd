//! The columns of a sheet: fields of the session document by their paths.
//!
//! They are read from the JSON Schema, so a field that the document gains is a column by itself.

use crate::base::json::{Node, pointer_step};
use crate::examination::intake::draft::DocumentVersion;
use crate::examination::intake::forms::form_schema;
use serde_json::Value;

/// The most items a list of a sheet has: each takes columns of its own.
const MOST_ITEMS: usize = 99;

/// Columns that every row needs.
pub(super) const NEEDED: [&str; 3] = ["measure", "side", "method"];

/// One column.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Column {
    /// Its name in the header, such as `value.lacks` or `precautions.1.site`.
    pub name: String,
    /// Where it stands: in the session document, or in a finding.
    pub(super) steps: Vec<Step>,
    /// What its cells hold.
    pub(super) kind: Kind,
    /// True where it holds for the session as a whole and is the same in all its rows.
    pub of_session: bool,
}

/// One step from an object or a list to what is in it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Step {
    Key(String),
    Item(usize),
}

/// What the cells of a column hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// Text that people write: nothing in it is read.
    Words,
    /// A code, a word of a list, an identifier, digits.
    Text,
    /// A day or a time.
    Day,
    /// A whole number.
    Whole,
    /// True or false.
    Truth,
}

/// Fields that stand first; the others follow in the order of the alphabet.
const FIRST: [&str; 14] = [
    "fascicle",
    "test_data",
    "session",
    "patient",
    "performers",
    "no_precautions",
    "precautions",
    "instruments",
    "measure",
    "side",
    "position",
    "neighbour",
    "value",
    "not_tested",
];

fn in_order(fields: impl Iterator<Item = &'static str>) -> Vec<&'static str> {
    let mut fields: Vec<&str> = fields.collect();
    let place = |field: &str| FIRST.iter().position(|first| *first == field);
    fields.sort_by_key(|field| (place(field).unwrap_or(FIRST.len()), *field));
    fields
}

/// Fields in which people write what they like.
const WORDS: [&str; 8] = [
    "heading", "how", "line", "note", "reason", "role", "why", "words",
];

fn schema() -> &'static Value {
    form_schema(DocumentVersion::LATEST)
}

/// The fields of the document that are not the list of findings.
fn of_session() -> impl Iterator<Item = &'static str> {
    let fields = schema().get("properties").and_then(Value::as_object);
    let fields = fields.into_iter().flat_map(serde_json::Map::keys);
    fields
        .map(String::as_str)
        .filter(|field| *field != "findings")
}

/// The column of a name; nothing where the document has no such field.
pub(super) fn named(name: &str) -> Option<Column> {
    let (first, _) = name.split_once('.').unwrap_or((name, ""));
    let of_session = of_session().any(|field| field == first);
    let start = if of_session {
        schema()
    } else {
        finding_schema()?
    };
    let mut at = start;
    let mut steps = Vec::new();
    for step in name.split('.') {
        let here = resolved(at);
        if let Some(items) = here.get("items") {
            let number: usize = step.parse().ok()?;
            let plain = step == number.to_string() && (1..=MOST_ITEMS).contains(&number);
            steps.push(Step::Item(plain.then(|| number.saturating_sub(1))?));
            at = items;
        } else {
            at = here.get("properties")?.get(step)?;
            steps.push(Step::Key(step.to_owned()));
        }
    }
    Some(Column {
        name: name.to_owned(),
        kind: kind(resolved(at), name)?,
        steps,
        of_session,
    })
}

fn finding_schema() -> Option<&'static Value> {
    let findings = schema().get("properties")?.get("findings")?;
    Some(resolved(findings.get("items")?))
}

fn resolved(at: &'static Value) -> &'static Value {
    let name = at.get("$ref").and_then(Value::as_str);
    let name = name.and_then(|name| name.strip_prefix("#/$defs/"));
    let found = name.and_then(|name| schema().get("$defs")?.get(name));
    found.unwrap_or(at)
}

/// What the cells of a field hold; nothing where the field is a group of others.
fn kind(field: &Value, name: &str) -> Option<Kind> {
    if field.get("properties").is_some() || field.get("items").is_some() {
        return None;
    }
    let pattern = field.get("pattern").and_then(Value::as_str);
    let last = name.rsplit('.').next().unwrap_or_default();
    // A field that may be left out has a list of one type.
    let types = field.get("type");
    let only = types.and_then(|types| types.as_str().or_else(|| types.get(0)?.as_str()));
    Some(match only {
        Some("integer") => Kind::Whole,
        Some("boolean") => Kind::Truth,
        _ if pattern.is_some_and(|pattern| pattern.contains("\\d{4}")) => Kind::Day,
        _ if WORDS.contains(&last) && name != "not_tested.reason" && name != "ended.how" => {
            Kind::Words
        }
        _ => Kind::Text,
    })
}

/// Every column with its meaning, in the order of the document; an item of a list stands as `1`.
pub fn all() -> Vec<(String, String)> {
    let mut found = Vec::new();
    for field in in_order(of_session()) {
        let at = schema().get("properties").and_then(|all| all.get(field));
        if let Some(at) = at {
            below(at, field.to_owned(), &mut found);
        }
    }
    let fields = finding_schema().and_then(|schema| schema.get("properties"));
    let fields = fields.and_then(Value::as_object);
    let names = fields.into_iter().flat_map(serde_json::Map::keys);
    for field in in_order(names.map(String::as_str)) {
        let at = fields.and_then(|fields| fields.get(field));
        if let Some(at) = at {
            below(at, field.to_owned(), &mut found);
        }
    }
    found
}

fn below(at: &'static Value, name: String, found: &mut Vec<(String, String)>) {
    let here = resolved(at);
    if let Some(items) = here.get("items") {
        let before = found.len();
        below(items, format!("{name}.1"), found);
        // A plain item means what its list means.
        for (_, meaning) in found.iter_mut().skip(before) {
            if meaning.is_empty() {
                *meaning = said(at).or_else(|| said(here)).unwrap_or_default();
            }
        }
    } else if let Some(fields) = here.get("properties").and_then(Value::as_object) {
        for (field, at) in fields {
            below(at, format!("{name}.{field}"), found);
        }
    } else {
        let meaning = said(at).or_else(|| said(here)).unwrap_or_default();
        found.push((name, meaning));
    }
}

/// The sentence of a field in the schema.
fn said(at: &Value) -> Option<String> {
    let said = at.get("description").and_then(Value::as_str);
    said.map(|said| said.replace('\n', " "))
}

/// The name of the column of a field, from its JSON Pointer in the document or in a finding.
pub(super) fn name_of(pointer: &str) -> String {
    let steps = pointer.split('/').filter(|step| !step.is_empty());
    let steps = steps.map(|step| match step.parse::<usize>() {
        Ok(index) => index.saturating_add(1).to_string(),
        Err(_a_name) => step.replace("~1", "/").replace("~0", "~"),
    });
    steps.collect::<Vec<_>>().join(".")
}

impl Column {
    /// Its JSON Pointer under the document or a finding.
    pub(super) fn pointer(&self) -> String {
        self.steps.iter().fold(String::new(), |mut all, step| {
            all.push('/');
            match step {
                Step::Key(key) => all.push_str(&pointer_step(key)),
                Step::Item(index) => all.push_str(&index.to_string()),
            }
            all
        })
    }

    /// Puts a value where the column stands.
    pub(super) fn put(&self, into: &mut Node, value: Node) {
        put(into, &self.steps, value);
    }

    /// What stands where the column does.
    pub(super) fn find<'a>(&self, node: &'a Node) -> Option<&'a Node> {
        self.steps.iter().try_fold(node, |at, step| match step {
            Step::Key(key) => at.member(key),
            Step::Item(index) => at.items().get(*index),
        })
    }
}

fn put(into: &mut Node, steps: &[Step], value: Node) {
    let Some((step, rest)) = steps.split_first() else {
        *into = value;
        return;
    };
    match step {
        Step::Key(key) => {
            if !matches!(into, Node::Object(_)) {
                *into = Node::Object(Vec::new());
            }
            if into.member(key).is_none() {
                into.set(key, Node::Null);
            }
            if let Some(member) = into.member_mut(key) {
                put(member, rest, value);
            }
        }
        Step::Item(index) => {
            if !matches!(into, Node::List(_)) {
                *into = Node::List(Vec::new());
            }
            if let Node::List(items) = into {
                while items.len() <= *index {
                    items.push(Node::Object(Vec::new()));
                }
                if let Some(item) = items.get_mut(*index) {
                    put(item, rest, value);
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{NEEDED, all, finding_schema, named, of_session};

    #[test]
    fn no_field_of_the_document_has_the_name_of_a_field_of_a_finding() {
        let fields = finding_schema().expect("a finding")["properties"].clone();
        let both: Vec<&str> = of_session()
            .filter(|field| fields.get(field).is_some())
            .collect();

        assert_eq!(both, [""; 0]);
    }

    #[test]
    fn every_column_that_is_told_is_read_and_is_told_what_it_means() {
        let all = all();

        assert!(all.len() > 80, "{}", all.len());
        for (name, meaning) in &all {
            assert!(
                named(name).is_some_and(|column| column.name == *name),
                "{name}"
            );
            assert!(!meaning.is_empty(), "{name} says nothing");
        }
        for needed in NEEDED {
            assert!(named(needed).is_some_and(|column| !column.of_session));
        }
    }

    #[test]
    fn what_is_no_field_is_no_column() {
        for name in [
            "",
            "value",
            "findings.1.side",
            "precautions.0.site",
            "precautions.01.site",
            "precautions.100.site",
            "precautions.site",
            "valeu.lacks",
            "side.1",
        ] {
            assert!(named(name).is_none(), "{name}");
        }
        let site = named("precautions.2.site").expect("a column");
        assert_eq!(site.pointer(), "/precautions/1/site");
    }
}
