//! Words for people.

use crate::base::code::meaning::Severity;
use crate::base::json::{Node, object, text};
use crate::base::problem::{Problem, file_words};
use crate::delivery::deliver::client::NoClient;
use crate::delivery::outbox::OutboxError;
use crate::examination::intake::sheet::rows::Rows;
use crate::service::app::assess::mark;
use crate::service::app::shown;
use crate::service::cli::{Ended, screen};
use crate::service::config::ConfigError;
use std::io::{self, Write};

/// What the person who called can mend: a file that is not there, a folder that is none.
#[derive(Debug, thiserror::Error)]
#[error("{0}")]
pub(super) struct Mistake(pub(super) String);

/// Tells a fault of the program or the machine, without a word of what was processed.
pub(super) fn fault(fault: &anyhow::Error, json: bool) -> Ended {
    let closed = fault.downcast_ref::<io::Error>();
    if closed.is_some_and(|cause| cause.kind() == io::ErrorKind::BrokenPipe) {
        // Whoever read the output has read enough.
        return Ended::Done;
    }
    let words = words(fault);
    if json {
        // A program that asked for JSON gets JSON, whatever happened.
        let told = object([("error", text(words.clone()))]).pretty();
        drop(io::stdout().write_all(told.as_bytes()));
    }
    to_stderr(&format!("fascicle: {words}"));
    let theirs = fault.is::<Mistake>()
        || matches!(
            fault.downcast_ref(),
            Some(
                OutboxError::Missing
                    | OutboxError::OtherServer(_)
                    | OutboxError::Folder(_)
                    | OutboxError::Generation { .. }
                    | OutboxError::Moved(_)
                    | OutboxError::InUse
                    | OutboxError::NotEmpty
                    | OutboxError::Copy(_)
                    | OutboxError::Password(_)
            )
        )
        || fault.is::<ConfigError>()
        || fault.is::<NoClient>();
    if theirs {
        Ended::Problems
    } else {
        Ended::Fault
    }
}

/// A fault and its causes, each told once: some errors repeat their cause in their own words.
fn words(fault: &anyhow::Error) -> String {
    let mut line = fault.to_string();
    for cause in fault.chain().skip(1) {
        let cause = match cause.downcast_ref::<io::Error>() {
            Some(cause) => file_words(cause.kind()),
            None => cause.to_string(),
        };
        if !line.contains(cause.trim()) {
            line.extend([": ", &cause]);
        }
    }
    line.trim_end().to_owned()
}

/// A count and its word.
pub(super) fn counted(count: impl Into<u64>, one: &str, many: &str) -> String {
    let count = count.into();
    format!("{count} {}", if count == 1 { one } else { many })
}

/// Writes one line to standard error.
pub(super) fn to_stderr(line: &str) {
    // Nothing is left to be told when standard error is gone.
    let fitted = screen::for_stderr(line);
    drop(io::stderr().write_all(format!("{fitted}\n").as_bytes()));
}

/// Prints problems: path and what, the hint on its own line.
///
/// Where the document came from a sheet, the place is a row and a column of it.
pub(super) fn problems(
    out: &mut dyn Write,
    document: &str,
    problems: &[Problem],
    rows: Option<&Rows>,
) -> io::Result<()> {
    for problem in problems {
        let place = rows.and_then(|rows| rows.place(&problem.path));
        let in_sheet = place.is_some();
        let place = match place {
            Some(place) => place.to_string(),
            None if problem.path.is_empty() => "the document".to_owned(),
            None => problem.path.clone(),
        };
        writeln!(out, "{document}: {place}")?;
        writeln!(
            out,
            "  {} [{}]: {}",
            problem.severity.word(),
            problem.code,
            problem.what
        )?;
        // A line that stands for others names nothing that could be confirmed.
        if problem.severity == Severity::Caution && problem.more == 0 {
            writeln!(out, "  mark for a confirmation: {}", mark(problem))?;
            if in_sheet {
                writeln!(out, "  path for a confirmation: {}", problem.path)?;
            }
        }
        writeln!(out, "  hint: {}", problem.hint)?;
    }
    Ok(())
}

/// Documents that do not hold: told one after another, or as JSON all at once.
pub(super) struct Refused {
    json: bool,
    documents: Vec<Node>,
    ended: Ended,
}

impl Refused {
    pub(super) const fn new(json: bool) -> Self {
        Self {
            json,
            documents: Vec::new(),
            ended: Ended::Done,
        }
    }

    /// Tells the problems of one document.
    pub(super) fn add(
        &mut self,
        name: &str,
        told: &[Problem],
        rows: Option<&Rows>,
    ) -> io::Result<()> {
        self.ended = self.ended.max(ended(told));
        if self.json {
            self.documents.push(problems_json(name, told, rows));
            return Ok(());
        }
        problems(&mut screen::screen(), name, told, rows)
    }

    /// True while every document holds.
    pub(super) fn is_empty(&self) -> bool {
        self.ended == Ended::Done
    }

    /// Ends with the words that nothing was made.
    pub(super) fn nothing(self, words: &str) -> io::Result<Ended> {
        let mut out = screen::words_or_json(self.json);
        if self.json {
            let members = [
                ("error", text(words)),
                ("documents", Node::List(self.documents)),
            ];
            out.write_all(object(members).pretty().as_bytes())?;
        } else {
            writeln!(out, "{words}")?;
        }
        Ok(self.ended)
    }
}

/// Words that answer a command, as JSON under `name` where it is asked for.
pub(super) fn say(json: bool, name: &'static str, words: &str) -> io::Result<()> {
    let mut out = screen::words_or_json(json);
    if json {
        return out.write_all(object([(name, text(words))]).pretty().as_bytes());
    }
    writeln!(out, "{words}")
}

/// The problems of one document as JSON.
pub(super) fn problems_json(document: &str, problems: &[Problem], rows: Option<&Rows>) -> Node {
    object([
        ("document", text(document)),
        ("problems", shown::problems(problems, rows)),
    ])
}

/// How a document with these problems ends a command.
pub(super) fn ended(problems: &[Problem]) -> Ended {
    let has = |severity: Severity| problems.iter().any(|problem| problem.severity == severity);
    if has(Severity::Error) {
        Ended::Problems
    } else if has(Severity::Caution) {
        Ended::WaitsForConfirmation
    } else {
        Ended::Done
    }
}
