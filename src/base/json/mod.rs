//! JSON whose numbers keep their text.
//!
//! Owns: a tree in which a number is the text it was written with, and its canonical form.
//! In: JSON text. Out: [`Node`], and JSON text. Never: turns a number into a float.
//!
//! `serde_json::Value` holds numbers as `f64`, and its `arbitrary_precision` feature breaks the
//! FHIR model crate; so this tree is read through `RawValue`.

pub mod tree;
pub mod typed;

use serde::de::{Deserialize, Deserializer, Error as _, MapAccess, SeqAccess, Visitor};
use serde_json::value::RawValue;
use std::borrow::Cow;
use std::collections::BTreeSet;
use std::fmt;

/// How deep a document may nest; deeper is refused before the stack could run out.
const DEEPEST: usize = 64;

/// The most values a text may hold, members and items counted: a session of three thousand findings
/// becomes a record with half of it. More are refused before memory is spent on them.
pub const MOST_NODES: usize = 1_000_000;

/// Some programs write the byte order mark before UTF-8.
pub const MARK: char = '\u{feff}';

/// One JSON value.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Node {
    /// `null`
    Null,
    /// `true` or `false`
    Bool(bool),
    /// A number, as written.
    Number(String),
    /// A string, unescaped.
    Text(String),
    /// An array.
    List(Vec<Self>),
    /// An object, in the order written; keys are unique.
    Object(Vec<(Key, Self)>),
}

/// The name of a member; most are names of FHIR, known when we were compiled.
pub type Key = Cow<'static, str>;

/// Why a text is no acceptable JSON document.
#[derive(Debug, thiserror::Error)]
pub enum NotJson {
    /// Not JSON, or nested deeper than the limit, or an object names a key twice.
    #[error("line {line}, column {column}")]
    Syntax {
        /// Line, counted from 1; 0 when unknown.
        line: usize,
        /// Column, counted from 1; 0 when unknown.
        column: usize,
    },
    /// An object names one key twice.
    #[error("the key {key} stands twice at {path}")]
    Twice {
        /// The key that stands twice.
        key: String,
        /// JSON Pointer of the object.
        path: String,
    },
    /// Nested deeper than the limit.
    #[error("nested deeper than {DEEPEST} levels")]
    Deep,
    /// More values than the limit.
    #[error("more than {MOST_NODES} values")]
    Many,
}

impl Node {
    /// Reads a document. "implementations that parse JSON texts MAY ignore the presence of a byte order
    /// mark rather than treating it as an error" (RFC 8259, section 8.1): one mark is passed over.
    ///
    /// # Errors
    /// [`NotJson`] when the text is not JSON, repeats a key in one object, nests too deep or holds too
    /// many values.
    pub fn parse(text: &str) -> Result<Self, NotJson> {
        let text = text.strip_prefix(MARK).unwrap_or(text);
        // Told before anything is kept of it, and before it is read once for each level.
        bounded(text)?;
        let raw: &RawValue = serde_json::from_str(text).map_err(|cause| NotJson::Syntax {
            line: cause.line(),
            column: cause.column(),
        })?;
        read(raw, 0)
    }

    /// The member of an object.
    pub fn member(&self, key: &str) -> Option<&Self> {
        match self {
            Self::Object(members) => members
                .iter()
                .find(|(name, _)| name == key)
                .map(|(_, value)| value),
            Self::Null | Self::Bool(_) | Self::Number(_) | Self::Text(_) | Self::List(_) => None,
        }
    }

    /// The node at a path of member names.
    pub fn at(&self, path: &[&str]) -> Option<&Self> {
        path.iter().try_fold(self, |node, key| node.member(key))
    }

    /// The text of a string.
    pub fn text(&self) -> Option<&str> {
        match self {
            Self::Text(text) => Some(text),
            Self::Null | Self::Bool(_) | Self::Number(_) | Self::List(_) | Self::Object(_) => None,
        }
    }

    /// The text of a string member.
    pub fn text_of(&self, key: &str) -> Option<&str> {
        self.member(key).and_then(Self::text)
    }

    /// The items of an array; nothing for any other kind.
    pub fn items(&self) -> &[Self] {
        match self {
            Self::List(items) => items,
            Self::Null | Self::Bool(_) | Self::Number(_) | Self::Text(_) | Self::Object(_) => &[],
        }
    }

    /// The items of an array member; nothing when it is missing.
    pub fn items_of(&self, key: &str) -> &[Self] {
        self.member(key).map_or(&[], Self::items)
    }

    /// The members of an object; nothing for any other kind.
    pub fn members(&self) -> &[(Key, Self)] {
        match self {
            Self::Object(members) => members,
            Self::Null | Self::Bool(_) | Self::Number(_) | Self::Text(_) | Self::List(_) => &[],
        }
    }

    /// Sets a member of an object, in place or at the end; does nothing to other kinds.
    pub fn set(&mut self, key: &str, value: Self) {
        if let Self::Object(members) = self {
            match members.iter_mut().find(|(name, _)| name == key) {
                Some((_, old)) => *old = value,
                None => members.push((Cow::Owned(key.to_owned()), value)),
            }
        }
    }

    /// Removes a member of an object.
    pub fn remove(&mut self, key: &str) {
        if let Self::Object(members) = self {
            members.retain(|(name, _)| name != key);
        }
    }

    /// The mutable member of an object.
    pub fn member_mut(&mut self, key: &str) -> Option<&mut Self> {
        match self {
            Self::Object(members) => members
                .iter_mut()
                .find(|(name, _)| name == key)
                .map(|(_, value)| value),
            Self::Null | Self::Bool(_) | Self::Number(_) | Self::Text(_) | Self::List(_) => None,
        }
    }

    /// The mutable items of an array; nothing for any other kind.
    pub fn items_mut(&mut self) -> &mut [Self] {
        match self {
            Self::List(items) => items,
            Self::Null | Self::Bool(_) | Self::Number(_) | Self::Text(_) | Self::Object(_) => {
                &mut []
            }
        }
    }

    /// The same document with keys sorted, without white space.
    ///
    /// Like RFC 8785 (JSON Canonicalization Scheme) but for numbers, which keep the text they
    /// were written with, because in FHIR `5` and `5.0` differ.
    pub fn canonical(&self) -> String {
        let mut out = String::new();
        self.write(&mut out, true, None, 0);
        out
    }

    /// The document in the order it has, without white space.
    pub fn compact(&self) -> String {
        let mut out = String::new();
        self.add_to(&mut out);
        out
    }

    /// Writes the document behind a text, in the order it has, without white space.
    pub fn add_to(&self, out: &mut String) {
        self.write(out, false, None, 0);
    }

    /// The document in the order it has, two blanks a level, for people.
    pub fn pretty(&self) -> String {
        let mut out = String::new();
        self.write(&mut out, false, Some("  "), 0);
        out.push('\n');
        out
    }

    fn write(&self, out: &mut String, sorted: bool, indent: Option<&str>, depth: usize) {
        match self {
            Self::Null => out.push_str("null"),
            Self::Bool(true) => out.push_str("true"),
            Self::Bool(false) => out.push_str("false"),
            Self::Number(text) => out.push_str(text),
            Self::Text(text) => quote(out, text),
            Self::List(items) => {
                out.push('[');
                write_all(out, items, indent, depth, |out, item| {
                    item.write(out, sorted, indent, depth.saturating_add(1));
                });
                out.push(']');
            }
            Self::Object(members) => {
                let member = |out: &mut String, (key, value): &(Key, Self)| {
                    quote(out, key);
                    out.push_str(if indent.is_some() { ": " } else { ":" });
                    value.write(out, sorted, indent, depth.saturating_add(1));
                };
                out.push('{');
                if sorted {
                    let mut members: Vec<_> = members.iter().collect();
                    members.sort_by(|a, b| a.0.encode_utf16().cmp(b.0.encode_utf16()));
                    let sorted = |out: &mut String, one: &&(Key, Self)| member(out, one);
                    write_all(out, &members, indent, depth, sorted);
                } else {
                    write_all(out, members, indent, depth, member);
                }
                out.push('}');
            }
        }
    }
}

/// A string node.
pub fn text(value: impl Into<String>) -> Node {
    Node::Text(value.into())
}

/// An object node, in the order given.
pub fn object<K: Into<Key>>(members: impl IntoIterator<Item = (K, Node)>) -> Node {
    Node::Object(
        members
            .into_iter()
            .map(|(key, value)| (key.into(), value))
            .collect(),
    )
}

/// Escapes one step of a JSON Pointer (RFC 6901, section 3).
pub fn pointer_step(key: &str) -> Cow<'_, str> {
    if key.contains(['~', '/']) {
        Cow::Owned(key.replace('~', "~0").replace('/', "~1"))
    } else {
        Cow::Borrowed(key)
    }
}

fn write_all<T>(
    out: &mut String,
    items: &[T],
    indent: Option<&str>,
    depth: usize,
    mut write: impl FnMut(&mut String, &T),
) {
    for (index, item) in items.iter().enumerate() {
        if index > 0 {
            out.push(',');
        }
        new_line(out, indent, depth.saturating_add(1));
        write(out, item);
    }
    if !items.is_empty() {
        new_line(out, indent, depth);
    }
}

fn new_line(out: &mut String, indent: Option<&str>, depth: usize) {
    if let Some(indent) = indent {
        out.push('\n');
        out.extend(std::iter::repeat_n(indent, depth));
    }
}

fn quote(out: &mut String, text: &str) {
    // "All Unicode characters may be placed within the quotation marks, except for the characters
    // that MUST be escaped: quotation mark, reverse solidus, and the control characters" (RFC 8259,
    // section 7). Most texts have none of them; looking at all bytes without stopping is faster.
    let escaped = |byte| matches!(byte, b'"' | b'\\' | ..b' ');
    if text.bytes().fold(false, |any, byte| any | escaped(byte)) {
        // A string always serialises.
        out.push_str(&serde_json::to_string(text).unwrap_or_default());
    } else {
        out.push('"');
        out.push_str(text);
        out.push('"');
    }
}

fn read(raw: &RawValue, depth: usize) -> Result<Node, NotJson> {
    if depth > DEEPEST {
        return Err(NotJson::Deep);
    }
    let text = raw.get();
    let next = depth.saturating_add(1);
    match text.as_bytes().first() {
        Some(b'{') => {
            let Pairs(pairs) = part(text)?;
            let mut members: Vec<(Key, Node)> = Vec::with_capacity(pairs.len());
            let mut known = BTreeSet::new();
            for (key, value) in pairs {
                if !known.insert(key.clone()) {
                    let path = String::new();
                    return Err(NotJson::Twice { key, path });
                }
                let value = read(value, next).map_err(|fault| fault.below(&pointer_step(&key)))?;
                members.push((Cow::Owned(key), value));
            }
            Ok(Node::Object(members))
        }
        Some(b'[') => {
            let raw: Vec<&RawValue> = part(text)?;
            let mut items = Vec::with_capacity(raw.len());
            for (index, item) in raw.into_iter().enumerate() {
                let item = read(item, next);
                items.push(item.map_err(|fault| fault.below(&index.to_string()))?);
            }
            Ok(Node::List(items))
        }
        Some(b'"') => Ok(Node::Text(part(text)?)),
        Some(b't') => Ok(Node::Bool(true)),
        Some(b'f') => Ok(Node::Bool(false)),
        Some(b'n') => Ok(Node::Null),
        Some(_) | None => Ok(Node::Number(text.to_owned())),
    }
}

impl NotJson {
    /// The same fault, seen from one level further up.
    fn below(self, step: &str) -> Self {
        match self {
            Self::Twice { key, path } => Self::Twice {
                key,
                path: format!("/{step}{path}"),
            },
            Self::Syntax { .. } | Self::Deep | Self::Many => self,
        }
    }
}

/// Refuses a text whose brackets nest too deep or that holds too many values: each stands at the
/// beginning, behind an opening bracket or behind a comma.
fn bounded(text: &str) -> Result<(), NotJson> {
    let (mut depth, mut quoted, mut escaped) = (0_usize, false, false);
    let mut nodes = 1_usize;
    for byte in text.bytes() {
        match byte {
            _ if escaped => escaped = false,
            b'\\' if quoted => escaped = true,
            b'"' => quoted = !quoted,
            _ if quoted => {}
            b'[' | b'{' => {
                depth = depth.saturating_add(1);
                nodes = nodes.saturating_add(1);
            }
            b']' | b'}' => depth = depth.saturating_sub(1),
            b',' => nodes = nodes.saturating_add(1),
            _ => {}
        }
        if depth > DEEPEST.saturating_add(1) {
            return Err(NotJson::Deep);
        }
        if nodes > MOST_NODES {
            return Err(NotJson::Many);
        }
    }
    Ok(())
}

fn part<'a, T: Deserialize<'a>>(text: &'a str) -> Result<T, NotJson> {
    serde_json::from_str(text).map_err(|cause| NotJson::Syntax {
        line: cause.line(),
        column: cause.column(),
    })
}

/// The members of one object, in the order written, repeated keys kept.
struct Pairs<'a>(Vec<(String, &'a RawValue)>);

impl<'de> Deserialize<'de> for Pairs<'de> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Members;

        impl<'de> Visitor<'de> for Members {
            type Value = Pairs<'de>;

            fn expecting(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
                formatter.write_str("an object")
            }

            fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Self::Value, A::Error> {
                let mut pairs = Vec::new();
                while let Some(pair) = map.next_entry()? {
                    pairs.push(pair);
                }
                Ok(Pairs(pairs))
            }

            fn visit_seq<A: SeqAccess<'de>>(self, _seq: A) -> Result<Self::Value, A::Error> {
                Err(A::Error::custom("an object"))
            }
        }

        deserializer.deserialize_map(Members)
    }
}

#[cfg(test)]
mod tests {
    use super::{Node, NotJson};

    #[test]
    fn numbers_keep_their_text_and_strings_their_characters() {
        let text = r#"{"b":[5,5.0,12.50,-0.5,1E+2],"a":"ä\n\"","c":{"d":null,"e":true}}"#;

        let node = Node::parse(text).expect("valid JSON");

        assert_eq!(node.compact(), text);
        assert_eq!(
            node.canonical(),
            r#"{"a":"ä\n\"","b":[5,5.0,12.50,-0.5,1E+2],"c":{"d":null,"e":true}}"#
        );
        assert_eq!(Node::parse(&node.pretty()).expect("pretty is JSON"), node);
    }

    #[test]
    fn a_key_that_stands_twice_is_refused_with_its_path() {
        let refused = Node::parse(r#"{"a":[{"b":1,"b":2}]}"#);

        assert!(
            matches!(refused, Err(NotJson::Twice { key, path }) if key == "b" && path == "/a/0")
        );
    }

    #[test]
    fn more_values_than_are_read_are_refused_before_memory_is_spent() {
        let many = format!("[{}1]", "1,".repeat(super::MOST_NODES));
        let as_many_as_are_read = format!("[{}1]", "1,".repeat(super::MOST_NODES - 3));
        let in_a_text = format!("[\"{}\"]", ",[{".repeat(super::MOST_NODES));

        assert!(matches!(Node::parse(&many), Err(NotJson::Many)));
        assert!(Node::parse(&as_many_as_are_read).is_ok());
        assert!(Node::parse(&in_a_text).is_ok());
    }

    #[test]
    fn one_byte_order_mark_is_passed_over() {
        assert!(Node::parse("\u{feff}{}").is_ok());
        assert!(Node::parse("\u{feff}\u{feff}{}").is_err());
    }

    #[test]
    fn deep_nesting_is_refused_not_overflowed() {
        let deep = format!("{}{}", "[".repeat(100), "]".repeat(100));

        assert!(matches!(Node::parse(&deep), Err(NotJson::Deep)));
    }

    #[test]
    fn brackets_in_strings_are_no_levels() {
        let text = format!(r#"{{"a":"\"{}"}}"#, "[".repeat(100));

        assert!(Node::parse(&text).is_ok());
    }
}
