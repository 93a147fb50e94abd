#![cfg(test)]
//! The machine the tests run on.

use std::process::Command;

/// The platform this toolchain builds for.
pub(crate) fn host() -> String {
    let told = Command::new("rustc")
        .arg("-vV")
        .output()
        .expect("rustc runs");
    let told = String::from_utf8(told.stdout).expect("UTF-8");
    let host = told.lines().find_map(|line| line.strip_prefix("host: "));
    host.expect("a host").to_owned()
}
