//! The document of a session, built from its rows.

use crate::base::code::Code;
use crate::base::json::{Node, text};
use crate::base::problem::{Problem, Problems};
use crate::examination::intake::MOST_BYTES;
use crate::examination::intake::schema::MOST_ITEMS;
use crate::examination::intake::sheet::cells::{Mangled, mangled, unguarded};
use crate::examination::intake::sheet::columns::{Column, Kind};
use crate::examination::intake::sheet::rows::{Bad, Row, Rows, Session};
use crate::tables::catalogue::sha256_hex;
use std::sync::Arc;

/// The document of one session as its rows come in.
pub(super) struct Building {
    columns: Arc<Vec<Column>>,
    of_session: Vec<String>,
    document: Node,
    findings: Vec<Option<Node>>,
    rows: Rows,
    bytes: usize,
    /// The first row that is more than a session says, and how many there are of them.
    beyond: Option<(u64, usize)>,
    /// Rows that were given.
    given: usize,
    problems: Problems,
}

impl Building {
    pub(super) fn new(first: &Row, columns: &Arc<Vec<Column>>, beside: Option<&Node>) -> Self {
        let mut building = Self {
            columns: Arc::clone(columns),
            of_session: Vec::new(),
            document: beside.cloned().unwrap_or(Node::Object(Vec::new())),
            findings: Vec::new(),
            rows: Rows {
                first: first.number,
                beside: beside.is_some(),
                ..Rows::default()
            },
            bytes: 0,
            beyond: None,
            given: 0,
            problems: Problems::new(),
        };
        if let Ok(cells) = &first.cells {
            building.of_session = building.session_cells(cells);
        }
        if beside.is_none() {
            building.read_session();
        }
        building
    }

    fn session_cells(&self, cells: &[String]) -> Vec<String> {
        let all = self.columns.iter().zip(cells);
        all.filter(|(column, _)| column.of_session)
            .map(|(_, cell)| cell.clone())
            .collect()
    }

    fn read_session(&mut self) {
        // A sheet that names no form is of the first one; its column `fascicle` names another.
        self.document.set("fascicle", text("session/1"));
        let columns = Arc::clone(&self.columns);
        let of_session = columns.iter().filter(|column| column.of_session);
        let mut document = std::mem::replace(&mut self.document, Node::Null);
        for (column, cell) in of_session.zip(&self.of_session) {
            cell_into(column, cell, "", &mut document, &mut self.problems);
        }
        self.document = document;
    }

    /// What tells one session from another: its source, its id, its version.
    pub(super) fn key(&self) -> u128 {
        let named = ["session.source", "session.id", "session.version"];
        let of_session = self.columns.iter().filter(|column| column.of_session);
        let mut cells = of_session.zip(&self.of_session);
        let parts = cells
            .by_ref()
            .filter(|(column, _)| named.contains(&column.name.as_str()));
        let key = parts.fold(String::new(), |mut key, (_, cell)| {
            let cell = unguarded(cell).0;
            key.extend([&cell.len().to_string(), ":", cell]);
            key
        });
        let hash = sha256_hex(key.as_bytes());
        let half = hash.get(..32).unwrap_or_default();
        u128::from_str_radix(half, 16).unwrap_or_default()
    }

    /// True for a row that names another session; a row that does not read stays with this one.
    pub(super) fn other_session(&self, row: &Row) -> bool {
        let Ok(cells) = &row.cells else {
            return false;
        };
        let named = ["session.source", "session.id", "session.version"];
        let of_session = self.columns.iter().filter(|column| column.of_session);
        let cells = self.session_cells(cells);
        of_session
            .zip(self.of_session.iter().zip(&cells))
            .any(|(column, (first, cell))| {
                named.contains(&column.name.as_str()) && unguarded(first).0 != unguarded(cell).0
            })
    }

    pub(super) fn add(&mut self, row: Row) {
        self.given = self.given.saturating_add(1);
        let index = self.findings.len();
        let path = format!("/findings/{index}");
        let bytes = row.cells.iter().flatten().fold(32_usize, |sum, cell| {
            sum.saturating_add(cell.len()).saturating_add(32)
        });
        self.bytes = self.bytes.saturating_add(bytes);
        if self.bytes > MOST_BYTES || index >= MOST_ITEMS {
            let (_, count) = self.beyond.get_or_insert((row.number, 0));
            *count = count.saturating_add(1);
            return;
        }
        self.rows.of_findings.push(row.number);
        let cells = match row.cells {
            Ok(cells) => cells,
            Err(bad) => {
                self.findings.push(None);
                self.bad(bad, &path);
                return;
            }
        };
        self.same_session(&cells, &path);
        let columns = Arc::clone(&self.columns);
        let mut finding = Node::Object(Vec::new());
        for (column, cell) in columns.iter().zip(&cells) {
            if column.of_session {
                continue;
            }
            cell_into(column, cell, &path, &mut finding, &mut self.problems);
            if column.name == "value.grade" && !cell.is_empty() && !unguarded(cell).1 {
                self.rows.bare_grades.push((index, row.number));
            }
        }
        self.findings.push(Some(finding));
    }

    /// The sheet cannot be read any further.
    pub(super) fn ends_here(&mut self, why: Vec<Problem>) {
        self.problems.take(why);
    }

    fn bad(&mut self, bad: Bad, path: &str) {
        match bad {
            Bad::Utf8 => {
                let what = "the row is not UTF-8".to_owned();
                let problems = &mut self.problems;
                problems.error(Code::CsvUtf8, path, what, "save it as CSV UTF-8");
            }
            Bad::Count(count) => {
                let what = format!("{count} cells under {} columns", self.columns.len());
                let hint = "put quotation marks around a cell with a comma or a line break, and \
                            double those inside it (RFC 4180)";
                let problems = &mut self.problems;
                problems.error(Code::CsvCells, path, what, hint);
            }
            Bad::Quotes(fault) => {
                let (what, hint) = fault.words();
                self.problems.error(Code::CsvQuote, path, what, hint);
            }
        }
    }

    /// What holds for the session is the same in all its rows.
    fn same_session(&mut self, cells: &[String], path: &str) {
        let here = self.session_cells(cells);
        let columns = self.columns.iter().filter(|column| column.of_session);
        for (column, (first, cell)) in columns.zip(self.of_session.iter().zip(&here)) {
            if unguarded(first).0 != unguarded(cell).0 {
                let what = format!(
                    "{}: not the same as in row {} of the session",
                    column.name, self.rows.first
                );
                let hint = "repeat what holds for the session in each of its rows";
                let path = format!("{path}{}", column.pointer());
                let problems = &mut self.problems;
                problems.error(Code::CsvSessionDiffers, &path, what, hint);
            }
        }
    }

    pub(super) fn returns(&mut self) {
        let what = "rows of this session stood further up, with another session between".to_owned();
        let hint = "sort the sheet so that the rows of a session stand together";
        let problems = &mut self.problems;
        problems.error(Code::CsvSessionReturns, "/session/id", what, hint);
    }

    pub(super) fn finish(mut self, start: Vec<Problem>) -> Session {
        if let Some((row, count)) = self.beyond {
            let what = format!(
                "{count} rows, from row {row} on, are more than a session says and were not read"
            );
            let hint =
                "give each session its own id; a document has 8 MiB and 3000 findings at most";
            let problems = &mut self.problems;
            problems.error(Code::CsvLarge, "/findings", what, hint);
        }
        // Rows read are findings and rows told of: a sheet loses nothing.
        let beyond = self.beyond.map_or(0, |(_, count)| count);
        if self.findings.len().saturating_add(beyond) != self.given {
            let what = format!("{} rows of this session are not accounted for", self.given);
            let problems = &mut self.problems;
            problems.error(
                Code::CsvLost,
                "/findings",
                what,
                "report this: nothing was taken",
            );
        }
        // A row that does not read was told; the others are still spoken about.
        let findings = self.findings.into_iter();
        let findings = findings.map(|one| one.unwrap_or(Node::Object(Vec::new())));
        self.document
            .set("findings", Node::List(findings.collect()));
        let mut told = start;
        told.extend(self.problems.sorted());
        Session {
            text: self.document.compact(),
            rows: self.rows,
            told,
        }
    }
}

/// Puts what a cell says where its column stands; an empty cell says nothing.
fn cell_into(column: &Column, cell: &str, before: &str, into: &mut Node, problems: &mut Problems) {
    if cell.is_empty() {
        return;
    }
    let (said, guarded) = unguarded(cell);
    let path = format!("{before}{}", column.pointer());
    if let Some(made) = mangled(column, said).filter(|_| !guarded) {
        let [what, hint] = made.words();
        let what = format!("{said} {what}");
        match made {
            Mangled::Formula => problems.error(Code::CsvFormula, &path, what, hint),
            Mangled::Exponent => problems.error(Code::CsvExponent, &path, what, hint),
            Mangled::DecimalComma => problems.error(Code::CsvComma, &path, what, hint),
            Mangled::Day | Mangled::DayOfCountry => {
                problems.error(Code::CsvDay, &path, what, hint);
            }
        }
    }
    let value = match column.kind {
        Kind::Words | Kind::Text | Kind::Day => text(said),
        Kind::Whole => {
            let digits = !said.is_empty() && said.bytes().all(|byte| byte.is_ascii_digit());
            if !digits || (said.len() > 1 && said.starts_with('0')) || said.len() > 9 {
                let what = format!("{said} is no whole number");
                problems.error(Code::CsvWhole, &path, what, "write digits only, such as 1");
                return;
            }
            Node::Number(said.to_owned())
        }
        Kind::Truth => match said {
            "true" | "TRUE" | "True" => Node::Bool(true),
            "false" | "FALSE" | "False" => Node::Bool(false),
            _ => {
                let what = format!("{said} is neither true nor false");
                let hint = "write true or false, or leave the cell empty";
                problems.error(Code::CsvTruth, &path, what, hint);
                return;
            }
        },
    };
    column.put(into, value);
}
