//! Fascicle: bedside findings of neurological physiotherapy as FHIR R4 Observations.
//!
//! The wings stand in the order of a session's way, and so do the rooms in them (ARCHITECTURE.md); each may
//! name what stands before it, never what comes after.

pub mod base;
pub mod delivery;
pub mod examination;
pub mod fhir;
pub mod practice;
pub mod service;
pub mod tables;
