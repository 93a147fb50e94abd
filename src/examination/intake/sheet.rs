//! Findings from a sheet: one a row, as RFC 4180 writes them.
//!
//! A column is a field of the session document by its path, the session's own repeated in each of
//! its rows; or the session stands in a document beside the sheet. What comes out for each session is
//! the text of a session document, so everything that holds for one holds here, and where each row
//! went. Rows of one session stand together, so that memory does not grow with the sheet: of a
//! session that is done 16 bytes are kept, to see whether it comes back.

mod building;
mod cells;
pub mod columns;
mod header;
pub mod rows;
mod source;
pub mod write;

use crate::base::code::Code;
use crate::base::json::Node;
use crate::base::problem::{Problem, Problems};
use crate::examination::intake::quotes::{Fault, MOST_CELLS, Watched, too_wide};
use crate::examination::intake::sheet::building::Building;
use crate::examination::intake::sheet::columns::Column;
use crate::examination::intake::sheet::header::{header, separated_by};
use crate::examination::intake::sheet::rows::{Bad, Row, Session};
use crate::examination::intake::sheet::source::{Budget, Start};
use std::collections::BTreeSet;
use std::io::{self, Read};
use std::sync::Arc;

/// Sessions of a sheet, one after another.
pub struct Sheet<R: Read> {
    rows: csv::Reader<Watched<Budget<R>>>,
    columns: Arc<Vec<Column>>,
    beside: Option<Node>,
    row: u64,
    waiting: Option<Row>,
    done: BTreeSet<u128>,
    start: Vec<Problem>,
    broken: bool,
}

impl<R: Read> std::fmt::Debug for Sheet<R> {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(formatter, "Sheet at row {}", self.row)
    }
}

impl<R: Read> Sheet<R> {
    /// Reads the header. `beside` is the session the rows belong to, a document without findings,
    /// where the sheet has no columns of the session.
    ///
    /// # Errors
    /// Everything that is wrong with the header, or with what was read so far; an error of reading
    /// is one of them.
    pub fn open(source: R, beside: Option<&Node>) -> Result<Self, Vec<Problem>> {
        let mut problems = Problems::new();
        let start = source::start(source);
        let source = match start {
            Ok(Start::Text { rest, marked }) => {
                if marked {
                    let what = "a byte order mark stands before the header".to_owned();
                    let hint = "it was taken off; save as CSV UTF-8 without it where you can";
                    problems.note(Code::CsvMark, "", what, hint);
                }
                rest
            }
            Ok(Start::Wide) => {
                let hint = "save it as CSV UTF-8, separated by commas";
                problems.error(Code::CsvUtf8, "", "the sheet is UTF-16".to_owned(), hint);
                return Err(problems.sorted());
            }
            Err(cause) => return Err(unread(&cause)),
        };
        let source = Watched::new(source);
        let mut rows = csv::ReaderBuilder::new().flexible(true).from_reader(source);
        let names = match rows.byte_headers() {
            Ok(header) => header.iter().map(<[u8]>::to_vec).collect::<Vec<_>>(),
            Err(cause) => return Err(unread_csv(&cause)),
        };
        if let Some(fault) = fault_in_last(&mut rows)
            && separated_by(&names).is_none()
        {
            let (what, hint) = fault.words();
            problems.error(Code::CsvQuote, "", what, hint);
            return Err(problems.sorted());
        }
        let columns = header(&names, beside.is_some(), &mut problems);
        if problems.any_error() {
            return Err(problems.sorted());
        }
        Ok(Self {
            rows,
            columns: Arc::new(columns),
            beside: beside.cloned(),
            row: 1,
            waiting: None,
            done: BTreeSet::new(),
            start: problems.sorted(),
            broken: false,
        })
    }

    /// The next session; nothing at the end.
    ///
    /// # Errors
    /// When the sheet cannot be read any further.
    pub fn next_session(&mut self) -> Result<Option<Session>, Vec<Problem>> {
        let first = match self.waiting.take() {
            Some(row) => row,
            None => match self.next_row()? {
                Some(row) => row,
                None => return self.at_the_end(),
            },
        };
        let mut building = Building::new(&first, &self.columns, self.beside.as_ref());
        building.add(first);
        loop {
            match self.next_row() {
                Ok(Some(row)) if building.other_session(&row) => {
                    self.waiting = Some(row);
                    break;
                }
                Ok(Some(row)) => building.add(row),
                Ok(None) => break,
                // What was read of the session is still spoken about.
                Err(problems) => {
                    self.broken = true;
                    building.ends_here(problems);
                    break;
                }
            }
        }
        let key = building.key();
        if !self.done.insert(key) {
            building.returns();
        }
        Ok(Some(building.finish(std::mem::take(&mut self.start))))
    }

    /// A sheet without a row that says anything is told once.
    fn at_the_end(&mut self) -> Result<Option<Session>, Vec<Problem>> {
        if self.done.is_empty() && !self.broken {
            self.broken = true;
            let mut problems = Problems::new();
            let rows = if self.row == 1 {
                "no row"
            } else {
                "only empty rows"
            };
            let what = format!("the sheet has a header and {rows}");
            problems.error(Code::CsvEmpty, "", what, "write one finding a row");
            return Err(problems.sorted());
        }
        Ok(None)
    }

    fn next_row(&mut self) -> Result<Option<Row>, Vec<Problem>> {
        if self.broken {
            return Ok(None);
        }
        let mut record = csv::ByteRecord::new();
        loop {
            self.rows.get_mut().source.renew();
            let read = self.rows.read_byte_record(&mut record);
            if !read.map_err(|cause| unread_csv(&cause))? {
                return Ok(None);
            }
            self.row = self.row.saturating_add(1);
            // Spreadsheets end a sheet with rows of nothing but commas.
            let fault = fault_in_last(&mut self.rows);
            if fault.is_some() || record.iter().any(|cell| !cell.is_empty()) {
                let cells = match fault {
                    Some(fault) => Err(Bad::Quotes(fault)),
                    None => self.cells(&record),
                };
                let number = self.row;
                return Ok(Some(Row { number, cells }));
            }
        }
    }

    fn cells(&self, record: &csv::ByteRecord) -> Result<Vec<String>, Bad> {
        let wanted = self.columns.len();
        let beyond = record.iter().skip(wanted).any(|cell| !cell.is_empty());
        if record.len() < wanted || beyond {
            return Err(Bad::Count(record.len()));
        }
        let cells = record.iter().take(wanted);
        let cells = cells.map(|cell| String::from_utf8(cell.to_vec()));
        cells.collect::<Result<_, _>>().map_err(|_bytes| Bad::Utf8)
    }
}

/// What is wrong with the quotation marks of the row that was read last.
fn fault_in_last<R: Read>(rows: &mut csv::Reader<Watched<Budget<R>>>) -> Option<Fault> {
    let end = rows.position().byte();
    rows.get_mut().faults_before(end)
}

fn unread(cause: &io::Error) -> Vec<Problem> {
    let mut problems = Problems::new();
    if source::is_too_long(cause) {
        let what =
            "a row is longer than 8 MiB: a quotation mark may be missing its other".to_owned();
        let hint = "look for a cell whose quotation mark is not closed";
        problems.error(Code::CsvRow, "", what, hint);
    } else if let Some(line) = too_wide(cause) {
        let what =
            format!("line {line} has more than {MOST_CELLS} cells: nothing is read from there on");
        let hint = "no spreadsheet has as many columns: look at what wrote the sheet";
        problems.error(Code::CsvWide, "", what, hint);
    } else {
        let what = format!("the sheet cannot be read: {}", cause.kind());
        problems.error(Code::CsvRead, "", what, "give the file again");
    }
    problems.sorted()
}

fn unread_csv(cause: &csv::Error) -> Vec<Problem> {
    if let csv::ErrorKind::Io(cause) = cause.kind() {
        return unread(cause);
    }
    // Rows of any length and any bytes are let through, so nothing else is told here.
    unread(&io::Error::other("the sheet"))
}
