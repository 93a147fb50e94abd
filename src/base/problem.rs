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
    /// For a line that stands for others, how many of this severity were found and are not listed;
    /// 0 for every other problem.
    pub more: u64,
    /// Of a caution that one cause raises on several findings: the cause, the same for all of them; one
    /// confirmation covers them. Empty for every other problem.
    pub cause: String,
    /// Of a caution: the mark a confirmation has to name; empty until it is known what it touches.
    pub mark: String,
}

impl Problem {
    /// How many problems it tells of.
    pub const fn count(&self) -> u64 {
        if self.more == 0 { 1 } else { self.more }
    }
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

/// The most problems that are kept of one document. Whoever mends a thousand looks again anyway, and
/// a document of a million faults is not to fill memory with them.
pub const MOST: usize = 1000;

/// Those of one severity: what is kept, and how many more there were.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
struct Kept {
    list: Vec<Problem>,
    more: u64,
}

impl Kept {
    const fn new() -> Self {
        Self {
            list: Vec::new(),
            more: 0,
        }
    }

    const fn any(&self) -> bool {
        !self.list.is_empty() || self.more > 0
    }

    /// Counts the last one instead of keeping it; false where none is kept.
    fn give_way(&mut self) -> bool {
        let gave_way = self.list.pop().is_some();
        self.more = self.more.saturating_add(u64::from(gave_way));
        gave_way
    }
}

/// What the rooms have complained about so far, and the paths of which the form was told.
///
/// At most [`MOST`] are kept, the gravest first; how many more there were of each severity is told at
/// the end of the list.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Problems {
    errors: Kept,
    cautions: Kept,
    notes: Kept,
    forms: BTreeSet<String>,
}

impl Problems {
    /// An empty list.
    pub const fn new() -> Self {
        Self {
            errors: Kept::new(),
            cautions: Kept::new(),
            notes: Kept::new(),
            forms: BTreeSet::new(),
        }
    }

    /// Adds an error: nothing is sent while it stands.
    pub fn error(&mut self, code: Code, path: &str, what: String, hint: &str) {
        self.add(Severity::Error, code, path, what, hint);
    }

    /// Adds a caution: sent only after a named person confirms it.
    pub fn caution(&mut self, code: Code, path: &str, what: String, hint: &str) {
        self.add(Severity::Caution, code, path, what, hint);
    }

    /// Adds a caution that the same cause may raise on other findings as well: one confirmation covers
    /// them all.
    pub fn caution_by(&mut self, cause: &str, code: Code, path: &str, what: String, hint: &str) {
        let before = self.cautions.list.len();
        self.caution(code, path, what, hint);
        if self.cautions.list.len() > before
            && let Some(told) = self.cautions.list.last_mut()
        {
            cause.clone_into(&mut told.cause);
        }
    }

    /// The cautions that are kept.
    pub fn cautions(&self) -> &[Problem] {
        &self.cautions.list
    }

    /// Adds a note: sent, worth knowing.
    pub fn note(&mut self, code: Code, path: &str, what: String, hint: &str) {
        self.add(Severity::Note, code, path, what, hint);
    }

    /// Adds what was told elsewhere.
    pub fn take(&mut self, told: impl IntoIterator<Item = Problem>) {
        for problem in told {
            self.keep(problem);
        }
    }

    /// True when an error stands.
    pub const fn any_error(&self) -> bool {
        self.errors.any()
    }

    /// True when a caution stands that nobody confirmed.
    pub const fn any_caution(&self) -> bool {
        self.cautions.any()
    }

    /// True when this caution stands here, confirmed or not.
    pub fn has_caution(&self, code: &str, path: &str) -> bool {
        let mut cautions = self.cautions.list.iter();
        cautions.any(|problem| problem.code.word() == code && problem.path == path)
    }

    /// True when nothing was found.
    pub const fn is_empty(&self) -> bool {
        !self.errors.any() && !self.cautions.any() && !self.notes.any()
    }

    /// All that are kept, in the order of their paths, and at the end how many more there were.
    pub fn sorted(self) -> Vec<Problem> {
        let more = [
            (Severity::Error, self.errors.more),
            (Severity::Caution, self.cautions.more),
            (Severity::Note, self.notes.more),
        ];
        let lists = [self.errors.list, self.cautions.list, self.notes.list];
        let mut all: Vec<Problem> = lists.into_iter().flatten().collect();
        all.sort_by(|a, b| place(&a.path).cmp(&place(&b.path)).then_with(|| a.cmp(b)));
        all.dedup();
        let more = more.into_iter().filter(|(_, count)| *count > 0);
        all.extend(more.map(|(severity, count)| and_more(severity, count)));
        all
    }

    /// Looks at each problem that is kept and keeps it, changes it or drops it.
    pub fn refine(&mut self, mut keep: impl FnMut(Problem) -> Option<Problem>) {
        let lists = [&mut self.errors, &mut self.cautions, &mut self.notes];
        let all = lists.map(|kept| std::mem::take(&mut kept.list));
        for problem in all.into_iter().flatten() {
            if let Some(problem) = keep(problem) {
                self.of(problem.severity).list.push(problem);
            }
        }
    }

    fn add(&mut self, severity: Severity, code: Code, path: &str, what: String, hint: &str) {
        debug_assert_eq!(code.meaning().severity, Some(severity), "{code}");
        // What is told of the form of a field is not told again of its content.
        if self.forms.contains(path) {
            return;
        }
        if self.only_counts(severity) {
            return;
        }
        self.of(severity).list.push(Problem {
            path: path.to_owned(),
            severity,
            code,
            what,
            hint: hint.to_owned(),
            more: 0,
            cause: String::new(),
            mark: String::new(),
        });
        if code == Code::FieldForm {
            self.forms.insert(path.to_owned());
        }
    }

    /// Keeps a problem, or counts it.
    fn keep(&mut self, problem: Problem) {
        let severity = problem.severity;
        if problem.more > 0 {
            let kept = self.of(severity);
            kept.more = kept.more.saturating_add(problem.more);
        } else if !self.only_counts(severity) {
            self.of(severity).list.push(problem);
        }
    }

    /// Counts one of so many that no room is left for it; a lighter one gives way to a graver one.
    fn only_counts(&mut self, severity: Severity) -> bool {
        let full = self.total() >= MOST && !self.make_room(severity);
        if full {
            let kept = self.of(severity);
            kept.more = kept.more.saturating_add(1);
        }
        full
    }

    fn make_room(&mut self, graver: Severity) -> bool {
        let lighter = [Severity::Note, Severity::Caution].into_iter();
        let mut lighter = lighter.filter(|severity| *severity > graver);
        lighter.any(|severity| self.of(severity).give_way())
    }

    const fn total(&self) -> usize {
        let graver = self
            .errors
            .list
            .len()
            .saturating_add(self.cautions.list.len());
        graver.saturating_add(self.notes.list.len())
    }

    const fn of(&mut self, severity: Severity) -> &mut Kept {
        match severity {
            Severity::Error => &mut self.errors,
            Severity::Caution => &mut self.cautions,
            Severity::Note => &mut self.notes,
        }
    }
}

/// The line that stands for those of one severity that are not listed.
pub fn and_more(severity: Severity, count: u64) -> Problem {
    let many = if count == 1 { "" } else { "s" };
    Problem {
        path: String::new(),
        severity,
        code: Code::ProblemsMore,
        what: format!(
            "and {count} more {}{many}, which are not listed",
            severity.word()
        ),
        hint: "mend what is listed, then look again".to_owned(),
        more: count,
        cause: String::new(),
        mark: String::new(),
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
    use super::{MOST, Problems};
    use crate::base::code::Code;
    use crate::base::code::meaning::Severity;

    #[test]
    fn a_thousand_problems_are_kept_and_the_others_counted() {
        let mut problems = Problems::new();
        for index in 0..5000 {
            problems.error(Code::FieldType, &format!("/{index}"), String::new(), "");
        }

        let told = problems.sorted();

        assert_eq!(told.len(), MOST + 1);
        let last = told.last().expect("the line at the end");
        assert_eq!((last.code, last.more), (Code::ProblemsMore, 4000));
        assert_eq!(last.what, "and 4000 more errors, which are not listed");
        assert_eq!(last.count(), 4000);
        assert_eq!(told[0].count(), 1);
    }

    #[test]
    fn an_error_is_kept_though_notes_came_first() {
        let mut problems = Problems::new();
        for index in 0..5000 {
            problems.note(Code::DocumentMark, &format!("/{index}"), String::new(), "");
        }
        problems.caution(Code::AngleUnusual, "", String::new(), "");
        problems.error(Code::FieldType, "", String::new(), "");

        assert!(problems.any_error() && problems.any_caution());
        let told = problems.sorted();
        let of = |severity: Severity| told.iter().filter(|one| one.severity == severity).count();
        assert_eq!((of(Severity::Error), of(Severity::Caution)), (1, 1));
        assert_eq!(told.iter().map(super::Problem::count).sum::<u64>(), 5002);
    }

    #[test]
    fn a_caution_that_is_only_counted_stands_in_the_way() {
        let mut problems = Problems::new();
        for index in 0..=MOST {
            problems.caution(Code::AngleUnusual, &format!("/{index}"), String::new(), "");
        }
        problems.refine(|mut problem| {
            problem.severity = Severity::Note;
            Some(problem)
        });

        assert!(problems.any_caution());
    }

    #[test]
    fn what_was_counted_elsewhere_is_counted_on() {
        let mut first = Problems::new();
        for index in 0..1500 {
            first.error(Code::FieldType, &format!("/{index}"), String::new(), "");
        }
        let mut all = Problems::new();
        all.error(Code::FieldType, "", String::new(), "");
        all.take(first.sorted());

        let told = all.sorted();

        assert_eq!(told.len(), MOST + 1);
        assert_eq!(told.iter().map(super::Problem::count).sum::<u64>(), 1501);
    }

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
