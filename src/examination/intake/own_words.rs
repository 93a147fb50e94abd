//! What people say in their own words about a session, as its writer sees it.
//!
//! Software fills none of it. What is left out was not said.

use schemars::JsonSchema;
use serde::Deserialize;

sealed!(
    ConclusionDraft,
    PriorityDraft,
    GoalDraft,
    GoalStateDraft,
    HandlingStepDraft,
    RecommendationDraft,
    ToldDraft,
    ToldPromptDraft,
);

/// What the therapist makes of the findings.
#[derive(Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ConclusionDraft {
    /// Identity; derived from the session when left out, named in corrections.
    #[serde(default)]
    #[schemars(regex(
        pattern = r"^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$"
    ))]
    pub id: Option<String>,
    /// In the words of whoever signs.
    #[schemars(length(min = 1))]
    pub words: String,
    /// True when a correction withdraws it.
    #[serde(default)]
    pub withdrawn: bool,
}

/// What matters most to the person.
#[derive(Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PriorityDraft {
    /// Identity; derived from the session when left out, named in corrections.
    #[serde(default)]
    #[schemars(regex(
        pattern = r"^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$"
    ))]
    pub id: Option<String>,
    /// In the words of the person.
    #[schemars(length(min = 1))]
    pub words: String,
    /// True when a correction withdraws it.
    #[serde(default)]
    pub withdrawn: bool,
}

/// What is to be reached.
#[derive(Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct GoalDraft {
    /// Identity; derived from its place in the list when left out, named in corrections.
    #[serde(default)]
    #[schemars(regex(
        pattern = r"^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$"
    ))]
    pub id: Option<String>,
    /// In words.
    #[schemars(length(min = 1))]
    pub words: String,
    /// Day by which it is to be reached, or `not set`.
    #[schemars(regex(pattern = r"^(\d{4}-\d{2}-\d{2}|not set)$"))]
    pub target: String,
    /// With whom it was agreed, by role.
    #[schemars(length(min = 1))]
    pub agreed_with: String,
    /// What became of it, once somebody says so.
    #[serde(default)]
    #[schemars(extend("x-since" = "session/2"))]
    pub state: Option<GoalStateDraft>,
    /// True when a correction withdraws it.
    #[serde(default)]
    pub withdrawn: bool,
}

/// What became of a goal.
#[derive(Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct GoalStateDraft {
    /// A word of `goal-state`: `met`, `partly-met`, `not-met` or `given-up`.
    #[schemars(length(min = 1))]
    pub is: String,
    /// Day on which that was seen.
    #[schemars(regex(pattern = r"^\d{4}-\d{2}-\d{2}$"))]
    pub on: String,
    /// In words.
    #[schemars(length(min = 1))]
    pub words: String,
}

/// One step of how the person is to be handled; the order of the list is the order of the steps.
#[derive(Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct HandlingStepDraft {
    /// Identity; derived from its place in the list when left out, named in corrections.
    #[serde(default)]
    #[schemars(regex(
        pattern = r"^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$"
    ))]
    pub id: Option<String>,
    /// In words.
    #[schemars(length(min = 1))]
    pub words: String,
    /// Key of the performer who wrote it.
    #[schemars(length(min = 1))]
    pub author: String,
    /// Day it is to be reviewed.
    #[schemars(regex(pattern = r"^\d{4}-\d{2}-\d{2}$"))]
    pub review: String,
    /// True when a correction withdraws it.
    #[serde(default)]
    pub withdrawn: bool,
}

/// What is asked of somebody else.
#[derive(Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RecommendationDraft {
    /// Identity; derived from its place in the list when left out, named in corrections.
    #[serde(default)]
    #[schemars(regex(
        pattern = r"^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$"
    ))]
    pub id: Option<String>,
    /// To whom, by role.
    #[schemars(length(min = 1))]
    pub to: String,
    /// In words.
    #[schemars(length(min = 1))]
    pub words: String,
    /// True when a correction withdraws it.
    #[serde(default)]
    pub withdrawn: bool,
}

/// What was passed on, to whom and when.
#[derive(Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ToldDraft {
    /// Identity; derived from its place in the list when left out, named in corrections.
    #[serde(default)]
    #[schemars(regex(
        pattern = r"^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$"
    ))]
    pub id: Option<String>,
    /// What was passed on, in words.
    #[schemars(length(min = 1))]
    pub words: String,
    /// The prompt it is about, where it is about one.
    #[serde(default)]
    pub prompt: Option<ToldPromptDraft>,
    /// To whom, by role.
    #[schemars(length(min = 1))]
    pub to: String,
    /// When, with seconds and offset.
    #[schemars(regex(
        pattern = r"^\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}(\.\d+)?(Z|[+-]\d{2}:\d{2})$"
    ))]
    pub at: String,
    /// How: by word of mouth, on the telephone, in writing.
    #[schemars(length(min = 1))]
    pub how: String,
    /// True when a correction withdraws it.
    #[serde(default)]
    pub withdrawn: bool,
}

/// A prompt, by the code and path with which it was printed.
#[derive(Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ToldPromptDraft {
    /// Its code.
    #[schemars(length(min = 1))]
    pub code: String,
    /// Its path, as printed.
    #[schemars(length(min = 1))]
    pub path: String,
    /// The earlier session it stands in; this one when left out.
    #[serde(default)]
    #[schemars(regex(
        pattern = r"^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$"
    ))]
    pub session: Option<String>,
}
