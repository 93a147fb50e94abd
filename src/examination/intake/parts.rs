//! Parts of a document that more than one of its types hold.

use schemars::JsonSchema;
use serde::Deserialize;

/// A signature: a key of `performers`, and when.
#[derive(Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SignatureDraft {
    /// Key of a performer.
    #[schemars(length(min = 1))]
    pub by: String,
    /// When, with seconds and offset.
    #[schemars(regex(
        pattern = r"^\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}(\.\d+)?(Z|[+-]\d{2}:\d{2})$"
    ))]
    pub at: String,
}

/// Side of the body.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Side {
    /// Left.
    Left,
    /// Right.
    Right,
    /// In the middle: neck and trunk.
    Middle,
}

impl Side {
    /// The word of the document.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Left => "left",
            Self::Right => "right",
            Self::Middle => "middle",
        }
    }
}

/// Position of the neighbouring joint of a two-joint muscle.
#[derive(Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct NeighbourDraft {
    /// The joint.
    #[schemars(length(min = 1))]
    pub joint: String,
    /// `straight`, `bent` or `not-recorded`.
    #[schemars(length(min = 1))]
    pub position: String,
}
