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

/// Hands an exact decimal over as the text of a number: no float, no exponent.
impl Serialize for Exact {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_newtype_struct(NUMBER, &self.to_string())
    }
}

/// A resource we emit.
#[derive(Clone, serde::Serialize)]
#[serde(tag = "resourceType")]
pub(super) enum Resource {
    /// Observation.
    Observation(Box<Observation>),
    /// Device.
    Device(Device),
    /// `DiagnosticReport`.
    DiagnosticReport(Box<DiagnosticReport>),
    /// Provenance.
    Provenance(Box<Provenance>),
}

/// Meta: profile and tag.
#[derive(Clone, Default, serde::Serialize)]
pub(super) struct Meta {
    /// Profiles claimed.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub(super) profile: Vec<String>,
    /// Tags.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub(super) tag: Vec<Coding>,
}

/// Coding.
#[derive(Clone, serde::Serialize)]
pub(super) struct Coding {
    /// Code system.
    pub(super) system: String,
    /// Code.
    pub(super) code: String,
    /// Display.
    pub(super) display: String,
}

/// `CodeableConcept`.
#[derive(Clone, Default, serde::Serialize)]
pub(super) struct CodeableConcept {
    /// Codes.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub(super) coding: Vec<Coding>,
    /// Words.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) text: Option<String>,
}

/// Identifier.
#[derive(Clone, serde::Serialize)]
pub(super) struct Identifier {
    /// Namespace.
    pub(super) system: String,
    /// Value.
    pub(super) value: String,
}

/// Reference.
#[derive(Clone, Default, serde::Serialize)]
pub(super) struct Reference {
    /// Literal reference.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) reference: Option<String>,
    /// Type of the target.
    #[serde(rename = "type", skip_serializing_if = "Option::is_none")]
    pub(super) kind: Option<String>,
    /// Logical reference.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) identifier: Option<Identifier>,
    /// Words.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) display: Option<String>,
}

/// Quantity.
#[derive(Clone, serde::Serialize)]
pub(super) struct Quantity {
    /// Number.
    pub(super) value: Exact,
    /// `>=` for a bound.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) comparator: Option<&'static str>,
    /// Unit for people.
    pub(super) unit: String,
    /// UCUM.
    pub(super) system: String,
    /// UCUM code.
    pub(super) code: String,
}

/// Period.
#[derive(Clone, serde::Serialize)]
pub(super) struct Period {
    /// Start.
    pub(super) start: String,
    /// End.
    pub(super) end: String,
}

/// Extension with a concept as its value.
#[derive(Clone, serde::Serialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct Extension {
    /// Which extension.
    pub(super) url: &'static str,
    /// Its value.
    pub(super) value_codeable_concept: CodeableConcept,
}

/// Annotation.
#[derive(Clone, serde::Serialize)]
pub(super) struct Annotation {
    /// Words.
    pub(super) text: String,
}

/// `SampledData`.
#[derive(Clone, serde::Serialize)]
pub(super) struct SampledData {
    /// Zero of the samples, with their unit.
    pub(super) origin: Quantity,
    /// Milliseconds between samples.
    pub(super) period: Exact,
    /// Values at each time.
    pub(super) dimensions: u32,
    /// The samples, a blank between them.
    pub(super) data: String,
}

/// The value of an Observation or a component.
#[derive(Clone, serde::Serialize)]
#[serde(rename_all = "camelCase")]
pub(super) enum ObservationValue {
    /// valueQuantity
    ValueQuantity(Quantity),
    /// valueCodeableConcept
    ValueCodeableConcept(CodeableConcept),
    /// valueInteger
    ValueInteger(u32),
    /// valueSampledData
    ValueSampledData(SampledData),
    /// valueDateTime
    ValueDateTime(String),
    /// valueString
    ValueString(String),
    /// dataAbsentReason
    DataAbsentReason(CodeableConcept),
}

/// When it was observed.
#[derive(Clone, serde::Serialize)]
#[serde(rename_all = "camelCase")]
pub(super) enum Effective {
    /// effectiveDateTime
    EffectiveDateTime(String),
    /// effectivePeriod
    EffectivePeriod(Period),
}

/// A component.
#[derive(Clone, serde::Serialize)]
pub(super) struct Component {
    /// What.
    pub(super) code: CodeableConcept,
    /// Its value.
    #[serde(flatten)]
    pub(super) value: ObservationValue,
}

/// Observation.referenceRange.
#[derive(Clone, serde::Serialize)]
pub(super) struct ReferenceRange {
    /// Lower end.
    pub(super) low: Quantity,
    /// Upper end.
    pub(super) high: Quantity,
    /// Ages for which it holds.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) age: Option<Range>,
    /// Table, version and what it describes.
    pub(super) text: String,
}

/// Range.
#[derive(Clone, serde::Serialize)]
pub(super) struct Range {
    /// Lower end.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) low: Option<Quantity>,
    /// Upper end.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) high: Option<Quantity>,
}

/// Narrative.
#[derive(Clone, serde::Serialize)]
pub(super) struct Narrative {
    /// `generated`: it says nothing that the resource does not; `additional` otherwise.
    pub(super) status: &'static str,
    /// XHTML.
    pub(super) div: String,
}

/// Observation.
#[derive(Clone, serde::Serialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct Observation {
    /// Profile and tags.
    pub(super) meta: Meta,
    /// The statement in words.
    pub(super) text: Narrative,
    /// Body position.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub(super) extension: Vec<Extension>,
    /// Identity.
    pub(super) identifier: Vec<Identifier>,
    /// Status.
    pub(super) status: &'static str,
    /// exam and therapy.
    pub(super) category: Vec<CodeableConcept>,
    /// What.
    pub(super) code: CodeableConcept,
    /// Whose.
    pub(super) subject: Reference,
    /// During which stay or visit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) encounter: Option<Reference>,
    /// When.
    #[serde(flatten)]
    pub(super) effective: Effective,
    /// When this version was signed.
    pub(super) issued: String,
    /// By whom.
    pub(super) performer: Vec<Reference>,
    /// The value.
    #[serde(flatten)]
    pub(super) value: Option<ObservationValue>,
    /// How the value lies beside a published range.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub(super) interpretation: Vec<CodeableConcept>,
    /// Notes.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub(super) note: Vec<Annotation>,
    /// Where.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) body_site: Option<CodeableConcept>,
    /// How.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) method: Option<CodeableConcept>,
    /// With what.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) device: Option<Reference>,
    /// Published ranges.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub(super) reference_range: Vec<ReferenceRange>,
    /// Members of a panel.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub(super) has_member: Vec<Reference>,
    /// Sources of a derived result.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub(super) derived_from: Vec<Reference>,
    /// Parts.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub(super) component: Vec<Component>,
}

/// `DiagnosticReport`.
#[derive(Clone, serde::Serialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct DiagnosticReport {
    /// Profile and tags.
    pub(super) meta: Meta,
    /// The summary.
    pub(super) text: Narrative,
    /// Identity.
    pub(super) identifier: Vec<Identifier>,
    /// Status.
    pub(super) status: &'static str,
    /// What.
    pub(super) code: CodeableConcept,
    /// Whose.
    pub(super) subject: Reference,
    /// During which stay or visit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) encounter: Option<Reference>,
    /// When it was examined.
    pub(super) effective_period: Period,
    /// When this version was signed.
    pub(super) issued: String,
    /// By whom.
    pub(super) performer: Vec<Reference>,
    /// The panel.
    pub(super) result: Vec<Reference>,
    /// The therapist's own conclusion.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) conclusion: Option<String>,
}

/// Device.
#[derive(Clone, serde::Serialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct Device {
    /// Profile and tags.
    pub(super) meta: Meta,
    /// Identity.
    pub(super) identifier: Vec<Identifier>,
    /// Name.
    pub(super) device_name: Vec<DeviceName>,
    /// Notes.
    pub(super) note: Vec<Annotation>,
}

/// Device.deviceName.
#[derive(Clone, serde::Serialize)]
pub(super) struct DeviceName {
    /// Name.
    pub(super) name: String,
    /// Kind of name.
    #[serde(rename = "type")]
    pub(super) kind: &'static str,
}

/// Provenance.
#[derive(Clone, serde::Serialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct Provenance {
    /// Profile and tags.
    pub(super) meta: Meta,
    /// What it is about.
    pub(super) target: Vec<Reference>,
    /// When it was observed.
    pub(super) occurred_period: Period,
    /// When it was signed.
    pub(super) recorded: String,
    /// Where it was observed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) location: Option<Reference>,
    /// CREATE or UPDATE.
    pub(super) activity: CodeableConcept,
    /// Author and assembler.
    pub(super) agent: Vec<Agent>,
    /// The session document.
    pub(super) entity: Vec<Entity>,
}

/// Provenance.agent.
#[derive(Clone, serde::Serialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct Agent {
    /// Part played.
    #[serde(rename = "type")]
    pub(super) kind: CodeableConcept,
    /// Role in the clinic, in words.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub(super) role: Vec<CodeableConcept>,
    /// Who.
    pub(super) who: Reference,
    /// For whom.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) on_behalf_of: Option<Reference>,
}

/// Provenance.entity.
#[derive(Clone, serde::Serialize)]
pub(super) struct Entity {
    /// source.
    pub(super) role: &'static str,
    /// What.
    pub(super) what: Reference,
}
