//! A tree as a typed value, without the way through text or a second tree.

use crate::base::json::Node;
use serde::de::value::{MapDeserializer, SeqDeserializer, StrDeserializer};
use serde::de::{Deserialize, Deserializer, Error, IntoDeserializer, Visitor};
use serde::forward_to_deserialize_any;
use std::fmt;

/// Why a tree does not fit a type; may repeat what it holds.
#[derive(Debug, thiserror::Error)]
#[error("{0}")]
pub struct NoFit(String);

impl Error for NoFit {
    fn custom<T: fmt::Display>(what: T) -> Self {
        Self(what.to_string())
    }
}

/// Reads a typed value from a tree.
///
/// # Errors
/// [`NoFit`] where the tree has another shape.
pub fn typed<'a, T: Deserialize<'a>>(node: &'a Node) -> Result<T, NoFit> {
    T::deserialize(Held(node))
}

/// A tree that serde reads.
#[derive(Clone, Copy)]
struct Held<'a>(&'a Node);

impl<'a> IntoDeserializer<'a, NoFit> for Held<'a> {
    type Deserializer = Self;

    fn into_deserializer(self) -> Self {
        self
    }
}

impl<'a> Deserializer<'a> for Held<'a> {
    type Error = NoFit;

    fn deserialize_any<V: Visitor<'a>>(self, visitor: V) -> Result<V::Value, NoFit> {
        match self.0 {
            Node::Null => visitor.visit_unit(),
            Node::Bool(held) => visitor.visit_bool(*held),
            Node::Number(digits) => number(digits, visitor),
            Node::Text(text) => visitor.visit_borrowed_str(text),
            Node::List(items) => {
                let mut items = SeqDeserializer::new(items.iter().map(Held));
                let read = visitor.visit_seq(&mut items)?;
                items.end()?;
                Ok(read)
            }
            Node::Object(members) => {
                let members = members.iter();
                let members = members.map(|(key, member)| (key.as_ref(), Held(member)));
                let mut members = MapDeserializer::new(members);
                let read = visitor.visit_map(&mut members)?;
                members.end()?;
                Ok(read)
            }
        }
    }

    fn deserialize_option<V: Visitor<'a>>(self, visitor: V) -> Result<V::Value, NoFit> {
        match self.0 {
            Node::Null => visitor.visit_none(),
            Node::Bool(_) | Node::Number(_) | Node::Text(_) | Node::List(_) | Node::Object(_) => {
                visitor.visit_some(self)
            }
        }
    }

    fn deserialize_newtype_struct<V: Visitor<'a>>(
        self,
        _name: &'static str,
        visitor: V,
    ) -> Result<V::Value, NoFit> {
        visitor.visit_newtype_struct(self)
    }

    /// A variant by its name alone; what we read has no other.
    fn deserialize_enum<V: Visitor<'a>>(
        self,
        _name: &'static str,
        _variants: &'static [&'static str],
        visitor: V,
    ) -> Result<V::Value, NoFit> {
        let Node::Text(text) = self.0 else {
            return Err(NoFit("a word was expected".to_owned()));
        };
        let text: StrDeserializer<'_, NoFit> = text.as_str().into_deserializer();
        visitor.visit_enum(text)
    }

    forward_to_deserialize_any! {
        <W: Visitor<'a>>
        bool i8 i16 i32 i64 i128 u8 u16 u32 u64 u128 f32 f64 char str string bytes byte_buf unit
        unit_struct seq tuple tuple_struct map struct identifier ignored_any
    }
}

/// A whole number, or one with a point or an exponent.
fn number<'a, V: Visitor<'a>>(digits: &str, visitor: V) -> Result<V::Value, NoFit> {
    if let Ok(whole) = digits.parse::<u64>() {
        return visitor.visit_u64(whole);
    }
    if let Ok(whole) = digits.parse::<i64>() {
        return visitor.visit_i64(whole);
    }
    match digits.parse::<f64>() {
        Ok(number) if number.is_finite() => visitor.visit_f64(number),
        Ok(_) | Err(_) => Err(NoFit(format!("the number {digits} is too large"))),
    }
}

#[cfg(test)]
mod tests {
    use super::typed;
    use crate::base::json::Node;
    use serde::Deserialize;

    #[derive(Debug, PartialEq, Deserialize)]
    #[serde(deny_unknown_fields)]
    struct Whole {
        word: Word,
        count: u32,
        #[serde(default)]
        left_out: Option<String>,
        list: Vec<Option<Part>>,
    }

    #[derive(Debug, PartialEq, Deserialize)]
    #[serde(rename_all = "kebab-case")]
    enum Word {
        NotKnown,
    }

    #[derive(Debug, PartialEq, Deserialize)]
    struct Part {
        text: String,
        truth: bool,
        number: i64,
    }

    fn read(text: &str) -> Result<Whole, String> {
        let node = Node::parse(text).expect("JSON");
        typed(&node).map_err(|cause| cause.to_string())
    }

    #[test]
    fn a_tree_is_read_as_its_text_would_be() {
        let text = r#"{"word":"not-known","count":3,"list":[null,{"text":"\u00e4","truth":true,"number":-5}]}"#;

        let from_text: Whole = serde_json::from_str(text).expect("it fits");

        assert_eq!(read(text), Ok(from_text));
    }

    #[test]
    fn what_does_not_fit_is_refused() {
        for text in [
            r#"{"word":"known","count":3,"list":[]}"#,
            r#"{"word":"not-known","count":3.0,"list":[]}"#,
            r#"{"word":"not-known","count":-3,"list":[]}"#,
            r#"{"word":"not-known","count":1e999,"list":[]}"#,
            r#"{"word":"not-known","count":3,"list":{}}"#,
            r#"{"word":"not-known","count":3,"list":[],"more":1}"#,
            r#"{"word":{"not-known":null},"count":3,"list":[]}"#,
            r#"{"word":"not-known","list":[]}"#,
        ] {
            assert!(read(text).is_err(), "{text}");
        }
    }
}
