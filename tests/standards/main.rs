#![cfg(test)]
//! One file for each published document; above each function the clause it holds us to.

mod emitted;
mod features;
mod fhir_r4_bundle;
mod fhir_r4_datatypes;
mod fhir_r4_observation;
mod loinc;
mod readback;
mod rfc6901_pointer;
mod rfc8785_canonical;
mod rfc9110_retry;
mod rfc9562_uuid;
mod snomed;
mod soucie_2011;
mod tables;

#[path = "../support/document.rs"]
mod document;
#[path = "../support/every.rs"]
mod every;
#[path = "../support/golden.rs"]
mod golden;
#[path = "../support/host.rs"]
mod host;
#[path = "../support/judged.rs"]
mod judged;
#[path = "../support/resource.rs"]
mod resource;
#[path = "../support/stretch_ranges.rs"]
mod stretch_ranges;
