//! What was said.
//!
//! Owns: decoding a session document into a [`Draft`], keeping the words as written and the path
//! of each field. In: JSON text. Out: a [`Draft`], and every structural problem at once.
//! Never: knows clinical meaning, codes, or where the text came from.

/// `Debug` for a type that holds what was said about a person.
macro_rules! sealed {
    ($($name:ident),* $(,)?) => {
        $(impl std::fmt::Debug for $name {
            fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                formatter.write_str(concat!(stringify!($name), " [private]"))
            }
        })*
    };
}

pub mod circumstances;
pub mod draft;
pub mod kept;
pub mod own_words;
pub mod schema;
pub mod sheet;
pub mod trace_csv;
pub mod traces;

use crate::base::json::{Node, NotJson};
use crate::base::problem::Problems;
use crate::examination::intake::draft::Draft;
use serde_json::Value;

/// The longest document that is read, in bytes: a session of every measure has a fortieth of it.
pub const MOST_BYTES: usize = 8 * 1024 * 1024;

/// A document as read: its typed form where the structure allows one, and its canonical text.
pub struct Read {
    /// The document; items of lists whose structure was refused are `None` in it.
    pub draft: Option<Draft>,
    /// Keys sorted, no white space, numbers as written: two texts that say the same agree here.
    pub canonical: Option<String>,
}

impl std::fmt::Debug for Read {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        formatter.write_str("Read [private]")
    }
}

/// Reads one session document, adding everything that is wrong with its structure.
///
/// A list item with a structural fault is left out of the draft, so that the rooms that follow
/// can still speak about the others.
pub fn read(text: &str, problems: &mut Problems) -> Read {
    let nothing = Read {
        draft: None,
        canonical: None,
    };
    if text.len() > MOST_BYTES {
        let what = format!("{} bytes are more than a session says", text.len());
        let hint = "write one session a document, of 8 MiB at most";
        problems.error("json.large", "", what, hint);
        return nothing;
    }
    let node = match Node::parse(text) {
        Ok(node) => node,
        Err(fault) => {
            syntax_problem(&fault, problems);
            return nothing;
        }
    };
    let canonical = Some(node.canonical());
    let mut value = match serde_json::from_str::<Value>(text) {
        Ok(value) => value,
        Err(cause) => {
            let (line, column) = (cause.line(), cause.column());
            let what = format!("a number at line {line}, column {column} is too large to be read");
            let hint = "values that carry digits are strings";
            problems.error("json.number", "", what, hint);
            return Read {
                draft: None,
                canonical,
            };
        }
    };
    let paths = schema::problems_of(&value, problems);
    for path in &paths {
        leave_out(&mut value, path);
    }
    let draft = match serde_json::from_value(value) {
        Ok(draft) => Some(draft),
        Err(_told_by_the_schema) if !paths.is_empty() => None,
        Err(cause) => {
            let what = format!("the document does not fit its types: {cause}");
            problems.error(
                "document.types",
                "",
                what,
                "report this: the schema let it pass",
            );
            None
        }
    };
    Read { draft, canonical }
}

/// Tells why a text is no acceptable JSON.
pub fn syntax_problem(fault: &NotJson, problems: &mut Problems) {
    match fault {
        NotJson::Syntax { line, column } => problems.error(
            "json.syntax",
            "",
            format!("not JSON at line {line}, column {column}"),
            "write one JSON document, UTF-8, without trailing commas",
        ),
        NotJson::Twice { key, path } => problems.error(
            "json.key-twice",
            path,
            format!("{key} stands twice in one object"),
            "keep one of them: readers differ in which they take",
        ),
        NotJson::Deep => problems.error(
            "json.deep",
            "",
            "nested too deep".to_owned(),
            "nothing we read nests more than 64 levels",
        ),
    }
}

/// Replaces the list item a fault lies in by null, which the draft reads as `None`.
fn leave_out(value: &mut Value, path: &str) {
    let mut steps = path.split('/').skip(1);
    let (Some(list), Some(index)) = (steps.next(), steps.next()) else {
        return;
    };
    let item = index
        .parse::<usize>()
        .ok()
        .and_then(|index| value.get_mut(list).and_then(|items| items.get_mut(index)));
    if let Some(item) = item {
        *item = Value::Null;
    }
}

#[cfg(test)]
mod tests {
    use super::read;
    use crate::base::problem::Problems;

    #[test]
    fn what_is_not_json_is_told_with_its_place() {
        let mut problems = Problems::new();

        let read = read("{\n  \"fascicle\": ,\n}", &mut problems);

        assert!(read.draft.is_none());
        let told = problems.sorted();
        assert_eq!(told.len(), 1);
        assert_eq!(told[0].code, "json.syntax");
        assert_eq!(told[0].what, "not JSON at line 2, column 15");
    }
}
