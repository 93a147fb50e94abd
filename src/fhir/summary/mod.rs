//! What a colleague reads.
//!
//! Owns: the summary of a session, and of several sessions of one person, in plain words of our
//! own. In: coded statements, measured findings, comparisons, prompts. Out: a [`Summary`]: sections
//! of lines, each with the statements it tells of. Never: a claim that no statement holds, a word
//! in the place of a person's own, better or worse, or that somebody has read what was delivered.

pub mod across;
mod asked;
mod collected;
mod compared;
mod findings;
mod own_words;
mod passed_on;
mod precautions;

mod render;
mod session;
mod title;
mod words;

use crate::base::private::Private;
use crate::examination::compare::Comparison;
use crate::examination::finding::Session;
use crate::examination::measure::{Measured, prompt};
use crate::fhir::coding::Coded;
use crate::tables::catalogue::Catalogue;
use uuid::Uuid;

/// A summary, ready to be shown.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Summary {
    /// What it is of, and of which day.
    pub title: Private<String>,
    /// Its parts, precautions first.
    pub sections: Vec<Section>,
}

/// One part of a summary.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Section {
    /// Stable name for machines.
    pub code: &'static str,
    /// Heading.
    pub title: String,
    /// What it says.
    pub lines: Vec<Line>,
}

/// One sentence or more, and what it tells of.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    /// The statements it tells of: source, session, identity and role. Nothing for words of ours.
    pub about: Vec<About>,
    /// In words.
    pub words: Private<String>,
}

/// A statement as a record names it.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct About {
    /// The system its session was written in.
    pub source: String,
    /// Its session.
    pub session: Uuid,
    /// Its identity.
    pub id: Uuid,
    /// The part it plays there.
    pub role: &'static str,
}

/// A prompt to look, as it was raised and confirmed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Prompt {
    /// Code.
    pub code: String,
    /// Path of what it is about in the document of its session.
    pub path: String,
    /// What was asked, in words.
    pub what: Private<String>,
    /// What to do about it, where its row says so. That local policy and the treating team come first is
    /// said once for all of them.
    pub to_do: Option<String>,
    /// True when it is to reach the treating team at once.
    pub urgent: bool,
    /// Role of whoever confirmed it, and the reason they gave.
    pub confirmed: Option<(String, Private<String>)>,
}

/// The prompts that findings raise by themselves, as a summary tells them.
pub fn raised(prompts: &[prompt::Prompt], catalogue: &Catalogue) -> Vec<Prompt> {
    let row = |prompt: &prompt::Prompt| catalogue.cautions.get(&prompt.code);
    let prompts = prompts.iter().map(|prompt| Prompt {
        code: prompt.code.clone(),
        path: prompt.path.clone(),
        what: Private::new(prompt.wording.clone()),
        to_do: row(prompt).map(|row| row.to_do.clone()),
        urgent: prompt.urgent,
        confirmed: None,
    });
    prompts.collect()
}

/// One examination as a summary needs it.
#[derive(Debug, Clone, Copy)]
pub struct Examined<'a> {
    /// The session.
    pub session: &'a Session,
    /// Its findings in their measures.
    pub measured: &'a [Measured],
    /// All its statements under their codes.
    pub coded: &'a [Coded],
    /// What its findings came to beside each other and beside earlier ones.
    pub comparisons: &'a [Comparison],
    /// The prompts it raised.
    pub prompts: &'a [Prompt],
}

/// The summary of one session. Its order does not depend on the order of the findings.
pub fn of_session(one: &Examined<'_>, catalogue: &Catalogue) -> Summary {
    session::summary(one, catalogue)
}

impl Summary {
    /// For a person to read, in lines.
    pub fn text(&self) -> String {
        render::text(self)
    }

    /// As the contents of a narrative: an XHTML fragment in one `div`.
    pub fn xhtml(&self) -> String {
        render::xhtml(self)
    }
}

impl Section {
    fn new(code: &'static str, title: impl Into<String>, lines: Vec<Line>) -> Self {
        Self {
            code,
            title: title.into(),
            lines,
        }
    }
}

impl Line {
    /// Words of ours, about nothing in particular.
    fn plain(words: impl Into<String>) -> Self {
        Self {
            about: Vec::new(),
            words: Private::new(words.into()),
        }
    }

    fn about(session: &Session, one: &Coded, words: String) -> Self {
        Self {
            about: vec![About {
                source: session.source.clone(),
                session: session.id,
                id: one.id,
                role: one.role,
            }],
            words: Private::new(words),
        }
    }
}
