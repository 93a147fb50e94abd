//! The `fascicle` binary.

use mimalloc::MiMalloc;
use std::process::ExitCode;

#[global_allocator]
static ALLOCATOR: MiMalloc = MiMalloc;

fn main() -> ExitCode {
    fascicle::service::cli::run()
}
