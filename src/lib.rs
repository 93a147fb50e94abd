//! Fascicle: bedside findings of neurological physiotherapy as FHIR R4 Observations.
//!
//! The rooms stand in one-way order (ARCHITECTURE.md); each may name rooms above it, never below.

pub mod app;
pub mod catalogue;
pub mod check;
pub mod cli;
pub mod clock;
pub mod coding;
pub mod compare;
pub mod config;
pub mod deliver;
pub mod exact;
pub mod finding;
pub mod intake;
pub mod json;
pub mod measure;
pub mod outbox;
pub mod practice;
pub mod private;
pub mod problem;
pub mod record;
pub mod summary;
pub mod trace;
pub mod web;
