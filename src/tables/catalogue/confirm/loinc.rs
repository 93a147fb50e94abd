//! The table of a LOINC release.
//!
//! Columns as the release has them: `LOINC_NUM`, `COMPONENT`, `PROPERTY`, `TIME_ASPCT`, `SYSTEM`,
//! `SCALE_TYP`, `METHOD_TYP`, `CLASS`, `CLASSTYPE`, `LONG_COMMON_NAME`, `SHORTNAME`,
//! `EXTERNAL_COPYRIGHT_NOTICE`, `STATUS`, `VersionFirstReleased`, `VersionLastChanged`
//! (LoincTableCore.csv). The values of `STATUS` are ACTIVE, TRIAL, DISCOURAGED and DEPRECATED
//! (forum.loinc.org/t/change-proposal-loinc-table-status-field/685).

use crate::tables::catalogue::confirm::release::{
    NoRelease, ToConfirm, Verdict, cell, places, same_name,
};
use std::collections::BTreeMap;
use std::io::Read;

/// What a release says of one number.
pub(super) struct LoincRow {
    component: String,
    property: String,
    system: String,
    name: String,
    status: String,
}

impl LoincRow {
    pub(super) fn name(&self) -> String {
        self.name.clone()
    }

    /// What the status itself says; nothing where the code is to be used.
    fn status(&self) -> Option<Verdict> {
        match self.status.as_str() {
            "ACTIVE" => None,
            "DEPRECATED" => Some(Verdict::Retired("status DEPRECATED".to_owned())),
            other => Some(Verdict::Differs(vec![format!("status {other}")])),
        }
    }
}

pub(super) fn read(
    table: impl Read,
    wanted: &[String],
) -> Result<BTreeMap<String, LoincRow>, NoRelease> {
    let mut reader = csv::ReaderBuilder::new().flexible(true).from_reader(table);
    let header = reader.byte_headers().map_err(|_cause| NoRelease::Line(1))?;
    let [number, component, property, system, name, status] = places(
        header,
        [
            "LOINC_NUM",
            "COMPONENT",
            "PROPERTY",
            "SYSTEM",
            "LONG_COMMON_NAME",
            "STATUS",
        ],
    )?;
    let mut said = BTreeMap::new();
    let mut record = csv::ByteRecord::new();
    while more(&mut reader, &mut record)? {
        let code = cell(&record, number);
        if wanted.binary_search(&code).is_ok() {
            let said_of = LoincRow {
                component: cell(&record, component),
                property: cell(&record, property),
                system: cell(&record, system),
                name: cell(&record, name),
                status: cell(&record, status),
            };
            said.insert(code, said_of);
        }
    }
    Ok(said)
}

fn more<R: Read>(
    reader: &mut csv::Reader<R>,
    record: &mut csv::ByteRecord,
) -> Result<bool, NoRelease> {
    let line = reader.position().line();
    reader
        .read_byte_record(record)
        .map_err(|_cause| NoRelease::Line(line))
}

/// Holds the name we give a code against its long common name.
pub(super) fn of_display(display: &str, said: Option<&LoincRow>) -> Verdict {
    let Some(said) = said else {
        return Verdict::Absent;
    };
    said.status().unwrap_or_else(|| {
        if same_name(display, &said.name) {
            Verdict::Agrees
        } else {
            Verdict::Differs(vec![format!("named {}", said.name)])
        }
    })
}

/// Holds what a code has to mean against its parts: the same movement, an angle, the joint and no
/// side.
pub(super) fn of_parts(row: &ToConfirm, said: Option<&LoincRow>) -> Verdict {
    let Some(said) = said else {
        return Verdict::Absent;
    };
    if let Some(verdict) = said.status() {
        return verdict;
    }
    let mut parts = Vec::new();
    if !same_name(&row.component, &said.component) {
        parts.push(format!("component {}", said.component));
    }
    if !same_name(&row.property, &said.property) {
        parts.push(format!("property {}", said.property));
    }
    if !is_joint_alone(&said.system, &row.joint) {
        parts.push(format!("system {}", said.system));
    }
    if said.name.is_empty() {
        parts.push("no long common name".to_owned());
    }
    if parts.is_empty() {
        Verdict::Agrees
    } else {
        Verdict::Differs(parts)
    }
}

/// True for `Elbow` or `Elbow joint`; false for another joint, a side, or several places.
fn is_joint_alone(system: &str, joint: &str) -> bool {
    let lower = system.to_lowercase();
    let words = lower.split(|c: char| !c.is_alphanumeric());
    let words: Vec<&str> = words.filter(|word| !word.is_empty()).collect();
    words.contains(&joint)
        && words
            .iter()
            .all(|word| *word == joint || matches!(*word, "joint" | "structure"))
}
