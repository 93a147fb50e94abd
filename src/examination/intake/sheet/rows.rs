//! Rows of a sheet, and the sessions they make.

use crate::base::problem::Problem;
use crate::examination::intake::quotes::Fault;
use crate::examination::intake::sheet::columns::name_of;

/// One session of a sheet, as a session document.
pub struct Session {
    /// The text of the document.
    pub text: String,
    /// Where each part of it stands in the sheet.
    pub rows: Rows,
    /// What the cells themselves show, by the path in the document.
    pub told: Vec<Problem>,
}

impl std::fmt::Debug for Session {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        formatter.write_str("Session [private]")
    }
}

/// Where the parts of a document stand in a sheet.
#[derive(Debug, Clone, Default)]
pub struct Rows {
    pub(super) first: u64,
    pub(super) of_findings: Vec<u64>,
    // The session stands in a document beside the sheet, so its fields have no place here.
    pub(super) beside: bool,
    /// Findings whose grade was written without an apostrophe before it, and the row of each.
    pub bare_grades: Vec<(usize, u64)>,
}

/// A row, counted as a spreadsheet does with the header as 1, and the name of a column.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Cell {
    /// The row.
    pub row: u64,
    /// The column; nothing for the row as a whole.
    pub column: Option<String>,
}

impl std::fmt::Display for Cell {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(formatter, "row {}", self.row)?;
        match &self.column {
            Some(column) => write!(formatter, ", column {column}"),
            None => Ok(()),
        }
    }
}

impl Rows {
    /// The place of a path of the document; nothing for the document as a whole.
    pub fn place(&self, path: &str) -> Option<Cell> {
        let (row, below) = match path.strip_prefix("/findings/") {
            Some(rest) => {
                let (index, below) = match rest.find('/') {
                    Some(at) => rest.split_at(at),
                    None => (rest, ""),
                };
                (*self.of_findings.get(index.parse::<usize>().ok()?)?, below)
            }
            None if path.is_empty() || self.beside => return None,
            None => (self.first, path),
        };
        let column = (!below.is_empty()).then(|| name_of(below));
        Some(Cell { row, column })
    }
}

pub(super) struct Row {
    pub(super) number: u64,
    pub(super) cells: Result<Vec<String>, Bad>,
}

/// Why the cells of a row cannot be told apart.
#[derive(Debug, Clone, Copy)]
pub(super) enum Bad {
    Utf8,
    Count(usize),
    Quotes(Fault),
}
