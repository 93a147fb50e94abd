#![cfg(test)]
//! One sound document of one leg with a finding of every kind, and small edits of it.

use fascicle::base::json::{Node, text};
use fascicle::base::problem::Problem;
use fascicle::service::app::assess::{Earlier, mark};
use fascicle::service::app::encode::{Encoded, Held, encode};
use fascicle::tables::catalogue::Catalogue;
use std::sync::LazyLock;

const SOUND: &str = include_str!("../../fixtures/sessions/sound.json");

/// The tables compiled into the binary.
pub(crate) fn catalogue() -> &'static Catalogue {
    static CATALOGUE: LazyLock<Catalogue> =
        LazyLock::new(|| Catalogue::embedded().expect("sound tables"));
    &CATALOGUE
}

/// The instant at which every test stands.
pub(crate) fn now() -> chrono::DateTime<chrono::Utc> {
    "2026-11-25T00:00:00Z".parse().expect("a time")
}

/// The sound document.
pub(crate) fn sound() -> Node {
    Node::parse(SOUND).expect("the sound document is JSON")
}

/// The sound document with edits: a JSON Pointer and the JSON text to stand there, nothing to
/// remove what stands there. One past the end of a list adds to it.
pub(crate) fn edited(edits: &[(&str, &str)]) -> Node {
    let mut document = sound();
    for (pointer, json) in edits {
        let value = (!json.is_empty()).then(|| Node::parse(json).expect("an edit is JSON"));
        set(&mut document, pointer, value);
    }
    marked(document)
}

/// Gives each confirmation that has none the mark of the caution it names, as somebody does who
/// takes it from what was printed; zeros where there is no such caution.
pub(crate) fn marked(mut document: Node) -> Node {
    let mut unconfirmed = document.clone();
    set(&mut unconfirmed, "/session/confirmations", None);
    let told = match encoding(&unconfirmed) {
        Ok(encoded) => encoded.told,
        Err(held) => held.problems,
    };
    let session = document.member_mut("session");
    let confirmations = session.and_then(|session| session.member_mut("confirmations"));
    for confirmation in confirmations.map(Node::items_mut).unwrap_or_default() {
        let caution = told.iter().find(|problem| {
            confirmation.text_of("code") == Some(problem.code.word())
                && confirmation.text_of("path") == Some(&problem.path)
        });
        if confirmation.member("mark").is_none() {
            confirmation.set("mark", text(caution.map_or("00000000".to_owned(), mark)));
        }
    }
    document
}

/// Sets or removes what a JSON Pointer names.
pub(crate) fn set(document: &mut Node, pointer: &str, value: Option<Node>) {
    let steps: Vec<String> = pointer
        .split('/')
        .skip(1)
        .map(|step| step.replace("~1", "/").replace("~0", "~"))
        .collect();
    let (last, way) = steps.split_last().expect("a pointer has a step");
    let parent = way.iter().fold(document, |node, step| match node {
        Node::List(items) => &mut items[step.parse::<usize>().expect("an index")],
        Node::Object(_) => node.member_mut(step).expect("the way exists"),
        Node::Null | Node::Bool(_) | Node::Number(_) | Node::Text(_) => panic!("no way to {step}"),
    });
    match (parent, value) {
        (Node::List(items), value) => {
            let index = last.parse::<usize>().expect("an index");
            items.splice(index..items.len().min(index + 1), value);
        }
        (object, Some(value)) => object.set(last, value),
        (object, None) => object.remove(last),
    }
}

/// Encodes with nothing known from before.
pub(crate) fn encoding(document: &Node) -> Result<Encoded, Held> {
    encode(&document.compact(), &Earlier::default(), catalogue(), now())
}

/// Encodes what has to hold.
pub(crate) fn encoded(document: &Node) -> Encoded {
    encoding(document).unwrap_or_else(|held| panic!("{:#?}", lines(&held.problems)))
}

/// What stands in the way of a document, or is told of it: `error value.sign /findings/7/value`.
pub(crate) fn told(document: &Node) -> Vec<String> {
    match encoding(document) {
        Ok(encoded) => lines(&encoded.told),
        Err(held) => lines(&held.problems),
    }
}

/// Severity, code and path of each problem.
pub(crate) fn lines(problems: &[Problem]) -> Vec<String> {
    problems
        .iter()
        .map(|one| {
            format!("{} {} {}", one.severity.word(), one.code, one.path)
                .trim_end()
                .to_owned()
        })
        .collect()
}
