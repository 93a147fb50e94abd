#![cfg(test)]
//! No text makes the pure way fall over, and whatever is held says why.

use crate::document::{catalogue, now, sound, told};
use crate::few;
use fascicle::base::json::Node;
use fascicle::base::problem::Problems;
use fascicle::fhir::check;
use fascicle::service::app::assess::Earlier;
use fascicle::service::app::encode::encode;
use proptest::prelude::{Just, Strategy, any, prop_assert, prop_oneof, proptest};

/// One random change of a tree: which node, and what happens to it.
#[derive(Debug, Clone)]
struct Change {
    place: usize,
    what: What,
}

#[derive(Debug, Clone)]
enum What {
    Remove,
    Twice,
    Put(Node),
}

fn change() -> impl Strategy<Value = Change> {
    let text = |text: &str| Just(Node::Text(text.to_owned()));
    let number = |digits: &str| Just(Node::Number(digits.to_owned()));
    let node = prop_oneof![
        Just(Node::Null),
        any::<bool>().prop_map(Node::Bool),
        number("0"),
        number("-1"),
        number("1e400"),
        number("99999999999999999999"),
        text(""),
        text(" "),
        text("-0"),
        text("9999-12-31T23:59:60Z"),
        text("0000-01-01T00:00:00+00:00"),
        text("79228162514264337593543950335"),
        "\\PC{0,12}".prop_map(Node::Text),
        "[0-9+.eE-]{1,32}".prop_map(Node::Text),
        Just(Node::List(Vec::new())),
        Just(Node::Object(Vec::new())),
    ];
    let what = prop_oneof![
        Just(What::Remove),
        Just(What::Twice),
        node.prop_map(What::Put),
    ];
    (any::<usize>(), what).prop_map(|(place, what)| Change { place, what })
}

fn size(node: &Node) -> usize {
    let members = node.members().iter().map(|(_, member)| size(member));
    members.chain(node.items().iter().map(size)).sum::<usize>() + 1
}

/// Changes the node at a place, counted along the tree.
fn apply(node: &mut Node, place: &mut usize, what: &What) {
    match node {
        Node::Object(members) => {
            if let Some(index) = here(place, members.len()) {
                match what {
                    What::Remove => drop(members.remove(index)),
                    What::Twice => members.push(members[index].clone()),
                    What::Put(node) => members[index].1 = node.clone(),
                }
                return;
            }
            for (_, member) in members {
                apply(member, place, what);
            }
        }
        Node::List(items) => {
            if let Some(index) = here(place, items.len()) {
                match what {
                    What::Remove => drop(items.remove(index)),
                    What::Twice => items.push(items[index].clone()),
                    What::Put(node) => items[index] = node.clone(),
                }
                return;
            }
            for item in items {
                apply(item, place, what);
            }
        }
        Node::Null | Node::Bool(_) | Node::Number(_) | Node::Text(_) => {}
    }
}

/// The index when the place lies among these; afterwards no later node is meant.
fn here(place: &mut usize, length: usize) -> Option<usize> {
    if *place < length {
        let index = *place;
        *place = usize::MAX / 2;
        return Some(index);
    }
    *place -= length;
    None
}

/// Takes a text the whole pure way; what is held has a reason.
fn goes_through(text: &str) -> bool {
    match encode(text, &Earlier::default(), catalogue(), now()) {
        Ok(_) => true,
        Err(held) => !held.problems.is_empty(),
    }
}

proptest! {
    #![proptest_config(few(192))]

    #[test]
    fn a_changed_document_is_encoded_or_held_with_a_reason(
        changes in proptest::collection::vec(change(), 1..5),
    ) {
        let mut document = sound();
        for change in &changes {
            let mut place = change.place % (size(&document) - 1);
            apply(&mut document, &mut place, &change.what);
        }

        prop_assert!(goes_through(&document.compact()));
        prop_assert!(told(&document).iter().all(|line| !line.contains("document.types")));
    }

    #[test]
    fn a_damaged_text_is_encoded_or_held_with_a_reason(
        at in any::<proptest::sample::Index>(),
        length in 0_usize..40,
        put in "\\PC{0,8}",
    ) {
        let mut text: Vec<char> = sound().compact().chars().collect();
        let start = at.index(text.len());
        let end = text.len().min(start + length);
        text.splice(start..end, put.chars());

        prop_assert!(goes_through(&text.into_iter().collect::<String>()));
    }

    #[test]
    fn random_bytes_are_held_with_a_reason(
        bytes in proptest::collection::vec(any::<u8>(), 0..200),
    ) {
        prop_assert!(goes_through(&String::from_utf8_lossy(&bytes)));
    }

    #[test]
    fn a_changed_resource_from_anywhere_is_judged(
        changes in proptest::collection::vec(change(), 1..5),
    ) {
        let encoded = crate::document::encoded(&sound());
        let mut bundle = encoded.checked.record().bundle();
        for change in &changes {
            let mut place = change.place % (size(&bundle) - 1);
            apply(&mut bundle, &mut place, &change.what);
        }
        let mut problems = Problems::new();

        check::resource(&bundle, catalogue(), &mut problems);

        prop_assert!(problems.sorted().iter().all(|problem| !problem.what.is_empty()));
    }
}
