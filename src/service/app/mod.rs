//! Use cases and wiring.
//!
//! Owns: what a person can ask for: encode, submit, deliver, read the trail, look at a record server. In: text and
//! settings. Out: results that both the command line and the pages show. Never: speaks HTTP to a
//! browser, prints, ends the process.

pub mod alert;
mod as_set;
pub mod assess;
pub mod beside;
pub mod checked;
mod confirmed;
pub mod deliver;
mod dry_run;
pub mod earlier;
pub mod encode;
pub mod given;
pub mod held;
pub mod kept;
pub mod key;
mod needs;
mod not_accepted;
pub mod retention;
mod routed;
mod rows;
pub mod sheet;
pub mod shown;
mod sign_in;
pub mod statement;
pub mod submit;
pub mod summary;
pub mod tables;
pub mod target;
pub mod urgent;
pub mod view;
pub mod words;
pub mod worksheet;
