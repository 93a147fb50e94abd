//! What can be written after `catalogue confirm` and `catalogue pack`.

use crate::service::cli::arguments::own::OwnTables;
use crate::service::cli::examples;
use clap::Args;
use std::path::PathBuf;

/// Holds the published codes of the tables against your own release of LOINC or SNOMED CT.
///
/// Tells of each row whether the release agrees, differs, has retired it or does not have it. Codes that
/// wait to be confirmed are off; those that the release confirms are switched on in the table of codes
/// written with --out, which is yours. Ours are never changed, and nothing is sent anywhere.
#[derive(Args)]
#[command(before_help = examples::FIRST_CATALOGUE_CONFIRM, after_help = examples::CATALOGUE_CONFIRM)]
pub(in crate::service::cli) struct ConfirmOptions {
    /// Table of a LOINC release: LoincTableCore.csv or Loinc.csv.
    #[arg(long, value_name = "FILE", required_unless_present = "snomed")]
    pub(in crate::service::cli) loinc: Option<PathBuf>,
    /// Descriptions of a SNOMED CT release in RF2: `sct2_Description_….txt`.
    #[arg(long, value_name = "FILE")]
    pub(in crate::service::cli) snomed: Option<PathBuf>,
    /// Concepts of the same release, which say what is inactive: `sct2_Concept_….txt`.
    #[arg(long, value_name = "FILE", requires = "snomed")]
    pub(in crate::service::cli) snomed_concepts: Option<PathBuf>,
    /// Folder of your own tables to write codes.csv to, with the confirmed rows switched on; made when
    /// missing. Name it with --tables afterwards.
    #[arg(long, value_name = "DIR")]
    pub(in crate::service::cli) out: Option<PathBuf>,
    #[command(flatten)]
    pub(in crate::service::cli) own: OwnTables,
    /// Print as JSON.
    #[arg(long)]
    pub(in crate::service::cli) json: bool,
}

/// The code systems, value sets, maps, profiles and definitions as a FHIR package.
///
/// The same tables give the same bytes.
#[derive(Args)]
#[command(before_help = examples::FIRST_CATALOGUE_PACK, after_help = examples::CATALOGUE_PACK)]
pub(in crate::service::cli) struct PackOptions {
    /// File to write, such as fascicle.tgz.
    #[arg(long, value_name = "FILE")]
    pub(in crate::service::cli) out: PathBuf,
    #[command(flatten)]
    pub(in crate::service::cli) own: OwnTables,
}
