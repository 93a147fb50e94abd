//! What can be written on the command line.

use clap::{Args, Parser, Subcommand};
use std::path::PathBuf;

/// Turns a physiotherapist's bedside findings into FHIR R4 Observations and delivers them.
///
/// Not certified as a medical device: a site must assess it before clinical use. It supports and
/// never replaces the judgement of a qualified clinician; local policy and the treating team come
/// first.
#[derive(Parser)]
#[command(version, max_term_width = 100)]
pub(super) struct Arguments {
    #[command(subcommand)]
    pub(super) command: Command,
}

#[derive(Subcommand)]
pub(super) enum Command {
    Encode(EncodeOptions),
    Check(CheckOptions),
}

/// Session documents in, FHIR Bundles out: the export without a server.
#[derive(Args)]
pub(super) struct EncodeOptions {
    /// Session documents (JSON), in the order they were examined.
    #[arg(required = true)]
    pub(super) files: Vec<PathBuf>,
    /// One Bundle a line instead of one readable Bundle.
    #[arg(long)]
    pub(super) ndjson: bool,
    /// Write to this file instead of standard output.
    #[arg(long)]
    pub(super) out: Option<PathBuf>,
}

/// Every problem of session documents or FHIR JSON, with path, reason and what to do.
#[derive(Args)]
pub(super) struct CheckOptions {
    /// Session documents, Observations or Bundles (JSON).
    #[arg(required_unless_present = "schema")]
    pub(super) files: Vec<PathBuf>,
    /// Print the problems as JSON.
    #[arg(long)]
    pub(super) json: bool,
    /// Print the JSON Schema of the session document and stop.
    #[arg(long)]
    pub(super) schema: bool,
}
