//! Traces of stretches: the computation against known truth and against another implementation.
#![cfg(test)]

#[path = "../support/document.rs"]
mod document;
#[path = "../support/resource.rs"]
mod resource;
#[path = "../support/traces.rs"]
mod synthetic;

#[path = "../support/trials.rs"]
mod trials;

mod files;
mod fixture;
mod found;
mod laws;
mod scipy;
mod session;
mod truth;
