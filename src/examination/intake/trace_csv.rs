//! The CSV file of a trace: two columns, time and angle (RFC 4180).

use crate::base::code::Code;
use crate::base::exact::{Exact, NotExact};
use crate::base::problem::Problems;
use crate::examination::intake::quotes::{Watched, too_wide};

/// The longest file that is read, in bytes: more than an hour at 1000 samples a second.
pub const MOST_BYTES: usize = 96 * 1024 * 1024;

/// The most samples of one trace that a command reads; the tables may allow fewer.
pub const MOST_ROWS: usize = 100_000;

/// The columns of a trace, as written.
#[derive(Clone, Default)]
pub struct Columns {
    /// Times.
    pub times: Vec<Exact>,
    /// Angles.
    pub angles: Vec<Exact>,
}

impl std::fmt::Debug for Columns {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        formatter.write_str("Columns [private]")
    }
}

/// How many faulty rows are told one by one.
const TOLD: usize = 100;

/// Reads a file of a trace, telling every faulty row at `path`; nothing when one was told.
///
/// The first line is `time,angle`; at most `most` rows follow. A mark of byte order at the
/// beginning is passed over, because spreadsheets write one.
pub fn columns(text: &str, path: &str, most: usize, problems: &mut Problems) -> Option<Columns> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .from_reader(Watched::new(text.as_bytes()));
    let mut record = csv::StringRecord::new();
    if !reader.read_record(&mut record).unwrap_or(false) || record.iter().ne(["time", "angle"]) {
        let what = "the first line is not time,angle".to_owned();
        let hint = "name the columns so, in this order; units are said in the document";
        problems.error(Code::TraceFileHeader, path, what, hint);
        return None;
    }
    let mut columns = Columns::default();
    let mut faults = 0_usize;
    loop {
        let row = match next_row(&mut reader, &mut record) {
            Next::Row(row) => row,
            Next::End => break,
            Next::Wide(line) => {
                let what = format!("line {line} has more cells than any sheet");
                problems.error(
                    Code::TraceFileRow,
                    path,
                    what,
                    "write a time and an angle a row",
                );
                return None;
            }
        };
        match row {
            Ok((time, angle)) => {
                columns.times.push(time);
                columns.angles.push(angle);
            }
            Err(what) => {
                faults = faults.saturating_add(1);
                if faults <= TOLD {
                    let line = record.position().map_or(0, csv::Position::line);
                    let hint = "write a time and an angle, digits with a point, such as 0.02,-31.5";
                    let what = format!("row at line {line}: {what}");
                    problems.error(Code::TraceFileRow, path, what, hint);
                }
            }
        }
        if columns.times.len() > most {
            let what = format!("more than {most} samples are more than one stretch has");
            let hint = "cut the recording to the stretch";
            problems.error(Code::TraceFileRows, path, what, hint);
            return None;
        }
    }
    if faults > TOLD {
        let what = format!("{} more rows are faulty", faults.saturating_sub(TOLD));
        problems.error(Code::TraceFileRow, path, what, "mend them like the others");
    }
    (faults == 0).then_some(columns)
}

fn wide_line(cause: &csv::Error) -> Option<u64> {
    let csv::ErrorKind::Io(cause) = cause.kind() else {
        return None;
    };
    too_wide(cause)
}

/// One row more: a time and an angle, or what is wrong; nothing at the end.
fn next_row(reader: &mut csv::Reader<Watched<&[u8]>>, record: &mut csv::StringRecord) -> Next {
    let read = reader.read_record(record);
    let end = reader.position().byte();
    let fault = reader.get_mut().faults_before(end);
    match (read, fault) {
        (Ok(true), Some(fault)) => Next::Row(Err(fault.words().0)),
        (Ok(true), None) => Next::Row(row(record)),
        (Ok(false), _) => Next::End,
        // Text that came as UTF-8 has no other fault that the reader tells.
        (Err(cause), _) => match wide_line(&cause) {
            Some(line) => Next::Wide(line),
            None => Next::Row(Err(cause.to_string())),
        },
    }
}

/// What comes next in the file of a trace.
enum Next {
    Row(Result<(Exact, Exact), String>),
    /// A row of so many cells that nothing is read from its line on.
    Wide(u64),
    End,
}

fn row(record: &csv::StringRecord) -> Result<(Exact, Exact), String> {
    let mut cells = record.iter();
    let (Some(time), Some(angle), None) = (cells.next(), cells.next(), cells.next()) else {
        return Err(format!("{} cells, not 2", record.len()));
    };
    let read = |name: &str, cell: &str| {
        signed(cell).map_err(|fault| {
            let shown: String = cell.escape_debug().take(40).collect();
            format!("{name} \"{shown}\" is {fault}")
        })
    };
    Ok((read("time", time)?, read("angle", angle)?))
}

/// Reads a decimal with or without a minus sign. Instruments write `-0.0`, which is zero.
///
/// # Errors
/// [`NotExact`] as [`Exact::parse`] has it.
pub fn signed(text: &str) -> Result<Exact, NotExact> {
    match text.strip_prefix('-') {
        Some(digits) if digits.starts_with('0') => {
            let magnitude = Exact::parse(digits)?;
            Ok(magnitude.negated())
        }
        Some(_) | None => Exact::parse(text),
    }
}

#[cfg(test)]
mod tests {
    use super::{columns, signed};
    use crate::base::problem::Problems;

    fn told(text: &str) -> Vec<String> {
        let mut problems = Problems::new();
        assert!(columns(text, "/traces/0/file", 5, &mut problems).is_none());
        let told = problems.sorted().into_iter();
        told.map(|one| format!("{}: {}", one.code, one.what))
            .collect()
    }

    #[test]
    fn times_and_angles_are_read_with_their_digits() {
        let mut problems = Problems::new();

        let read = columns(
            "\u{feff}time,angle\r\n0.00,-31.50\r\n\"0.01\",-0.0\r\n",
            "",
            5,
            &mut problems,
        );

        let read = read.expect("columns");
        let digits = |list: &[crate::base::exact::Exact]| -> Vec<String> {
            list.iter().map(ToString::to_string).collect()
        };
        assert_eq!(digits(&read.times), ["0.00", "0.01"]);
        assert_eq!(digits(&read.angles), ["-31.50", "0.0"]);
        assert!(problems.is_empty());
    }

    #[test]
    fn every_faulty_row_is_told_with_its_line() {
        assert_eq!(
            told("time,angle\n0,1\n1e1,2\n2,3,4\n3\n4,NaN\n"),
            [
                "trace-file.row: row at line 3: time \"1e1\" is not a plain decimal number",
                "trace-file.row: row at line 4: 3 cells, not 2",
                "trace-file.row: row at line 5: 1 cells, not 2",
                "trace-file.row: row at line 6: angle \"NaN\" is not a plain decimal number",
            ]
        );
    }

    #[test]
    fn another_header_and_too_many_rows_are_refused() {
        assert_eq!(
            told("t,a\n0,1\n"),
            ["trace-file.header: the first line is not time,angle"]
        );
        assert_eq!(
            told(""),
            ["trace-file.header: the first line is not time,angle"]
        );
        assert_eq!(
            told("time,angle\n0,1\n1,1\n2,1\n3,1\n4,1\n5,1\n"),
            ["trace-file.rows: more than 5 samples are more than one stretch has"]
        );
    }

    #[test]
    fn a_minus_before_zero_says_nothing() {
        assert_eq!(
            signed("-0.50").map(|e| e.to_string()),
            Ok("-0.50".to_owned())
        );
        assert_eq!(signed("-0").map(|e| e.to_string()), Ok("0".to_owned()));
        assert!(signed("-05").is_err() && signed("--0").is_err() && signed("-").is_err());
    }
}
