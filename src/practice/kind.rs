//! The resource types this server keeps.
//!
//! Owns: their names, the elements R4 gives each, and the searches each answers.
//! In: a name. Out: a [`Kind`] and its tables. Never: looks into a resource.

/// A resource type that can be stored here.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Kind {
    /// <http://hl7.org/fhir/R4/device.html>
    Device,
    /// <http://hl7.org/fhir/R4/diagnosticreport.html>
    DiagnosticReport,
    /// <http://hl7.org/fhir/R4/encounter.html>
    Encounter,
    /// <http://hl7.org/fhir/R4/observation.html>
    Observation,
    /// <http://hl7.org/fhir/R4/organization.html>
    Organization,
    /// <http://hl7.org/fhir/R4/patient.html>
    Patient,
    /// <http://hl7.org/fhir/R4/practitioner.html>
    Practitioner,
    /// <http://hl7.org/fhir/R4/provenance.html>
    Provenance,
}

/// How a search parameter is compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Comparing {
    /// `[system]|[code]`
    Token,
    /// `[type]/[id]`
    Reference,
    /// `[prefix][date]`
    Date,
}

/// The elements every resource may have, in the notation of [`Kind::elements`].
pub(super) const ANY_RESOURCE: &str =
    "id meta implicitRules language text contained* extension* modifierExtension*";

impl Kind {
    /// All of them, by name.
    pub(super) const ALL: [Self; 8] = [
        Self::Device,
        Self::DiagnosticReport,
        Self::Encounter,
        Self::Observation,
        Self::Organization,
        Self::Patient,
        Self::Practitioner,
        Self::Provenance,
    ];

    /// The type with this name.
    pub(super) fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.name() == name)
    }

    /// The name FHIR gives it.
    pub(super) const fn name(self) -> &'static str {
        match self {
            Self::Device => "Device",
            Self::DiagnosticReport => "DiagnosticReport",
            Self::Encounter => "Encounter",
            Self::Observation => "Observation",
            Self::Organization => "Organization",
            Self::Patient => "Patient",
            Self::Practitioner => "Practitioner",
            Self::Provenance => "Provenance",
        }
    }

    /// Its own elements: `!` is 1..1, `+` is 1..*, `*` is 0..*, no sign is 0..1, and
    /// `value[A|B]` is a choice of types.
    ///
    /// Source: FHIR R4 (4.0.1), the element table on the page of each type.
    pub(super) const fn elements(self) -> &'static str {
        match self {
            Self::Device => {
                "identifier* definition udiCarrier* status statusReason* distinctIdentifier \
                 manufacturer manufactureDate expirationDate lotNumber serialNumber deviceName* \
                 modelNumber partNumber type specialization* version* property* patient owner \
                 contact* location url note* safety* parent"
            }
            Self::DiagnosticReport => {
                "identifier* basedOn* status! category* code! subject encounter \
                 effective[DateTime|Period] issued performer* resultsInterpreter* specimen* \
                 result* imagingStudy* media* conclusion conclusionCode* presentedForm*"
            }
            Self::Encounter => {
                "identifier* status! statusHistory* class! classHistory* type* serviceType \
                 priority subject episodeOfCare* basedOn* participant* appointment* period length \
                 reasonCode* reasonReference* diagnosis* account* hospitalization location* \
                 serviceProvider partOf"
            }
            Self::Observation => {
                "identifier* basedOn* partOf* status! category* code! subject focus* encounter \
                 effective[DateTime|Period|Timing|Instant] issued performer* \
                 value[Quantity|CodeableConcept|String|Boolean|Integer|Range|Ratio|SampledData|Time|DateTime|Period] \
                 dataAbsentReason interpretation* note* bodySite method specimen device \
                 referenceRange* hasMember* derivedFrom* component*"
            }
            Self::Organization => {
                "identifier* active type* name alias* telecom* address* partOf contact* endpoint*"
            }
            Self::Patient => {
                "identifier* active name* telecom* gender birthDate deceased[Boolean|DateTime] \
                 address* maritalStatus multipleBirth[Boolean|Integer] photo* contact* \
                 communication* generalPractitioner* managingOrganization link*"
            }
            Self::Practitioner => {
                "identifier* active name* telecom* address* gender birthDate photo* \
                 qualification* communication*"
            }
            Self::Provenance => {
                "target+ occurred[Period|DateTime] recorded! policy* location reason* activity \
                 agent+ entity* signature*"
            }
        }
    }

    /// The searches it answers, beside `_id`.
    ///
    /// Source: FHIR R4 (4.0.1), searchparameter-registry.html.
    pub(super) const fn searches(self) -> &'static [(&'static str, Comparing)] {
        match self {
            Self::Device => &[
                ("_tag", Comparing::Token),
                ("identifier", Comparing::Token),
                ("patient", Comparing::Reference),
            ],
            Self::DiagnosticReport | Self::Observation => &[
                ("_tag", Comparing::Token),
                ("code", Comparing::Token),
                ("date", Comparing::Date),
                ("identifier", Comparing::Token),
                ("patient", Comparing::Reference),
                ("subject", Comparing::Reference),
            ],
            Self::Encounter => &[
                ("_tag", Comparing::Token),
                ("date", Comparing::Date),
                ("identifier", Comparing::Token),
                ("patient", Comparing::Reference),
                ("subject", Comparing::Reference),
            ],
            Self::Organization | Self::Patient | Self::Practitioner => {
                &[("_tag", Comparing::Token), ("identifier", Comparing::Token)]
            }
            Self::Provenance => &[
                ("_tag", Comparing::Token),
                ("patient", Comparing::Reference),
                ("recorded", Comparing::Date),
                ("target", Comparing::Reference),
            ],
        }
    }
}
