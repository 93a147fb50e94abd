//! What a reader of CSV passes over in silence, seen while its bytes go by: a quotation mark that is
//! never closed, text behind one that closes, and a row of more cells than any sheet has.
//!
//! The states are those of RFC 4180; where a fault is told, the reader of rows goes on as the csv crate
//! does, so that both see the same rows.

use std::io::{self, Read};

/// The most cells of a row; no spreadsheet has more columns.
pub(super) const MOST_CELLS: usize = 16_384;

/// What is wrong with the quotation marks of a row; lines are counted from 1.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Fault {
    /// Text stands behind the mark that closes a cell.
    Behind { opened: u64, line: u64 },
    /// The sheet ends inside a quoted cell.
    Open { opened: u64, last: u64 },
}

impl Fault {
    /// What is wrong, and what to do.
    pub(super) fn words(self) -> (String, &'static str) {
        let what = match self {
            Self::Behind { opened, line } if opened == line => {
                format!("line {line}: text stands behind the quotation mark that closes a cell")
            }
            Self::Behind { opened, line } => format!(
                "a cell is opened by a quotation mark in line {opened}, closed in line {line}, and \
                 text stands behind it: all between was read as one cell"
            ),
            Self::Open { opened, last } => format!(
                "the quotation mark that opens a cell in line {opened} is never closed: all up to \
                 line {last} was read as one cell"
            ),
        };
        let hint = "put quotation marks around a whole cell and double those inside it (RFC 4180); \
                    then look at every row from there on";
        (what, hint)
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum State {
    /// At the beginning of a cell.
    Start,
    /// In a cell without quotation marks, where one is a letter like others.
    Plain,
    Quoted,
    /// Behind a mark that closes a cell or is the first of two.
    Closed,
}

/// Bytes on their way to the reader of rows.
#[derive(Debug)]
pub(super) struct Watched<R> {
    pub(super) source: R,
    state: State,
    /// Bytes given on.
    given: u64,
    line: u64,
    /// The last byte was a carriage return: the line feed behind it begins no further line.
    returned: bool,
    opened: u64,
    cells: usize,
    /// The row the bytes are in has a fault already.
    told: bool,
    faults: Vec<(u64, Fault)>,
    too_wide: bool,
}

/// The error of a row with too many cells; the line.
#[derive(Debug, thiserror::Error)]
#[error("a row has too many cells")]
struct TooWide(u64);

/// The line of a row with too many cells, where that is what an error is about.
pub(super) fn too_wide(cause: &io::Error) -> Option<u64> {
    let wide = cause.get_ref()?.downcast_ref::<TooWide>();
    wide.map(|wide| wide.0)
}

impl<R> Watched<R> {
    pub(super) const fn new(source: R) -> Self {
        Self {
            source,
            state: State::Start,
            given: 0,
            line: 1,
            returned: false,
            opened: 0,
            cells: 0,
            told: false,
            faults: Vec::new(),
            too_wide: false,
        }
    }

    /// What is wrong in the bytes before a place, told once.
    pub(super) fn faults_before(&mut self, end: u64) -> Option<Fault> {
        let within = self.faults.iter().take_while(|(at, _)| *at < end).count();
        self.faults.drain(..within).map(|(_, fault)| fault).next()
    }

    fn fault(&mut self, fault: Fault) {
        if !self.told {
            self.told = true;
            self.faults.push((self.given, fault));
        }
    }

    /// Follows one byte; false where the row has too many cells.
    fn follow(&mut self, byte: u8) -> bool {
        let ends = matches!(byte, b'\r' | b'\n');
        self.state = match (self.state, byte) {
            (State::Start, b'"') => {
                self.opened = self.line;
                State::Quoted
            }
            (State::Quoted, b'"') => State::Closed,
            (State::Closed, b'"') | (State::Quoted, _) => State::Quoted,
            (State::Start | State::Plain | State::Closed, b',' | b'\r' | b'\n') => {
                self.cells = if ends {
                    0
                } else {
                    self.cells.saturating_add(1)
                };
                self.told &= !ends;
                State::Start
            }
            (State::Closed, _) => {
                let (opened, line) = (self.opened, self.line);
                self.fault(Fault::Behind { opened, line });
                State::Plain
            }
            (State::Start | State::Plain, _) => State::Plain,
        };
        if ends && !(byte == b'\n' && self.returned) {
            self.line = self.line.saturating_add(1);
        }
        self.returned = byte == b'\r';
        self.given = self.given.saturating_add(1);
        self.cells < MOST_CELLS
    }

    fn ended(&mut self) {
        if self.state == State::Quoted {
            // It belongs to the row that was read last.
            self.given = self.given.saturating_sub(1);
            let (opened, last) = (self.opened, self.line);
            self.fault(Fault::Open { opened, last });
            self.state = State::Start;
        }
    }
}

impl<R: Read> Read for Watched<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        if self.too_wide {
            return Err(io::Error::other(TooWide(self.line)));
        }
        let read = self.source.read(buffer)?;
        if read == 0 && !buffer.is_empty() {
            self.ended();
        }
        for (before, byte) in (1..).zip(buffer.iter().take(read)) {
            if !self.follow(*byte) {
                // The rows before it are still given on.
                self.too_wide = true;
                return Ok(before);
            }
        }
        Ok(read)
    }
}

#[cfg(test)]
mod tests {
    use super::{Fault, MOST_CELLS, Watched, too_wide};
    use std::io::Read;

    fn faults(text: &str) -> Vec<Fault> {
        let mut watched = Watched::new(text.as_bytes());
        watched.read_to_end(&mut Vec::new()).expect("it reads");
        watched.faults.into_iter().map(|(_, fault)| fault).collect()
    }

    #[test]
    fn what_rfc_4180_allows_is_no_fault() {
        for text in [
            "",
            "a,b\r\n1,2\r\n",
            "\"a\",\"b \"\"c\"\" d\"\n\"\",\"\"\"\"\n",
            "\"a\nb\",c\n",
            "a,5\" high\n",
            "\"a\"",
        ] {
            assert_eq!(faults(text), [], "{text}");
        }
    }

    #[test]
    fn each_fault_names_its_lines_and_stands_once_a_row() {
        let (opened, line) = (2, 2);
        assert_eq!(
            faults("a\n\"b\"c,\"d\"e\nf\n"),
            [Fault::Behind { opened, line }]
        );
        let (opened, line) = (2, 4);
        assert_eq!(
            faults("a\r\n\"b\r\nc\r\n\"d\"\r\n"),
            [Fault::Behind { opened, line }]
        );
        let (opened, last) = (2, 4);
        assert_eq!(faults("a\n\"b\nc\nd"), [Fault::Open { opened, last }]);
    }

    #[test]
    fn a_row_of_too_many_cells_ends_the_reading_and_names_its_line() {
        let text = format!("a\nb\n{}\n", ",".repeat(MOST_CELLS * 9));
        let mut watched = Watched::new(text.as_bytes());
        let mut read = Vec::new();

        let ended = watched.read_to_end(&mut read);

        assert_eq!(ended.err().as_ref().and_then(too_wide), Some(3));
        assert_eq!(read.len(), 4 + MOST_CELLS);
    }
}
