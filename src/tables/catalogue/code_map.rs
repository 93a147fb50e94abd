//! An operator's own map of codes: a FHIR R4 `ConceptMap` that overrides ours, row by row.
//!
//! What the map says of one of our concepts in one code system takes the place of what our table
//! says of it there; `unmatched` retires it; a concept or system the table is silent about is added.

use crate::base::json::{MARK, Node, NotJson};
use crate::tables::catalogue::fault::Fault;
use crate::tables::catalogue::rows::{CodeRow, Origin, Relation, Site};
use crate::tables::catalogue::{CANONICAL, NO_RESULT, NOT_TESTED, SNOMED, VISIT};
use serde::Deserialize;
use serde_json::value::RawValue;
use std::collections::{BTreeMap, BTreeSet};

/// The file, beside the tables.
pub(super) const FILE: &str = "code-map.json";

/// The standard reasons for a missing value (FHIR R4, valueset-data-absent-reason.html).
const ABSENT: &str = "http://terminology.hl7.org/CodeSystem/data-absent-reason";

/// What a map says, and what it speaks of.
#[derive(Debug, Default)]
pub(super) struct CodeMap {
    /// Each concept of ours with the code system in which the map speaks of it.
    spoken: BTreeSet<(String, String)>,
    rows: Vec<CodeRow>,
}

/// Reads a map; what is wrong with it is told at its line.
pub(super) fn read(text: &str, faults: &mut Vec<Fault>) -> CodeMap {
    let text = text.strip_prefix(MARK).unwrap_or(text);
    let mut reading = Reading {
        text,
        map: CodeMap::default(),
        origin: String::new(),
        faults,
    };
    match Node::parse(text) {
        Ok(document) => reading.document(&document),
        Err(NotJson::Syntax { line, column }) => {
            let line = u64::try_from(line).unwrap_or(0);
            reading.fault(line, format!("no JSON at column {column}"));
        }
        Err(cause) => reading.fault(0, cause.to_string()),
    }
    reading.map
}

/// Where the groups and their elements stand in the text.
#[derive(Deserialize)]
struct Places<'a> {
    #[serde(borrow, default)]
    group: Vec<GroupPlaces<'a>>,
}

#[derive(Deserialize)]
struct GroupPlaces<'a> {
    #[serde(borrow, default)]
    element: Vec<&'a RawValue>,
}

#[derive(Deserialize)]
struct ElementPlaces<'a> {
    #[serde(borrow, default)]
    target: Vec<&'a RawValue>,
}

/// One concept of ours and the system a group leads to.
struct Way<'a> {
    list: &'a str,
    thing: String,
    system: &'a str,
}

struct Reading<'a> {
    text: &'a str,
    map: CodeMap,
    /// What the rows give as their locator.
    origin: String,
    faults: &'a mut Vec<Fault>,
}

impl Reading<'_> {
    fn document(&mut self, document: &Node) {
        if document.text_of("resourceType") != Some("ConceptMap") {
            self.fault(1, "it is no ConceptMap of FHIR R4".to_owned());
            return;
        }
        for (key, why) in [
            ("url", "its address is what the rows are told by"),
            ("publisher", "a row without a source is not taken"),
            ("date", "it says when the rows were last looked at"),
        ] {
            if document.text_of(key).is_none_or(str::is_empty) {
                self.fault(1, format!("{key} is missing; {why}"));
            }
        }
        if document.text_of("status") != Some("active") {
            self.fault(1, "status is not active, so it is not in use".to_owned());
        }
        let said = |key| document.text_of(key).unwrap_or("none");
        self.origin = format!(
            "{} version {} of {}, {}",
            said("url"),
            said("version"),
            said("date"),
            said("publisher")
        );
        let text = self.text;
        match serde_json::from_str::<Places<'_>>(text) {
            Ok(places) => {
                for (group, places) in document.items_of("group").iter().zip(&places.group) {
                    self.group(group, places);
                }
            }
            Err(cause) => {
                let line = u64::try_from(cause.line()).unwrap_or(0);
                self.fault(line, "group and element are lists of objects".to_owned());
            }
        }
    }

    fn group(&mut self, group: &Node, places: &GroupPlaces<'_>) {
        let first = places.element.first();
        let at = first.map_or(1, |element| line_of(self.text, element));
        self.only(
            group,
            at,
            &[
                "source",
                "sourceVersion",
                "target",
                "targetVersion",
                "element",
            ],
        );
        let source = group.text_of("source").unwrap_or_default();
        let Some(list) = source.strip_prefix(&format!("{CANONICAL}/CodeSystem/")) else {
            let what = format!("source {source:?} of the group is no code system of ours");
            self.fault(at, what);
            return;
        };
        let Some(system) = group.text_of("target") else {
            self.fault(at, "the group does not name its target".to_owned());
            return;
        };
        if system.starts_with(CANONICAL) {
            self.fault(at, format!("target {system} is a code system of ours"));
        }
        for (element, place) in group.items_of("element").iter().zip(&places.element) {
            let at = line_of(self.text, place);
            let Some(code) = element.text_of("code") else {
                self.fault(at, "the element has no code".to_owned());
                continue;
            };
            let thing = match list {
                "measure" => code.to_owned(),
                list => format!("{list}/{code}"),
            };
            let way = Way {
                list,
                thing,
                system,
            };
            self.element(element, place, &way);
        }
    }

    fn element(&mut self, element: &Node, place: &RawValue, way: &Way<'_>) {
        let at = line_of(self.text, place);
        self.only(element, at, &["code", "display", "target"]);
        let key = (way.thing.clone(), way.system.to_owned());
        if !self.map.spoken.insert(key) {
            let what = format!("{} stands twice for {}", way.thing, way.system);
            self.fault(at, what);
        }
        let places = serde_json::from_str::<ElementPlaces<'_>>(place.get());
        let places = places.map(|places| places.target).unwrap_or_default();
        let targets = element.items_of("target");
        if targets.is_empty() {
            let what = format!("{} has no target; unmatched retires a code", way.thing);
            self.fault(at, what);
        }
        for (target, place) in targets.iter().zip(places) {
            let at = line_of(self.text, place);
            self.target(target, at, way, targets.len());
        }
    }

    fn target(&mut self, target: &Node, at: u64, way: &Way<'_>, of: usize) {
        let thing = &way.thing;
        self.only(
            target,
            at,
            &["code", "display", "equivalence", "comment", "extension"],
        );
        let equivalence = target.text_of("equivalence").unwrap_or_default();
        let relation = match (equivalence, way.list) {
            ("unmatched", _) => {
                if of > 1 || target.member("code").is_some() {
                    let what = format!("{thing}: unmatched stands alone and without a code");
                    self.fault(at, what);
                }
                return;
            }
            ("equal" | "equivalent", _) => Relation::Equivalent,
            ("wider" | "subsumes", _) => Relation::Wider,
            ("relatedto", NOT_TESTED | NO_RESULT | VISIT) if way.system == ABSENT => {
                Relation::Absent
            }
            ("relatedto", "body-position") => Relation::Position,
            (other, _) => {
                let what = format!(
                    "{thing}: equivalence {other:?} is not one of equivalent, wider, unmatched; a \
                     code that says more, or something else, would say what was not found"
                );
                self.fault(at, what);
                return;
            }
        };
        let (Some(code), Some(display)) = (target.text_of("code"), target.text_of("display"))
        else {
            let what = format!("{thing}: the target needs code and display");
            self.fault(at, what);
            return;
        };
        self.map.rows.push(CodeRow {
            thing: thing.clone(),
            relation,
            system: way.system.to_owned(),
            code: code.to_owned(),
            display: display.to_owned(),
            source: FILE.to_owned(),
            locator: self.origin.clone(),
            origin: Origin::Operator,
            line: Some(at),
        });
    }

    /// What is not understood could change what a row means, so it is refused.
    fn only(&mut self, node: &Node, at: u64, known: &[&str]) {
        for (key, _) in node.members() {
            if !known.contains(&key.as_ref()) {
                self.fault(at, format!("{key} is not understood here"));
            }
        }
    }

    fn fault(&mut self, line: u64, what: String) {
        self.faults.push(Fault {
            file: FILE.to_owned(),
            line,
            what,
        });
    }
}

/// The line at which a part of the text begins: the part is borrowed from the text.
fn line_of(text: &str, part: &RawValue) -> u64 {
    let at = part.get().as_ptr().addr();
    let at = at.saturating_sub(text.as_ptr().addr());
    let before = text.as_bytes().get(..at).unwrap_or_default();
    let lines = before.split(|byte| *byte == b'\n').count();
    u64::try_from(lines).unwrap_or(0)
}

impl CodeMap {
    /// Puts the rows of the map in the place of ours.
    pub(super) fn lay_over(self, codes: &mut Vec<CodeRow>, sites: &mut BTreeMap<String, Site>) {
        let mut laid = Vec::with_capacity(codes.len());
        let mut left = self.rows;
        for row in codes.drain(..) {
            let key = (row.thing.clone(), row.system.clone());
            if !self.spoken.contains(&key) {
                laid.push(row);
                continue;
            }
            let same = |one: &CodeRow| one.thing == key.0 && one.system == key.1;
            let (theirs, others) = left.into_iter().partition(same);
            laid.extend::<Vec<CodeRow>>(theirs);
            left = others;
        }
        for (thing, system) in &self.spoken {
            if system == SNOMED
                && let Some(code) = thing.strip_prefix("site/")
            {
                let same = |row: &CodeRow| {
                    row.thing == *thing
                        && row.system == SNOMED
                        && row.relation == Relation::Equivalent
                };
                let place = left.iter().position(same);
                let row = place.map(|place| left.remove(place));
                of_site(sites, code, row);
            }
        }
        laid.extend(left);
        *codes = laid;
    }
}

/// The body structure of a site and side stands with the site.
fn of_site(sites: &mut BTreeMap<String, Site>, code: &str, row: Option<CodeRow>) {
    let Some((half, key)) = code.split_once('.') else {
        return;
    };
    let Some(site) = sites.get_mut(key) else {
        return;
    };
    let (code, display) = row.map(|row| (row.code, row.display)).unzip();
    match half {
        "left" => (site.left_code, site.left_display) = (code, display),
        "right" => (site.right_code, site.right_display) = (code, display),
        "middle" => (site.unsided_code, site.unsided_display) = (code, display),
        _ => {}
    }
}
