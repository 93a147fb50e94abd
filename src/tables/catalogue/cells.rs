//! Cells of the tables: `none` is an answer, and digits stay exact.

use crate::base::exact::Exact;
use crate::tables::catalogue::axis::Axis;
use chrono::NaiveDate;
use serde::{Deserialize, Deserializer, de::Error as _};

pub(super) fn word_or_none<'de, D: Deserializer<'de>>(
    deserializer: D,
) -> Result<Option<String>, D::Error> {
    let word = String::deserialize(deserializer)?;
    Ok((word != "none").then_some(word))
}

pub(super) fn axis_or_none<'de, D: Deserializer<'de>>(
    deserializer: D,
) -> Result<Option<Axis>, D::Error> {
    match String::deserialize(deserializer)?.as_str() {
        "none" => Ok(None),
        "+" => Ok(Some(Axis::With)),
        "-" => Ok(Some(Axis::Against)),
        other => Err(D::Error::custom(format!(
            "{other} is neither +, - nor none"
        ))),
    }
}

pub(super) fn exact_or_none<'de, D: Deserializer<'de>>(
    deserializer: D,
) -> Result<Option<Exact>, D::Error> {
    match String::deserialize(deserializer)?.as_str() {
        "none" => Ok(None),
        digits => Exact::parse(digits).map(Some).map_err(D::Error::custom),
    }
}

pub(super) fn number_or_none<'de, D: Deserializer<'de>>(
    deserializer: D,
) -> Result<Option<u32>, D::Error> {
    match String::deserialize(deserializer)?.as_str() {
        "none" => Ok(None),
        digits => digits.parse().map(Some).map_err(D::Error::custom),
    }
}

pub(super) fn day_or_none<'de, D: Deserializer<'de>>(
    deserializer: D,
) -> Result<Option<NaiveDate>, D::Error> {
    match String::deserialize(deserializer)?.as_str() {
        "none" => Ok(None),
        day => day.parse().map(Some).map_err(D::Error::custom),
    }
}

impl<'de> Deserialize<'de> for Exact {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        Self::parse(&String::deserialize(deserializer)?).map_err(D::Error::custom)
    }
}
