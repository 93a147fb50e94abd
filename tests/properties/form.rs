#![cfg(test)]
//! The form of a document changes nothing: order of keys, white space, escapes.

use crate::document::{catalogue, encoded, now, sound};
use crate::few;
use crate::sessions::{is_second_form, person, session};
use fascicle::base::json::{Key, Node};
use fascicle::service::app::assess::Earlier;
use fascicle::service::app::encode::encode;
use fascicle::tables::catalogue::sha256_hex;
use proptest::prelude::{any, prop_assert_eq, proptest};
use std::fmt::Write as _;

/// Naming the later form alone changes nothing that leaves: a sheet or a program that goes on to
/// `session/2` sends the same record.
#[test]
fn a_random_session_of_the_first_form_says_the_same_when_it_names_the_second() {
    let mut compared = 0;

    for number in (0..40).filter(|number| !is_second_form(person(*number))) {
        let mut document = session(number);
        document.remove("fascicle");
        let mut of_form = |form: &str| {
            document.set("fascicle", fascicle::base::json::text(form));
            encode(&document.compact(), &Earlier::default(), catalogue(), now())
        };
        let first = of_form("session/1").expect("random sessions hold");
        // A word that was retired, and a question that is not asked any more, are what differs.
        let Ok(second) = of_form("session/2") else {
            continue;
        };
        assert_eq!(
            first.checked.record().text(),
            second.checked.record().text()
        );
        compared += 1;
    }

    assert!(compared > 3, "{compared}");
}

/// Choices taken one after another from random bytes.
struct Choices<'a>(std::iter::Cycle<std::slice::Iter<'a, u8>>);

impl<'a> Choices<'a> {
    fn new(bytes: &'a [u8]) -> Self {
        Self(bytes.iter().cycle())
    }

    fn below(&mut self, most: usize) -> usize {
        usize::from(*self.0.next().unwrap_or(&0)) % most.max(1)
    }
}

/// The same document in another form.
fn write(node: &Node, choices: &mut Choices<'_>) -> String {
    let blank = ["", " ", "\n", "\t ", "\r\n"];
    match node {
        Node::List(items) => {
            let items: Vec<String> = items
                .iter()
                .map(|item| write(item, choices) + blank[choices.below(blank.len())])
                .collect();
            format!("[{}]", items.join(","))
        }
        Node::Object(members) => {
            let mut rest: Vec<&(Key, Node)> = members.iter().collect();
            let mut written = Vec::new();
            while !rest.is_empty() {
                let (key, value) = rest.remove(choices.below(rest.len()));
                let space = blank[choices.below(blank.len())];
                let key = quote(key, choices);
                written.push(format!(
                    "{space}{key}{space}:{space}{}",
                    write(value, choices)
                ));
            }
            format!("{{{}}}", written.join(","))
        }
        Node::Text(text) => quote(text, choices),
        Node::Null | Node::Bool(_) | Node::Number(_) => node.compact(),
    }
}

/// A string with some of its characters escaped.
fn quote(text: &str, choices: &mut Choices<'_>) -> String {
    let mut out = String::from("\"");
    for unit in text.encode_utf16() {
        let plain = char::from_u32(u32::from(unit)).filter(char::is_ascii_alphanumeric);
        match plain.filter(|_| choices.below(4) > 0) {
            Some(plain) => out.push(plain),
            None => write!(out, "\\u{unit:04x}").expect("a string takes it"),
        }
    }
    out.push('"');
    out
}

proptest! {
    #![proptest_config(few(24))]

    #[test]
    fn one_document_in_any_form_has_one_hash_and_the_same_identifiers(
        bytes in proptest::collection::vec(any::<u8>(), 1..400),
    ) {
        let text = write(&sound(), &mut Choices::new(&bytes));

        let other = encode(&text, &Earlier::default(), catalogue(), now());

        let plain = encoded(&sound());
        let other = other.map_err(|held| {
            let told = crate::document::lines(&held.problems).join("\n");
            proptest::test_runner::TestCaseError::fail(told)
        })?;
        prop_assert_eq!(sha256_hex(other.canonical.as_bytes()), sha256_hex(plain.canonical.as_bytes()));
        prop_assert_eq!(other.checked.record(), plain.checked.record());
    }
}

#[test]
fn encoding_twice_gives_the_same_bytes() {
    let documents = [
        sound().compact(),
        include_str!("../../fixtures/sessions/first.json").to_owned(),
        include_str!("../../fixtures/sessions/second.json").to_owned(),
    ];
    for text in documents {
        let bytes = || {
            let encoded = encode(&text, &Earlier::default(), catalogue(), now());
            let encoded = encoded.map_err(|held| crate::document::lines(&held.problems));
            encoded.expect("holds").checked.record().bundle().compact()
        };

        assert_eq!(bytes(), bytes());
    }
}
