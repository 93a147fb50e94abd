//! Words for people.

use crate::base::code::meaning::Severity;
use crate::base::json::{Node, object, text};
use crate::base::problem::Problem;
use crate::delivery::deliver::client::NoClient;
use crate::delivery::outbox::OutboxError;
use crate::examination::intake::sheet::Rows;
use crate::service::app::encode::mark;
use crate::service::app::shown;
use crate::service::cli::Ended;
use crate::service::config::ConfigError;
use std::io::{self, Write};

/// What the person who called can mend: a file that is not there, a folder that is none.
#[derive(Debug, thiserror::Error)]
#[error("{0}")]
pub(super) struct Mistake(pub(super) String);

/// Tells a fault of the program or the machine, without a word of what was processed.
pub(super) fn fault(fault: &anyhow::Error) -> Ended {
    let closed = fault.downcast_ref::<io::Error>();
    if closed.is_some_and(|cause| cause.kind() == io::ErrorKind::BrokenPipe) {
        // Whoever read the output has read enough.
        return Ended::Done;
    }
    let mut line = String::from("fascicle: ");
    line.push_str(&fault.to_string());
    for cause in fault.chain().skip(1) {
        line.push_str(": ");
        line.push_str(&cause.to_string());
    }
    to_stderr(&line);
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

/// A count and its word.
pub(super) fn counted(count: impl Into<u64>, one: &str, many: &str) -> String {
    let count = count.into();
    format!("{count} {}", if count == 1 { one } else { many })
}

/// The width a page of text keeps to.
pub(super) const WIDTH: usize = 100;

/// Writes words as lines that fit the page: `first` before the first, blanks of that width before
/// the others.
pub(super) fn wrapped(out: &mut dyn Write, first: &str, words: &str) -> io::Result<()> {
    let indent = first.chars().count();
    let mut line = first.to_owned();
    let mut filled = indent;
    for word in words.split_whitespace() {
        let wide = word.chars().count();
        if filled > indent && filled.saturating_add(wide).saturating_add(1) > WIDTH {
            writeln!(out, "{}", line.trim_end())?;
            line = " ".repeat(indent);
            filled = indent;
        }
        if filled > indent {
            line.push(' ');
            filled = filled.saturating_add(1);
        }
        line.push_str(word);
        filled = filled.saturating_add(wide);
    }
    writeln!(out, "{}", line.trim_end())
}

/// Writes one line to standard error.
pub(super) fn to_stderr(line: &str) {
    // Nothing is left to be told when standard error is gone.
    drop(io::stderr().write_all(format!("{line}\n").as_bytes()));
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
