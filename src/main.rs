//! The `fascicle` binary.

fn main() {}
