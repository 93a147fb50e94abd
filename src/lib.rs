//! Fascicle: bedside findings of neurological physiotherapy as FHIR R4 Observations.
//!
//! The rooms stand in one-way order (ARCHITECTURE.md); each may name rooms above it, never below.

pub mod catalogue;
pub mod clock;
pub mod exact;
pub mod intake;
pub mod json;
pub mod private;
pub mod problem;
