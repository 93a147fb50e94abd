//! The `fascicle` binary.

use std::process::ExitCode;

fn main() -> ExitCode {
    fascicle::cli::run()
}
