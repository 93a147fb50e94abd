//! Files beside a document: the samples of a trace come in before it is encoded, so that the document
//! that is kept holds everything as it was recorded.

use crate::base::code::Code;
use crate::base::json::{Node, text};
use crate::base::problem::{Problem, Problems};
use crate::examination::intake::trace_csv::{MOST_ROWS, columns};

/// A document with the samples of its traces inside.
#[derive(Debug)]
pub struct Inlined {
    /// The document; as it was where no trace names a file.
    pub text: String,
    /// What is wrong with the files.
    pub problems: Vec<Problem>,
}

/// Brings the files that traces name into the document. `read` takes the name of a file beside it
/// and gives its text, or why there is none.
pub fn inlined(document: String, mut read: impl FnMut(&str) -> Result<String, String>) -> Inlined {
    let mut problems = Problems::new();
    let Ok(mut node) = Node::parse(&document) else {
        // Encoding tells what is no JSON.
        return Inlined {
            text: document,
            problems: Vec::new(),
        };
    };
    let mut changed = false;
    let traces = node.member_mut("traces").map(Node::items_mut);
    for (index, trace) in traces.unwrap_or_default().iter_mut().enumerate() {
        let Some(name) = trace.text_of("file").map(str::to_owned) else {
            continue;
        };
        if trace.member("angles").is_some() {
            continue;
        }
        let path = format!("/traces/{index}/file");
        changed |= bring(trace, &name, &path, &mut read, &mut problems);
    }
    Inlined {
        text: if changed { node.compact() } else { document },
        problems: problems.sorted(),
    }
}

fn bring(
    trace: &mut Node,
    name: &str,
    path: &str,
    read: &mut impl FnMut(&str) -> Result<String, String>,
    problems: &mut Problems,
) -> bool {
    let plain = !name.contains(['/', '\\', '\0']) && !matches!(name, "" | "." | "..");
    if !plain {
        let what = "file is not the name of a file beside the document".to_owned();
        let hint = "put the file into the folder of the document and give its name only";
        problems.error(Code::TraceFileName, path, what, hint);
        return false;
    }
    let csv = match read(name) {
        Ok(csv) => csv,
        Err(what) => {
            let hint =
                "look at the name, the rights and the length of the file beside the document";
            problems.error(Code::TraceFileRead, path, what, hint);
            return false;
        }
    };
    let Some(columns) = columns(&csv, path, MOST_ROWS, problems) else {
        return false;
    };
    let list = |numbers: &[crate::base::exact::Exact]| {
        Node::List(numbers.iter().map(|one| text(one.to_string())).collect())
    };
    trace.set("angles", list(&columns.angles));
    trace.set("times", list(&columns.times));
    trace.remove("file");
    true
}
