//! The sessions of the files of a command line: a document is one, a sheet has one after another.

use crate::base::json::Node;
use crate::base::problem::{Problem, file_words};
use crate::examination::intake::sheet::Sheet;
use crate::service::app::given::Given;
use crate::service::cli::documents;
use crate::service::cli::report::Mistake;
use std::fs::File;
use std::io::BufReader;
use std::path::{Path, PathBuf};

/// The session that the rows of a sheet belong to, read once.
pub(super) struct Beside(Option<Node>);

impl Beside {
    /// # Errors
    /// When it is no JSON document, or says findings of its own.
    pub(super) fn read(path: Option<&PathBuf>) -> anyhow::Result<Self> {
        let Some(path) = path else {
            return Ok(Self(None));
        };
        let text = documents::read(path, "the session document")?;
        let node = Node::parse(&text);
        let node = node.map_err(|fault| Mistake(format!("the session document: {fault}")))?;
        if node.member("findings").is_some() {
            let what =
                "the session document has findings of its own: remove them, or leave --session";
            return Err(Mistake(what.to_owned()).into());
        }
        Ok(Self(Some(node)))
    }
}

/// The sessions of one file.
pub(super) enum Sessions {
    /// A document.
    Document(Option<Given>),
    /// A sheet.
    Sheet(Box<Sheet<BufReader<File>>>),
    /// A sheet whose header or rows do not read.
    Refused(Vec<Problem>),
}

/// True for a file that is read as a sheet.
pub(super) fn is_sheet(path: &Path) -> bool {
    let ending = path.extension().and_then(|ending| ending.to_str());
    ending.is_some_and(|ending| ending.eq_ignore_ascii_case("csv"))
}

impl Sessions {
    /// Opens the file numbered `number`.
    ///
    /// # Errors
    /// When it cannot be read; the error names the number, because a file name may carry a person's
    /// name.
    pub(super) fn of(path: &Path, number: usize, beside: &Beside) -> anyhow::Result<Self> {
        let name = format!("document {number} of the command line");
        if !is_sheet(path) {
            let text = documents::read(path, &name)?;
            return Ok(Self::Document(Some(documents::with_files(text, path))));
        }
        let file = File::open(path)
            .map_err(|cause| Mistake(format!("{name}: {}", file_words(cause.kind()))))?;
        Ok(match Sheet::open(BufReader::new(file), beside.0.as_ref()) {
            Ok(sheet) => Self::Sheet(Box::new(sheet)),
            Err(problems) => Self::Refused(problems),
        })
    }

    /// The next session, or what stands in the way of all that follow; nothing at the end.
    pub(super) fn next(&mut self) -> Option<Result<Given, Vec<Problem>>> {
        match self {
            Self::Document(given) => given.take().map(Ok),
            Self::Sheet(sheet) => match sheet.next_session() {
                Ok(session) => session.map(Given::rows).map(Ok),
                Err(problems) => {
                    *self = Self::Document(None);
                    Some(Err(problems))
                }
            },
            Self::Refused(problems) => {
                let problems = std::mem::take(problems);
                *self = Self::Document(None);
                Some(Err(problems))
            }
        }
    }
}
