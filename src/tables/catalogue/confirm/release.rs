//! What is read of a release, and how a row of ours stands against it.

use crate::tables::catalogue::rows::Relation;
use serde::Deserialize;

/// One row of `codes_to_confirm.csv`.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct ToConfirm {
    /// A measure.
    pub thing: String,
    /// How the code stands to it.
    pub relation: Relation,
    /// Code system.
    pub system: String,
    /// Code.
    pub code: String,
    /// What the release has to name as what is measured.
    pub component: String,
    /// What the release has to name as the property.
    pub property: String,
    /// The word the system of the release has to have, with no side beside it.
    pub joint: String,
}

/// What a release says of one of our rows.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Verdict {
    /// The same.
    Agrees,
    /// Something else: each part that differs.
    Differs(Vec<String>),
    /// It is no longer to be used.
    Retired(String),
    /// The release has no such code.
    Absent,
}

impl Verdict {
    /// The word of lists.
    pub const fn word(&self) -> &'static str {
        match self {
            Self::Agrees => "agrees",
            Self::Differs(_) => "differs",
            Self::Retired(_) => "retired",
            Self::Absent => "absent",
        }
    }

    /// What is to be known besides the word.
    pub fn more(&self) -> String {
        match self {
            Self::Agrees | Self::Absent => String::new(),
            Self::Differs(parts) => parts.join("; "),
            Self::Retired(status) => status.clone(),
        }
    }
}

/// Why a file is no release.
#[derive(Debug, thiserror::Error)]
pub enum NoRelease {
    /// It has no such column.
    #[error("the column {0} is missing: is it the file of the release as published?")]
    Column(&'static str),
    /// It cannot be read.
    #[error("line {0} cannot be read")]
    Line(u64),
}

/// Two names are the same whatever their case and the blanks between their words.
pub(super) fn same_name(one: &str, other: &str) -> bool {
    let words = |name: &str| name.to_lowercase();
    words(one)
        .split_whitespace()
        .eq(words(other).split_whitespace())
}

/// Where the columns stand that are needed.
pub(super) fn places<const N: usize>(
    header: &csv::ByteRecord,
    wanted: [&'static str; N],
) -> Result<[usize; N], NoRelease> {
    let mut places = [0; N];
    for (place, name) in places.iter_mut().zip(wanted) {
        let mut names = header.iter();
        let same = |cell: &[u8]| cell.eq_ignore_ascii_case(name.as_bytes());
        *place = names.position(same).ok_or(NoRelease::Column(name))?;
    }
    Ok(places)
}

pub(super) fn cell(record: &csv::ByteRecord, place: usize) -> String {
    let bytes = record.get(place).unwrap_or_default();
    String::from_utf8_lossy(bytes).into_owned()
}
