//! `check` over files of any size: NDJSON is judged line by line and told as it is judged, so that
//! memory does not grow with the file.

use crate::base::code::Code;
use crate::base::code::meaning::Severity;
use crate::base::json::Node;
use crate::base::problem::{MOST, Problem, Problems, and_more};
use crate::examination::intake::sheet::rows::Rows;
use crate::service::cli::files::STDIN;
use crate::service::cli::{Ended, report};
use crate::tables::catalogue::Catalogue;
use std::fs::File;
use std::io::{self, BufRead, BufReader, Read, Write};
use std::path::Path;

/// The most bytes one resource or document may have; with one more the answer is a problem.
const LARGEST: u64 = 32 * 1024 * 1024;

/// One file of the command line, as it is to be read.
pub(super) enum Form {
    /// One document; its bytes.
    Document(Vec<u8>),
    /// One resource a line.
    Lines(Box<dyn BufRead>),
    /// One document with more bytes than are read.
    TooLarge,
}

/// Opens a file, or standard input for `-`, and finds out how it is to be read: as lines when it says
/// so in its name, or when its first line is a resource of its own and another follows.
///
/// # Errors
/// When it cannot be read.
pub(super) fn open(path: &Path) -> io::Result<Form> {
    let source: Box<dyn Read> = if path.as_os_str() == STDIN {
        Box::new(io::stdin())
    } else {
        Box::new(File::open(path)?)
    };
    let mut reader = BufReader::new(source);
    if path.extension().is_some_and(|ending| ending == "ndjson") {
        return Ok(Form::Lines(Box::new(reader)));
    }
    let mut first = Vec::new();
    while first.trim_ascii().is_empty() && piece(&mut reader, &mut first)? {}
    let alone = is_resource(&first);
    let mut rest = Vec::new();
    while alone && rest.trim_ascii().is_empty() && piece(&mut reader, &mut rest)? {}
    first.append(&mut rest);
    if alone && first.trim_ascii().contains(&b'\n') {
        return Ok(Form::Lines(Box::new(io::Cursor::new(first).chain(reader))));
    }
    let more = (&mut reader).take(LARGEST.saturating_add(1));
    let mut more = more;
    more.read_to_end(&mut first)?;
    if u64::try_from(first.len()).is_ok_and(|length| length > LARGEST) {
        return Ok(Form::TooLarge);
    }
    if looks_like_lines(&first) {
        return Ok(Form::Lines(Box::new(io::Cursor::new(first))));
    }
    Ok(Form::Document(first))
}

/// Adds a line, or the start of one that is too long; false at the end of the file.
fn piece(reader: &mut impl BufRead, into: &mut Vec<u8>) -> io::Result<bool> {
    let mut reader = reader.take(LARGEST.saturating_add(1));
    Ok(reader.read_until(b'\n', into)? > 0)
}

fn parsed(bytes: &[u8]) -> Option<Node> {
    let text = std::str::from_utf8(bytes).ok()?;
    Node::parse(text).ok()
}

fn is_resource(line: &[u8]) -> bool {
    parsed(line).is_some_and(|node| node.member("resourceType").is_some())
}

/// True for what is no JSON as a whole, and has a line that is a resource.
fn looks_like_lines(bytes: &[u8]) -> bool {
    let mut lines = bytes.split(|byte| *byte == b'\n');
    parsed(bytes).is_none()
        && bytes.trim_ascii().contains(&b'\n')
        && lines.any(|line| line.trim_ascii().starts_with(b"{") && is_resource(line))
}

/// Judges one line after another; the path of each problem begins with its line.
pub(super) fn each(
    mut lines: Box<dyn BufRead>,
    catalogue: &Catalogue,
    told: &mut ProblemWriter<'_>,
) -> anyhow::Result<()> {
    let mut number: u64 = 0;
    let mut line = Vec::new();
    loop {
        line.clear();
        if !piece(&mut lines, &mut line)? {
            return Ok(());
        }
        number = number.saturating_add(1);
        let mut problems = Problems::new();
        if u64::try_from(line.len()).is_ok_and(|length| length > LARGEST) {
            skip_line(&mut lines)?;
            too_large(&mut problems);
        } else if !line.trim_ascii().is_empty() {
            resource(&line, catalogue, &mut problems);
        }
        let mut problems = problems.sorted();
        // Nobody sees the path of what is only counted.
        for problem in problems.iter_mut().filter(|_| told.listed < MOST) {
            problem.path.insert_str(0, &format!("line {number}"));
        }
        told.add(&problems, None)?;
    }
}

/// Passes over the rest of a line without keeping it.
fn skip_line(reader: &mut impl BufRead) -> io::Result<()> {
    loop {
        let held = reader.fill_buf()?;
        let end = held.iter().position(|byte| *byte == b'\n');
        let (length, over) = (held.len(), held.is_empty() || end.is_some());
        reader.consume(end.map_or(length, |end| end.saturating_add(1)));
        if over {
            return Ok(());
        }
    }
}

fn resource(line: &[u8], catalogue: &Catalogue, problems: &mut Problems) {
    let Ok(text) = std::str::from_utf8(line) else {
        let what = "this line is not UTF-8".to_owned();
        problems.error(Code::JsonUtf8, "", what, "write the file as UTF-8");
        return;
    };
    match Node::parse(text) {
        Ok(node) => {
            crate::examination::intake::mark_problem(text, problems);
            crate::fhir::check::resource(&node, catalogue, problems);
        }
        Err(fault) => crate::examination::intake::syntax_problem(&fault, problems),
    }
}

/// Tells that a document or a line has more bytes than are read.
pub(super) fn too_large(problems: &mut Problems) {
    let what = format!("more than {} MiB in one piece", LARGEST / 1024 / 1024);
    let hint = "split it: one resource a line (NDJSON) has no limit on the number of lines";
    problems.error(Code::JsonLarge, "", what, hint);
}

/// Tells problems as they come, and counts them; of each document at most [`MOST`] are listed.
pub(super) struct ProblemWriter<'a> {
    out: &'a mut dyn Write,
    json: bool,
    document: String,
    documents: u64,
    counts: [u64; 3],
    /// How many were listed of the document begun last, and how many of each severity were not.
    listed: usize,
    not_listed: [u64; 3],
    ended: Ended,
}

impl<'a> ProblemWriter<'a> {
    pub(super) fn new(out: &'a mut dyn Write, json: bool) -> Self {
        Self {
            out,
            json,
            document: String::new(),
            documents: 0,
            counts: [0; 3],
            listed: 0,
            not_listed: [0; 3],
            ended: Ended::Done,
        }
    }

    /// Begins with the next document.
    pub(super) fn document(&mut self, name: String) -> io::Result<()> {
        if self.json {
            let before = if self.documents == 0 { "[" } else { "," };
            let name = crate::base::json::text(name.clone()).compact();
            write!(self.out, "{before}{{\"document\":{name},\"problems\":[")?;
        }
        self.documents = self.documents.saturating_add(1);
        (self.counts, self.listed, self.not_listed) = ([0; 3], 0, [0; 3]);
        self.document = name;
        Ok(())
    }

    /// Tells problems of the document begun last.
    pub(super) fn add(&mut self, problems: &[Problem], rows: Option<&Rows>) -> io::Result<()> {
        self.ended = self.ended.max(report::ended(problems));
        count(&mut self.counts, problems);
        let here = problems.iter().take_while(|one| one.more == 0).count();
        let (listed, others) = problems
            .split_at_checked(here.min(MOST.saturating_sub(self.listed)))
            .unwrap_or((problems, &[]));
        count(&mut self.not_listed, others);
        self.list(listed, rows)
    }

    fn list(&mut self, problems: &[Problem], rows: Option<&Rows>) -> io::Result<()> {
        if !self.json {
            report::problems(self.out, &self.document, problems, rows)?;
        }
        let as_json = if self.json { problems } else { &[] };
        for problem in report::problems_json("", as_json, rows).items_of("problems") {
            let before = if self.listed == 0 { "\n" } else { ",\n" };
            write!(self.out, "{before}{}", problem.compact())?;
            self.listed = self.listed.saturating_add(1);
        }
        if !self.json {
            self.listed = self.listed.saturating_add(problems.len());
        }
        Ok(())
    }

    /// Ends the document begun last.
    pub(super) fn close(&mut self) -> io::Result<()> {
        let not_listed = SEVERITIES.into_iter().zip(self.not_listed);
        let not_listed = not_listed.filter(|(_, count)| *count > 0);
        let not_listed: Vec<Problem> = not_listed
            .map(|(severity, count)| and_more(severity, count))
            .collect();
        self.list(&not_listed, None)?;
        if self.json {
            return self.out.write_all(b"]}\n");
        }
        let words = [
            ("error", "errors"),
            ("caution", "cautions"),
            ("note", "notes"),
        ];
        let counted = self.counts.iter().zip(words);
        let counted = counted.map(|(count, (one, many))| report::counted(*count, one, many));
        let counted = counted.collect::<Vec<_>>().join(", ");
        writeln!(self.out, "{}: {counted}", self.document)
    }

    /// Ends all, and says how.
    pub(super) fn end(self) -> io::Result<Ended> {
        if self.json {
            let before = if self.documents == 0 { "[" } else { "" };
            writeln!(self.out, "{before}]")?;
        }
        Ok(self.ended)
    }
}

fn count(counts: &mut [u64; 3], problems: &[Problem]) {
    for (count, severity) in counts.iter_mut().zip(SEVERITIES) {
        let found = problems.iter().filter(|one| one.severity == severity);
        *count = found.map(Problem::count).fold(*count, u64::saturating_add);
    }
}

const SEVERITIES: [Severity; 3] = [Severity::Error, Severity::Caution, Severity::Note];

#[cfg(test)]
mod tests {
    use super::{Form, ProblemWriter, each, open};
    use crate::base::code::Code;
    use crate::base::json::Node;
    use crate::base::problem::{Problem, Problems};
    use crate::tables::catalogue::Catalogue;
    use std::io::Write as _;

    /// What is told of a file with this text under this ending.
    fn told(ending: &str, bytes: &[u8]) -> Option<String> {
        let mut file = tempfile::Builder::new()
            .suffix(ending)
            .tempfile()
            .expect("a file");
        file.write_all(bytes).expect("written");
        let Form::Lines(lines) = open(file.path()).expect("it opens") else {
            return None;
        };
        let catalogue = Catalogue::embedded().expect("sound tables");
        let mut out = Vec::new();
        let mut told = ProblemWriter::new(&mut out, false);
        told.document("x".to_owned()).expect("told");
        each(lines, &catalogue, &mut told).expect("judged");
        told.close().expect("told");
        Some(String::from_utf8(out).expect("text"))
    }

    const PATIENT: &str = "{\"resourceType\":\"Patient\",\"active\":true}\n";

    #[test]
    fn a_line_that_does_not_read_is_a_problem_of_that_line_only() {
        let text =
            format!("{PATIENT}\nno json\n{PATIENT}{{\"resourceType\":\"Patient\",\"active\":1}}\n");

        let told = told(".json", text.as_bytes()).expect("lines");

        assert!(told.contains("x: line 3\n  error [json.syntax]"), "{told}");
        assert!(
            told.contains("x: line 5/active\n  error [fhir.type]"),
            "{told}"
        );
        assert!(
            told.ends_with("x: 2 errors, 0 cautions, 0 notes\n"),
            "{told}"
        );
    }

    #[test]
    fn a_first_line_that_does_not_read_hides_no_other() {
        let told = told(".json", format!("no json\n{PATIENT}").as_bytes()).expect("lines");

        assert!(told.contains("x: line 1\n  error [json.syntax]"), "{told}");
        assert!(
            told.ends_with("x: 1 error, 0 cautions, 0 notes\n"),
            "{told}"
        );
    }

    #[test]
    fn bytes_that_are_no_text_and_a_mark_before_the_json_are_told_by_line() {
        let mut bytes = b"\xef\xbb\xbf".to_vec();
        bytes.extend(PATIENT.as_bytes());
        bytes.extend(b"{\"resourceType\":\"\xff\"}\n");
        bytes.extend(b"[".repeat(300_000));

        let told = told(".ndjson", &bytes).expect("lines");

        assert!(told.contains("x: line 1\n  note [document.mark]"), "{told}");
        assert!(told.contains("x: line 2\n  error [json.utf8]"), "{told}");
        assert!(told.contains("x: line 3\n  error [json.deep]"), "{told}");
    }

    #[test]
    fn what_is_told_as_json_is_one_list_whatever_was_found() {
        let mut problems = Problems::new();
        problems.error(Code::JsonUtf8, "/a", "what".to_owned(), "hint");
        problems.note(Code::CsvMark, "/b", "what".to_owned(), "hint");
        let problems = problems.sorted();
        let written = |documents: &[&[Problem]]| {
            let mut out = Vec::new();
            let mut told = ProblemWriter::new(&mut out, true);
            for problems in documents {
                told.document("a \"name\"".to_owned()).expect("told");
                for problem in *problems {
                    told.add(std::slice::from_ref(problem), None).expect("told");
                    told.add(&[], None).expect("told");
                }
                told.close().expect("told");
            }
            told.end().expect("told");
            let text = String::from_utf8(out).expect("text");
            let node = Node::parse(&text).expect("JSON");
            let counts = node
                .items()
                .iter()
                .map(|one| one.items_of("problems").len());
            counts.collect::<Vec<_>>()
        };

        assert_eq!(written(&[]), [0; 0]);
        assert_eq!(written(&[&[], &problems, &problems[..1]]), [0, 2, 1]);
    }

    #[test]
    fn one_document_is_no_list_of_lines() {
        for text in [
            PATIENT.trim(),
            PATIENT,
            "{\n\"resourceType\":\"Patient\"}\n",
            "",
            "no json",
        ] {
            assert_eq!(told(".json", text.as_bytes()), None, "{text}");
        }
    }

    #[test]
    fn a_line_or_a_document_beyond_the_limit_is_told_and_what_follows_is_judged() {
        let long = "a".repeat(33 * 1024 * 1024);
        let lines = told(".ndjson", format!("{long}\n{PATIENT}nothing\n").as_bytes());
        let lines = lines.expect("lines");

        assert!(lines.contains("x: line 1\n  error [json.large]"), "{lines}");
        assert!(
            lines.contains("x: line 3\n  error [json.syntax]"),
            "{lines}"
        );
        let mut file = tempfile::NamedTempFile::new().expect("a file");
        file.write_all(long.as_bytes()).expect("written");
        assert!(matches!(
            open(file.path()).expect("it opens"),
            Form::TooLarge
        ));
    }
}
