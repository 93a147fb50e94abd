//! A JSON Schema that is held against one object or one item at a time.
//!
//! Owns: a schema taken apart where an object or a list holds others. In: a schema, and a tree. Out:
//! for each object and each item what the library finds wrong with it alone. Never: gathers the faults
//! of more than one object at a time, so that no document fills memory with them.

use crate::base::json::{Node, pointer_step};
use jsonschema::{Draft, ValidationError, Validator};
use serde_json::{Map, Number, Value};
use std::collections::BTreeMap;
use std::sync::OnceLock;

/// How many values of a tree are shown to the library where the schema asks for one alone: what it
/// says of them repeats them.
const SHOWN: usize = 50;

/// The most members of an object that is held; no schema of ours names a tenth of as many, and the
/// library compares each that is unknown with all others.
const MOST_MEMBERS: usize = 1000;

/// A schema of which something cannot be used; a fault of the schema and not of what is held against it.
#[derive(Debug, Clone, thiserror::Error)]
#[error("{0}")]
pub struct NoSchema(String);

/// A schema, taken apart.
#[derive(Debug)]
pub struct Schema {
    draft: Draft,
    parts: Vec<Part>,
}

/// What is said of one object or item alone, and which parts hold for what is in it.
#[derive(Debug, Default)]
struct Part {
    alone: Value,
    validator: OnceLock<Result<Validator, NoSchema>>,
    members: BTreeMap<String, usize>,
    items: Option<usize>,
}

/// One object, or one item or member that the schema names by reference, with what is wrong with it.
#[derive(Debug)]
pub struct Seen<'a> {
    /// JSON Pointer, from where the tree was begun.
    pub path: &'a str,
    /// The value.
    pub node: &'a Node,
    /// What the library found. Their paths begin here.
    pub faults: &'a [ValidationError<'a>],
    /// An object with more members than any schema names: it was not held, and nothing in it is seen.
    pub too_many: bool,
    members: &'a BTreeMap<String, usize>,
}

impl Seen<'_> {
    /// True for a member that is seen by itself.
    pub fn is_seen_later(&self, key: &str) -> bool {
        self.members.contains_key(key)
    }
}

impl Schema {
    /// Takes a schema apart. References lead to `#/`, the name and one of the definitions.
    ///
    /// # Errors
    /// [`NoSchema`] where it refers to something in another way than a member or an item does.
    pub fn new(
        draft: Draft,
        root: &Value,
        name: &str,
        definitions: &Map<String, Value>,
    ) -> Result<Self, NoSchema> {
        let mut building = Building {
            definitions,
            before: format!("#/{name}/"),
            parts: Vec::new(),
            named: BTreeMap::new(),
        };
        building.part(root)?;
        Ok(Self {
            draft,
            parts: building.parts,
        })
    }

    /// Holds a tree against the schema; `see` is given each object and each item, faulty or not, in the
    /// order of the tree, and says whether what is in it is looked at.
    ///
    /// # Errors
    /// [`NoSchema`] where a part does not compile.
    pub fn hold(
        &self,
        node: &Node,
        see: &mut impl FnMut(&Seen<'_>) -> bool,
    ) -> Result<(), NoSchema> {
        self.at(0, node, &mut String::new(), see)
    }

    fn at(
        &self,
        number: usize,
        node: &Node,
        path: &mut String,
        see: &mut impl FnMut(&Seen<'_>) -> bool,
    ) -> Result<(), NoSchema> {
        let Some(part) = self.parts.get(number) else {
            return Ok(());
        };
        let validator = part.validator(self.draft)?;
        let too_many = node.members().len() > MOST_MEMBERS;
        let value = part.alone_of(if too_many { &Node::Null } else { node });
        let faults: Vec<_> = if too_many || validator.is_valid(&value) {
            Vec::new()
        } else {
            validator.iter_errors(&value).collect()
        };
        let goes_on = see(&Seen {
            path,
            node,
            faults: &faults,
            too_many,
            members: &part.members,
        });
        drop(faults);
        if too_many || !goes_on {
            return Ok(());
        }
        let length = path.len();
        for (key, member) in node.members() {
            if let Some(number) = part.members.get(key.as_ref()) {
                path.push('/');
                path.push_str(&pointer_step(key));
                self.at(*number, member, path, see)?;
                path.truncate(length);
            }
        }
        if let Some(number) = part.items {
            for (index, item) in node.items().iter().enumerate() {
                path.push('/');
                path.push_str(&index.to_string());
                self.at(number, item, path, see)?;
                path.truncate(length);
            }
        }
        Ok(())
    }
}

impl Part {
    fn validator(&self, draft: Draft) -> Result<&Validator, NoSchema> {
        let compiled = self.validator.get_or_init(|| {
            let options = jsonschema::options().with_draft(draft);
            let built = options.build(&self.alone);
            built.map_err(|cause| NoSchema(cause.to_string()))
        });
        compiled.as_ref().map_err(Clone::clone)
    }

    /// What the library is shown: the members and items that other parts hold for are only there.
    fn alone_of(&self, node: &Node) -> Value {
        match node {
            Node::Object(members) => {
                let members = members.iter().map(|(key, member)| {
                    let other = self.members.contains_key(key.as_ref());
                    let shown = if other { Value::Null } else { shown(member) };
                    (key.to_string(), shown)
                });
                Value::Object(members.collect())
            }
            Node::List(items) if self.items.is_some() => {
                // Of a list the schema asks only whether it is empty.
                Value::Array(items.iter().take(1).map(|_item| Value::Null).collect())
            }
            Node::List(_) | Node::Null | Node::Bool(_) | Node::Number(_) | Node::Text(_) => {
                shown(node)
            }
        }
    }
}

/// The beginning of a value as the library reads it. A number keeps no digits here: the schemas say
/// nothing of them.
fn shown(node: &Node) -> Value {
    value(node, &mut SHOWN.clone())
}

fn value(node: &Node, left: &mut usize) -> Value {
    *left = left.saturating_sub(1);
    match node {
        Node::Null => Value::Null,
        Node::Bool(held) => Value::Bool(*held),
        Node::Number(digits) => Value::Number(digits.parse().unwrap_or_else(|_| Number::from(0))),
        Node::Text(text) => Value::String(text.clone()),
        Node::List(items) => {
            let mut all = Vec::new();
            for item in items {
                if *left == 0 {
                    break;
                }
                all.push(value(item, left));
            }
            Value::Array(all)
        }
        Node::Object(members) => {
            let mut all = Map::new();
            for (key, member) in members {
                if *left == 0 {
                    break;
                }
                all.insert(key.to_string(), value(member, left));
            }
            Value::Object(all)
        }
    }
}

/// A schema while it is taken apart.
struct Building<'a> {
    definitions: &'a Map<String, Value>,
    before: String,
    parts: Vec<Part>,
    named: BTreeMap<String, usize>,
}

impl Building<'_> {
    /// Adds what a schema says, without its references, and gives the number of its part.
    fn part(&mut self, schema: &Value) -> Result<usize, NoSchema> {
        let name = self.referred(schema)?;
        if let Some(known) = name.as_ref().and_then(|name| self.named.get(name)) {
            return Ok(*known);
        }
        let number = self.parts.len();
        self.parts.push(Part::default());
        let mut alone = schema.clone();
        if let Some(name) = name {
            alone = self.definition(&name)?.clone();
            self.named.insert(name, number);
            if self.referred(&alone)?.is_some() {
                return Err(NoSchema("a reference leads to a reference".to_owned()));
            }
        }
        let mut members = BTreeMap::new();
        let properties = alone.get_mut("properties").and_then(Value::as_object_mut);
        for (key, member) in properties.into_iter().flatten() {
            if let Some(plain) = self.plain(member)? {
                *member = plain;
            } else {
                members.insert(key.clone(), self.part(member)?);
                *member = Value::Bool(true);
            }
        }
        let items = alone.as_object_mut().and_then(|one| one.remove("items"));
        let items = items.map(|items| self.part(&items)).transpose()?;
        if refers(&alone) || alone.get("maxItems").is_some() {
            return Err(NoSchema(
                "a schema refers or counts where nothing looks".to_owned(),
            ));
        }
        if let Some(part) = self.parts.get_mut(number) {
            (part.alone, part.members, part.items) = (alone, members, items);
        }
        Ok(number)
    }

    fn referred(&self, schema: &Value) -> Result<Option<String>, NoSchema> {
        let Some(to) = schema.get("$ref").and_then(Value::as_str) else {
            return Ok(None);
        };
        let name = to.strip_prefix(&self.before);
        let name = name.ok_or_else(|| NoSchema(format!("{to} leads elsewhere")))?;
        Ok(Some(name.to_owned()))
    }

    fn definition(&self, name: &str) -> Result<&Value, NoSchema> {
        let found = self.definitions.get(name);
        found.ok_or_else(|| NoSchema(format!("{name} is no definition")))
    }

    /// What a schema says of a value that holds no others; nothing where it may hold some.
    fn plain(&self, schema: &Value) -> Result<Option<Value>, NoSchema> {
        let schema = match self.referred(schema)? {
            Some(name) => self.definition(&name)?,
            None => schema,
        };
        let holds = ["properties", "items", "$ref"];
        let holds = holds.iter().any(|one| schema.get(one).is_some());
        Ok((!holds).then(|| schema.clone()))
    }
}

fn refers(schema: &Value) -> bool {
    match schema {
        Value::Object(members) => members.contains_key("$ref") || members.values().any(refers),
        Value::Array(items) => items.iter().any(refers),
        Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_) => false,
    }
}

#[cfg(test)]
mod tests {
    use super::Schema;
    use crate::base::json::Node;
    use jsonschema::Draft;
    use serde_json::{Value, json};

    fn schema() -> Value {
        json!({
            "type": "object",
            "required": ["list"],
            "unevaluatedProperties": false,
            "properties": {
                "list": {"type": "array", "minItems": 1, "items": {"$ref": "#/$defs/Item"}},
                "name": {"$ref": "#/$defs/Name"},
            },
            "$defs": {
                "Name": {"type": "string", "pattern": "^a"},
                "Item": {
                    "type": "object",
                    "properties": {
                        "below": {"$ref": "#/$defs/Item"},
                        "name": {"$ref": "#/$defs/Name"},
                        "words": {"type": "array", "items": {"type": "string"}},
                    },
                },
            },
        })
    }

    fn apart(schema: &Value) -> Result<Schema, super::NoSchema> {
        let mut root = schema.as_object().expect("an object").clone();
        let definitions = root.remove("$defs").expect("definitions");
        let definitions = definitions.as_object().expect("an object");
        Schema::new(
            Draft::Draft202012,
            &Value::Object(root),
            "$defs",
            definitions,
        )
    }

    /// The faults as `path: words`, by parts and by the library over the whole.
    fn told(text: &str) -> (Vec<String>, Vec<String>) {
        let node = Node::parse(text).expect("JSON");
        let schema = schema();
        let apart = apart(&schema).expect("a schema");
        let mut by_parts = Vec::new();
        let held = apart.hold(&node, &mut |seen| {
            for fault in seen.faults {
                by_parts.push(format!("{}{}: {fault}", seen.path, fault.instance_path()));
            }
            true
        });
        held.expect("every part compiles");
        let whole = jsonschema::draft202012::new(&schema).expect("a schema");
        let value: Value = serde_json::from_str(text).expect("JSON");
        let mut whole: Vec<String> = whole
            .iter_errors(&value)
            .map(|fault| format!("{}: {fault}", fault.instance_path()))
            .collect();
        by_parts.sort();
        whole.sort();
        (by_parts, whole)
    }

    #[test]
    fn the_parts_find_what_the_whole_finds() {
        for text in [
            "1",
            "{}",
            r#"{"list":[]}"#,
            r#"{"list":[{}]}"#,
            r#"{"list":[1,"a",{"name":"b"},null]}"#,
            r#"{"list":{},"more":1,"name":2}"#,
            r#"{"list":[{"below":{"below":{"name":"b","words":["a",1]}}}],"name":"b"}"#,
            r#"{"list":[{"below":[],"words":"a","odd":true}]}"#,
        ] {
            let (by_parts, whole) = told(text);

            assert_eq!(by_parts, whole, "{text}");
        }
    }

    #[test]
    fn a_reference_where_nothing_looks_is_refused() {
        let schema = json!({"oneOf": [{"$ref": "#/$defs/A"}], "$defs": {"A": {}}});

        assert!(apart(&schema).is_err());
    }
}
