//! Reading a text into a tree, once, and with a limit to everything.

use crate::base::json::{
    DEEPEST, Key, MARK, MOST_MEMBERS, MOST_NODES, Node, NotJson, pointer_step,
};
use serde::de::{Deserialize, DeserializeSeed, Deserializer, Error, MapAccess, SeqAccess, Visitor};
use serde_json::value::RawValue;
use std::borrow::Cow;
use std::collections::BTreeSet;
use std::fmt;

/// How many members an object has before their names are kept in order to find one that stands twice.
const FEW: usize = 16;

impl Node {
    /// Reads a document. "implementations that parse JSON texts MAY ignore the presence of a byte order
    /// mark rather than treating it as an error" (RFC 8259, section 8.1): one mark is passed over.
    ///
    /// # Errors
    /// [`NotJson`] when the text is not JSON, repeats a key in one object, nests too deep, or holds too
    /// many values, or too many members in one object.
    pub fn parse(text: &str) -> Result<Self, NotJson> {
        let text = text.strip_prefix(MARK).unwrap_or(text);
        // Told before anything is kept of it.
        let numbers = numbers(text)?;
        let mut reader = Reader {
            numbers: numbers.into_iter(),
            refused: None,
        };
        let mut from = serde_json::Deserializer::from_str(text);
        let read = reader.deserialize(&mut from);
        let read = read.and_then(|node| from.end().map(|()| node));
        read.map_err(|cause| {
            reader.refused.unwrap_or_else(|| NotJson::Syntax {
                line: cause.line(),
                column: cause.column(),
            })
        })
    }
}

/// Says of each key and each value, in their order, whether it is a number. Refuses a text whose
/// brackets nest too deep or that holds too many values: each stands at the beginning, behind an
/// opening bracket or behind a comma.
fn numbers(text: &str) -> Result<Vec<bool>, NotJson> {
    let (mut depth, mut quoted, mut escaped, mut inside) = (0_usize, false, false, false);
    let (mut nodes, mut numbers) = (1_usize, Vec::new());
    for byte in text.bytes() {
        let was_inside = std::mem::take(&mut inside);
        match byte {
            _ if escaped => escaped = false,
            b'\\' if quoted => escaped = true,
            b'"' => {
                quoted = !quoted;
                if quoted {
                    numbers.push(false);
                }
            }
            _ if quoted => {}
            b'[' | b'{' => {
                depth = depth.saturating_add(1);
                nodes = nodes.saturating_add(1);
                numbers.push(false);
            }
            b']' | b'}' => depth = depth.saturating_sub(1),
            b',' => nodes = nodes.saturating_add(1),
            b':' | b' ' | b'\t' | b'\r' | b'\n' => {}
            // A number, true, false or null; what stands behind its first sign belongs to it.
            first => {
                inside = true;
                if !was_inside {
                    numbers.push(first == b'-' || first.is_ascii_digit());
                }
            }
        }
        if depth > DEEPEST.saturating_add(1) {
            return Err(NotJson::Deep);
        }
        if nodes > MOST_NODES {
            return Err(NotJson::Many);
        }
    }
    Ok(numbers)
}

/// Reads one value after the other.
///
/// The library hands over a number as `f64` unless it is asked for its text, and does not say what
/// comes next; so this has looked before. In a text that is no JSON both may go apart: the library
/// refuses it then, whatever was read.
struct Reader {
    numbers: std::vec::IntoIter<bool>,
    /// Why the text was refused, where the library did not find it.
    refused: Option<NotJson>,
}

impl Reader {
    /// Refuses the text; the library is told to stop.
    fn refuse<E: Error>(&mut self, why: NotJson) -> E {
        self.refused = Some(why);
        E::custom("refused")
    }

    /// Says of a fault that was found below a member or an item where it stands.
    fn below(&mut self, step: &str) {
        if let Some(NotJson::Twice { path, .. }) = &mut self.refused {
            path.insert_str(0, step);
            path.insert(0, '/');
        }
    }
}

impl<'de> DeserializeSeed<'de> for &mut Reader {
    type Value = Node;

    fn deserialize<D: Deserializer<'de>>(self, from: D) -> Result<Node, D::Error> {
        if self.numbers.next() == Some(true) {
            let digits = <&RawValue>::deserialize(from)?;
            return Ok(Node::Number(digits.get().to_owned()));
        }
        from.deserialize_any(self)
    }
}

impl<'de> Visitor<'de> for &mut Reader {
    type Value = Node;

    fn expecting(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str("JSON")
    }

    fn visit_unit<E: Error>(self) -> Result<Node, E> {
        Ok(Node::Null)
    }

    fn visit_bool<E: Error>(self, held: bool) -> Result<Node, E> {
        Ok(Node::Bool(held))
    }

    fn visit_str<E: Error>(self, text: &str) -> Result<Node, E> {
        Ok(Node::Text(text.to_owned()))
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut from: A) -> Result<Node, A::Error> {
        let mut items = Vec::new();
        loop {
            match from.next_element_seed(&mut *self) {
                Ok(Some(item)) => items.push(item),
                Ok(None) => return Ok(Node::List(tight(items))),
                Err(cause) => {
                    self.below(&items.len().to_string());
                    return Err(cause);
                }
            }
        }
    }

    fn visit_map<A: MapAccess<'de>>(self, mut from: A) -> Result<Node, A::Error> {
        let mut members: Vec<(Key, Node)> = Vec::new();
        // Looked up in the members themselves while they are few, as they nearly always are.
        let mut known: BTreeSet<String> = BTreeSet::new();
        while let Some(key) = from.next_key::<String>()? {
            self.numbers.next();
            if members.len() == MOST_MEMBERS {
                return Err(self.refuse(NotJson::Wide));
            }
            let twice = match members.len() {
                ..FEW => members.iter().any(|(name, _)| *name == key),
                FEW => {
                    known.extend(members.iter().map(|(name, _)| name.to_string()));
                    !known.insert(key.clone())
                }
                _ => !known.insert(key.clone()),
            };
            if twice {
                let path = String::new();
                return Err(self.refuse(NotJson::Twice { key, path }));
            }
            let value = from.next_value_seed(&mut *self);
            let value = value.inspect_err(|_| self.below(&pointer_step(&key)))?;
            members.push((Cow::Owned(key), value));
        }
        Ok(Node::Object(tight(members)))
    }
}

/// Gives room back that a list keeps for more: a list of one item has room for four, and a text may
/// hold a million lists.
fn tight<T>(mut items: Vec<T>) -> Vec<T> {
    if items.len() <= items.capacity() / 2 {
        items.shrink_to_fit();
    }
    items
}

#[cfg(test)]
mod tests {
    use crate::base::json::{MOST_MEMBERS, MOST_NODES, Node, NotJson};

    #[test]
    fn a_key_that_stands_twice_is_refused_with_its_path() {
        let refused = Node::parse(r#"{"a":[{"b":1,"b":2}]}"#);

        assert!(
            matches!(refused, Err(NotJson::Twice { key, path }) if key == "b" && path == "/a/0")
        );
        for before in 1..40 {
            let keys = (0..before).map(|n| format!("\"{n}\":1,"));
            let object = format!("{{{}\"0\":1}}", keys.collect::<String>());
            assert!(matches!(Node::parse(&object), Err(NotJson::Twice { .. })));
        }
    }

    #[test]
    fn more_values_than_are_read_are_refused_before_memory_is_spent() {
        let many = format!("[{}1]", "1,".repeat(MOST_NODES));
        let as_many_as_are_read = format!("[{}1]", "1,".repeat(MOST_NODES - 3));
        let in_a_text = format!("[\"{}\"]", ",[{".repeat(MOST_NODES));

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

    #[test]
    fn more_members_than_an_object_may_have_are_refused() {
        let object = |count| {
            let members: Vec<String> = (0..count).map(|n| format!("\"k{n}\":1")).collect();
            format!("{{{}}}", members.join(","))
        };

        assert!(Node::parse(&object(MOST_MEMBERS)).is_ok());
        assert!(matches!(
            Node::parse(&object(MOST_MEMBERS + 1)),
            Err(NotJson::Wide)
        ));
    }

    #[test]
    fn what_is_no_json_is_refused_at_its_place_and_never_read_as_something_else() {
        for (text, place) in [
            ("", (1, 0)),
            ("1 2", (1, 3)),
            ("[1 2]", (1, 4)),
            ("[01]", (1, 3)),
            ("[+1]", (1, 2)),
            ("[1.]", (1, 4)),
            ("[.5]", (1, 2)),
            ("[NaN]", (1, 2)),
            ("[tru]", (1, 5)),
            ("[true1]", (1, 6)),
            ("[1true]", (1, 3)),
            ("{\"a\" 1}", (1, 6)),
            ("{1:\"a\"}", (1, 2)),
            ("{\"a\":1,}", (1, 8)),
            ("[1,]", (1, 4)),
            ("{\"a\":\n tru1e}", (2, 5)),
            ("[\"\\ud800\"]", (1, 9)),
            ("[\"\u{1}\"]", (1, 3)),
        ] {
            let refused = Node::parse(text);

            assert!(
                matches!(refused, Err(NotJson::Syntax { line, column }) if (line, column) == place),
                "{text}: {refused:?}"
            );
        }
    }

    #[test]
    fn every_kind_of_value_is_told_from_a_number() {
        let text =
            r#"{"1":-1.50e+10,"t":true,"":"2","n":[null,0,[],{"f":false},"-1",1e999,{}],"e":"\\"}"#;

        let read = Node::parse(&format!(" {text} ")).expect("JSON");

        assert_eq!(read.compact(), text);
        assert_eq!(read.at(&["1"]), Some(&Node::Number("-1.50e+10".to_owned())));
        assert_eq!(read.text_of(""), Some("2"));
    }
}
