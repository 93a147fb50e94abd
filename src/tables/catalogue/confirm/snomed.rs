//! The descriptions and concepts of a SNOMED CT release in RF2.
//!
//! Columns as the release has them, separated by tabs and without quotation marks: descriptions
//! `id`, `effectiveTime`, `active`, `moduleId`, `conceptId`, `languageCode`, `typeId`, `term`,
//! `caseSignificanceId` (confluence.ihtsdotools.org/display/REUSE/Description+File); concepts `id`,
//! `effectiveTime`, `active`, `moduleId`, `definitionStatusId`. A Full file has every state of a
//! component, and the one that took effect last counts.

use crate::tables::catalogue::confirm::release::{NoRelease, Verdict, cell, places, same_name};
use std::collections::BTreeMap;
use std::io::Read;

/// `900000000000003001 |Fully specified name|` (the same page, typeId).
const FULL_NAME: &str = "900000000000003001";
/// `900000000000550004 |Definition|`: no name.
const DEFINITION: &str = "900000000000550004";

/// What a release says of one concept.
#[derive(Default)]
pub(super) struct SnomedConcept {
    /// By the id of the description: when it took effect, whether it is active, its type, its term.
    terms: BTreeMap<String, (String, bool, String, String)>,
    /// When it took effect, and whether it is active; nothing where no file of concepts was given.
    concept: Option<(String, bool)>,
}

impl SnomedConcept {
    fn active(&self) -> impl Iterator<Item = (&str, &str)> {
        let all = self.terms.values().filter(|(_, active, ..)| *active);
        all.map(|(_, _, kind, term)| (kind.as_str(), term.as_str()))
    }

    /// Its fully specified name.
    pub(super) fn name(&self) -> Option<String> {
        let mut full = self.active().filter(|(kind, _)| *kind == FULL_NAME);
        full.next().map(|(_, term)| term.to_owned())
    }
}

pub(super) fn read(
    descriptions: impl Read,
    concepts: Option<impl Read>,
    wanted: &[String],
) -> Result<BTreeMap<String, SnomedConcept>, NoRelease> {
    let mut said: BTreeMap<String, SnomedConcept> = BTreeMap::new();
    let columns = [
        "id",
        "effectiveTime",
        "active",
        "conceptId",
        "typeId",
        "term",
    ];
    each(
        descriptions,
        columns,
        |[id, time, active, concept, kind, term]| {
            if wanted.binary_search(&concept).is_ok() && kind != DEFINITION {
                let terms = &mut said.entry(concept).or_default().terms;
                let earlier = terms.get(&id).is_some_and(|(before, ..)| *before > time);
                if !earlier {
                    terms.insert(id, (time, active == "1", kind, term));
                }
            }
        },
    )?;
    if let Some(concepts) = concepts {
        each(
            concepts,
            ["id", "effectiveTime", "active"],
            |[id, time, active]| {
                if wanted.binary_search(&id).is_ok() {
                    let concept = &mut said.entry(id).or_default().concept;
                    if concept.as_ref().is_none_or(|(before, _)| *before <= time) {
                        *concept = Some((time, active == "1"));
                    }
                }
            },
        )?;
    }
    Ok(said)
}

fn each<const N: usize>(
    file: impl Read,
    columns: [&'static str; N],
    mut take: impl FnMut([String; N]),
) -> Result<(), NoRelease> {
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(b'\t')
        .quoting(false)
        .flexible(true)
        .from_reader(file);
    let header = reader.byte_headers().map_err(|_cause| NoRelease::Line(1))?;
    let places = places(header, columns)?;
    let mut record = csv::ByteRecord::new();
    loop {
        let line = reader.position().line();
        let more = reader.read_byte_record(&mut record);
        if !more.map_err(|_cause| NoRelease::Line(line))? {
            return Ok(());
        }
        take(places.map(|place| cell(&record, place)));
    }
}

/// Holds the name we give a concept against its names: the fully specified one, with or without the
/// tag in brackets at its end, and its synonyms.
pub(super) fn of_display(display: &str, said: Option<&SnomedConcept>) -> Verdict {
    let Some(said) = said else {
        return Verdict::Absent;
    };
    if said.concept.as_ref().is_some_and(|(_, active)| !*active) {
        return Verdict::Retired("the concept is inactive".to_owned());
    }
    if said.active().next().is_none() {
        return Verdict::Retired("none of its descriptions is active".to_owned());
    }
    let same = |(kind, term): (&str, &str)| {
        let without_tag = term.rsplit_once(" (").map_or(term, |(name, _)| name);
        same_name(display, term) || (kind == FULL_NAME && same_name(display, without_tag))
    };
    if said.active().any(same) {
        return Verdict::Agrees;
    }
    let name = said.name().unwrap_or_default();
    Verdict::Differs(vec![format!("named {name}")])
}
