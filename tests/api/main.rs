#![cfg(test)]
//! The HTTP interface in process: every status and kind of problem, and its published description.

#[expect(dead_code, reason = "the other suites use the rest of it")]
#[path = "../support/document.rs"]
mod document;

mod described;
mod door;
mod kept;
mod metrics;
mod people_decide;
mod service;
mod submitting;
mod summary;
mod trail;
