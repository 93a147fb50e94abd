//! The session document as its writer sees it, in both its forms.
//!
//! Every value that carries digits is a string, so that `12.50` stays `12.50`. The JSON Schema of
//! each form is generated from these types (`schema.rs`): what a later form added is marked with
//! `x-since`, may always be left out, and is no field of the form before it.

use crate::examination::intake::circumstances::CircumstancesDraft;
use crate::examination::intake::own_words::{
    ConclusionDraft, GoalDraft, HandlingStepDraft, PriorityDraft, RecommendationDraft, ToldDraft,
};
use crate::examination::intake::parts::{NeighbourDraft, Side, SignatureDraft};
use crate::examination::intake::traces::TraceDraft;
use crate::tables::catalogue::QUALITY_LISTS;
use schemars::JsonSchema;
use serde::Deserialize;

sealed!(
    Draft,
    SessionDraft,
    SignatureDraft,
    PeriodDraft,
    ConditionDraft,
    ConfirmationDraft,
    PatientDraft,
    IdentifierDraft,
    PerformerDraft,
    PrecautionDraft,
    InstrumentDraft,
    FindingDraft,
    NeighbourDraft,
    ValueDraft,
    NotationDraft,
    StretchDraft,
    PartDraft,
    NotTestedDraft,
    EndingDraft,
    ComparedDraft,
    CapturedDraft,
    VisitDraft,
    ConsentDraft,
    LiftedDraft,
);

/// One examination of one person at one time by one therapist.
#[derive(Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Draft {
    /// Which document this is.
    pub fascicle: DocumentVersion,
    /// True for invented people: everything sent is then marked as test data (HTEST).
    #[serde(default)]
    pub test_data: bool,
    /// The session itself.
    pub session: SessionDraft,
    /// Whose session it is. Nobody is ever created from this.
    pub patient: PatientDraft,
    /// Who examined; the first is the main performer.
    #[schemars(with = "Vec<PerformerDraft>", length(min = 1))]
    pub performers: Vec<Option<PerformerDraft>>,
    /// What limits the examination. Empty only together with `no_precautions`.
    #[serde(default)]
    #[schemars(with = "Vec<PrecautionDraft>")]
    pub precautions: Vec<Option<PrecautionDraft>>,
    /// Said only when the list of precautions is empty.
    #[serde(default)]
    pub no_precautions: Option<NoPrecautions>,
    /// What was measured with.
    #[serde(default)]
    #[schemars(with = "Vec<InstrumentDraft>")]
    pub instruments: Vec<Option<InstrumentDraft>>,
    /// What was found, or not tested and why.
    #[schemars(with = "Vec<FindingDraft>", length(min = 1))]
    pub findings: Vec<Option<FindingDraft>>,
    /// What an instrument recorded of stretches: angle against time.
    #[serde(default)]
    #[schemars(with = "Vec<TraceDraft>")]
    pub traces: Vec<Option<TraceDraft>>,
    /// What the therapist makes of the findings, in their own words.
    #[serde(default)]
    pub conclusion: Option<ConclusionDraft>,
    /// What matters most to the person, in their words.
    #[serde(default)]
    pub priority: Option<PriorityDraft>,
    /// What is to be reached, by when and with whom it was agreed.
    #[serde(default)]
    #[schemars(with = "Vec<GoalDraft>")]
    pub goals: Vec<Option<GoalDraft>>,
    /// How the person is to be handled, step by step.
    #[serde(default)]
    #[schemars(with = "Vec<HandlingStepDraft>")]
    pub handling: Vec<Option<HandlingStepDraft>>,
    /// What is asked of others.
    #[serde(default)]
    #[schemars(with = "Vec<RecommendationDraft>")]
    pub recommendations: Vec<Option<RecommendationDraft>>,
    /// What was passed on, to whom and when.
    #[serde(default)]
    #[schemars(with = "Vec<ToldDraft>")]
    pub told: Vec<Option<ToldDraft>>,
}

/// The version of the document.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Deserialize, JsonSchema)]
pub enum DocumentVersion {
    /// Session document, version 1.
    #[serde(rename = "session/1")]
    Session1,
    /// Session document, version 2.
    #[serde(rename = "session/2")]
    Session2,
}

impl DocumentVersion {
    /// All of them, the earliest first.
    pub const ALL: [Self; 2] = [Self::Session1, Self::Session2];

    /// The form that takes everything there is.
    pub const LATEST: Self = Self::Session2;

    /// Its number: the forms of a session count from 1.
    pub const fn number(self) -> u32 {
        match self {
            Self::Session1 => 1,
            Self::Session2 => 2,
        }
    }

    /// The word of the document.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Session1 => "session/1",
            Self::Session2 => "session/2",
        }
    }
}

/// The statement that stands for an empty list of precautions.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, JsonSchema)]
pub enum NoPrecautions {
    /// The person was asked, the record was looked up, none is known.
    #[serde(rename = "asked and looked up, none known")]
    AskedAndLookedUp,
}

/// What holds for the session as a whole.
#[derive(Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SessionDraft {
    /// Identity of the session, given once and kept through every correction.
    #[schemars(regex(
        pattern = r"^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$"
    ))]
    pub id: String,
    /// 1 for the first signed version; each correction counts on.
    #[schemars(range(min = 1, max = 9999))]
    pub version: u32,
    /// True when a correction withdraws the whole session.
    #[serde(default)]
    pub withdrawn: bool,
    /// The system the session was written in, as an absolute address.
    #[schemars(regex(pattern = r"^(https?://|urn:)[^\s]+$"))]
    pub source: String,
    /// When the examination began and ended.
    pub performed: PeriodDraft,
    /// When it was written down.
    #[schemars(regex(
        pattern = r"^\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}(\.\d+)?(Z|[+-]\d{2}:\d{2})$"
    ))]
    pub entered_at: String,
    /// Where it took place: the identifier the record server knows the ward, room or house by.
    #[serde(default)]
    pub location: Option<IdentifierDraft>,
    /// The stay or visit it belongs to: the identifier the record server knows it by.
    #[serde(default)]
    pub encounter: Option<IdentifierDraft>,
    /// The stay in which the examination began, where the person was moved to another during it;
    /// everything found belongs to this one, and `encounter` is the stay at the end.
    #[serde(default)]
    #[schemars(extend("x-since" = "session/2"))]
    pub encounter_at_start: Option<IdentifierDraft>,
    /// Who signed it and when.
    pub signed: SignatureDraft,
    /// Who countersigned it and when.
    #[serde(default)]
    pub countersigned: Option<SignatureDraft>,
    /// Position of the body unless a finding says otherwise.
    #[schemars(length(min = 1))]
    pub body_position: String,
    /// The more affected side.
    pub more_affected_side: MoreAffectedSide,
    /// The condition, as far as known.
    #[serde(default)]
    pub condition: Option<ConditionDraft>,
    /// What may change a finding from one day to the next.
    #[serde(default)]
    pub circumstances: Option<CircumstancesDraft>,
    /// Whether the person agreed to the examination, and how that was asked.
    pub consent: ConsentDraft,
    /// What became of the visit, where the examination was refused, not begun or broken off.
    #[serde(default)]
    #[schemars(extend("x-since" = "session/2"))]
    pub visit: Option<VisitDraft>,
    /// Cautions that a named person has confirmed.
    #[serde(default)]
    pub confirmations: Vec<ConfirmationDraft>,
}

/// The more affected side of the body.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum MoreAffectedSide {
    /// Left.
    Left,
    /// Right.
    Right,
    /// Both sides alike.
    Both,
    /// Neither side.
    Neither,
    /// Not known.
    NotKnown,
}

/// A start and an end.
#[derive(Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PeriodDraft {
    /// Start, with seconds and offset.
    #[schemars(regex(
        pattern = r"^\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}(\.\d+)?(Z|[+-]\d{2}:\d{2})$"
    ))]
    pub start: String,
    /// End, with seconds and offset.
    #[schemars(regex(
        pattern = r"^\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}(\.\d+)?(Z|[+-]\d{2}:\d{2})$"
    ))]
    pub end: String,
}

/// The condition.
#[derive(Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ConditionDraft {
    /// In words.
    #[schemars(length(min = 1))]
    pub words: String,
    /// Year, month or day of its onset.
    #[serde(default)]
    #[schemars(regex(pattern = r"^\d{4}(-\d{2}(-\d{2})?)?$"))]
    pub onset: Option<String>,
}

/// What became of a visit at which not everything was examined.
#[derive(Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct VisitDraft {
    /// A word of `visit-outcome`: `refused`, `not-begun` or `broken-off`.
    #[schemars(length(min = 1))]
    pub outcome: String,
    /// Why, in words.
    #[schemars(length(min = 1))]
    pub reason: String,
}

/// Consent to the examination.
#[derive(Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ConsentDraft {
    /// Given or not.
    pub given: Consent,
    /// How it was asked and answered.
    #[schemars(length(min = 1))]
    pub how: String,
}

/// Whether consent was given.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Consent {
    /// The person agreed.
    Yes,
    /// The person did not agree.
    No,
    /// The person could not answer; somebody entitled to decided.
    BySomebodyEntitled,
}

/// A caution that a named person has confirmed.
#[derive(Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ConfirmationDraft {
    /// Code of the caution.
    #[schemars(length(min = 1))]
    pub code: String,
    /// Its path, as printed.
    #[schemars(length(min = 1))]
    pub path: String,
    /// Its mark, as printed: it binds the confirmation to this caution about this content.
    #[schemars(regex(pattern = r"^[0-9a-f]{8}$"))]
    pub mark: String,
    /// Key of a performer.
    #[schemars(length(min = 1))]
    pub by: String,
    /// When, with seconds and offset.
    #[schemars(regex(
        pattern = r"^\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}(\.\d+)?(Z|[+-]\d{2}:\d{2})$"
    ))]
    pub at: String,
    /// Why it holds all the same.
    #[schemars(length(min = 1))]
    pub reason: String,
}

/// Whose session it is.
#[derive(Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PatientDraft {
    /// The identifier the record server knows the person by.
    pub identifier: IdentifierDraft,
    /// Year, month or day of birth: a cross-check only.
    #[schemars(regex(pattern = r"^\d{4}(-\d{2}(-\d{2})?)?$"))]
    pub birth_date: String,
    /// Family name: a cross-check only.
    #[serde(default)]
    #[schemars(length(min = 1))]
    pub family_name: Option<String>,
    /// Administrative sex as recorded, for published ranges that are split by it; sent nowhere.
    #[serde(default)]
    pub sex: Option<AdministrativeSex>,
}

/// Administrative sex, in the words of FHIR R4 (valueset-administrative-gender.html).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum AdministrativeSex {
    /// Female.
    Female,
    /// Male.
    Male,
    /// Another one.
    Other,
    /// Not known.
    Unknown,
}

/// A business identifier.
#[derive(Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct IdentifierDraft {
    /// Who gives such identifiers, as an absolute address.
    #[schemars(regex(pattern = r"^(https?://|urn:)[^\s]+$"))]
    pub system: String,
    /// The identifier.
    #[schemars(regex(pattern = r"^\S(.*\S)?$"))]
    pub value: String,
}

/// Somebody who examined.
#[derive(Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PerformerDraft {
    /// Key by which this document names the person.
    #[schemars(length(min = 1))]
    pub key: String,
    /// The identifier the record server knows the person by.
    pub identifier: IdentifierDraft,
    /// Role, in words.
    #[schemars(length(min = 1))]
    pub role: String,
    /// Identifier of the organisation acted for.
    pub organisation: IdentifierDraft,
}

/// What limits the examination.
#[derive(Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PrecautionDraft {
    /// Identity of the precaution, kept from session to session.
    #[schemars(regex(
        pattern = r"^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$"
    ))]
    pub id: String,
    /// Site of the body.
    #[schemars(length(min = 1))]
    pub site: String,
    /// Side of the body.
    pub side: Side,
    /// `active`, `to-be-confirmed` or `lifted`.
    #[schemars(length(min = 1))]
    pub status: String,
    /// Who said so: `record`, `surgeon`, `person` or `carer`.
    #[schemars(length(min = 1))]
    pub source: String,
    /// What it limits, or `limit-unknown`.
    #[schemars(length(min = 1))]
    pub limit: String,
    /// Movement that is limited, with `no-movement-beyond`.
    #[serde(default)]
    #[schemars(length(min = 1))]
    pub movement: Option<String>,
    /// Angle not to be passed in that movement, in degrees beyond neutral; lacking neutral is
    /// written with a minus sign.
    #[serde(default)]
    #[schemars(regex(pattern = r"^-?(0|[1-9]\d*)(\.\d+)?$"))]
    pub angle: Option<String>,
    /// Why, in words.
    #[schemars(length(min = 1))]
    pub reason: String,
    /// Day it was set, or `not known`.
    #[schemars(regex(pattern = r"^(\d{4}-\d{2}-\d{2}|not known)$"))]
    pub set: String,
    /// Day it is to be reviewed.
    #[serde(default)]
    #[schemars(regex(pattern = r"^\d{4}-\d{2}-\d{2}$"))]
    pub review: Option<String>,
    /// Day it ends.
    #[serde(default)]
    #[schemars(regex(pattern = r"^\d{4}-\d{2}-\d{2}$"))]
    pub end: Option<String>,
    /// Who lifted it and when; with status `lifted` only.
    #[serde(default)]
    pub lifted: Option<LiftedDraft>,
}

/// Who lifted a precaution.
#[derive(Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LiftedDraft {
    /// The person who lifted it, by name and role.
    #[schemars(length(min = 1))]
    pub by: String,
    /// Day it was lifted.
    #[schemars(regex(pattern = r"^\d{4}-\d{2}-\d{2}$"))]
    pub on: String,
}

/// What was measured with.
#[derive(Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct InstrumentDraft {
    /// Key by which this document names it.
    #[schemars(length(min = 1))]
    pub key: String,
    /// Kind, in words: two results are compared only when it agrees.
    #[schemars(length(min = 1))]
    pub kind: String,
    /// Its identifier.
    pub identifier: IdentifierDraft,
    /// Finest step it shows.
    #[schemars(regex(pattern = r"^(0|[1-9]\d*)(\.\d+)?$"))]
    pub resolution: String,
    /// UCUM unit of that step.
    #[schemars(length(min = 1))]
    pub unit: String,
}

/// One thing found, or not tested with a reason.
#[derive(Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FindingDraft {
    /// Identity of the finding; derived at first acceptance when left out, named in corrections.
    #[serde(default)]
    #[schemars(regex(
        pattern = r"^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$"
    ))]
    pub id: Option<String>,
    /// A key of `measures.csv`.
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
    /// What was found; this or `not_tested`.
    #[serde(default)]
    pub value: Option<ValueDraft>,
    /// Why it was not tested; this or `value`.
    #[serde(default)]
    pub not_tested: Option<NotTestedDraft>,
    /// How the movement ended: asked of every range and stretch result.
    #[serde(default)]
    pub ended: Option<EndingDraft>,
    /// What the end felt like.
    #[serde(default)]
    #[schemars(length(min = 1))]
    pub end_feel: Option<String>,
    /// Pain during the movement, 0 to 10.
    #[serde(default)]
    #[schemars(regex(pattern = r"^(0|[1-9]\d*)$"))]
    pub pain_during: Option<String>,
    /// Speed and quality of a stretch.
    #[serde(default)]
    pub stretch: Option<StretchDraft>,
    /// Parts that belong to some measures beside their value, as `parts.csv` has them.
    #[serde(default)]
    #[schemars(length(min = 1))]
    pub parts: Option<Vec<PartDraft>>,
    /// When it was felt, a word of `condition`.
    #[serde(default)]
    #[schemars(length(min = 1))]
    pub condition: Option<String>,
    /// How it was found.
    #[schemars(length(min = 1))]
    pub method: String,
    /// Key of an instrument.
    #[serde(default)]
    #[schemars(length(min = 1))]
    pub instrument: Option<String>,
    /// Key of the performer who examined this; where it is left out, the sole performer, and of
    /// several it is not known who.
    #[serde(default)]
    #[schemars(length(min = 1), extend("x-since" = "session/2"))]
    pub examiner: Option<String>,
    /// How it was felt beside something else; for sensation only.
    #[serde(default)]
    #[schemars(extend("x-since" = "session/2"))]
    pub compared: Option<ComparedDraft>,
    /// The therapist's own shorthand it came from: kept with the document, and not coded.
    #[serde(default)]
    #[schemars(extend("x-since" = "session/2"))]
    pub captured: Option<CapturedDraft>,
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
    /// In words.
    #[serde(default)]
    #[schemars(length(min = 1))]
    pub note: Option<String>,
    /// True when a correction withdraws this finding.
    #[serde(default)]
    pub withdrawn: bool,
}

/// How something was felt beside something else. The value itself says how it was felt there.
#[derive(Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ComparedDraft {
    /// A word of `sensation-reference`: `other-side`, `face`, `higher-up` or `as-remembered`.
    #[schemars(length(min = 1))]
    pub beside: String,
    /// A word of `sensation-compared`: `less`, `same` or `more`.
    #[schemars(length(min = 1))]
    pub felt: String,
}

/// A line of shorthand, as it was typed.
#[derive(Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CapturedDraft {
    /// The line.
    #[schemars(length(min = 1))]
    pub line: String,
    /// The heading in force above it.
    #[serde(default)]
    #[schemars(length(min = 1))]
    pub heading: Option<String>,
    /// The language of its words, as BCP 47 names it.
    #[serde(default)]
    #[schemars(regex(pattern = r"^[A-Za-z]{2,8}(-[A-Za-z0-9]{1,8})*$"))]
    pub language: Option<String>,
    /// SHA-256 of the table of words it was read with, in lower case.
    #[serde(default)]
    #[schemars(regex(pattern = r"^[0-9a-f]{64}$"))]
    pub words_sha256: Option<String>,
}

/// What was found: exactly one of these.
#[derive(Clone, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ValueDraft {
    /// Degrees past neutral in the direction of the movement.
    #[serde(default)]
    #[schemars(length(min = 1))]
    pub beyond_neutral: Option<String>,
    /// Degrees by which neutral is not reached.
    #[serde(default)]
    #[schemars(length(min = 1))]
    pub lacks: Option<String>,
    /// The joint does not move: where it is fixed, in degrees, with `direction`.
    #[serde(default)]
    #[schemars(length(min = 1))]
    pub fixed_at: Option<String>,
    /// Movement on whose side of neutral the joint is fixed; with `fixed_at` only.
    #[serde(default)]
    #[schemars(length(min = 1))]
    pub direction: Option<String>,
    /// Both directions of a plane in three numbers; the measure is then the part of its name that
    /// both directions share, such as `range.passive.elbow`.
    #[serde(default)]
    pub notation: Option<NotationDraft>,
    /// UCUM unit of an angle or an amount.
    #[serde(default)]
    #[schemars(length(min = 1))]
    pub unit: Option<String>,
    /// A grade of an ordinal scale, as a code.
    #[serde(default)]
    #[schemars(length(min = 1))]
    pub grade: Option<String>,
    /// Which version of the grades is meant, where it is not the plain one; with `grade` only.
    #[serde(default)]
    #[schemars(length(min = 1))]
    pub grade_version: Option<String>,
    /// A word of a list.
    #[serde(default)]
    #[schemars(length(min = 1))]
    pub word: Option<String>,
    /// How something was felt, said absolutely: a word of `sensation`.
    #[serde(default)]
    #[schemars(length(min = 1), extend("x-since" = "session/2"))]
    pub sensation: Option<String>,
    /// Whole points.
    #[serde(default)]
    #[schemars(length(min = 1))]
    pub score: Option<String>,
    /// A number with a unit that is no angle.
    #[serde(default)]
    #[schemars(length(min = 1))]
    pub amount: Option<String>,
    /// A word of `relative`: said only in comparison with the other side.
    #[serde(default)]
    #[schemars(length(min = 1))]
    pub relative: Option<String>,
    /// True when a fast stretch met no catch.
    #[serde(default)]
    pub no_catch: Option<bool>,
}

/// Both directions of a plane in three numbers from neutral zero. How the movement ended, the end feel
/// and everything else of the finding hold for both directions; where they differ, two findings are
/// written.
#[derive(Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct NotationDraft {
    /// The direction of the first number, a slash, and that of the last, such as
    /// `extension/flexion`. No order is ever guessed.
    #[serde(default)]
    #[schemars(length(min = 1))]
    pub order: Option<String>,
    /// The numbers, such as `5-0-140`, `0-20-150` where 20 is lacking, `0-30-30` where the joint is
    /// fixed at 30, or with the letter of an SFTR plane, `S 15-0-120`.
    #[schemars(length(min = 1))]
    pub text: String,
}

/// A part of a finding beside its value: an amount with its unit, or a word.
#[derive(Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PartDraft {
    /// Which part, as `parts.csv` names it.
    #[schemars(length(min = 1))]
    pub part: String,
    /// Its number; this or `word`.
    #[serde(default)]
    #[schemars(length(min = 1))]
    pub amount: Option<String>,
    /// UCUM unit of the number.
    #[serde(default)]
    #[schemars(length(min = 1))]
    pub unit: Option<String>,
    /// Its word; this or `amount`.
    #[serde(default)]
    #[schemars(length(min = 1))]
    pub word: Option<String>,
}

/// Speed and quality of a stretch.
#[derive(Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct StretchDraft {
    /// `V1`, `V2` or `V3`.
    #[schemars(length(min = 1))]
    pub speed: String,
    /// Peak velocity in degrees per second, where measured.
    #[serde(default)]
    #[schemars(regex(pattern = r"^(0|[1-9]\d*)(\.\d+)?$"))]
    pub velocity: Option<String>,
    /// Quality of the reaction, together with `quality_version`.
    #[serde(default)]
    #[schemars(length(min = 1))]
    pub quality: Option<String>,
    /// Which version of the qualities is meant: they differ in their highest grade.
    #[serde(default)]
    pub quality_version: Option<QualityVersion>,
}

/// The versions of the quality of a reaction in use.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, JsonSchema)]
pub enum QualityVersion {
    /// Grades 0 to 4.
    #[serde(rename = "0-4")]
    ToFour,
    /// Grades 0 to 5: the highest says that the joint cannot be moved.
    #[serde(rename = "0-5")]
    ToFive,
}

impl QualityVersion {
    /// Its list of grades.
    pub const fn list(self) -> &'static str {
        let [to_four, to_five] = QUALITY_LISTS;
        match self {
            Self::ToFour => to_four,
            Self::ToFive => to_five,
        }
    }
}

/// Why something was not tested.
#[derive(Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct NotTestedDraft {
    /// A code of `not-tested-reason`.
    #[schemars(length(min = 1))]
    pub reason: String,
}

/// How a movement ended.
#[derive(Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct EndingDraft {
    /// A code of `ending`. For a fast stretch `end-of-range` says it was carried through.
    #[schemars(length(min = 1))]
    pub how: String,
    /// Why it was taken no further, a code of `not-tested-reason`; asked with `stopped-on-purpose`.
    #[serde(default)]
    #[schemars(length(min = 1))]
    pub because: Option<String>,
    /// Why, in words.
    #[serde(default)]
    #[schemars(length(min = 1))]
    pub why: Option<String>,
}
