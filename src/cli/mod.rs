//! The commands.
//!
//! Owns: arguments, what is printed, exit codes. In: the command line. Out: text for people or
//! JSON for machines on standard output. Never: speaks SQL, builds FHIR JSON, writes a value about
//! a person to standard error.

mod arguments;
mod documents;
mod report;

use crate::clock::{Clock, MachineClock};
use arguments::{Arguments, Command};
use clap::Parser;
use std::process::ExitCode;

/// How a command ended, as the exit code says it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Ended {
    /// 0: done.
    Done,
    /// 3: nothing is wrong, but cautions wait for a named person's confirmation.
    WaitsForConfirmation,
    /// 1: something is wrong with what was given.
    Problems,
    /// 4: accepted and kept, but not delivered yet.
    NotDelivered,
    /// 5: accepted and kept; a person has to decide.
    WaitsForAPerson,
    /// 70: a fault of the program or the machine.
    Fault,
}

impl Ended {
    fn code(self) -> u8 {
        match self {
            Self::Done => 0,
            Self::Problems => 1,
            Self::WaitsForConfirmation => 3,
            Self::NotDelivered => 4,
            Self::WaitsForAPerson => 5,
            Self::Fault => 70,
        }
    }
}

/// Runs the command line to its end.
pub fn run() -> ExitCode {
    let arguments = Arguments::parse();
    let clock = MachineClock;
    let ended = match &arguments.command {
        Command::Encode(options) => documents::encode(options, clock.now()),
        Command::Check(options) => documents::check(options, clock.now()),
    };
    ExitCode::from(ended.unwrap_or_else(|fault| report::fault(&fault)).code())
}
