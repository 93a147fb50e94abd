//! What belongs to a finding beside its row: further units, versions of a scale, parts, landmarks,
//! and amounts that a grade stands for.

use crate::base::exact::Exact;
use crate::tables::catalogue::cells::{exact_or_none, word_or_none};
use crate::tables::catalogue::rows::Measure;
use crate::tables::catalogue::{Catalogue, SENSATION};
use serde::Deserialize;

/// The family of measures that need a landmark.
pub(super) const GIRTH: &str = "girth";

/// Below and above these a person is asked.
pub type Bounds = (Option<Exact>, Option<Exact>);

/// One row of `unit_choices.csv`: a further unit in which a family of measures may be given.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct UnitChoice {
    /// Beginning of the keys of its measures.
    pub family: String,
    /// UCUM code.
    pub unit: String,
    /// Below this a person is asked.
    #[serde(deserialize_with = "exact_or_none")]
    pub ask_below: Option<Exact>,
    /// Above this a person is asked.
    #[serde(deserialize_with = "exact_or_none")]
    pub ask_above: Option<Exact>,
}

/// One row of `scale_versions.csv`: grades of another version, which a document has to declare.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct ScaleVersion {
    /// The scale that a measure names.
    pub scale: String,
    /// What a document declares.
    pub version: String,
    /// The list of its grades.
    pub list: String,
}

/// One row of `parts.csv`: a part that a finding of a family may have beside its value.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct PartRow {
    /// Beginning of the keys of its measures.
    pub family: String,
    /// A word of `component`.
    pub part: String,
    /// The list of its words, when it is one.
    #[serde(deserialize_with = "word_or_none")]
    pub list: Option<String>,
    /// The unit of its number, when it is one.
    #[serde(deserialize_with = "word_or_none")]
    pub unit: Option<String>,
}

/// One row of `landmarks.csv`: where a measure is taken.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct Landmark {
    /// The measure.
    pub measure: String,
    /// A word of `landmark`.
    pub landmark: String,
    /// On which side of the landmark: a word of `component` that takes the distance.
    pub direction: String,
    /// How far from it.
    pub distance: Exact,
    /// UCUM code of the distance.
    pub unit: String,
}

/// One row of `grade_amounts.csv`: what a grade stands for, from a table and never a formula.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct GradeAmount {
    /// The scale.
    pub list: String,
    /// The grade.
    pub grade: String,
    /// A word of `component` that takes the amount.
    pub part: String,
    /// How much.
    pub amount: Exact,
    /// UCUM code.
    pub unit: String,
}

/// True when the key of a measure belongs to a family: the family is its beginning, up to a point.
pub fn in_family(key: &str, family: &str) -> bool {
    let rest = key.strip_prefix(family);
    rest.is_some_and(|rest| rest.is_empty() || rest.starts_with('.'))
}

impl Catalogue {
    /// The further units of a measure.
    pub fn unit_choices_of<'a>(
        &'a self,
        measure: &'a Measure,
    ) -> impl Iterator<Item = &'a UnitChoice> {
        let rows = self.unit_choices.iter();
        rows.filter(|row| in_family(&measure.measure, &row.family))
    }

    /// The bounds within which nobody is asked about a number in this unit; nothing for a unit the
    /// measure is never given in.
    pub fn bounds_in(&self, measure: &Measure, unit: &str) -> Option<Bounds> {
        if measure.unit.as_deref() == Some(unit) {
            return Some((measure.ask_below, measure.ask_above));
        }
        let mut choices = self.unit_choices_of(measure);
        let choice = choices.find(|choice| choice.unit == unit)?;
        Some((choice.ask_below, choice.ask_above))
    }

    /// The versions of a scale.
    pub fn versions_of<'a>(&'a self, scale: &'a str) -> impl Iterator<Item = &'a ScaleVersion> {
        self.scale_versions
            .iter()
            .filter(move |row| row.scale == scale)
    }

    /// The list of how something was felt, for a measure of sensation; nothing for any other.
    pub fn sensation_of(&self, measure: &Measure) -> Option<&str> {
        let scale = measure.scale.as_deref()?;
        let mut lists = self.scale_versions.iter().filter(|row| row.scale == scale);
        lists.find_map(|row| (row.list == SENSATION).then_some(row.list.as_str()))
    }

    /// The scale of a measure with the lists of its versions.
    pub fn lists_of<'a>(&'a self, measure: &'a Measure) -> impl Iterator<Item = &'a str> {
        measure.scale.as_deref().into_iter().flat_map(|scale| {
            let versions = self.versions_of(scale).map(|row| row.list.as_str());
            [scale].into_iter().chain(versions)
        })
    }

    /// The parts that a finding of a measure may have beside its value.
    pub fn parts_of<'a>(&'a self, measure: &'a Measure) -> impl Iterator<Item = &'a PartRow> {
        let rows = self.parts.iter();
        rows.filter(|row| in_family(&measure.measure, &row.family))
    }
}
