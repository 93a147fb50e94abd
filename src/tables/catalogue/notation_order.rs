//! In which order the directions of a plane stand in three-number notation.

use crate::tables::catalogue::cells::word_or_none;
use serde::Deserialize;

/// One row of `notation_orders.csv`.
#[derive(Debug, Clone, Deserialize)]
pub struct OrderRow {
    /// The set of orders it belongs to, such as `sftr`.
    pub order: String,
    /// The letter of the plane, in SFTR.
    #[serde(deserialize_with = "word_or_none")]
    pub letter: Option<String>,
    /// Movement of the first number.
    pub first: String,
    /// Movement of the last number.
    pub last: String,
}
