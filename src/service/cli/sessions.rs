//! The sessions of the files of a command line: a document is one, a sheet has one after another.

use crate::base::code::Code;
use crate::base::json::Node;
use crate::base::problem::{Problem, Problems, file_words};
use crate::examination::intake::sheet::Sheet;
use crate::service::app::given::Given;
use crate::service::cli::files;
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
        let text = files::read(path, "the session document named by --session")?;
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

/// The problem of a file that cannot be read.
pub(super) fn unread(words: String) -> Vec<Problem> {
    let mut problems = Problems::new();
    let hint = "name a file that is there and that you may read, or - for standard input";
    problems.error(Code::FileUnread, "", words, hint);
    problems.sorted()
}

impl Sessions {
    /// Opens a file, or takes standard input for a document where the path is `-`. What cannot be
    /// read is a problem of that file alone, so that the others are still looked at.
    pub(super) fn of(path: &Path, beside: &Beside) -> Self {
        if !is_sheet(path) {
            return match files::text(path) {
                Ok(text) => Self::Document(Some(files::with_files(text, path))),
                Err(words) => Self::Refused(unread(words)),
            };
        }
        let file = match File::open(path) {
            Ok(file) => file,
            Err(cause) => return Self::Refused(unread(file_words(cause.kind()))),
        };
        match Sheet::open(BufReader::new(file), beside.0.as_ref()) {
            Ok(sheet) => Self::Sheet(Box::new(sheet)),
            Err(problems) => Self::Refused(problems),
        }
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
