//! The angle of a stretch against time, as its writer gives it.

use crate::examination::intake::parts::{NeighbourDraft, Side, SignatureDraft};
use schemars::JsonSchema;
use serde::Deserialize;

sealed!(TraceDraft);

/// The angle of one passive stretch against time, as an instrument recorded it.
#[derive(Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct TraceDraft {
    /// Identity of the trace, kept through every correction.
    #[schemars(regex(
        pattern = r"^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$"
    ))]
    pub id: String,
    /// The stretch: a key of `measures.csv` that begins with `stretch.slow` or `stretch.fast`.
    #[schemars(length(min = 1))]
    pub measure: String,
    /// Side of the body.
    pub side: Side,
    /// Position of the body, when not the one of the session.
    #[serde(default)]
    #[schemars(length(min = 1))]
    pub position: Option<String>,
    /// Position of the neighbouring joint.
    #[serde(default)]
    pub neighbour: Option<NeighbourDraft>,
    /// The speed that was intended: `V1`, `V2` or `V3`.
    #[schemars(length(min = 1))]
    pub speed: String,
    /// UCUM unit of the angles.
    #[schemars(length(min = 1))]
    pub angle_unit: String,
    /// Unit of the times or of the period.
    pub time_unit: TimeUnit,
    /// The movement in which the angle counts upward from neutral.
    #[schemars(length(min = 1))]
    pub positive: String,
    /// The angles, as digits with a sign where short of neutral; these or `file`.
    #[serde(default)]
    #[schemars(length(min = 1))]
    pub angles: Option<Vec<String>>,
    /// Time from one angle to the next; this or `times`.
    #[serde(default)]
    #[schemars(regex(pattern = r"^(0|[1-9]\d*)(\.\d+)?$"))]
    pub period: Option<String>,
    /// The time of each angle, as digits; these or `period`.
    #[serde(default)]
    #[schemars(length(min = 1))]
    pub times: Option<Vec<String>>,
    /// A CSV file beside the document with the columns time and angle; read by commands only.
    #[serde(default)]
    #[schemars(length(min = 1))]
    pub file: Option<String>,
    /// Key of the instrument that recorded it.
    #[schemars(length(min = 1))]
    pub instrument: String,
    /// Identity of the finding of the same stretch, where it has one.
    #[serde(default)]
    #[schemars(regex(
        pattern = r"^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$"
    ))]
    pub finding: Option<String>,
    /// Number of the repeat, from 1.
    #[serde(default)]
    #[schemars(range(min = 1, max = 99))]
    pub repeat: Option<u32>,
    /// When, if not during the whole session.
    #[serde(default)]
    #[schemars(regex(
        pattern = r"^\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}(\.\d+)?(Z|[+-]\d{2}:\d{2})$"
    ))]
    pub at: Option<String>,
    /// Who accepted what is computed from it, and when; left out, the result stays preliminary.
    #[serde(default)]
    pub accepted: Option<SignatureDraft>,
    /// In words.
    #[serde(default)]
    #[schemars(length(min = 1))]
    pub note: Option<String>,
    /// True when a correction withdraws this trace.
    #[serde(default)]
    pub withdrawn: bool,
}

/// The units of time a trace may be given in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, JsonSchema)]
pub enum TimeUnit {
    /// Seconds.
    #[serde(rename = "s")]
    Seconds,
    /// Milliseconds.
    #[serde(rename = "ms")]
    Milliseconds,
}
