//! The shape of a complaint.
//!
//! Owns: [`Problem`] and the list that rooms add to.
//! In: what a room found. Out: the same, sorted by path. Never: knows any room.

use crate::base::code::Code;
use crate::base::code::meaning::Severity;
use std::collections::BTreeSet;
use std::fmt;
use std::io;

/// One thing that is wrong, or worth asking about: where, what, and what to do.
///
/// The texts may repeat captured values: they go to the caller only, so `Debug` leaves them out.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Problem {
    /// JSON Pointer (RFC 6901) of the field, or the empty string for the whole document.
    pub path: String,
    /// How much it weighs.
    pub severity: Severity,
    /// Its code; the word of it is part of the interface.
    pub code: Code,
    /// What is wrong: lower case, no full stop, the value after the field.
    pub what: String,
    /// What to do about it.
    pub hint: String,
}

impl fmt::Debug for Problem {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            formatter,
            "{} {} [private]",
            self.severity.word(),
            self.code
        )
    }
}

/// Why a file cannot be used, in words for the person who named it.
pub fn file_words(kind: io::ErrorKind) -> String {
    if kind == io::ErrorKind::NotFound {
        "there is no such file".to_owned()
    } else if kind == io::ErrorKind::PermissionDenied {
        "this user may not use it".to_owned()
    } else {
        kind.to_string()
    }
}

/// What the rooms have complained about so far, and the paths of which the form was told.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Problems(Vec<Problem>, BTreeSet<String>);

impl Problems {
    /// An empty list.
    pub const fn new() -> Self {
        Self(Vec::new(), BTreeSet::new())
    }

    /// Adds an error: nothing is sent while it stands.
    pub fn error(&mut self, code: Code, path: &str, what: String, hint: &str) {
        self.add(Severity::Error, code, path, what, hint);
    }

    /// Adds a caution: sent only after a named person confirms it.
    pub fn caution(&mut self, code: Code, path: &str, what: String, hint: &str) {
        self.add(Severity::Caution, code, path, what, hint);
    }

    /// Adds a note: sent, worth knowing.
    pub fn note(&mut self, code: Code, path: &str, what: String, hint: &str) {
        self.add(Severity::Note, code, path, what, hint);
    }

    /// Adds what was told elsewhere.
    pub fn take(&mut self, told: impl IntoIterator<Item = Problem>) {
        self.0.extend(told);
    }

    /// True when an error stands.
    pub fn any_error(&self) -> bool {
        self.0
            .iter()
            .any(|problem| problem.severity == Severity::Error)
    }

    /// True when a caution stands that nobody confirmed.
    pub fn any_caution(&self) -> bool {
        self.0
            .iter()
            .any(|problem| problem.severity == Severity::Caution)
    }

    /// True when this caution stands here, confirmed or not.
    pub fn has_caution(&self, code: &str, path: &str) -> bool {
        self.0.iter().any(|problem| {
            problem.severity == Severity::Caution
                && problem.code.word() == code
                && problem.path == path
        })
    }

    /// True when nothing was found.
    pub const fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// All of them, in the order of their paths.
    pub fn sorted(mut self) -> Vec<Problem> {
        self.0
            .sort_by(|a, b| place(&a.path).cmp(&place(&b.path)).then_with(|| a.cmp(b)));
        self.0.dedup();
        self.0
    }

    /// Looks at each problem and keeps it, changes it or drops it.
    pub fn refine(&mut self, keep: impl FnMut(Problem) -> Option<Problem>) {
        self.0 = std::mem::take(&mut self.0)
            .into_iter()
            .filter_map(keep)
            .collect();
    }

    fn add(&mut self, severity: Severity, code: Code, path: &str, what: String, hint: &str) {
        debug_assert_eq!(code.meaning().severity, Some(severity), "{code}");
        // What is told of the form of a field is not told again of its content.
        if self.1.contains(path) {
            return;
        }
        if code == Code::FieldForm {
            self.1.insert(path.to_owned());
        }
        self.0.push(Problem {
            path: path.to_owned(),
            severity,
            code,
            what,
            hint: hint.to_owned(),
        });
    }
}

/// The steps of a path, numbers by their value: finding 2 stands before finding 12.
fn place(path: &str) -> Vec<(u64, &str)> {
    path.split('/')
        .map(|step| (step.parse().unwrap_or(u64::MAX), step))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::Problems;
    use crate::base::code::Code;

    #[test]
    fn problems_stand_in_the_order_of_the_document() {
        let mut problems = Problems::new();
        for path in ["/findings/12/value", "/findings/2", "", "/findings/2/side"] {
            problems.error(Code::FieldType, path, String::new(), "");
        }

        let paths: Vec<String> = problems.sorted().into_iter().map(|p| p.path).collect();

        assert_eq!(
            paths,
            ["", "/findings/2", "/findings/2/side", "/findings/12/value"]
        );
    }
}
