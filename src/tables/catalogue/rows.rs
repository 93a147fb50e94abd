//! What a row of each table says.

use crate::base::exact::Exact;
use crate::tables::catalogue::axis::Axis;
use crate::tables::catalogue::cells::{
    axis_or_none, day_or_none, exact_or_none, number_or_none, word_or_none,
};
use crate::tables::catalogue::dimension::Dimension;
use chrono::NaiveDate;
use serde::Deserialize;

/// What kind of finding a measure is; it decides which values are legal.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Kind {
    /// A joint range: an angle, or words.
    Range,
    /// The end of a slow stretch: an angle.
    StretchSlow,
    /// The catch of a fast stretch: an angle, or no catch.
    StretchFast,
    /// One word of a list.
    Word,
    /// One grade of an ordinal scale.
    Grade,
    /// A whole number of points.
    Score,
    /// A number with a unit, or words where no number can be given.
    Amount,
    /// R2-R1, computed from two stretches.
    Derived,
    /// The angle of a stretch against time.
    Trace,
    /// A catch computed from a trace: an angle.
    TraceCatch,
    /// How computed catches change with velocity: a duration.
    TraceLine,
    /// Computed from findings set beside each other, or beside a table.
    Comparison,
    /// A precaution.
    Precaution,
    /// What a person says in their own words.
    Statement,
    /// The session as a whole.
    Panel,
}

impl Kind {
    /// True for kinds whose result is an angle that has to say how it ended.
    pub const fn has_ending(self) -> bool {
        matches!(self, Self::Range | Self::StretchSlow | Self::StretchFast)
    }

    /// True for kinds that a document states as a finding.
    pub const fn is_entered(self) -> bool {
        match self {
            Self::Range
            | Self::StretchSlow
            | Self::StretchFast
            | Self::Word
            | Self::Grade
            | Self::Score
            | Self::Amount => true,
            Self::Derived
            | Self::Trace
            | Self::TraceCatch
            | Self::TraceLine
            | Self::Comparison
            | Self::Statement
            | Self::Precaution
            | Self::Panel => false,
        }
    }

    /// The profile that an Observation of this kind claims.
    pub const fn profile(self) -> &'static str {
        match self {
            Self::Range => "range",
            Self::StretchSlow | Self::StretchFast => "stretch",
            Self::Word | Self::Grade => "graded",
            Self::Score => "pain-score",
            Self::Amount => "amount",
            Self::Derived => "stretch-dynamic",
            Self::Trace => "trace",
            Self::TraceCatch => "trace-catch",
            Self::TraceLine => "trace-line",
            Self::Comparison => "comparison",
            Self::Precaution => "precaution",
            Self::Statement => "statement",
            Self::Panel => "session-panel",
        }
    }

    /// What a unit of this kind has to measure; nothing where it has none, or where
    /// `dimensions.csv` says it.
    pub const fn dimension(self) -> Option<Dimension> {
        match self {
            Self::Range
            | Self::StretchSlow
            | Self::StretchFast
            | Self::Derived
            | Self::Trace
            | Self::TraceCatch => Some(Dimension::Angle),
            // Degrees for each degree per second.
            Self::TraceLine => Some(Dimension::Time),
            Self::Score => Some(Dimension::Number),
            Self::Amount
            | Self::Word
            | Self::Grade
            | Self::Precaution
            | Self::Statement
            | Self::Comparison
            | Self::Panel => None,
        }
    }

    /// The word of the tables.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Range => "range",
            Self::StretchSlow => "stretch-slow",
            Self::StretchFast => "stretch-fast",
            Self::Word => "word",
            Self::Grade => "grade",
            Self::Score => "score",
            Self::Amount => "amount",
            Self::Derived => "derived",
            Self::Trace => "trace",
            Self::TraceCatch => "trace-catch",
            Self::TraceLine => "trace-line",
            Self::Comparison => "comparison",
            Self::Precaution => "precaution",
            Self::Statement => "statement",
            Self::Panel => "panel",
        }
    }
}

/// Whose row it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Origin {
    /// It came with the binary.
    #[default]
    Ours,
    /// An operator added it or changed it.
    Operator,
}

impl Origin {
    /// The word of lists.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Ours => "ours",
            Self::Operator => "operator",
        }
    }
}

/// One row of `measures.csv`.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct Measure {
    /// Key, and code of our own.
    pub measure: String,
    /// Kind of finding.
    pub kind: Kind,
    /// Site, a key of `sites.csv`.
    #[serde(deserialize_with = "word_or_none")]
    pub site: Option<String>,
    /// Movement the measure names.
    #[serde(deserialize_with = "word_or_none")]
    pub movement: Option<String>,
    /// Movement the other way in the same plane.
    #[serde(deserialize_with = "word_or_none")]
    pub opposite: Option<String>,
    /// Active or passive.
    #[serde(deserialize_with = "word_or_none")]
    pub mode: Option<String>,
    /// Joint and plane.
    #[serde(deserialize_with = "word_or_none")]
    pub axis: Option<String>,
    /// How the movement runs along the axis.
    #[serde(deserialize_with = "axis_or_none")]
    pub sign: Option<Axis>,
    /// Neighbouring joint whose position matters.
    #[serde(deserialize_with = "word_or_none")]
    pub neighbour: Option<String>,
    /// Position in which another part is held, where it is part of the measure.
    #[serde(deserialize_with = "word_or_none")]
    pub held: Option<String>,
    /// Scale or word list of the value.
    #[serde(deserialize_with = "word_or_none")]
    pub scale: Option<String>,
    /// UCUM unit of a number.
    #[serde(deserialize_with = "word_or_none")]
    pub unit: Option<String>,
    /// Below this a person is asked.
    #[serde(deserialize_with = "exact_or_none")]
    pub ask_below: Option<Exact>,
    /// Above this a person is asked.
    #[serde(deserialize_with = "exact_or_none")]
    pub ask_above: Option<Exact>,
    /// Name for people.
    pub label: String,
    /// Key of `SOURCES.toml`.
    pub source: String,
    /// Where in the source.
    pub locator: String,
    /// Whose row it is.
    #[serde(skip)]
    pub origin: Origin,
}

/// Which sides a site has.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Sides {
    /// Left and right.
    Both,
    /// One only, in the middle of the body.
    Middle,
}

impl Sides {
    /// The words by which a document names them.
    pub const fn words(self) -> &'static [&'static str] {
        match self {
            Self::Both => &["left", "right"],
            Self::Middle => &["middle"],
        }
    }
}

/// One row of `sites.csv`.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct Site {
    /// Key.
    pub site: String,
    /// Name for people.
    pub label: String,
    /// Region whose joints and muscles move together: a precaution reaches all of it.
    pub region: String,
    /// Whether it has a left and a right, or lies in the middle.
    pub sides: Sides,
    /// SNOMED CT body structure without side, where one was seen.
    #[serde(deserialize_with = "word_or_none")]
    pub unsided_code: Option<String>,
    /// Its display.
    #[serde(deserialize_with = "word_or_none")]
    pub unsided_display: Option<String>,
    /// SNOMED CT body structure of the left side, where one was seen.
    #[serde(deserialize_with = "word_or_none")]
    pub left_code: Option<String>,
    /// Its display.
    #[serde(deserialize_with = "word_or_none")]
    pub left_display: Option<String>,
    /// SNOMED CT body structure of the right side, where one was seen.
    #[serde(deserialize_with = "word_or_none")]
    pub right_code: Option<String>,
    /// Its display.
    #[serde(deserialize_with = "word_or_none")]
    pub right_display: Option<String>,
    /// Key of `SOURCES.toml`.
    pub source: String,
    /// Where in the source.
    pub locator: String,
}

impl Site {
    /// The published codes with their displays: without side, left, right.
    pub fn published(&self) -> [Option<(&str, &str)>; 3] {
        [
            (&self.unsided_code, &self.unsided_display),
            (&self.left_code, &self.left_display),
            (&self.right_code, &self.right_display),
        ]
        .map(|(code, display)| code.as_deref().zip(display.as_deref()))
    }
}

/// How a published code stands to our thing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Relation {
    /// Same movement, mode and site: goes before our code.
    Equivalent,
    /// Broader: follows our code.
    Wider,
    /// The data-absent-reason of a reason for not testing.
    Absent,
    /// The coding of a body position.
    Position,
}

impl Relation {
    /// The word of the tables.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Equivalent => "equivalent",
            Self::Wider => "wider",
            Self::Absent => "absent",
            Self::Position => "position",
        }
    }
}

/// One row of `codes.csv`.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct CodeRow {
    /// A measure, or `list/code`.
    pub thing: String,
    /// How the code stands to it.
    pub relation: Relation,
    /// Code system.
    pub system: String,
    /// Code.
    pub code: String,
    /// Display, as seen.
    pub display: String,
    /// Key of `SOURCES.toml`.
    pub source: String,
    /// Where in the source.
    pub locator: String,
    /// Whose row it is.
    #[serde(skip)]
    pub origin: Origin,
    /// Line in an operator's map, for a row that stands in one.
    #[serde(skip)]
    pub line: Option<u64>,
}

/// A scale or word list: one file of `profiles/scales/`.
#[derive(Debug, Clone)]
pub struct Scale {
    /// File name without ending.
    pub name: String,
    /// What the list is for: the first comment line.
    pub purpose: String,
    /// Its rows, in the order of the file.
    pub rows: Vec<ScaleRow>,
}

/// One row of a scale or word list.
#[derive(Debug, Clone, Deserialize)]
pub struct ScaleRow {
    /// The code as sent.
    pub code: String,
    /// Place in the order, for ordinal scales.
    #[serde(deserialize_with = "exact_or_none")]
    pub rank: Option<Exact>,
    /// Meaning in our own words.
    pub label: String,
    /// Number of the form of the session document that brought it, where that was not the first.
    #[serde(default, deserialize_with = "number_or_none")]
    pub since_form: Option<u32>,
    /// The day from which nothing new is recorded with it: what was, keeps it.
    #[serde(default, deserialize_with = "day_or_none")]
    pub retired_on: Option<NaiveDate>,
    /// Key of `SOURCES.toml`.
    pub source: String,
    /// Where in the source.
    pub locator: String,
}

/// One row of `trace_cut_offs.csv`.
#[derive(Debug, Clone, Deserialize)]
pub struct CutOffRow {
    /// Key.
    pub key: String,
    /// Cut-off frequency of one pass, hertz.
    pub hertz: Exact,
    /// The least peak velocity over excursion it serves, per second.
    pub from_rate: Exact,
    /// Sharpness above which a stop is no smooth end.
    pub gate: Exact,
}

/// One row of `precaution_effects.csv`.
#[derive(Debug, Clone, Deserialize)]
pub struct PrecautionEffect {
    /// A code of `precaution-limit`.
    pub limit: String,
    /// Kind of measure, or `any`.
    pub kind: String,
    /// Mode, or `any`.
    pub mode: String,
    /// `yes`, `beyond` the stated angle, `end` where the end was reached, or `no`.
    pub forbids: String,
}
