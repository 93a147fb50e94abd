//! Our published codes held against an operator's own release of the code system.
//!
//! Read as it streams: only what is said of the codes we name is kept.

mod loinc;
pub mod release;
mod snomed;

use crate::tables::catalogue::confirm::release::{NoRelease, Verdict};
use crate::tables::catalogue::rows::CodeRow;
use crate::tables::catalogue::{Catalogue, LOINC, SNOMED};
use std::collections::BTreeMap;
use std::io::Read;

/// One row of ours, and what the release says of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct JudgedRow {
    /// The table it stands in.
    pub table: &'static str,
    /// Its thing: a measure, a word of a list, or a site.
    pub thing: String,
    /// Code system.
    pub system: String,
    /// Code.
    pub code: String,
    /// What the release says.
    pub verdict: Verdict,
    /// The name the release gives it.
    pub display: Option<String>,
}

impl JudgedRow {
    /// True for a row that is off until it is confirmed.
    pub fn is_off(&self) -> bool {
        self.table == TO_CONFIRM
    }
}

const TO_CONFIRM: &str = "codes_to_confirm.csv";

/// Holds our LOINC codes against the table of a LOINC release (`LoincTableCore.csv` or `Loinc.csv`).
///
/// # Errors
/// [`NoRelease`].
pub fn loinc(table: impl Read, catalogue: &Catalogue) -> Result<Vec<JudgedRow>, NoRelease> {
    let said = loinc::read(table, &wanted(catalogue, LOINC))?;
    let mut lines: Vec<JudgedRow> = named(catalogue, LOINC)
        .into_iter()
        .map(|named| {
            let found = said.get(named.code);
            let verdict = loinc::of_display(named.display, found);
            named.line(verdict, found.map(loinc::LoincRow::name))
        })
        .collect();
    lines.extend(catalogue.codes_to_confirm.iter().map(|row| {
        let found = said.get(&row.code);
        let named = OwnCode {
            table: TO_CONFIRM,
            thing: row.thing.clone(),
            system: LOINC,
            code: &row.code,
            display: "",
        };
        named.line(
            loinc::of_parts(row, found),
            found.map(loinc::LoincRow::name),
        )
    }));
    Ok(lines)
}

/// Holds our SNOMED CT codes against the descriptions of a release, and against its concepts where
/// their file is given.
///
/// # Errors
/// [`NoRelease`].
pub fn snomed(
    descriptions: impl Read,
    concepts: Option<impl Read>,
    catalogue: &Catalogue,
) -> Result<Vec<JudgedRow>, NoRelease> {
    let wanted = wanted(catalogue, SNOMED);
    let said = snomed::read(descriptions, concepts, &wanted)?;
    let lines = named(catalogue, SNOMED).into_iter().map(|named| {
        let found = said.get(named.code);
        let verdict = snomed::of_display(named.display, found);
        named.line(verdict, found.and_then(snomed::SnomedConcept::name))
    });
    Ok(lines.collect())
}

/// One of our codes with the name we give it.
struct OwnCode<'a> {
    table: &'static str,
    thing: String,
    system: &'static str,
    code: &'a str,
    display: &'a str,
}

impl OwnCode<'_> {
    fn line(self, verdict: Verdict, display: Option<String>) -> JudgedRow {
        JudgedRow {
            table: self.table,
            thing: self.thing,
            system: self.system.to_owned(),
            code: self.code.to_owned(),
            verdict,
            display,
        }
    }
}

fn named<'a>(catalogue: &'a Catalogue, system: &'static str) -> Vec<OwnCode<'a>> {
    let codes = catalogue.codes.iter().filter(|row| row.system == system);
    let mut all: Vec<OwnCode<'_>> = codes
        .map(|row| OwnCode {
            table: "codes.csv",
            thing: row.thing.clone(),
            system,
            code: &row.code,
            display: &row.display,
        })
        .collect();
    if system == SNOMED {
        for site in catalogue.sites.values() {
            let published = site.published().into_iter();
            let parts = [
                site.site.clone(),
                format!("left.{}", site.site),
                format!("right.{}", site.site),
            ];
            all.extend(published.zip(parts).filter_map(|(code, thing)| {
                let (code, display) = code?;
                Some(OwnCode {
                    table: "sites.csv",
                    thing,
                    system,
                    code,
                    display,
                })
            }));
        }
    }
    all
}

fn wanted(catalogue: &Catalogue, system: &'static str) -> Vec<String> {
    let mut all: Vec<String> = named(catalogue, system)
        .into_iter()
        .map(|named| named.code.to_owned())
        .collect();
    if system == LOINC {
        all.extend(
            catalogue
                .codes_to_confirm
                .iter()
                .map(|row| row.code.clone()),
        );
    }
    all.sort();
    all.dedup();
    all
}

/// The rows that are switched on: confirmed, and not in the table of codes yet.
pub fn switched_on(lines: &[JudgedRow], catalogue: &Catalogue) -> Vec<CodeRow> {
    let off = lines
        .iter()
        .filter(|line| line.is_off() && line.verdict == Verdict::Agrees);
    let mut rows = Vec::new();
    for line in off {
        let same = |row: &&CodeRow| row.system == line.system && row.code == line.code;
        let there = catalogue.codes_of(&line.thing).find(same).is_some();
        let waiting = catalogue.codes_to_confirm.iter();
        let mut waiting = waiting.filter(|row| row.thing == line.thing && row.code == line.code);
        if let (false, Some(row)) = (there, waiting.next()) {
            rows.push(CodeRow {
                thing: row.thing.clone(),
                relation: row.relation,
                system: row.system.clone(),
                code: row.code.clone(),
                display: line.display.clone().unwrap_or_default(),
                source: "loinc".to_owned(),
                locator: "confirmed against a release of the operator's".to_owned(),
                origin: crate::tables::catalogue::rows::Origin::Operator,
                line: None,
            });
        }
    }
    rows
}

/// The text of a table of codes with further rows in it, in the order of the table.
///
/// # Errors
/// When the table does not read.
pub fn with_rows(table: &str, rows: &[CodeRow], day: &str) -> Result<String, csv::Error> {
    let comments = table.lines().take_while(|line| line.starts_with('#'));
    let comments = comments.fold(String::new(), |mut all, line| {
        all.extend([line, "\n"]);
        all
    });
    let mut reader = csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .from_reader(table.as_bytes());
    let header = reader.headers()?.clone();
    let mut all: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for record in reader.records() {
        let cells: Vec<String> = record?.iter().map(str::to_owned).collect();
        all.insert(cells.join(","), cells);
    }
    for row in rows {
        let cells = [
            &row.thing,
            row.relation.word(),
            &row.system,
            &row.code,
            &row.display,
            &row.source,
            &row.locator,
            day,
        ];
        let cells: Vec<String> = cells.iter().map(ToString::to_string).collect();
        all.insert(cells.join(","), cells);
    }
    let mut writer = csv::Writer::from_writer(comments.into_bytes());
    writer.write_record(&header)?;
    for cells in all.values() {
        writer.write_record(cells)?;
    }
    let bytes = writer
        .into_inner()
        .map_err(csv::IntoInnerError::into_error)?;
    String::from_utf8(bytes).map_err(|cause| std::io::Error::other(cause).into())
}
