//! Texts and numbers of a document: what JSON Schema lets pass and no record can carry.

use crate::base::code::Code;
use crate::base::json::{Node, pointer_step};
use crate::base::problem::Problems;

/// The path of a number that is too large for any reader to hold.
pub(super) fn number_too_large(node: &Node) -> Option<String> {
    match node {
        Node::Number(digits) => {
            let read: Result<serde_json::Number, _> = digits.parse();
            read.is_err().then(String::new)
        }
        Node::List(items) => items.iter().enumerate().find_map(|(index, item)| {
            let below = number_too_large(item)?;
            Some(format!("/{index}{below}"))
        }),
        Node::Object(members) => members.iter().find_map(|(key, member)| {
            let below = number_too_large(member)?;
            Some(format!("/{}{below}", pointer_step(key)))
        }),
        Node::Null | Node::Bool(_) | Node::Text(_) => None,
    }
}

/// The longest string of FHIR: "Note that strings SHALL NOT exceed 1MB (1024*1024 characters) in
/// size" (FHIR R4 4.0.1, datatypes.html#string).
const MOST_CHARACTERS: usize = 1024 * 1024;

/// Tells what JSON Schema lets pass: a text that says nothing or cannot be sent, and `1.0`, which it
/// counts as whole.
pub(super) fn has_fault(node: &Node, path: &str, problems: &mut Problems) -> bool {
    match node {
        Node::Text(text) => text_has_fault(text, path, problems),
        Node::Number(digits) => {
            let whole = digits.parse::<serde_json::Number>();
            let broken = whole.is_ok_and(|number| number.is_f64());
            if broken {
                let hint = "write a whole number without point or exponent";
                let what = format!("{}: {}", field_of(path), beginning(digits));
                problems.error(Code::FieldType, path, what, hint);
            }
            broken
        }
        Node::Null | Node::Bool(_) | Node::List(_) | Node::Object(_) => false,
    }
}

/// The beginning of what somebody wrote, as much as a person wants to see again.
pub(super) fn beginning(text: &str) -> String {
    match text.char_indices().nth(200) {
        Some((end, _)) => format!("{}…", text.get(..end).unwrap_or_default()),
        None => text.to_owned(),
    }
}

/// The last step of a path.
pub(super) fn field_of(path: &str) -> &str {
    path.rsplit('/').next().unwrap_or_default()
}

/// Tells a text that is none, whatever it says.
fn text_has_fault(text: &str, path: &str, problems: &mut Problems) -> bool {
    // "Strings SHALL NOT contain Unicode character points below 32, except for u0009 (horizontal
    // tab), u000D (carriage return) and u000A (line feed)" (FHIR R4 4.0.1, datatypes.html#string).
    let control = |c: char| c.is_control() && !matches!(c, '\t' | '\r' | '\n');
    // These let "left" be read as something else than it is.
    let turns = |c: char| matches!(c, '\u{202d}' | '\u{202e}');
    let what = || {
        let shown: String = text.escape_debug().take(200).collect();
        format!("{}: \"{shown}\"", field_of(path))
    };
    // Nor do the marks that Unicode shows nowhere: the byte order mark, zero-width and joining ones.
    let unseen = |c: char| {
        let marks = '\u{200b}'..='\u{200f}';
        let joins = '\u{2060}'..='\u{2064}';
        c.is_whitespace()
            || matches!(c, '\u{ad}' | '\u{180e}' | '\u{feff}')
            || marks.contains(&c)
            || joins.contains(&c)
    };
    if !text.is_empty() && text.chars().all(unseen) {
        problems.error(
            Code::FieldEmpty,
            path,
            what(),
            "blanks say nothing: leave it out",
        );
    } else if text.contains(control) {
        problems.error(
            Code::TextControl,
            path,
            what(),
            "remove the control character",
        );
    } else if text.contains(turns) {
        let hint = "remove the character that turns the order of reading round";
        problems.error(Code::TextOverride, path, what(), hint);
    } else if text.chars().nth(MOST_CHARACTERS).is_some() {
        problems.error(
            Code::TextLong,
            path,
            what(),
            "write at most a million characters",
        );
    } else {
        return false;
    }
    true
}
