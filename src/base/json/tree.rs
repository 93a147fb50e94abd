//! Typed values as a tree, without the way through text.
//!
//! `serde_json` has no tree that keeps the digits of a number, so the shapes that serde hands over
//! become a [`Node`] here. Numbers come as whole numbers or as a [`NUMBER`].

use crate::base::json::{Key, Node};
use serde::ser::{Impossible, Serialize, SerializeMap, SerializeSeq, SerializeStruct, Serializer};
use std::fmt;

/// Name of the newtype in which a decimal hands over its digits as a text.
pub const NUMBER: &str = "json number, as written";

/// Why a value has no tree: it has a shape that no resource has.
#[derive(Debug, thiserror::Error)]
#[error("{0}")]
pub struct NoTree(String);

impl serde::ser::Error for NoTree {
    fn custom<T: fmt::Display>(what: T) -> Self {
        Self(what.to_string())
    }
}

/// A value as a tree; members are in the order of its fields.
///
/// # Errors
/// [`NoTree`] for floats, bytes, tuples, variants with fields, and maps whose keys are no text.
pub fn tree(value: &impl Serialize) -> Result<Node, NoTree> {
    value.serialize(Tree)
}

fn none<T>(shape: &str) -> Result<T, NoTree> {
    Err(NoTree(format!("{shape} has no place in a resource")))
}

struct Tree;

/// Items of an array.
struct Items(Vec<Node>);

/// Members of an object, and the key that waits for its value.
struct Members {
    all: Vec<(Key, Node)>,
    key: Option<Key>,
}

impl Members {
    fn of(length: usize) -> Self {
        Self {
            all: Vec::with_capacity(length),
            key: None,
        }
    }
}

impl Serializer for Tree {
    type Ok = Node;
    type Error = NoTree;
    type SerializeSeq = Items;
    type SerializeTuple = Impossible<Node, NoTree>;
    type SerializeTupleStruct = Impossible<Node, NoTree>;
    type SerializeTupleVariant = Impossible<Node, NoTree>;
    type SerializeMap = Members;
    type SerializeStruct = Members;
    type SerializeStructVariant = Impossible<Node, NoTree>;

    fn serialize_bool(self, value: bool) -> Result<Node, NoTree> {
        Ok(Node::Bool(value))
    }
    fn serialize_i8(self, value: i8) -> Result<Node, NoTree> {
        self.serialize_i64(value.into())
    }
    fn serialize_i16(self, value: i16) -> Result<Node, NoTree> {
        self.serialize_i64(value.into())
    }
    fn serialize_i32(self, value: i32) -> Result<Node, NoTree> {
        self.serialize_i64(value.into())
    }
    fn serialize_i64(self, value: i64) -> Result<Node, NoTree> {
        Ok(Node::Number(value.to_string()))
    }
    fn serialize_u8(self, value: u8) -> Result<Node, NoTree> {
        self.serialize_u64(value.into())
    }
    fn serialize_u16(self, value: u16) -> Result<Node, NoTree> {
        self.serialize_u64(value.into())
    }
    fn serialize_u32(self, value: u32) -> Result<Node, NoTree> {
        self.serialize_u64(value.into())
    }
    fn serialize_u64(self, value: u64) -> Result<Node, NoTree> {
        Ok(Node::Number(value.to_string()))
    }
    fn serialize_f32(self, _value: f32) -> Result<Node, NoTree> {
        none("a float")
    }
    fn serialize_f64(self, _value: f64) -> Result<Node, NoTree> {
        none("a float")
    }
    fn serialize_char(self, value: char) -> Result<Node, NoTree> {
        Ok(Node::Text(value.to_string()))
    }
    fn serialize_str(self, value: &str) -> Result<Node, NoTree> {
        Ok(Node::Text(value.to_owned()))
    }
    fn serialize_bytes(self, _value: &[u8]) -> Result<Node, NoTree> {
        none("bytes")
    }
    fn serialize_none(self) -> Result<Node, NoTree> {
        Ok(Node::Null)
    }
    fn serialize_some<T: Serialize + ?Sized>(self, value: &T) -> Result<Node, NoTree> {
        value.serialize(self)
    }
    fn serialize_unit(self) -> Result<Node, NoTree> {
        Ok(Node::Null)
    }
    fn serialize_unit_struct(self, _name: &'static str) -> Result<Node, NoTree> {
        Ok(Node::Null)
    }
    fn serialize_unit_variant(
        self,
        _name: &'static str,
        _index: u32,
        variant: &'static str,
    ) -> Result<Node, NoTree> {
        self.serialize_str(variant)
    }
    fn serialize_newtype_struct<T: Serialize + ?Sized>(
        self,
        name: &'static str,
        value: &T,
    ) -> Result<Node, NoTree> {
        match (name, value.serialize(self)?) {
            (NUMBER, Node::Text(digits)) => Ok(Node::Number(digits)),
            (_, node) => Ok(node),
        }
    }
    fn serialize_newtype_variant<T: Serialize + ?Sized>(
        self,
        _name: &'static str,
        _index: u32,
        variant: &'static str,
        value: &T,
    ) -> Result<Node, NoTree> {
        let value = value.serialize(self)?;
        Ok(Node::Object(vec![(variant.into(), value)]))
    }
    fn serialize_seq(self, length: Option<usize>) -> Result<Items, NoTree> {
        Ok(Items(Vec::with_capacity(length.unwrap_or_default())))
    }
    fn serialize_tuple(self, _length: usize) -> Result<Self::SerializeTuple, NoTree> {
        none("a tuple")
    }
    fn serialize_tuple_struct(
        self,
        _name: &'static str,
        _length: usize,
    ) -> Result<Self::SerializeTupleStruct, NoTree> {
        none("a tuple")
    }
    fn serialize_tuple_variant(
        self,
        _name: &'static str,
        _index: u32,
        _variant: &'static str,
        _length: usize,
    ) -> Result<Self::SerializeTupleVariant, NoTree> {
        none("a tuple")
    }
    fn serialize_map(self, length: Option<usize>) -> Result<Members, NoTree> {
        Ok(Members::of(length.unwrap_or_default()))
    }
    fn serialize_struct(self, _name: &'static str, length: usize) -> Result<Members, NoTree> {
        Ok(Members::of(length))
    }
    fn serialize_struct_variant(
        self,
        _name: &'static str,
        _index: u32,
        _variant: &'static str,
        _length: usize,
    ) -> Result<Self::SerializeStructVariant, NoTree> {
        none("a variant with fields")
    }
}

impl SerializeSeq for Items {
    type Ok = Node;
    type Error = NoTree;

    fn serialize_element<T: Serialize + ?Sized>(&mut self, value: &T) -> Result<(), NoTree> {
        self.0.push(value.serialize(Tree)?);
        Ok(())
    }
    fn end(self) -> Result<Node, NoTree> {
        Ok(Node::List(self.0))
    }
}

impl SerializeMap for Members {
    type Ok = Node;
    type Error = NoTree;

    fn serialize_key<T: Serialize + ?Sized>(&mut self, key: &T) -> Result<(), NoTree> {
        match key.serialize(Tree)? {
            Node::Text(key) => self.key = Some(key.into()),
            Node::Null | Node::Bool(_) | Node::Number(_) | Node::List(_) | Node::Object(_) => {
                return none("a key that is no text");
            }
        }
        Ok(())
    }
    fn serialize_value<T: Serialize + ?Sized>(&mut self, value: &T) -> Result<(), NoTree> {
        let Some(key) = self.key.take() else {
            return none("a value without a key");
        };
        self.all.push((key, value.serialize(Tree)?));
        Ok(())
    }
    fn end(self) -> Result<Node, NoTree> {
        Ok(Node::Object(self.all))
    }
}

impl SerializeStruct for Members {
    type Ok = Node;
    type Error = NoTree;

    fn serialize_field<T: Serialize + ?Sized>(
        &mut self,
        key: &'static str,
        value: &T,
    ) -> Result<(), NoTree> {
        self.all.push((key.into(), value.serialize(Tree)?));
        Ok(())
    }
    fn end(self) -> Result<Node, NoTree> {
        Ok(Node::Object(self.all))
    }
}

#[cfg(test)]
mod tests {
    use super::{NUMBER, tree};
    use serde::Serialize;
    use serde::ser::Serializer;

    struct Digits(&'static str);

    impl Serialize for Digits {
        fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
            serializer.serialize_newtype_struct(NUMBER, self.0)
        }
    }

    #[derive(Serialize)]
    #[serde(tag = "kind")]
    enum Shape {
        Whole(Whole),
    }

    #[derive(Serialize)]
    struct Whole {
        list: Vec<Digits>,
        #[serde(flatten)]
        one: Option<Choice>,
        none: Option<u8>,
        #[serde(skip_serializing_if = "Option::is_none")]
        left_out: Option<u8>,
    }

    #[derive(Serialize)]
    enum Choice {
        Text(&'static str),
    }

    #[test]
    fn tags_flattened_choices_and_digits_stand_as_serde_writes_them() {
        let shape = |one| {
            Shape::Whole(Whole {
                list: vec![Digits("12.50"), Digits("-5")],
                one: Some(one),
                none: None,
                left_out: None,
            })
        };

        let written = |one| tree(&shape(one)).expect("a tree").compact();

        assert_eq!(
            written(Choice::Text("ä\"")),
            r#"{"kind":"Whole","list":[12.50,-5],"Text":"ä\"","none":null}"#
        );
    }

    #[test]
    fn a_float_or_a_tuple_is_refused() {
        assert!(tree(&1.5).is_err());
        assert!(tree(&(1, 2)).is_err());
        assert!(tree(&std::collections::BTreeMap::from([(1, 2)])).is_err());
    }
}
