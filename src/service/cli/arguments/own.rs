//! Tables of the site, as many commands take them.

use clap::Args;
use std::path::PathBuf;

/// Tables of the site.
#[derive(Args)]
pub(in crate::service::cli) struct OwnTables {
    /// Folder of tables and a map of codes of your own, laid over ours; nothing starts while one of
    /// them has a fault (see `catalogue check`).
    #[arg(long, value_name = "DIR")]
    pub(in crate::service::cli) tables: Option<PathBuf>,
    /// Table of published ranges to hold findings against, such as vairo-2012; several in the order in
    /// which they are asked. None unless one is named here or in the configuration.
    #[arg(long = "reference-table", value_name = "TABLE")]
    pub(in crate::service::cli) reference_tables: Vec<String>,
}
