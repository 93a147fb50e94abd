//! What was meant.
//!
//! Owns: typed statements: who, where, which side, what, when, how.
//! In: a draft. Out: a [`Session`] of [`Finding`]s, and every problem of sense that needs no table.
//! Never: looks into a table, knows a name of FHIR, reads a clock.

mod around;
pub mod circumstances;
mod identity;
mod items;
pub mod notation;
pub mod own_words;
mod performers;
mod precautions;
mod times;
pub mod traces;
mod understand;
mod value;
pub mod visit;

use crate::base::exact::Exact;
use crate::base::private::Private;
use crate::base::problem::Problems;
use crate::examination::finding::circumstances::Circumstances;
use crate::examination::finding::notation::{Numbers, Place};
use crate::examination::finding::own_words::Statement;
use crate::examination::finding::traces::Trace;
use crate::examination::finding::visit::{Compared, Examiner, Visit};
use crate::examination::intake::draft::{
    AdministrativeSex, Consent, DocumentVersion, Draft, MoreAffectedSide, PrecautionDraft,
    QualityVersion,
};
use crate::examination::intake::kept::{self, NotRead};
use crate::examination::intake::parts::Side;
use chrono::{DateTime, FixedOffset, NaiveDate, Utc};
use uuid::Uuid;

/// An instant as it was written, offset and digits kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Written {
    /// The text.
    pub text: String,
    /// The instant it names.
    pub instant: DateTime<FixedOffset>,
}

/// A business identifier: who gives it, and what it is.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Identifier {
    /// Who gives such identifiers.
    pub system: String,
    /// The identifier itself.
    pub value: Private<String>,
}

/// Whose session it is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Person {
    /// The identifier the record server knows the person by.
    pub identifier: Identifier,
    /// Year, month or day of birth.
    pub birth_date: Private<String>,
    /// Family name, where given.
    pub family_name: Option<Private<String>>,
    /// Administrative sex, where given: for published ranges only.
    pub sex: Option<Private<AdministrativeSex>>,
}

/// Somebody who examined.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Performer {
    /// Key by which the document names the person.
    pub key: String,
    /// The identifier the record server knows the person by.
    pub identifier: Identifier,
    /// Role, in words.
    pub role: String,
    /// The organisation acted for.
    pub organisation: Identifier,
}

/// A signature.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Signature {
    /// Who: a key of the performers.
    pub by: String,
    /// When.
    pub at: Written,
}

/// What limits an examination.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Precaution {
    /// JSON Pointer of it, or where it was carried from.
    pub path: String,
    /// Identity, kept from session to session.
    pub id: Uuid,
    /// Site.
    pub site: String,
    /// Side.
    pub side: Side,
    /// Status, a word of `precaution-status`.
    pub status: String,
    /// Source, a word of `precaution-source`.
    pub source: String,
    /// Limit, a word of `precaution-limit`.
    pub limit: String,
    /// Movement that is limited.
    pub movement: Option<String>,
    /// Angle not to be passed in that movement.
    pub angle: Option<Exact>,
    /// Why.
    pub reason: Private<String>,
    /// Day it was set, where known.
    pub set: Option<NaiveDate>,
    /// Day it is to be reviewed.
    pub review: Option<NaiveDate>,
    /// Day it ends.
    pub end: Option<NaiveDate>,
    /// Who lifted it and when.
    pub lifted: Option<(Private<String>, NaiveDate)>,
    /// True when it comes from an earlier session and this document does not speak of it.
    pub carried: bool,
}

impl Precaution {
    /// True when it limits an examination on a day: one that was lifted later still held then, one
    /// that was entered in error never did.
    pub fn stands_on(&self, day: NaiveDate) -> bool {
        self.status != "entered-in-error" && self.lifted.as_ref().is_none_or(|(_, on)| *on > day)
    }
}

/// What was measured with.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Instrument {
    /// Key by which the document names it.
    pub key: String,
    /// Kind, in words.
    pub kind: String,
    /// Its identifier.
    pub identifier: Identifier,
    /// Finest step it shows.
    pub resolution: Exact,
    /// UCUM unit of that step.
    pub unit: String,
}

/// A caution that a named person confirmed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Confirmation {
    /// JSON Pointer of the confirmation.
    pub at_path: String,
    /// Code of the caution.
    pub code: String,
    /// Path of the caution.
    pub path: String,
    /// Mark of the caution.
    pub mark: String,
    /// Who: a key of the performers.
    pub by: String,
    /// When.
    pub at: Written,
    /// Why it holds all the same.
    pub reason: Private<String>,
    /// What the caution says, once it was found.
    pub what: Option<Private<String>>,
}

/// One examination of one person at one time.
#[derive(Debug, Clone)]
pub struct Session {
    /// The form of the document that stated it.
    pub form: DocumentVersion,
    /// Identity.
    pub id: Uuid,
    /// Version, from 1.
    pub version: u32,
    /// True when this version withdraws the session.
    pub withdrawn: bool,
    /// The system it was written in.
    pub source: String,
    /// True for invented people.
    pub test_data: bool,
    /// Start of the examination.
    pub start: Written,
    /// End of the examination.
    pub end: Written,
    /// When it was written down.
    pub entered: Written,
    /// Where it took place.
    pub location: Option<Identifier>,
    /// The stay or visit everything found belongs to: the one in which the examination began.
    pub encounter: Option<Identifier>,
    /// The stay at the end, where the person was moved to another during the examination.
    pub encounter_at_end: Option<Identifier>,
    /// What became of the visit, where the examination was refused, not begun or broken off.
    pub visit: Option<Visit>,
    /// Who signed.
    pub signed: Signature,
    /// Who countersigned.
    pub countersigned: Option<Signature>,
    /// Position of the body unless a finding says otherwise.
    pub body_position: String,
    /// The more affected side.
    pub more_affected: MoreAffectedSide,
    /// Condition in words and its onset.
    pub condition: Option<(Private<String>, Option<String>)>,
    /// What may change a finding from one day to the next.
    pub circumstances: Circumstances,
    /// Whether consent was given.
    pub consent: Consent,
    /// How it was asked.
    pub consent_how: Private<String>,
    /// Whose session.
    pub patient: Person,
    /// Who examined.
    pub performers: Vec<Performer>,
    /// What limits it.
    pub precautions: Vec<Precaution>,
    /// True when the document says that none is known.
    pub none_known: bool,
    /// What was measured with.
    pub instruments: Vec<Instrument>,
    /// Confirmed cautions.
    pub confirmations: Vec<Confirmation>,
    /// What was found.
    pub findings: Vec<Finding>,
    /// What an instrument recorded of stretches.
    pub traces: Vec<Trace>,
    /// What people said in their own words.
    pub statements: Vec<Statement>,
}

/// One thing found, or not tested with a reason.
#[derive(Debug, Clone)]
pub struct Finding {
    /// JSON Pointer of it.
    pub path: String,
    /// Identity, kept through every correction.
    pub id: Uuid,
    /// A key of the measures.
    pub measure: String,
    /// Side.
    pub side: Side,
    /// Position of the body.
    pub position: String,
    /// Neighbouring joint and its position.
    pub neighbour: Option<(String, String)>,
    /// What came of it.
    pub outcome: Outcome,
    /// What the end felt like.
    pub end_feel: Option<String>,
    /// Pain during the movement.
    pub pain_during: Option<Exact>,
    /// Speed, velocity and quality of a stretch.
    pub stretch: Option<Stretch>,
    /// Parts beside the value.
    pub parts: Vec<Part>,
    /// When it was felt.
    pub condition: Option<String>,
    /// How it was found.
    pub method: String,
    /// Key of an instrument.
    pub instrument: Option<String>,
    /// Who examined this; nothing where several did and nobody says who.
    pub examiner: Option<Examiner>,
    /// How it was felt beside something else.
    pub compared: Option<Compared>,
    /// Number of the repeat.
    pub repeat: u32,
    /// When, if not during the whole session.
    pub at: Option<Written>,
    /// In words.
    pub note: Option<Private<String>>,
    /// True when a correction withdraws it.
    pub withdrawn: bool,
    /// The plane it was written in, together with the other direction.
    pub notation: Option<Notation>,
}

/// A plane written in three numbers, seen from one of its two findings.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Notation {
    /// The measure of the other direction.
    pub other: String,
    /// Whether this finding is the direction of the first or the last number.
    pub place: Place,
    /// The numbers.
    pub numbers: Numbers,
}

/// What came of examining something.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Outcome {
    /// Something was found.
    Found(Said, Option<Ending>),
    /// It was not tested: the reason, a word of `not-tested-reason`.
    NotTested(String),
}

/// How a movement ended.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Ending {
    /// A word of `ending`.
    pub how: String,
    /// Why it was taken no further, a word of `not-tested-reason`.
    pub because: Option<String>,
    /// Why, in words.
    pub why: Option<Private<String>>,
}

/// What was said to be found.
#[derive(Clone, PartialEq, Eq)]
pub enum Said {
    /// Degrees past neutral in the direction of the movement.
    Beyond(Exact, Option<String>),
    /// Degrees by which neutral is not reached.
    Lacks(Exact, Option<String>),
    /// Fixed at an angle on the side of the named movement.
    Fixed(Exact, String, Option<String>),
    /// A plane in three numbers whose directions are not named.
    Unordered(Numbers),
    /// A grade, and the version of its scale where one was declared.
    Grade(String, Option<String>),
    /// A word.
    Word(String),
    /// How something was felt, said absolutely: a word of `sensation`.
    Sensation(String),
    /// Whole points, with their unit where one was written.
    Score(Exact, Option<String>),
    /// A number with its unit, where one was written.
    Amount(Exact, Option<String>),
    /// Only a comparison with the other side.
    Relative(String),
    /// No catch was met.
    NoCatch,
}

impl std::fmt::Debug for Said {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        formatter.write_str("[private]")
    }
}

/// A part of a finding beside its value.
#[derive(Clone, PartialEq, Eq)]
pub struct Part {
    /// Which, a word of `component`.
    pub name: String,
    /// What it says: a number with its unit, or a word.
    pub said: Said,
}

impl std::fmt::Debug for Part {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        formatter.write_str("[private]")
    }
}

/// How a stretch was done and answered.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stretch {
    /// A word of `stretch-speed`.
    pub speed: String,
    /// Peak velocity, degrees per second.
    pub velocity: Option<Exact>,
    /// Version and grade of the quality of the reaction.
    pub quality: Option<(QualityVersion, String)>,
}

/// Turns a draft into typed statements, adding every problem.
///
/// `now` is the instant against which nothing may lie in the future. Findings that cannot be
/// understood are left out of the session, which then carries an error and goes nowhere.
pub fn understand(draft: &Draft, now: DateTime<Utc>, problems: &mut Problems) -> Session {
    understand::session(draft, now, problems)
}

/// A kept document, whole. It held when it was accepted, so what is told of it now is not told again;
/// but no part of it may be left out.
///
/// # Errors
/// [`NotRead`] when a part of it is not understood any more.
pub fn kept(draft: &Draft) -> Result<Session, NotRead> {
    let mut told_before = Problems::new();
    let session = understand::session(draft, DateTime::<Utc>::MAX_UTC, &mut told_before);
    kept::understood(&told_before.sorted())?;
    Ok(session)
}

/// A precaution as an earlier document stated it; it held then, so nothing is told of it now.
///
/// # Errors
/// [`NotRead`] when a part of it is not understood any more.
pub fn carried_precaution(draft: &PrecautionDraft) -> Result<Precaution, NotRead> {
    let mut told_before = Problems::new();
    let precaution = precautions::one_precaution(draft, "", &mut told_before);
    kept::understood(&told_before.sorted())?;
    let precaution = precaution.ok_or(NotRead::Lacks("what makes a precaution"))?;
    Ok(Precaution {
        path: "/precautions".to_owned(),
        ..precaution
    })
}

/// An identity derived from others: the same parts give the same one.
pub fn derived_identity(role: &str, parts: &[&str]) -> Uuid {
    let mut all = vec![role];
    all.extend(parts);
    identity::derive(&all)
}
