//! One fault of a table.

use std::fmt;

/// One fault of a table: where and what.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Fault {
    /// File under `profiles/`.
    pub file: String,
    /// Line, counted from 1; 0 for the file as a whole.
    pub line: u64,
    /// What is wrong.
    pub what: String,
}

impl fmt::Display for Fault {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            formatter,
            "profiles/{}:{}: {}",
            self.file, self.line, self.what
        )
    }
}
