//! What may change a finding from one day to the next, as its writer sees it.
//!
//! Every part may be left out, which says nothing. What was asked and looked up and is not there is
//! named in `none_known`.

use schemars::JsonSchema;
use serde::Deserialize;

sealed!(
    CircumstancesDraft,
    EarlierStrokeDraft,
    MedicineDraft,
    InjectionDraft,
    SplintDraft,
);

/// Circumstances of a session. The time of day stands in `performed`, with its offset.
#[derive(Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CircumstancesDraft {
    /// A word of `handedness`: the hand used by preference.
    #[serde(default)]
    #[schemars(length(min = 1))]
    pub handedness: Option<String>,
    /// Strokes before this one.
    #[serde(default)]
    #[schemars(length(min = 1))]
    pub earlier_strokes: Option<Vec<EarlierStrokeDraft>>,
    /// Medicines that act on tone or pain, with the time of the last dose.
    #[serde(default)]
    #[schemars(length(min = 1))]
    pub medicines: Option<Vec<MedicineDraft>>,
    /// Injections into muscles.
    #[serde(default)]
    #[schemars(length(min = 1))]
    pub injections: Option<Vec<InjectionDraft>>,
    /// Splints.
    #[serde(default)]
    #[schemars(length(min = 1))]
    pub splints: Option<Vec<SplintDraft>>,
    /// A word of `alertness`.
    #[serde(default)]
    #[schemars(length(min = 1))]
    pub alertness: Option<String>,
    /// A word of `ability-to-answer`.
    #[serde(default)]
    #[schemars(length(min = 1))]
    pub ability_to_answer: Option<String>,
    /// What was asked and looked up, and none is known.
    #[serde(default)]
    #[schemars(length(min = 1))]
    pub none_known: Option<Vec<NoneKnown>>,
}

/// What can be said to be asked and looked up, and not there.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum NoneKnown {
    /// No stroke before this one.
    EarlierStrokes,
    /// No medicine that acts on tone or pain.
    Medicines,
    /// No injection into a muscle.
    Injections,
    /// No splint.
    Splints,
}

impl NoneKnown {
    /// The name of the list it stands for.
    pub const fn list(self) -> &'static str {
        match self {
            Self::EarlierStrokes => "earlier_strokes",
            Self::Medicines => "medicines",
            Self::Injections => "injections",
            Self::Splints => "splints",
        }
    }
}

/// A stroke before this one.
#[derive(Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct EarlierStrokeDraft {
    /// In words.
    #[schemars(length(min = 1))]
    pub words: String,
    /// Year, month or day, where known.
    #[serde(default)]
    #[schemars(regex(pattern = r"^\d{4}(-\d{2}(-\d{2})?)?$"))]
    pub on: Option<String>,
}

/// A medicine that acts on tone or pain.
#[derive(Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct MedicineDraft {
    /// Which, and how much, in words.
    #[schemars(length(min = 1))]
    pub words: String,
    /// When the last dose was taken, with seconds and offset, or `not known`.
    #[schemars(regex(
        pattern = r"^(not known|\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}(\.\d+)?(Z|[+-]\d{2}:\d{2}))$"
    ))]
    pub last_dose: String,
}

/// An injection into a muscle.
#[derive(Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct InjectionDraft {
    /// What was injected, and how much, in words.
    #[schemars(length(min = 1))]
    pub words: String,
    /// Site of the muscle.
    #[schemars(length(min = 1))]
    pub muscle: String,
    /// Side of the body.
    pub side: crate::examination::intake::parts::Side,
    /// Day of the injection.
    #[schemars(regex(pattern = r"^\d{4}-\d{2}-\d{2}$"))]
    pub on: String,
}

/// A splint.
#[derive(Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SplintDraft {
    /// Site of the body.
    #[schemars(length(min = 1))]
    pub site: String,
    /// Side of the body.
    pub side: crate::examination::intake::parts::Side,
    /// A word of `splint-worn`.
    #[schemars(length(min = 1))]
    pub worn: String,
}
