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
pub mod forms;
pub mod kept;
pub mod own_words;
pub mod parts;
mod quotes;
mod scalars;
pub mod schema;
pub mod sheet;
pub mod trace_csv;
pub mod traces;

use crate::base::code::Code;
use crate::base::json::typed::typed;
use crate::base::json::{MARK, Node, NotJson};
use crate::base::problem::Problems;
use crate::examination::intake::draft::Draft;

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
        problems.error(Code::JsonLarge, "", what, hint);
        return nothing;
    }
    let mut node = match Node::parse(text) {
        Ok(node) => node,
        Err(fault) => {
            syntax_problem(&fault, problems);
            return nothing;
        }
    };
    mark_problem(text, problems);
    let canonical = Some(node.canonical());
    if let Some(path) = scalars::number_too_large(&node) {
        let what = "a number is too large to be read".to_owned();
        let hint = "values that carry digits are strings";
        problems.error(Code::JsonNumber, &path, what, hint);
        return Read {
            draft: None,
            canonical,
        };
    }
    let wrong = schema::problems_of(&node, problems);
    if wrong.whole {
        return Read {
            draft: None,
            canonical,
        };
    }
    wrong.leave_out(&mut node);
    let draft = match typed(&node) {
        Ok(draft) => Some(draft),
        Err(_told_by_the_schema) if wrong.any => None,
        Err(cause) => {
            let what = format!("the document does not fit its types: {cause}");
            problems.error(
                Code::DocumentTypes,
                "",
                what,
                "report this: the schema let it pass",
            );
            None
        }
    };
    Read { draft, canonical }
}

/// Tells that a byte order mark was passed over.
pub fn mark_problem(text: &str, problems: &mut Problems) {
    if text.starts_with(MARK) {
        let what = "a byte order mark stands before the document".to_owned();
        let hint = "it was taken off; save as UTF-8 without it where you can";
        problems.note(Code::DocumentMark, "", what, hint);
    }
}

/// Tells why a text is no acceptable JSON.
pub fn syntax_problem(fault: &NotJson, problems: &mut Problems) {
    match fault {
        NotJson::Syntax { line, column } => problems.error(
            Code::JsonSyntax,
            "",
            format!("not JSON at line {line}, column {column}"),
            "write one JSON document, UTF-8, without trailing commas",
        ),
        NotJson::Twice { key, path } => problems.error(
            Code::JsonKeyTwice,
            path,
            format!("{key} stands twice in one object"),
            "keep one of them: readers differ in which they take",
        ),
        NotJson::Deep => problems.error(
            Code::JsonDeep,
            "",
            "nested too deep".to_owned(),
            "nothing we read nests more than 64 levels",
        ),
        NotJson::Many => problems.error(
            Code::JsonMany,
            "",
            fault.to_string(),
            "write one session a document; of FHIR, one resource a line (NDJSON)",
        ),
        NotJson::Wide => problems.error(
            Code::JsonMany,
            "",
            fault.to_string(),
            "no object of a session document or of FHIR has as many",
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::read;
    use crate::base::code::Code;
    use crate::base::problem::Problems;

    #[test]
    fn what_is_not_json_is_told_with_its_place() {
        let mut problems = Problems::new();

        let read = read("{\n  \"fascicle\": ,\n}", &mut problems);

        assert!(read.draft.is_none());
        let told = problems.sorted();
        assert_eq!(told.len(), 1);
        assert_eq!(told[0].code, Code::JsonSyntax);
        assert_eq!(told[0].what, "not JSON at line 2, column 15");
    }
}
