//! The status of an Observation: its words and what they mean, in one place.

use crate::base::json::{Node, text};

/// "Codes providing the status of an observation" (FHIR R4 4.0.1, valueset-observation-status.html). A
/// report has those that we write as well (valueset-diagnostic-report-status.html).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Status {
    /// "The existence of the observation is registered, but there is no result yet available."
    Registered,
    /// "This is an initial or interim observation: data may be incomplete or unverified."
    Preliminary,
    /// "The observation is complete and there are no further actions needed."
    Final,
    /// "Subsequent to being Final, the observation has been modified subsequent."
    Amended,
    /// "Subsequent to being Final, the observation has been modified to correct an error".
    Corrected,
    /// "The observation is unavailable because the measurement was not started or not completed".
    Cancelled,
    /// "The observation has been withdrawn following previous final release."
    EnteredInError,
    /// "The authoring/source system does not know which of the status values currently applies".
    Unknown,
}

impl Status {
    /// All of them.
    pub const ALL: [Self; 8] = [
        Self::Registered,
        Self::Preliminary,
        Self::Final,
        Self::Amended,
        Self::Corrected,
        Self::Cancelled,
        Self::EnteredInError,
        Self::Unknown,
    ];

    /// The code of FHIR.
    pub const fn code(self) -> &'static str {
        match self {
            Self::Registered => "registered",
            Self::Preliminary => "preliminary",
            Self::Final => "final",
            Self::Amended => "amended",
            Self::Corrected => "corrected",
            Self::Cancelled => "cancelled",
            Self::EnteredInError => "entered-in-error",
            Self::Unknown => "unknown",
        }
    }

    /// The status of a code; nothing when FHIR has no such code.
    pub fn named(code: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|status| status.code() == code)
    }

    /// What a resource says; nothing when it says none that FHIR has.
    pub fn of(resource: &Node) -> Option<Self> {
        resource.text_of("status").and_then(Self::named)
    }

    /// Writes it into a resource.
    pub(super) fn set(self, resource: &mut Node) {
        resource.set("status", text(self.code()));
    }

    /// What a result has when it is first sent.
    pub(super) const fn first(withdrawn: bool, preliminary: bool) -> Self {
        match (withdrawn, preliminary) {
            (true, _) => Self::EnteredInError,
            (false, true) => Self::Preliminary,
            (false, false) => Self::Final,
        }
    }

    /// True for a result that can be read as one: complete, and not taken back.
    pub const fn stands(self) -> bool {
        matches!(self, Self::Final | Self::Amended | Self::Corrected)
    }
}
