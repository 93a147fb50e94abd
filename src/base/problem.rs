//! The shape of a complaint.
//!
//! Owns: [`Problem`], [`Severity`] and the list that rooms add to.
//! In: what a room found. Out: the same, sorted by path. Never: knows any room.

use std::collections::BTreeSet;
use std::fmt;
use std::io;

/// How much a problem weighs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// Nothing is sent while it stands.
    Error,
    /// Sent only after a named person confirms it.
    Caution,
    /// Sent; worth knowing.
    Note,
}

impl Severity {
    /// The word printed for people and written to JSON.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Error => "error",
            Self::Caution => "caution",
            Self::Note => "note",
        }
    }
}

/// One thing that is wrong, or worth asking about: where, what, and what to do.
///
/// The texts may repeat captured values: they go to the caller only, so `Debug` leaves them out.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Problem {
    /// JSON Pointer (RFC 6901) of the field, or the empty string for the whole document.
    pub path: String,
    /// How much it weighs.
    pub severity: Severity,
    /// Stable code, part of the interface.
    pub code: &'static str,
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

const FILE_WORDS: [(io::ErrorKind, &str); 7] = [
    (io::ErrorKind::NotFound, "there is no such file"),
    (io::ErrorKind::PermissionDenied, "this user may not use it"),
    (
        io::ErrorKind::AlreadyExists,
        "there is a file of this name already; it is left alone",
    ),
    (io::ErrorKind::IsADirectory, "it is a folder, not a file"),
    (
        io::ErrorKind::NotADirectory,
        "a part of its path is a file, not a folder",
    ),
    (io::ErrorKind::StorageFull, "no space is left on its disk"),
    (
        io::ErrorKind::ReadOnlyFilesystem,
        "its disk may only be read",
    ),
];

/// Why a file cannot be used, in words for the person who named it.
pub fn file_words(kind: io::ErrorKind) -> String {
    let words = FILE_WORDS.iter().find(|(known, _)| *known == kind);
    words.map_or_else(|| kind.to_string(), |(_, words)| (*words).to_owned())
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
    pub fn error(&mut self, code: &'static str, path: &str, what: String, hint: &str) {
        self.add(Severity::Error, code, path, what, hint);
    }

    /// Adds a caution: sent only after a named person confirms it.
    pub fn caution(&mut self, code: &'static str, path: &str, what: String, hint: &str) {
        self.add(Severity::Caution, code, path, what, hint);
    }

    /// Adds a note: sent, worth knowing.
    pub fn note(&mut self, code: &'static str, path: &str, what: String, hint: &str) {
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
            problem.severity == Severity::Caution && problem.code == code && problem.path == path
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

    fn add(
        &mut self,
        severity: Severity,
        code: &'static str,
        path: &str,
        what: String,
        hint: &str,
    ) {
        // What is told of the form of a field is not told again of its content.
        if self.1.contains(path) {
            return;
        }
        if code == "field.form" {
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

    #[test]
    fn problems_stand_in_the_order_of_the_document() {
        let mut problems = Problems::new();
        for path in ["/findings/12/value", "/findings/2", "", "/findings/2/side"] {
            problems.error("a", path, String::new(), "");
        }

        let paths: Vec<String> = problems.sorted().into_iter().map(|p| p.path).collect();

        assert_eq!(
            paths,
            ["", "/findings/2", "/findings/2/side", "/findings/12/value"]
        );
    }
}
