//! The narrow part of FHIR R4 (4.0.1) that we emit.
//!
//! Field names, order and cardinality follow hl7.org/fhir/R4/observation.html, device.html,
//! provenance.html and bundle.html. What is legal here is legal in R4B as well.

#![expect(
    clippy::struct_field_names,
    reason = "fields are named as FHIR names them"
)]

use crate::base::exact::Exact;
use crate::base::json::tree::NUMBER;
use serde::ser::{Serialize, Serializer};
use std::borrow::Cow;

/// A text of the session or of the tables where it stands, or one that was put together.
pub(super) type Words<'a> = Cow<'a, str>;

/// Hands an exact decimal over as the text of a number: no float, no exponent.
impl Serialize for Exact {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_newtype_struct(NUMBER, &self.to_string())
    }
}

/// A resource we emit.
#[derive(Clone, serde::Serialize)]
#[serde(tag = "resourceType")]
pub(super) enum Resource<'a> {
    /// Observation.
    Observation(Box<Observation<'a>>),
    /// Device.
    Device(Device<'a>),
    /// `DiagnosticReport`.
    DiagnosticReport(Box<DiagnosticReport<'a>>),
    /// Provenance.
    Provenance(Box<Provenance<'a>>),
}

/// Meta: profile and tag.
#[derive(Clone, Default, serde::Serialize)]
pub(super) struct Meta<'a> {
    /// Profiles claimed.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub(super) profile: Vec<Words<'a>>,
    /// Tags.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub(super) tag: Vec<Coding<'a>>,
}

/// Coding.
#[derive(Clone, serde::Serialize)]
pub(super) struct Coding<'a> {
    /// Code system.
    pub(super) system: Words<'a>,
    /// Code.
    pub(super) code: Words<'a>,
    /// Display.
    pub(super) display: Words<'a>,
}

/// `CodeableConcept`.
#[derive(Clone, Default, serde::Serialize)]
pub(super) struct CodeableConcept<'a> {
    /// Codes.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub(super) coding: Vec<Coding<'a>>,
    /// Words.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) text: Option<Words<'a>>,
}

/// Identifier.
#[derive(Clone, serde::Serialize)]
pub(super) struct Identifier<'a> {
    /// Namespace.
    pub(super) system: Words<'a>,
    /// Value.
    pub(super) value: Words<'a>,
}

/// Reference.
#[derive(Clone, Default, serde::Serialize)]
pub(super) struct Reference<'a> {
    /// Literal reference.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) reference: Option<Words<'a>>,
    /// Type of the target.
    #[serde(rename = "type", skip_serializing_if = "Option::is_none")]
    pub(super) kind: Option<Words<'a>>,
    /// Logical reference.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) identifier: Option<Identifier<'a>>,
    /// Words.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) display: Option<Words<'a>>,
}

/// Quantity.
#[derive(Clone, serde::Serialize)]
pub(super) struct Quantity<'a> {
    /// Number.
    pub(super) value: Exact,
    /// `>=` for a bound.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) comparator: Option<&'static str>,
    /// Unit for people.
    pub(super) unit: Words<'a>,
    /// UCUM.
    pub(super) system: Words<'a>,
    /// UCUM code.
    pub(super) code: Words<'a>,
}

/// Period.
#[derive(Clone, serde::Serialize)]
pub(super) struct Period<'a> {
    /// Start.
    pub(super) start: Words<'a>,
    /// End.
    pub(super) end: Words<'a>,
}

/// Extension with a concept as its value.
#[derive(Clone, serde::Serialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct Extension<'a> {
    /// Which extension.
    pub(super) url: &'static str,
    /// Its value.
    pub(super) value_codeable_concept: CodeableConcept<'a>,
}

/// Annotation.
#[derive(Clone, serde::Serialize)]
pub(super) struct Annotation<'a> {
    /// Words.
    pub(super) text: Words<'a>,
}

/// `SampledData`.
#[derive(Clone, serde::Serialize)]
pub(super) struct SampledData<'a> {
    /// Zero of the samples, with their unit.
    pub(super) origin: Quantity<'a>,
    /// Milliseconds between samples.
    pub(super) period: Exact,
    /// Values at each time.
    pub(super) dimensions: u32,
    /// The samples, a blank between them.
    pub(super) data: Words<'a>,
}

/// The value of an Observation or a component.
#[derive(Clone, serde::Serialize)]
#[serde(rename_all = "camelCase")]
pub(super) enum ObservationValue<'a> {
    /// valueQuantity
    ValueQuantity(Quantity<'a>),
    /// valueCodeableConcept
    ValueCodeableConcept(CodeableConcept<'a>),
    /// valueInteger
    ValueInteger(u32),
    /// valueSampledData
    ValueSampledData(SampledData<'a>),
    /// valueDateTime
    ValueDateTime(Words<'a>),
    /// valueString
    ValueString(Words<'a>),
    /// dataAbsentReason
    DataAbsentReason(CodeableConcept<'a>),
}

/// When it was observed.
#[derive(Clone, serde::Serialize)]
#[serde(rename_all = "camelCase")]
pub(super) enum Effective<'a> {
    /// effectiveDateTime
    EffectiveDateTime(Words<'a>),
    /// effectivePeriod
    EffectivePeriod(Period<'a>),
}

/// A component.
#[derive(Clone, serde::Serialize)]
pub(super) struct Component<'a> {
    /// What.
    pub(super) code: CodeableConcept<'a>,
    /// Its value.
    #[serde(flatten)]
    pub(super) value: ObservationValue<'a>,
}

/// Observation.referenceRange.
#[derive(Clone, serde::Serialize)]
pub(super) struct ReferenceRange<'a> {
    /// Lower end.
    pub(super) low: Quantity<'a>,
    /// Upper end.
    pub(super) high: Quantity<'a>,
    /// Ages for which it holds.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) age: Option<Range<'a>>,
    /// Table, version and what it describes.
    pub(super) text: Words<'a>,
}

/// Range.
#[derive(Clone, serde::Serialize)]
pub(super) struct Range<'a> {
    /// Lower end.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) low: Option<Quantity<'a>>,
    /// Upper end.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) high: Option<Quantity<'a>>,
}

/// Narrative.
#[derive(Clone, serde::Serialize)]
pub(super) struct Narrative<'a> {
    /// `generated`: it says nothing that the resource does not; `additional` otherwise.
    pub(super) status: &'static str,
    /// XHTML.
    pub(super) div: Words<'a>,
}

/// Observation.
#[derive(Clone, serde::Serialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct Observation<'a> {
    /// Profile and tags.
    pub(super) meta: Meta<'a>,
    /// The statement in words.
    pub(super) text: Narrative<'a>,
    /// Body position.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub(super) extension: Vec<Extension<'a>>,
    /// Identity.
    pub(super) identifier: Vec<Identifier<'a>>,
    /// Status.
    pub(super) status: &'static str,
    /// exam and therapy.
    pub(super) category: Vec<CodeableConcept<'a>>,
    /// What.
    pub(super) code: CodeableConcept<'a>,
    /// Whose.
    pub(super) subject: Reference<'a>,
    /// During which stay or visit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) encounter: Option<Reference<'a>>,
    /// When.
    #[serde(flatten)]
    pub(super) effective: Effective<'a>,
    /// When this version was signed.
    pub(super) issued: Words<'a>,
    /// By whom.
    pub(super) performer: Vec<Reference<'a>>,
    /// The value.
    #[serde(flatten)]
    pub(super) value: Option<ObservationValue<'a>>,
    /// How the value lies beside a published range.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub(super) interpretation: Vec<CodeableConcept<'a>>,
    /// Notes.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub(super) note: Vec<Annotation<'a>>,
    /// Where.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) body_site: Option<CodeableConcept<'a>>,
    /// How.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) method: Option<CodeableConcept<'a>>,
    /// With what.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) device: Option<Reference<'a>>,
    /// Published ranges.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub(super) reference_range: Vec<ReferenceRange<'a>>,
    /// Members of a panel.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub(super) has_member: Vec<Reference<'a>>,
    /// Sources of a derived result.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub(super) derived_from: Vec<Reference<'a>>,
    /// Parts.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub(super) component: Vec<Component<'a>>,
}

/// `DiagnosticReport`.
#[derive(Clone, serde::Serialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct DiagnosticReport<'a> {
    /// Profile and tags.
    pub(super) meta: Meta<'a>,
    /// The summary.
    pub(super) text: Narrative<'a>,
    /// Identity.
    pub(super) identifier: Vec<Identifier<'a>>,
    /// Status.
    pub(super) status: &'static str,
    /// What.
    pub(super) code: CodeableConcept<'a>,
    /// Whose.
    pub(super) subject: Reference<'a>,
    /// During which stay or visit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) encounter: Option<Reference<'a>>,
    /// When it was examined.
    pub(super) effective_period: Period<'a>,
    /// When this version was signed.
    pub(super) issued: Words<'a>,
    /// By whom.
    pub(super) performer: Vec<Reference<'a>>,
    /// The panel.
    pub(super) result: Vec<Reference<'a>>,
    /// The therapist's own conclusion.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) conclusion: Option<Words<'a>>,
}

/// Device.
#[derive(Clone, serde::Serialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct Device<'a> {
    /// Profile and tags.
    pub(super) meta: Meta<'a>,
    /// Identity.
    pub(super) identifier: Vec<Identifier<'a>>,
    /// Name.
    pub(super) device_name: Vec<DeviceName<'a>>,
    /// Notes.
    pub(super) note: Vec<Annotation<'a>>,
}

/// Device.deviceName.
#[derive(Clone, serde::Serialize)]
pub(super) struct DeviceName<'a> {
    /// Name.
    pub(super) name: Words<'a>,
    /// Kind of name.
    #[serde(rename = "type")]
    pub(super) kind: &'static str,
}

/// Provenance.
#[derive(Clone, serde::Serialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct Provenance<'a> {
    /// Profile and tags.
    pub(super) meta: Meta<'a>,
    /// What it is about.
    pub(super) target: Vec<Reference<'a>>,
    /// When it was observed.
    pub(super) occurred_period: Period<'a>,
    /// When it was signed.
    pub(super) recorded: Words<'a>,
    /// Where it was observed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) location: Option<Reference<'a>>,
    /// CREATE or UPDATE.
    pub(super) activity: CodeableConcept<'a>,
    /// Author and assembler.
    pub(super) agent: Vec<Agent<'a>>,
    /// The session document.
    pub(super) entity: Vec<Entity<'a>>,
}

/// Provenance.agent.
#[derive(Clone, serde::Serialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct Agent<'a> {
    /// Part played.
    #[serde(rename = "type")]
    pub(super) kind: CodeableConcept<'a>,
    /// Role in the clinic, in words.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub(super) role: Vec<CodeableConcept<'a>>,
    /// Who.
    pub(super) who: Reference<'a>,
    /// For whom.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) on_behalf_of: Option<Reference<'a>>,
}

/// Provenance.entity.
#[derive(Clone, serde::Serialize)]
pub(super) struct Entity<'a> {
    /// source.
    pub(super) role: &'static str,
    /// What.
    pub(super) what: Reference<'a>,
}
