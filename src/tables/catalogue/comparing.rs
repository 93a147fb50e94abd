//! What a row says of the error of measuring, and of a published range.

use crate::base::exact::{Exact, NotExact};
use crate::tables::catalogue::cells::{exact_or_none, word_or_none};
use serde::{Deserialize, Deserializer, de::Error as _};

/// Whether one person measured both times, or two did.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Tester {
    /// One person.
    Same,
    /// Two people, or it is not known.
    Different,
}

impl Tester {
    /// The word of the tables.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Same => "same",
            Self::Different => "different",
        }
    }
}

/// Whether a row is used, or only kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Use {
    /// It is used.
    On,
    /// It is kept in the table, which says why it is not used.
    Off,
}

/// One row of `measurement_error.csv`.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct ErrorRow {
    /// Key, named in every comparison.
    pub key: String,
    /// The measure it serves.
    #[serde(deserialize_with = "word_or_none")]
    pub measure: Option<String>,
    /// The body position it serves; nothing where the source does not say.
    #[serde(deserialize_with = "word_or_any")]
    pub position: Option<String>,
    /// The method it serves.
    #[serde(deserialize_with = "word_or_none")]
    pub method: Option<String>,
    /// The kind of instrument it serves; nothing where the source does not say.
    #[serde(deserialize_with = "word_or_any")]
    pub instrument: Option<String>,
    /// Same or different tester.
    pub tester: Tester,
    /// Standard error of measurement, as published.
    #[serde(deserialize_with = "exact_or_none")]
    pub sem: Option<Exact>,
    /// Smallest change beyond the error of measuring, 95 %, as published.
    #[serde(deserialize_with = "exact_or_none")]
    pub mdc95: Option<Exact>,
    /// UCUM unit, or `{step}` for steps of an ordinal scale.
    pub unit: String,
    /// Whether it is used.
    #[serde(rename = "use")]
    pub used: Use,
    /// What the row is about.
    pub label: String,
    /// Key of `SOURCES.toml`.
    pub source: String,
    /// Where in the source.
    pub locator: String,
}

/// What the numbers of a published range are.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Deserialize)]
pub enum Statistic {
    /// The 5th and the 95th percentile of single people.
    #[serde(rename = "percentile-5-95")]
    Percentile5To95,
    /// The smallest and the largest of single people.
    #[serde(rename = "observed-range")]
    ObservedRange,
    /// The mean and the standard deviation of single people.
    #[serde(rename = "mean-sd")]
    MeanSd,
    /// The confidence interval of the mean of a group: it narrows as the group grows.
    #[serde(rename = "ci-of-mean")]
    CiOfMean,
    /// The mean of a group alone.
    #[serde(rename = "mean")]
    Mean,
    /// The smallest and the largest mean of several groups.
    #[serde(rename = "range-of-means")]
    RangeOfMeans,
    /// A conventional value of a handbook, without a distribution.
    #[serde(rename = "handbook")]
    Handbook,
    /// A limit from which a rule of assessment counts an impairment.
    #[serde(rename = "threshold")]
    Threshold,
}

impl Statistic {
    /// The word of the tables.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Percentile5To95 => "percentile-5-95",
            Self::ObservedRange => "observed-range",
            Self::MeanSd => "mean-sd",
            Self::CiOfMean => "ci-of-mean",
            Self::Mean => "mean",
            Self::RangeOfMeans => "range-of-means",
            Self::Handbook => "handbook",
            Self::Threshold => "threshold",
        }
    }

    /// What it is, in words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Percentile5To95 => "5th to 95th percentile",
            Self::ObservedRange => "smallest to largest seen",
            Self::MeanSd => "mean and twice the standard deviation either way",
            Self::CiOfMean => "the confidence interval of the mean of a group",
            Self::Mean => "the mean of a group",
            Self::RangeOfMeans => "means of groups",
            Self::Handbook => "a conventional value without a distribution",
            Self::Threshold => "a limit of a rule of assessment",
        }
    }
}

/// Administrative sex that a row is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum OfSex {
    /// Women or girls.
    Female,
    /// Men or boys.
    Male,
    /// Either.
    Any,
}

/// One row of `reference_ranges.csv`.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct ReferenceRow {
    /// Key, named in every comparison.
    pub key: String,
    /// The table it belongs to: a site names the tables it uses.
    pub table: String,
    /// The measure it serves.
    #[serde(deserialize_with = "word_or_none")]
    pub measure: Option<String>,
    /// The body position it serves; nothing where the source does not say.
    #[serde(deserialize_with = "word_or_any")]
    pub position: Option<String>,
    /// The method it serves.
    #[serde(deserialize_with = "word_or_none")]
    pub method: Option<String>,
    /// The kind of instrument it serves; nothing where the source does not say.
    #[serde(deserialize_with = "word_or_any")]
    pub instrument: Option<String>,
    /// Whom it is about.
    pub sex: OfSex,
    /// Completed years from which it holds.
    #[serde(deserialize_with = "years_or_none")]
    pub age_from: Option<u32>,
    /// Completed years up to which it holds.
    #[serde(deserialize_with = "years_or_none")]
    pub age_to: Option<u32>,
    /// What its numbers are.
    pub statistic: Statistic,
    /// Mean, or conventional value.
    #[serde(deserialize_with = "exact_or_none")]
    pub mean: Option<Exact>,
    /// Standard deviation.
    #[serde(deserialize_with = "exact_or_none")]
    pub sd: Option<Exact>,
    /// Lower number of the statistic.
    #[serde(deserialize_with = "exact_or_none")]
    pub low: Option<Exact>,
    /// Upper number of the statistic.
    #[serde(deserialize_with = "exact_or_none")]
    pub high: Option<Exact>,
    /// UCUM unit.
    pub unit: String,
    /// Whether it is used.
    #[serde(rename = "use")]
    pub used: Use,
    /// What the row is about.
    pub label: String,
    /// Key of `SOURCES.toml`.
    pub source: String,
    /// Where in the source.
    pub locator: String,
}

/// A range that bounds single people of a group, taken from a row whose statistic does that.
///
/// A comparison takes this and nothing else, so the confidence interval of a mean cannot be read as
/// the range of one person.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PersonRange {
    low: Exact,
    high: Exact,
}

impl PersonRange {
    /// The lower end.
    pub const fn low(self) -> Exact {
        self.low
    }

    /// The upper end.
    pub const fn high(self) -> Exact {
        self.high
    }
}

impl ReferenceRow {
    /// The range of one person, where the statistic of the row bounds one: percentiles and what was
    /// seen as they are printed, a mean with twice its standard deviation either way.
    pub fn for_one_person(&self) -> Option<PersonRange> {
        let (low, high) = match self.statistic {
            Statistic::Percentile5To95 | Statistic::ObservedRange => (self.low?, self.high?),
            Statistic::MeanSd => {
                let (mean, sd) = (self.mean?, self.sd?);
                let twice = sd.plus(sd).ok()?;
                (mean.minus(twice).ok()?, mean.plus(twice).ok()?)
            }
            Statistic::CiOfMean
            | Statistic::Mean
            | Statistic::RangeOfMeans
            | Statistic::Handbook
            | Statistic::Threshold => return None,
        };
        Some(PersonRange { low, high })
    }
}

fn word_or_any<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Option<String>, D::Error> {
    let word = String::deserialize(deserializer)?;
    Ok((word != "any").then_some(word))
}

fn years_or_none<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Option<u32>, D::Error> {
    match String::deserialize(deserializer)?.as_str() {
        "none" => Ok(None),
        years => years.parse().map(Some).map_err(D::Error::custom),
    }
}

/// The unit of a row that counts steps of an ordinal scale.
pub const STEP: &str = "{step}";

/// 1.96 times the root of 2, to sixteen digits after the point.
pub(super) const MDC95_OF_SEM: &str = "2.7718585822512662";

/// The smallest change beyond the error of measuring with 95 % confidence, from a standard error of
/// measurement: 1.96 times the root of 2 times it, rounded to so many digits after the point. For
/// people to read; comparisons are made on squares, where nothing is rounded.
///
/// Source: smallest real difference = SEM x 1.96 x root 2, as Beckerman 1996 (Scand J Rehabil Med
/// 28:3) and Konor 2012 (Int J Sports Phys Ther 7:279) use it.
///
/// # Errors
/// [`NotExact::Digits`] when it cannot be held.
pub fn mdc95_of(sem: Exact, decimals: u32) -> Result<Exact, NotExact> {
    Ok(sem.times(Exact::parse(MDC95_OF_SEM)?)?.rounded(decimals))
}

#[cfg(test)]
mod tests {
    use super::mdc95_of;
    use crate::base::exact::Exact;

    fn exact(text: &str) -> Exact {
        Exact::parse(text).expect("a decimal")
    }

    /// Source: Beckerman 1996, Scand J Rehabil Med 28:3 (changes below 5 and below 4 points are
    /// stability); Konor 2012, Int J Sports Phys Ther 7:279 (MDC 5.0 and 7.7); de Winter 2004, BMC
    /// Musculoskelet Disord 5:18: half the limits of agreement, 19.6, over 1.96 and the root of 2 is
    /// a SEM of 7.071.
    #[test]
    fn the_smallest_change_follows_from_the_error_as_in_published_examples() {
        let mdc = |sem, decimals| mdc95_of(exact(sem), decimals).map(|mdc| mdc.to_string());

        assert_eq!(mdc("1.76", 2), Ok("4.88".to_owned()));
        assert_eq!(mdc("1.17", 2), Ok("3.24".to_owned()));
        assert_eq!(mdc("1.8", 1), Ok("5.0".to_owned()));
        assert_eq!(mdc("2.8", 2), Ok("7.76".to_owned()));
        assert_eq!(mdc("0.91", 2), Ok("2.52".to_owned()));
        assert_eq!(mdc("7.071", 1), Ok("19.6".to_owned()));
    }
}
