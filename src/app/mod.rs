//! Use cases and wiring.
//!
//! Owns: what a person can ask for: encode, submit, deliver, read the trail. In: text and
//! settings. Out: results that both the command line and the pages show. Never: speaks HTTP to a
//! browser, prints, ends the process.

pub mod deliver;
pub mod encode;
pub mod submit;
pub mod view;
pub mod words;
