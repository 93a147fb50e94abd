//! What leaves: codes, the words a colleague reads, FHIR resources, and their check.

pub mod check;
pub mod coding;
pub mod record;
pub mod summary;
