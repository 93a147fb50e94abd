//! The tables of `profiles/`, read and checked.
//!
//! Owns: every clinical and terminology fact as data, with its source.
//! In: CSV text, embedded or an operator's own. Out: [`Catalogue`], or every fault at once.
//! Never: decides what a row means for a person; opens a file.

pub mod axis;
pub mod cautions;
mod cells;
mod check_digit;
mod code_map;
pub mod comparing;
mod comparing_faults;
pub mod confirm;
pub mod conformance;
mod cross;
mod cross_parts;
pub mod dimension;
mod embedded;
pub mod fault;
pub mod load;
pub mod notation_order;
pub mod overlay;
pub mod package;
pub mod parts;
pub mod rows;
pub mod scales;
mod sources;

use crate::base::exact::Exact;
use crate::tables::catalogue::axis::Axis;
use crate::tables::catalogue::cautions::{Caution, CautionSign};
use crate::tables::catalogue::comparing::{ErrorRow, ReferenceRow};
use crate::tables::catalogue::confirm::release::ToConfirm;
use crate::tables::catalogue::dimension::Dimension;
use crate::tables::catalogue::fault::Fault;
use crate::tables::catalogue::notation_order::OrderRow;
use crate::tables::catalogue::parts::{
    GradeAmount, Landmark, PartRow, ScaleVersion, UnitChoice, in_family,
};
use crate::tables::catalogue::rows::{
    CodeRow, CutOffRow, Kind, Measure, PrecautionEffect, Scale, ScaleRow, Sides, Site,
};
use crate::tables::catalogue::scales::ScaleNote;
use sha2::{Digest, Sha256};
use std::collections::BTreeMap;
use std::fmt::Write as _;

/// The one address under which our code systems, value sets and profiles are named.
///
/// Permanent from the first release on; it need not resolve.
pub const CANONICAL: &str = "https://fascicle.example/fhir";

/// LOINC, as FHIR names it (terminologies-systems.html).
pub const LOINC: &str = "http://loinc.org";
/// SNOMED CT, as FHIR names it.
pub const SNOMED: &str = "http://snomed.info/sct";
/// UCUM, as FHIR names it.
pub const UCUM: &str = "http://unitsofmeasure.org";

/// The list of what is said only in comparison with the other side.
pub const RELATIVE: &str = "relative";

/// The list of how something was felt, said absolutely.
pub const SENSATION: &str = "sensation";

/// The list of reasons for not testing.
pub const NOT_TESTED: &str = "not-tested-reason";

/// The list of what became of a visit.
pub const VISIT: &str = "visit-outcome";

/// The list of reasons why a computed result has no value.
pub const NO_RESULT: &str = "no-result";

/// The list of what a comparison came to.
pub const VERDICT: &str = "verdict";

/// The lists of the quality of a reaction to a stretch: grades 0 to 4, and 0 to 5.
pub const QUALITY_LISTS: [&str; 2] = ["tardieu-quality-0-4", "tardieu-quality-0-5"];

/// One table file: its name under `profiles/` and its text.
#[derive(Debug, Clone, Copy)]
pub struct TableFile<'a> {
    /// Name under `profiles/`, such as `scales/presence.csv`.
    pub name: &'a str,
    /// The CSV text.
    pub text: &'a str,
}

/// One row of `units.csv`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unit {
    /// Name for people.
    pub label: String,
    /// What it measures.
    pub dimension: Dimension,
}

/// What a comparison says of the publisher of a row.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Source {
    /// Title of the publication.
    pub title: String,
    /// Its version, such as a year.
    pub version: String,
}

/// What a comparison of a measure is called, as the first part of its code, and in words.
pub const COMPARISONS: [(&str, &str); 5] = [
    ("change", "change since an earlier session"),
    ("dynamic-share", "dynamic share of what the stretch lacks"),
    ("fixed-part", "fixed part of what the stretch lacks"),
    (
        "fixed-part-range",
        "fixed part of what the stretch lacks, beside a published range",
    ),
    ("side-difference", "difference between the sides"),
];

/// All tables, checked.
#[derive(Debug, Clone)]
pub struct Catalogue {
    /// What we record, by key.
    pub measures: BTreeMap<String, Measure>,
    /// Sites of the body, by key.
    pub sites: BTreeMap<String, Site>,
    /// Scales and word lists, by file name.
    pub scales: BTreeMap<String, Scale>,
    /// Order, direction of worsening and copyright of each scale and word list.
    pub scale_notes: BTreeMap<String, ScaleNote>,
    /// Published codes of our things; all of one thing stand together, in the order of their names.
    pub codes: Vec<CodeRow>,
    /// Published codes that are off until an operator's own release confirms them.
    pub codes_to_confirm: Vec<ToConfirm>,
    /// What a precaution forbids.
    pub precaution_effects: Vec<PrecautionEffect>,
    /// Smallest differences beyond the error of measuring.
    pub measurement_error: Vec<ErrorRow>,
    /// Published ranges.
    pub reference_ranges: Vec<ReferenceRow>,
    /// Published orders of the directions of a plane.
    pub notation_orders: Vec<OrderRow>,
    /// Units we accept.
    pub units: BTreeMap<String, Unit>,
    /// What the unit of a family of measures has to measure, where the kind leaves it open.
    pub dimensions: BTreeMap<String, Dimension>,
    /// Units that are counted, with the most decimals that a number of each may have.
    pub counted_units: BTreeMap<String, u32>,
    /// Cautions and prompts, by code.
    pub cautions: BTreeMap<String, Caution>,
    /// Results that raise a caution by themselves.
    pub caution_signs: Vec<CautionSign>,
    /// Further units of families of measures.
    pub unit_choices: Vec<UnitChoice>,
    /// Versions of scales.
    pub scale_versions: Vec<ScaleVersion>,
    /// Parts that a finding may have beside its value.
    pub parts: Vec<PartRow>,
    /// Where a measure is taken, by measure.
    pub landmarks: BTreeMap<String, Landmark>,
    /// What grades stand for.
    pub grade_amounts: Vec<GradeAmount>,
    /// End feels that say themselves what stopped a movement, with that way of ending.
    pub end_feel_endings: BTreeMap<String, String>,
    /// Which way a muscle group at a site lengthens along its axis.
    pub stretch_signs: BTreeMap<String, Axis>,
    /// Numbers that checks of sense need.
    pub plausibility: BTreeMap<String, Exact>,
    /// Cut-offs of the low-pass of a stretch trace, with their gates.
    pub trace_cut_offs: Vec<CutOffRow>,
    /// Numbers of the computation over stretch traces.
    pub trace_parameters: BTreeMap<String, Exact>,
    /// The tables of published ranges that the site uses, the first one first; none unless it says.
    pub reference_tables: Vec<String>,
    /// The publications that rows name.
    pub sources: BTreeMap<String, Source>,
    /// SHA-256 of each table file, by its name.
    pub table_sha256: BTreeMap<String, String>,
    /// SHA-256 of each file an operator laid over ours, by its name; empty where all is ours.
    pub own_files: BTreeMap<String, String>,
    /// SHA-256 over all table files, in the order of their names.
    pub sha256: String,
}

impl Catalogue {
    /// The tables compiled into the binary.
    ///
    /// # Errors
    /// Every fault of every row; the tests hold that there is none.
    pub fn embedded() -> Result<Self, Vec<Fault>> {
        Self::read(embedded::FILES)
    }

    /// Reads and checks a set of table files.
    ///
    /// # Errors
    /// Every fault of every row, with file and line.
    pub fn read(files: &[TableFile<'_>]) -> Result<Self, Vec<Fault>> {
        load::read(files)
    }

    /// Where the scale of a word stands as a code system.
    pub fn system_of(list: &str) -> String {
        format!("{CANONICAL}/CodeSystem/{list}")
    }

    /// One row of a scale or word list.
    pub fn word(&self, list: &str, code: &str) -> Option<&ScaleRow> {
        self.scales
            .get(list)
            .and_then(|scale| scale.rows.iter().find(|row| row.code == code))
    }

    /// Our own code of a site with its side, such as `left.ankle`.
    pub fn site_code(side: &str, place: &str) -> String {
        format!("{side}.{place}")
    }

    /// What our own code of a site with its side means, such as `left ankle`.
    pub fn site_display(&self, code: &str) -> Option<String> {
        let (side, place) = code.split_once('.')?;
        let place = self.sites.get(place)?;
        let named = match place.sides {
            Sides::Both => format!("{side} {}", place.label),
            Sides::Middle => place.label.clone(),
        };
        place.sides.words().contains(&side).then_some(named)
    }

    /// What the unit of a measure has to measure: its kind says it, or its family does.
    pub fn dimension_of(&self, measure: &Measure) -> Option<Dimension> {
        let families = self.dimensions.iter();
        let mut families = families.filter(|(family, _)| in_family(&measure.measure, family));
        let of_kind = measure.kind.dimension();
        of_kind.or_else(|| families.next_back().map(|(_, dimension)| *dimension))
    }

    /// Uses these tables of published ranges, the first one first.
    ///
    /// # Errors
    /// The names that no row of `reference_ranges.csv` has.
    pub fn use_reference_tables(&mut self, names: &[String]) -> Result<(), Vec<String>> {
        let known = |name: &&String| self.reference_ranges.iter().any(|row| row.table == **name);
        let unknown: Vec<String> = names.iter().filter(|name| !known(name)).cloned().collect();
        if unknown.is_empty() {
            self.reference_tables = names.to_vec();
            return Ok(());
        }
        Err(unknown)
    }

    /// What our own code of the comparison of a measure means, such as
    /// `change.range.passive.ankle.dorsiflexion`.
    pub fn comparison_display(&self, code: &str) -> Option<String> {
        let (kind, measure) = code.split_once('.')?;
        let (_, words) = COMPARISONS.iter().find(|(word, _)| *word == kind)?;
        let row = self.measures.get(measure)?;
        let two_sided = || {
            let site = row.site.as_ref().and_then(|site| self.sites.get(site));
            site.is_some_and(|site| site.sides == Sides::Both)
        };
        let fits = match kind {
            "change" => row.kind.is_entered(),
            "side-difference" => row.kind.is_entered() && two_sided(),
            _ => row.kind == Kind::StretchSlow,
        };
        fits.then(|| format!("{words}, {}", row.label))
    }

    /// The name of a unit for people.
    pub fn unit_label(&self, unit: &str) -> Option<&str> {
        self.units.get(unit).map(|row| row.label.as_str())
    }

    /// The published codes of a thing, in the order of the table.
    pub fn codes_of<'a>(&'a self, thing: &'a str) -> impl Iterator<Item = &'a CodeRow> {
        let first = self.codes.partition_point(|row| row.thing.as_str() < thing);
        let rest = self.codes.get(first..).unwrap_or_default().iter();
        rest.take_while(move |row| row.thing == thing)
    }
}

/// SHA-256 as lower-case hexadecimal.
pub fn sha256_hex(bytes: &[u8]) -> String {
    Sha256::digest(bytes)
        .iter()
        .fold(String::with_capacity(64), |mut text, byte| {
            // Writing to a string cannot fail.
            let _written = write!(text, "{byte:02x}");
            text
        })
}

/// The text of a table of ours; nothing where there is no such table.
pub fn table(name: &str) -> &'static str {
    let found = embedded::FILES.iter().find(|file| file.name == name);
    found.map_or("", |file| file.text)
}

/// The profiles compiled into the binary, for the test that compares them with the folder.
pub fn embedded_profiles() -> impl Iterator<Item = &'static (&'static str, &'static str)> {
    embedded::PROFILES.iter()
}

/// Names of the embedded table files, for the tests that compare them with the folder.
pub fn embedded_names() -> impl Iterator<Item = &'static str> {
    embedded::FILES.iter().map(|file| file.name)
}
