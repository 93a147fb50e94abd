//! Random edits of JSON trees, so that a fuzzer gets past the grammar and into the meaning.

use fascicle::base::json::Node;
use libfuzzer_sys::fuzzer_mutate;
use std::collections::BTreeSet;
use std::sync::LazyLock;

/// Texts that mean something somewhere: names and words of our own tables and fixtures, and the
/// edges of dates and numbers.
static WORDS: LazyLock<(Vec<String>, Vec<String>)> = LazyLock::new(|| {
    let mut names = BTreeSet::new();
    let mut words = BTreeSet::new();
    for fixture in [
        include_str!("../../fixtures/sessions/first.json"),
        include_str!("../../fixtures/sessions/second.json"),
        include_str!("../../fixtures/sessions/every-measure.json"),
        include_str!("../conformance/proof/good/transaction.json"),
        include_str!("../conformance/proof/good/observation-trace.json"),
        include_str!("../../fixtures/people/test-0001.json"),
    ] {
        collect(&Node::parse(fixture).expect("JSON"), &mut names, &mut words);
    }
    let schema = fascicle::examination::intake::forms::document_schema().to_string();
    collect(&Node::parse(&schema).expect("JSON"), &mut names, &mut words);
    let catalogue = fascicle::tables::catalogue::Catalogue::embedded().expect("sound tables");
    words.extend(catalogue.measures.keys().cloned());
    words.extend(catalogue.sites.keys().cloned());
    for scale in catalogue.scales.values() {
        words.extend(scale.rows.iter().map(|row| row.code.clone()));
    }
    for edge in [
        "", " ", "0", "-0", "0.0", "1e999", "1E2", "00", "400", "180.0000000000000000000000001",
        "79228162514264337593543950335", "9999-12-31T23:59:60Z", "0000-01-01T00:00:00+00:00",
        "2026-02-30", "2026-11-16T09:30:00-14:00", "not known", "deg", "rad", "degrees", "\u{0}",
        "\u{202e}", "\u{feff}", "lifted", "to-be-confirmed", "no-movement-beyond", "Patient",
        "replaced-by", "transaction-response", "next",
    ] {
        words.insert(edge.to_owned());
    }
    (names.into_iter().collect(), words.into_iter().collect())
});

fn collect(node: &Node, names: &mut BTreeSet<String>, words: &mut BTreeSet<String>) {
    for (name, member) in node.members() {
        names.insert(name.to_string());
        collect(member, names, words);
    }
    node.items().iter().for_each(|item| collect(item, names, words));
    if let Node::Text(text) = node {
        words.insert(text.clone());
    }
}

/// Mutates JSON that may stand after a first line of another kind.
pub fn after_a_line(data: &mut [u8], size: usize, most: usize, seed: u32) -> usize {
    let start = data[..size].iter().position(|byte| *byte == b'\n').map_or(0, |at| at + 1);
    if start > 8 || seed % 13 == 0 {
        return fuzzer_mutate(data, size, most);
    }
    start + json(&mut data[start..], size - start, most - start, seed)
}

/// Mutates JSON: one to four edits of the tree, or now and then the bytes.
pub fn json(data: &mut [u8], size: usize, most: usize, seed: u32) -> usize {
    let mut random = fastrand::Rng::with_seed(u64::from(seed));
    let tree = std::str::from_utf8(&data[..size]).ok().and_then(|text| Node::parse(text).ok());
    let Some(mut tree) = tree.filter(|_| random.u8(..) > 15) else {
        return fuzzer_mutate(data, size, most);
    };
    for _ in 0..random.usize(1..=4) {
        let count = nodes(&tree);
        let other = nth(&tree, &mut random.usize(..count)).cloned().unwrap_or(Node::Null);
        edit(&mut tree, &mut random.usize(..count), &mut random, &other);
    }
    let text = tree.compact();
    if text.len() > most {
        return fuzzer_mutate(data, size, most);
    }
    data[..text.len()].copy_from_slice(text.as_bytes());
    text.len()
}

fn nodes(node: &Node) -> usize {
    let members = node.members().iter().map(|(_, member)| nodes(member));
    members.chain(node.items().iter().map(nodes)).sum::<usize>() + 1
}

fn nth<'a>(node: &'a Node, place: &mut usize) -> Option<&'a Node> {
    if *place == 0 {
        return Some(node);
    }
    *place -= 1;
    let members = node.members().iter().map(|(_, member)| member);
    members.chain(node.items()).find_map(|child| nth(child, place))
}

/// Edits the node at a place, counted along the tree; true once it is done.
fn edit(node: &mut Node, place: &mut usize, random: &mut fastrand::Rng, other: &Node) -> bool {
    if *place == 0 {
        change(node, random, other);
        return true;
    }
    *place -= 1;
    match node {
        Node::Object(members) => members.iter_mut().any(|(_, one)| edit(one, place, random, other)),
        Node::List(items) => items.iter_mut().any(|item| edit(item, place, random, other)),
        Node::Null | Node::Bool(_) | Node::Number(_) | Node::Text(_) => false,
    }
}

fn change(node: &mut Node, random: &mut fastrand::Rng, other: &Node) {
    let (names, words) = &*WORDS;
    let word = |random: &mut fastrand::Rng| words[random.usize(..words.len())].clone();
    match node {
        Node::Object(members) if !members.is_empty() && random.u8(..) < 230 => {
            let at = random.usize(..members.len());
            match random.u8(..5) {
                0 => drop(members.remove(at)),
                1 => members[at].0.clone_from(&names[random.usize(..names.len())].clone().into()),
                2 => {
                    let name = names[random.usize(..names.len())].clone();
                    members.push((name.into(), if random.bool() { other.clone() } else { Node::Text(word(random)) }));
                }
                3 => members[at].1 = other.clone(),
                _ => members.rotate_left(at),
            }
        }
        Node::List(items) if !items.is_empty() && random.u8(..) < 230 => {
            let at = random.usize(..items.len());
            match random.u8(..4) {
                0 => drop(items.remove(at)),
                1 => items.push(items[at].clone()),
                2 => items.insert(at, other.clone()),
                _ => items.swap(0, at),
            }
        }
        Node::Text(text) if random.u8(..) < 96 => {
            let mut bytes = text.clone().into_bytes();
            let size = bytes.len();
            bytes.resize(size + 16, 0);
            let size = fuzzer_mutate(&mut bytes, size, size + 16);
            *text = String::from_utf8_lossy(&bytes[..size]).into_owned();
        }
        Node::Text(text) if random.u8(..) < 220 => *text = word(random),
        other_kind => {
            *other_kind = match random.u8(..8) {
                0 => Node::Null,
                1 => Node::Bool(random.bool()),
                2 => Node::Number(random.i32(-200..400).to_string()),
                3 => Node::Number("12.50".to_owned()),
                4 => Node::List(vec![other.clone()]),
                5 => Node::Object(vec![(names[random.usize(..names.len())].clone().into(), other.clone())]),
                6 => Node::Text(word(random)),
                _ => other.clone(),
            }
        }
    }
}
