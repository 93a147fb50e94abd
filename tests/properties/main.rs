#![cfg(test)]
//! Laws that hold for any document, tried on random ones; `PROPTEST_CASES` asks for more.

mod compared;
mod corpus;
mod digits;
mod form;
mod notation;
mod order;
mod panics;
mod random;
mod sheets;
mod summary;

#[path = "../support/document.rs"]
mod document;
#[path = "../support/facts.rs"]
mod facts;
#[path = "../fuzz/parsers.rs"]
mod parsers;
#[path = "../support/sessions.rs"]
mod sessions;

/// A few cases by default, so that the laws are tried in every run.
fn few(cases: u32) -> proptest::test_runner::Config {
    let asked = std::env::var_os("PROPTEST_CASES");
    let asked = asked.and_then(|asked| asked.to_str()?.parse().ok());
    proptest::test_runner::Config {
        cases: asked.unwrap_or(cases),
        failure_persistence: None,
        ..Default::default()
    }
}
