//! The tables a command works with.

use crate::service::app::tables::load;
use crate::service::cli::report::Mistake;
use crate::tables::catalogue::Catalogue;
use std::collections::BTreeSet;
use std::path::Path;

/// The tables of the binary, with those of a folder laid over them where one is named,
/// and the tables of published ranges that are used.
pub(super) fn tables(own: Option<&Path>, reference: &[String]) -> anyhow::Result<Catalogue> {
    let loaded = load(own).map_err(|bad| match own {
        Some(_) => anyhow::Error::from(Mistake(bad.to_string())),
        None => bad.into(),
    });
    let mut catalogue = loaded?;
    catalogue
        .use_reference_tables(reference)
        .map_err(|unknown| {
            let known: BTreeSet<&str> = catalogue
                .reference_ranges
                .iter()
                .map(|row| row.table.as_str())
                .collect();
            let known: Vec<&str> = known.into_iter().collect();
            Mistake(format!(
                "no table of published ranges is named {}; there are {}",
                unknown.join(", "),
                known.join(", ")
            ))
        })?;
    Ok(catalogue)
}
