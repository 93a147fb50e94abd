//! What every other wing stands on: problems, private values, exact numbers, time and JSON.

pub mod clock;
pub mod code;
pub mod exact;
pub mod json;
pub mod private;
pub mod problem;
pub mod schema;
