//! JSON whose numbers keep their text.
//!
//! Owns: a tree in which a number is the text it was written with, and its canonical form.
//! In: JSON text. Out: [`Node`], and JSON text. Never: turns a number into a float.
//!
//! `serde_json::Value` holds numbers as `f64`, and its `arbitrary_precision` feature breaks the
//! FHIR model crate; so the numbers of this tree are read through `RawValue`.

mod read;
pub mod tree;
pub mod typed;

use std::borrow::Cow;

/// How deep a document may nest; deeper is refused before the stack could run out.
const DEEPEST: usize = 64;

/// The most values a text may hold, members and items counted: a session of three thousand findings
/// becomes a record with half of it. More are refused before memory is spent on them.
pub const MOST_NODES: usize = 1_000_000;

/// The most members an object may have: many times what any of ours, of FHIR or of an interface has.
pub const MOST_MEMBERS: usize = 10_000;

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
    /// An object with more members than the limit.
    #[error("more than {MOST_MEMBERS} members in one object")]
    Wide,
}

impl Node {
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

#[cfg(test)]
mod tests {
    use super::Node;

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
}
