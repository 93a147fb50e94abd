//! Reading what was kept, by the form it was written in.
//!
//! A form is a number that stands beside every kept text: the first in which everything that it says
//! has a place, so that the oldest binary that can read it does. A release that writes something an
//! older binary would not understand raises [`FORM`] and keeps a reader for every form before it; what
//! a newer release wrote is refused by name.
//!
//! Form 1 holds session documents of version 1, what they state of precautions, the records made of
//! them, and receipts. Form 2 holds the same of session documents of version 2. Nothing that was kept is ever left out because it does not
//! read: whoever needs it is told which row, and why.

use crate::base::code::Code;
use crate::base::code::meaning::Severity;
use crate::base::json::NotJson;
use crate::base::problem::Problem;
use crate::examination::intake::draft::{DocumentVersion, Draft, PrecautionDraft};
use serde::de::DeserializeOwned;
use std::fmt;

/// The newest form that this binary reads and writes.
pub const FORM: u32 = 2;

/// The form of receipts, which no release has written otherwise.
pub const OF_RECEIPT: u32 = 1;

/// The form in which a session document is kept, and what was made of it.
pub const fn form_of(document: DocumentVersion) -> u32 {
    match document {
        DocumentVersion::Session1 => 1,
        DocumentVersion::Session2 => 2,
    }
}

/// Why a kept text does not read; never a word of what it says.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum NotRead {
    /// A newer release wrote it.
    Newer {
        /// Its form.
        form: u32,
    },
    /// No release wrote such a form.
    NoForm {
        /// The number that stands beside it.
        form: u32,
    },
    /// It is no JSON.
    Syntax {
        /// Line.
        line: usize,
        /// Column.
        column: usize,
    },
    /// It is JSON that no document of ours is: a key twice, or nested too deep.
    Json,
    /// It is not what its form holds.
    Shape {
        /// Its form.
        form: u32,
        /// Column of the first fault.
        column: usize,
    },
    /// It is a document of another form than the one that stands beside it.
    OtherForm {
        /// The number that stands beside it.
        form: u32,
        /// The document that it is.
        document: DocumentVersion,
    },
    /// An item of it says nothing.
    Empty {
        /// Where.
        path: String,
    },
    /// A field of it is understood no more.
    Meaning {
        /// Where.
        path: String,
        /// Code of what is wrong with it.
        code: Code,
    },
    /// The tables of today do not know what it names.
    Tables {
        /// Where.
        path: String,
    },
    /// Something is missing in it.
    Lacks(&'static str),
    /// It is no text, time, number or identity, as its column should be.
    Column(&'static str),
}

impl fmt::Display for NotRead {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Newer { form } => write!(
                formatter,
                "was written by a newer release: form {form}, this binary reads up to {FORM}"
            ),
            Self::NoForm { form } => write!(formatter, "does not read: there is no form {form}"),
            Self::Syntax { line, column } => write!(
                formatter,
                "does not read: not JSON at line {line}, column {column}"
            ),
            Self::Json => formatter.write_str("does not read: not JSON as it is kept"),
            Self::Shape { form, column } => {
                write!(
                    formatter,
                    "does not read as form {form}, at character {column}"
                )
            }
            Self::OtherForm { form, document } => write!(
                formatter,
                "does not read as form {form}: it is {}",
                document.word()
            ),
            Self::Empty { path } => write!(formatter, "does not read: nothing stands at {path}"),
            Self::Meaning { path, code } => {
                write!(formatter, "does not read: {code} at {path}")
            }
            Self::Tables { path } => write!(
                formatter,
                "does not read: the tables in use do not know what {path} names"
            ),
            Self::Lacks(what) => write!(formatter, "does not read: it lacks {what}"),
            Self::Column(what) => write!(formatter, "does not read: {what} was expected"),
        }
    }
}

impl std::error::Error for NotRead {}

impl From<NotJson> for NotRead {
    fn from(fault: NotJson) -> Self {
        match fault {
            NotJson::Syntax { line, column } => Self::Syntax { line, column },
            NotJson::Twice { .. } | NotJson::Deep | NotJson::Many | NotJson::Wide => Self::Json,
        }
    }
}

/// Whether this binary reads a form at all.
///
/// # Errors
/// [`NotRead::Newer`] for the form of a newer release.
pub const fn readable(form: u32) -> Result<(), NotRead> {
    if form > FORM {
        Err(NotRead::Newer { form })
    } else if form == 0 {
        Err(NotRead::NoForm { form })
    } else {
        Ok(())
    }
}

/// A kept document.
///
/// # Errors
/// [`NotRead`] with where it stopped to be one.
pub fn document(form: u32, text: &str) -> Result<Draft, NotRead> {
    let draft: Draft = of_form(form, text)?;
    let document = draft.fascicle;
    if form_of(document) != form {
        return Err(NotRead::OtherForm { form, document });
    }
    let lists = [
        ("performers", empty(&draft.performers)),
        ("precautions", empty(&draft.precautions)),
        ("instruments", empty(&draft.instruments)),
        ("findings", empty(&draft.findings)),
        ("traces", empty(&draft.traces)),
        ("goals", empty(&draft.goals)),
        ("handling", empty(&draft.handling)),
        ("recommendations", empty(&draft.recommendations)),
        ("told", empty(&draft.told)),
    ];
    match lists.into_iter().find_map(|(list, at)| Some((list, at?))) {
        Some((list, at)) => Err(NotRead::Empty {
            path: format!("/{list}/{at}"),
        }),
        None => Ok(draft),
    }
}

/// A kept precaution.
///
/// # Errors
/// [`NotRead`] with where it stopped to be one.
pub fn precaution(form: u32, text: &str) -> Result<PrecautionDraft, NotRead> {
    of_form(form, text)
}

/// One set of types holds both forms: what the second added may be left out, and is never said in the
/// first, whose schema refused it when the document was accepted.
fn of_form<T: DeserializeOwned>(form: u32, text: &str) -> Result<T, NotRead> {
    readable(form)?;
    serde_json::from_str(text).map_err(|fault| {
        let (line, column) = (fault.line(), fault.column());
        // The words of the fault may repeat what was said.
        if fault.is_data() {
            NotRead::Shape { form, column }
        } else {
            NotRead::Syntax { line, column }
        }
    })
}

fn empty<T>(items: &[Option<T>]) -> Option<usize> {
    items.iter().position(Option::is_none)
}

/// What was kept held when it was accepted: an error that is told of it now says that a part of it is
/// not understood.
///
/// # Errors
/// [`NotRead::Meaning`] with the first.
pub fn understood(told: &[Problem]) -> Result<(), NotRead> {
    let is_error = |problem: &&Problem| problem.severity == Severity::Error;
    match told.iter().find(is_error) {
        Some(problem) => Err(NotRead::Meaning {
            path: problem.path.clone(),
            code: problem.code,
        }),
        None => Ok(()),
    }
}
