#![cfg(test)]
//! Random sessions over every measure of the tables hold.

use crate::document::catalogue;
use crate::sessions::{enough, session, sides};
use fascicle::base::json::Node;
use std::collections::BTreeSet;
use std::path::Path;

/// A hundred by default, two hundred where they are written for the outside judges, and with `FASCICLE_FULL=1`
/// so many that every measure is said on every side.
#[test]
fn random_sessions_hold_and_together_they_say_everything_there_is_to_say() {
    let folder = std::env::var_os("FASCICLE_SESSIONS");
    let full = std::env::var_os("FASCICLE_FULL").is_some_and(|value| value == "1");
    let count = match (full, &folder) {
        (true, _) => enough(),
        (false, Some(_)) => 200,
        (false, None) => 100,
    };
    let mut said = BTreeSet::new();

    for number in 0..count {
        let session = session(number);
        if let Some(folder) = &folder {
            let path = Path::new(folder).join(format!("{number:04}.json"));
            std::fs::write(path, session.compact()).expect("a file");
        }
        texts(&session, &mut said);
    }

    let mut unsaid = Vec::new();
    let lists = [
        "precaution-limit",
        "not-tested-reason",
        "ending",
        "body-position",
        "condition",
    ];
    for list in
        lists
            .into_iter()
            .chain(["neighbour-position", "stretch-speed", "precaution-status"])
    {
        let rows = catalogue().scales[list].rows.iter();
        unsaid.extend(
            rows.filter(|row| !said.contains(&row.code))
                .map(|row| row.code.clone()),
        );
    }
    if full {
        let by_hand = catalogue().measures.values();
        let by_hand = by_hand.filter(|row| row.kind.is_entered());
        unsaid.extend(
            by_hand
                .flat_map(|row| {
                    sides(row)
                        .iter()
                        .map(move |side| format!("{side} {}", row.measure))
                })
                .filter(|one| !said.contains(one)),
        );
    }
    assert_eq!(unsaid, Vec::<String>::new());
}

#[test]
fn one_number_gives_one_session() {
    assert_eq!(session(11), session(11));
    assert_ne!(session(11), session(12));
}

/// Every text of a document, and each measure with its side.
fn texts(node: &Node, found: &mut BTreeSet<String>) {
    if let Some(text) = node.text() {
        found.insert(text.to_owned());
    }
    if let (Some(side), Some(measure)) = (node.text_of("side"), node.text_of("measure")) {
        found.insert(format!("{side} {measure}"));
    }
    node.members()
        .iter()
        .for_each(|(_, member)| texts(member, found));
    node.items().iter().for_each(|item| texts(item, found));
}
