//! The rows of our tables behind the coding of one resource.

use crate::base::json::Node;
use crate::tables::catalogue::Catalogue;

/// Where a value may stand in a resource.
const VALUES: [&str; 3] = ["valueCodeableConcept", "dataAbsentReason", "method"];

/// The rows that the codes of a resource came from, in the order in which they stand there.
pub(super) fn of(resource: &Node, catalogue: &Catalogue) -> Vec<TableRow> {
    let mut rows = Vec::new();
    concept(resource.member("code"), catalogue, &mut rows);
    for value in VALUES {
        concept(resource.member(value), catalogue, &mut rows);
    }
    concept(resource.member("bodySite"), catalogue, &mut rows);
    for component in resource.items_of("component") {
        concept(component.member("code"), catalogue, &mut rows);
        for value in VALUES {
            concept(component.member(value), catalogue, &mut rows);
        }
    }
    let mut seen = Vec::new();
    rows.retain(|row| {
        let first = !seen.contains(row);
        seen.push(row.clone());
        first
    });
    rows
}

fn concept(concept: Option<&Node>, catalogue: &Catalogue, rows: &mut Vec<TableRow>) {
    let codings = concept.map_or(&[][..], |concept| concept.items_of("coding"));
    let own = codings.iter().find_map(|coding| own(coding, catalogue));
    let Some((list, code)) = own else { return };
    let thing = match list {
        "measure" => {
            rows.extend(catalogue.measures.get(code).map(|row| TableRow {
                table: "measures.csv".to_owned(),
                key: code.to_owned(),
                says: row.label.clone(),
                source: row.source.clone(),
                locator: row.locator.clone(),
            }));
            code.to_owned()
        }
        "site" => {
            let place = code.split_once('.').map_or(code, |(_, place)| place);
            rows.extend(catalogue.sites.get(place).map(|row| TableRow {
                table: "sites.csv".to_owned(),
                key: place.to_owned(),
                says: published(row, codings),
                source: row.source.clone(),
                locator: row.locator.clone(),
            }));
            return;
        }
        list => {
            rows.extend(catalogue.word(list, code).map(|row| TableRow {
                table: format!("scales/{list}.csv"),
                key: code.to_owned(),
                says: row.label.clone(),
                source: row.source.clone(),
                locator: row.locator.clone(),
            }));
            format!("{list}/{code}")
        }
    };
    for row in catalogue.codes_of(&thing) {
        let stands = |coding: &Node| {
            coding.text_of("system") == Some(&row.system)
                && coding.text_of("code") == Some(&row.code)
        };
        if codings.iter().any(stands) {
            rows.push(TableRow {
                table: "codes.csv".to_owned(),
                key: format!("{thing} {}", row.relation.word()),
                says: format!("{}|{} {}", row.system, row.code, row.display),
                source: row.source.clone(),
                locator: row.locator.clone(),
            });
        }
    }
}

/// The list and code of a coding of our own.
fn own<'a>(coding: &'a Node, catalogue: &Catalogue) -> Option<(&'a str, &'a str)> {
    let (system, code) = (coding.text_of("system")?, coding.text_of("code")?);
    let list = system.strip_prefix(&Catalogue::system_of(""))?;
    let known = ["measure", "site"].contains(&list) || catalogue.scales.contains_key(list);
    known.then_some((list, code))
}

/// The label of a site, and the published code that was chosen for it.
fn published(row: &crate::tables::catalogue::rows::Site, codings: &[Node]) -> String {
    let sent = row.published().into_iter().flatten().find(|(code, _)| {
        let stands = |coding: &Node| coding.text_of("code") == Some(*code);
        codings.iter().any(stands)
    });
    match sent {
        Some((code, display)) => {
            format!(
                "{}; {}|{code} {display}",
                row.label,
                crate::tables::catalogue::SNOMED
            )
        }
        None => format!("{}; no published code was seen", row.label),
    }
}

/// A row of our tables, with where it is from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TableRow {
    /// Name of the table under `profiles/`.
    pub table: String,
    /// Which row.
    pub key: String,
    /// What it says.
    pub says: String,
    /// A key of `SOURCES.toml`.
    pub source: String,
    /// Where in the source.
    pub locator: String,
}
