//! What Fascicle needs of each type of a record server: the one table behind the statement of
//! requirements and behind what `target` tells.

use crate::tables::catalogue::conformance::needs::Declared::{Interaction, Search};

/// Where in the declaration of a type a need is looked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Declared {
    /// Among the interactions of the type.
    Interaction,
    /// Among its search parameters.
    Search,
}

/// One thing a record server has to be able to do, or had better be.
#[derive(Debug, Clone, Copy)]
pub struct Need {
    /// Resource type.
    pub kind: &'static str,
    /// Where it is declared.
    pub place: Declared,
    /// Name of the interaction or search parameter.
    pub name: &'static str,
    /// What does not work without it.
    pub without: &'static str,
    /// Whether delivery rests on it.
    pub must: bool,
}

const fn must(
    kind: &'static str,
    place: Declared,
    name: &'static str,
    without: &'static str,
) -> Need {
    Need {
        kind,
        place,
        name,
        without,
        must: true,
    }
}

const fn helps(
    kind: &'static str,
    place: Declared,
    name: &'static str,
    without: &'static str,
) -> Need {
    Need {
        kind,
        place,
        name,
        without,
        must: false,
    }
}

const ONCE: &str = "what is already there cannot be found, and nothing is sent without looking";

/// What delivery asks of a server, and what reading its records later asks.
pub const NEEDS: &[Need] = &[
    must(
        "Observation",
        Interaction,
        "create",
        "no finding can be stored",
    ),
    must("Observation", Interaction, "search-type", ONCE),
    must(
        "Observation",
        Interaction,
        "update",
        "a correction cannot replace a finding",
    ),
    helps(
        "Observation",
        Interaction,
        "read",
        "a receipt names Observations nobody can open",
    ),
    must("Observation", Search, "identifier", ONCE),
    helps(
        "Observation",
        Search,
        "patient",
        "findings of one person cannot be listed",
    ),
    helps(
        "Observation",
        Search,
        "code",
        "one measure cannot be followed over time",
    ),
    helps(
        "Observation",
        Search,
        "date",
        "findings of one day cannot be listed",
    ),
    must(
        "Provenance",
        Interaction,
        "create",
        "who found what cannot be stored",
    ),
    must("Provenance", Interaction, "search-type", ONCE),
    must("Provenance", Search, "target", ONCE),
    must(
        "Device",
        Interaction,
        "create",
        "an instrument cannot be stored",
    ),
    must("Device", Interaction, "search-type", ONCE),
    must("Device", Search, "identifier", ONCE),
    must(
        REPORT,
        Interaction,
        "create",
        "the summary of a session cannot be stored as a report",
    ),
    must(REPORT, Interaction, "search-type", ONCE),
    must(
        REPORT,
        Interaction,
        "update",
        "a correction cannot replace a report",
    ),
    must(REPORT, Search, "identifier", ONCE),
    must(
        "Patient",
        Interaction,
        "search-type",
        "the person cannot be found",
    ),
    must(
        "Patient",
        Search,
        "identifier",
        "the person cannot be found",
    ),
    helps(
        "Practitioner",
        Interaction,
        "search-type",
        "a therapist is named by identifier only",
    ),
    helps(
        "Organization",
        Interaction,
        "search-type",
        "an organisation is named by identifier only",
    ),
    helps(
        "Encounter",
        Interaction,
        "search-type",
        "a stay or visit is never matched: what follows is for the target to say",
    ),
];

/// The types created under a condition.
pub const CONDITIONAL: [&str; 4] = ["Observation", "Provenance", "Device", REPORT];

/// The type that only a target needs to which reports are delivered.
pub const REPORT: &str = "DiagnosticReport";

/// The types, in the order they are told.
pub const KINDS: [&str; 8] = [
    "Observation",
    "Provenance",
    "Device",
    REPORT,
    "Patient",
    "Practitioner",
    "Organization",
    "Encounter",
];
