//! What was examined, in words and values: from a document to findings, comparisons and recordings.

pub mod compare;
pub mod finding;
pub mod intake;
pub mod measure;
pub mod trace;
