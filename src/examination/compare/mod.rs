//! Setting findings beside each other.
//!
//! Owns: the dynamic component R2-R1, the fixed part and the share, side difference, comparison with
//! a published range, change since an earlier session. In: measured findings, those of earlier
//! sessions, and rows of the tables. Out: a [`Comparison`] each, with the rows it used, or why there
//! is none. Never: takes a bound, a word or a finding made in another way for a number; judges
//! better or worse.

mod change;
mod error;
pub mod part;
pub mod reason;
mod reference;
mod side;
mod stretch;

use crate::base::exact::Exact;
use crate::examination::compare::part::{EarlierSession, Input, Part};
use crate::examination::compare::reason::NotCompared;
use crate::examination::finding::{Finding, Identifier, Session, Written};
use crate::examination::intake::parts::Side;
use crate::examination::measure::Measured;
use crate::tables::catalogue::Catalogue;
use crate::tables::catalogue::comparing::{ErrorRow, PersonRange, ReferenceRow, Tester};
use std::collections::BTreeMap;
use uuid::Uuid;

/// Which comparison it is, with the version of its rule.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Rule {
    /// R2-R1.
    DynamicPart,
    /// The end of the slow stretch on the other side less that on this side.
    FixedPart,
    /// The end of the slow stretch short of, or past, a published range of it.
    FixedPartOfRange,
    /// The dynamic part of both.
    DynamicShare,
    /// The more affected side less the other.
    SideDifference,
    /// Against a published range.
    PublishedRange,
    /// Now less last time.
    Change,
}

impl Rule {
    /// The rule with its version, as every result names it.
    pub const fn code(self) -> &'static str {
        match self {
            Self::DynamicPart => "r2-minus-r1/1",
            Self::FixedPart => "fixed-part/1",
            Self::FixedPartOfRange => "fixed-part-range/1",
            Self::DynamicShare => "dynamic-share/1",
            Self::SideDifference => "side-difference/1",
            Self::PublishedRange => "published-range/1",
            Self::Change => "change/1",
        }
    }

    /// What it computes, in words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::DynamicPart => "end of the slow stretch less the catch of the fast stretch",
            Self::FixedPart => "end of the slow stretch on the other side less that on this side",
            Self::FixedPartOfRange => {
                "nearer end of the published range of the slow stretch less its end here"
            }
            Self::DynamicShare => "dynamic part over dynamic and fixed part",
            Self::SideDifference => "one side less the other",
            Self::PublishedRange => "beside a published range",
            Self::Change => "now less last time",
        }
    }
}

/// What a comparison came to: a word of the list `verdict`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Verdict {
    /// Higher by more than the error.
    Higher,
    /// Lower by more than the error.
    Lower,
    /// Not beyond the error.
    WithinError,
    /// The same.
    NoDifference,
    /// No published error fits.
    NotJudged,
    /// One step of a scale higher.
    StepHigher,
    /// One step of a scale lower.
    StepLower,
    /// Several steps of a scale higher.
    SeveralStepsHigher,
    /// Several steps of a scale lower.
    SeveralStepsLower,
    /// Above a published range.
    AboveRange,
    /// Within a published range.
    WithinRange,
    /// Below a published range.
    BelowRange,
}

impl Verdict {
    /// True for a difference that is more than the error of measuring, or more than one step of a
    /// scale.
    pub const fn is_beyond(self) -> bool {
        matches!(
            self,
            Self::Higher | Self::Lower | Self::SeveralStepsHigher | Self::SeveralStepsLower
        )
    }

    /// The word of the list.
    pub const fn code(self) -> &'static str {
        match self {
            Self::Higher => "higher",
            Self::Lower => "lower",
            Self::WithinError => "within-error",
            Self::NoDifference => "no-difference",
            Self::NotJudged => "not-judged",
            Self::StepHigher => "step-higher",
            Self::StepLower => "step-lower",
            Self::SeveralStepsHigher => "several-steps-higher",
            Self::SeveralStepsLower => "several-steps-lower",
            Self::AboveRange => "above-range",
            Self::WithinRange => "within-range",
            Self::BelowRange => "below-range",
        }
    }
}

/// A row of a table that a comparison used.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RowUsed {
    /// The table, by its name under `profiles/`.
    pub table: &'static str,
    /// The key of the row.
    pub key: String,
    /// Title of the publication behind the row.
    pub title: String,
    /// Version of that publication.
    pub version: String,
    /// SHA-256 of the table.
    pub sha256: String,
    /// What the row says, in words.
    pub says: String,
}

/// A number with its UCUM unit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Amount {
    /// The number, signed.
    pub number: Exact,
    /// Its unit.
    pub unit: String,
}

/// What a comparison found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Found {
    /// The signed number; nothing between grades and beside a range.
    pub amount: Option<Amount>,
    /// What it came to.
    pub verdict: Verdict,
    /// The published range it was held against.
    pub range: Option<(PersonRange, ReferenceRow)>,
}

/// Findings set beside each other, or beside a table.
#[derive(Debug, Clone)]
pub struct Comparison {
    /// Identity, derived from the rule and what went in.
    pub id: Uuid,
    /// Which comparison.
    pub rule: Rule,
    /// The finding it is about; the result shares its side, position and neighbouring joint.
    pub about: Measured,
    /// What went in, in the order of the rule.
    pub inputs: Vec<Input>,
    /// The rows of the tables that were used.
    pub rows: Vec<RowUsed>,
    /// What was found, or why there is nothing to find.
    pub outcome: Result<Found, NotCompared>,
    /// When the earlier finding of a change was made.
    pub last_time: Option<Written>,
    /// What belongs to it, in words: which side is the reference, when last time was, what else
    /// differed.
    pub told: Vec<String>,
}

impl Comparison {
    fn new(rule: Rule, about: &Measured, parts: &[&Part]) -> Self {
        let inputs: Vec<Input> = parts.iter().map(|part| part.input.clone()).collect();
        let names: Vec<String> = inputs.iter().map(Input::name).collect();
        let names: Vec<&str> = names.iter().map(String::as_str).collect();
        // The identity of R2-R1 is older than the others and kept as it was.
        let part_played = match rule {
            Rule::DynamicPart => "dynamic",
            Rule::FixedPart
            | Rule::FixedPartOfRange
            | Rule::DynamicShare
            | Rule::SideDifference
            | Rule::PublishedRange
            | Rule::Change => rule.code().split('/').next().unwrap_or_default(),
        };
        Self {
            id: crate::examination::finding::derived_identity(part_played, &names),
            rule,
            about: about.clone(),
            inputs,
            rows: Vec::new(),
            outcome: Err(NotCompared::NoOther),
            last_time: None,
            told: Vec::new(),
        }
    }
}

/// Every comparison of a session: within it, with published ranges, and with earlier sessions, the
/// latest of which stands first.
pub fn all(
    session: &Session,
    measured: &[Measured],
    earlier: &[EarlierSession],
    catalogue: &Catalogue,
) -> Vec<Comparison> {
    let standing = standing(measured, session);
    let table = Table::of_session(session, &standing, catalogue);
    let mut all = stretch::all(&table);
    all.extend(side::all(&table));
    all.extend(reference::all(&table));
    all.extend(change::all(&table, earlier));
    all
}

/// What a finding of a session came to since one earlier session; nothing where that one does not
/// speak of it.
pub fn since(
    session: &Session,
    now: &Measured,
    earlier: &EarlierSession,
    catalogue: &Catalogue,
) -> Option<Comparison> {
    let standing = standing(std::slice::from_ref(now), session);
    let table = Table::of_session(session, &standing, catalogue);
    change::all(&table, std::slice::from_ref(earlier)).pop()
}

fn standing<'a>(measured: &'a [Measured], session: &Session) -> Vec<(&'a Measured, Part)> {
    let standing = measured.iter().filter(|one| !one.finding.withdrawn);
    standing.map(|one| (one, Part::of(one, session))).collect()
}

/// What the comparisons of one session look into.
struct Table<'a> {
    session: &'a Session,
    standing: &'a [(&'a Measured, Part)],
    by_measure: BTreeMap<(&'a str, &'a str), Vec<&'a Part>>,
    catalogue: &'a Catalogue,
}

impl<'a> Table<'a> {
    fn of_session(
        session: &'a Session,
        standing: &'a [(&'a Measured, Part)],
        catalogue: &'a Catalogue,
    ) -> Self {
        let mut by_measure: BTreeMap<(&str, &str), Vec<&Part>> = BTreeMap::new();
        for (_, part) in standing {
            let key = (part.row.measure.as_str(), part.side.word());
            by_measure.entry(key).or_default().push(part);
        }
        Self {
            session,
            standing,
            by_measure,
            catalogue,
        }
    }

    /// What was found of a measure on a side.
    fn of<'b>(
        &'b self,
        measure: &'b str,
        side: Side,
    ) -> impl Iterator<Item = &'a Part> + Clone + use<'a, 'b> {
        let found = self.by_measure.get(&(measure, side.word()));
        found.map_or(&[][..], Vec::as_slice).iter().copied()
    }

    fn error_row(&self, part: &Part, tester: Tester) -> Option<&ErrorRow> {
        error::row(part, tester, &self.catalogue.measurement_error)
    }

    fn used(&self, rows: &[&ErrorRow]) -> Vec<RowUsed> {
        let mut used: Vec<RowUsed> = Vec::new();
        for row in rows {
            let one = self.row_used(
                "measurement_error.csv",
                &row.key,
                &row.source,
                error::says(row),
            );
            if !used.contains(&one) {
                used.push(one);
            }
        }
        used
    }

    fn row_used(&self, table: &'static str, key: &str, source: &str, says: String) -> RowUsed {
        let source = self.catalogue.sources.get(source);
        let sha256 = self.catalogue.table_sha256.get(table);
        RowUsed {
            table,
            key: key.to_owned(),
            title: source
                .map(|source| source.title.clone())
                .unwrap_or_default(),
            version: source
                .map(|source| source.version.clone())
                .unwrap_or_default(),
            sha256: sha256.cloned().unwrap_or_default(),
            says,
        }
    }
}

/// Whether one person measured both: the same tester only where it is known who measured each.
fn tester(one: &Part, other: &Part) -> Tester {
    match (&one.examiner, &other.examiner) {
        (Some(one), Some(other)) if one == other => Tester::Same,
        (_, _) => Tester::Different,
    }
}

/// Who examined a finding, where it is known: the one it names, or the sole performer.
pub fn examiner_of<'a>(finding: &'a Finding, session: &'a Session) -> Option<&'a Identifier> {
    let Some(examiner) = &finding.examiner else {
        return sole_performer(session);
    };
    let mut performers = session.performers.iter();
    let named = performers.find(|one| one.key == examiner.key);
    named.map(|one| &one.identifier)
}

/// Who examined, where one person did: of several who are not named it is not known who measured what.
fn sole_performer(session: &Session) -> Option<&Identifier> {
    match session.performers.as_slice() {
        [one] => Some(&one.identifier),
        [] | [_, _, ..] => None,
    }
}
