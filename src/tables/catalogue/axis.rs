//! Which way something runs along the axis of a joint plane.

use serde::Deserialize;

/// Which way something runs along the axis of a joint plane.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
pub enum Axis {
    /// With the axis.
    #[serde(rename = "+")]
    With,
    /// Against the axis.
    #[serde(rename = "-")]
    Against,
}
