#![cfg(test)]
//! What a FHIR R4 record server promises on the wire, asked of two servers with the same words.
//!
//! Every clause runs against the practice server, in process. Where `FASCICLE_RECORD_SERVER` holds
//! the base address of a real server, the same clause runs against that one too.

mod create;
mod digits;
mod metadata;
mod people;
mod practice_only;
mod read;
mod refusal;
mod search;
mod server;
mod transaction;
mod update;
