//! The tables as FHIR conformance resources.
//!
//! Owns: the code systems, value sets, concept map, observation definitions and questionnaire that
//! say in FHIR what the tables say; what a record server has to be able to do; the guide. In: [`Catalogue`]. Out: resources with their file names under
//! `profiles/fhir/`. Never: a fact that stands in no table; a profile, those are written by hand.

mod definitions;
pub mod guide;
pub mod header;
mod map;
mod naming;
pub mod needs;
mod questionnaire;
pub mod server;
mod systems;

use crate::base::json::{Node, object, text};
use crate::tables::catalogue::conformance::header::{Header, SNOMED_NOTICE, header, title};
use crate::tables::catalogue::rows::{Kind, Relation, Scale};
use crate::tables::catalogue::{Catalogue, QUALITY_LISTS, RELATIVE, SNOMED};
use std::collections::{BTreeMap, BTreeSet};

/// Sets of measures: one for each profile that allows only some kinds.
const MEASURE_SETS: [(&str, &str, &[Kind]); 13] = [
    ("range", "joint ranges", &[Kind::Range]),
    (
        "stretch",
        "passive stretches",
        &[Kind::StretchSlow, Kind::StretchFast],
    ),
    ("graded", "words and grades", &[Kind::Word, Kind::Grade]),
    ("score", "scores", &[Kind::Score]),
    ("amount", "amounts with a unit", &[Kind::Amount]),
    ("derived", "derived results", &[Kind::Derived]),
    ("comparison", "comparisons", &[Kind::Comparison]),
    ("trace", "traces of stretches", &[Kind::Trace]),
    (
        "trace-catch",
        "catches computed from traces",
        &[Kind::TraceCatch],
    ),
    (
        "trace-line",
        "changes of computed catches with velocity",
        &[Kind::TraceLine],
    ),
    ("precaution", "precautions", &[Kind::Precaution]),
    ("panel", "panels", &[Kind::Panel]),
    ("statement", "statements of a person", &[Kind::Statement]),
];

/// Sets of words: one for each profile whose value may be a word.
const WORD_SETS: [(&str, &str, &[Kind]); 3] = [
    ("amount-word", "Words instead of an amount", &[Kind::Amount]),
    ("grade", "Words and grades", &[Kind::Word, Kind::Grade]),
    ("range-value", "Words instead of an angle", &[Kind::Range]),
];

/// Every resource generated from the tables alone with its file name, in the order of the names.
pub fn resources(catalogue: &Catalogue) -> Vec<(String, Node)> {
    let mut all = vec![
        systems::measure_system(catalogue),
        measure_values(),
        systems::site_system(catalogue),
        own_site_values(),
        systems::comparison_system(catalogue),
        comparison_values(),
        site_values(catalogue),
        map::published_codes(catalogue),
        questionnaire::examination(catalogue),
        server::requirements(),
    ];
    all.extend(MEASURE_SETS.iter().map(|set| measure_set(catalogue, set)));
    all.extend([qualities(), how_found()]);
    all.extend(WORD_SETS.iter().map(|set| word_values(catalogue, set)));
    for scale in catalogue.scales.values() {
        all.push(systems::scale_system(catalogue, scale));
        all.push(scale_values(catalogue, scale));
    }
    all.extend(definitions::all(catalogue));
    let systems = all
        .iter()
        .filter(|one| one.text_of("resourceType") == Some("CodeSystem"));
    let named: Vec<Node> = systems.map(naming::of_code_system).collect();
    all.extend(named);
    let mut files: Vec<(String, Node)> = all
        .into_iter()
        .map(|resource| (file_name(&resource), resource))
        .collect();
    files.sort_by(|a, b| a.0.cmp(&b.0));
    files
}

fn file_name(resource: &Node) -> String {
    let part = |key| resource.text_of(key).unwrap_or_default();
    format!("{}-{}.json", part("resourceType"), part("id"))
}

fn measure_values() -> Node {
    let description = "Every measure.".to_owned();
    let system = Catalogue::system_of("measure");
    value_set(
        header("measure", "Measures".to_owned(), description),
        vec![whole(&system)],
    )
}

fn measure_set(catalogue: &Catalogue, (name, words, kinds): &(&str, &str, &[Kind])) -> Node {
    let codes = catalogue.measures.values();
    let codes = codes
        .filter(|measure| kinds.contains(&measure.kind))
        .map(|measure| (measure.measure.as_str(), None));
    value_set(
        header(
            &format!("measure-{name}"),
            format!("Measures: {words}"),
            format!("The measures that are {words}."),
        ),
        vec![some(&Catalogue::system_of("measure"), codes)],
    )
}

/// The words and grades that may be the value of a measure of those kinds.
fn word_values(catalogue: &Catalogue, (name, words, kinds): &(&str, &str, &[Kind])) -> Node {
    let lists: BTreeSet<&str> = catalogue
        .measures
        .values()
        .filter(|measure| kinds.contains(&measure.kind))
        .flat_map(|measure| catalogue.lists_of(measure))
        .collect();
    let description = "Every word and grade that is the value of such a measure, and what is said \
                       only in comparison with the other side.";
    let lists = lists.into_iter().chain([RELATIVE]);
    let lists = lists.map(|list| whole(&Catalogue::system_of(list)));
    value_set(
        header(name, (*words).to_owned(), description.to_owned()),
        lists.collect(),
    )
}

/// Both versions of the quality of a reaction: a stretch says which one it means by its system.
fn qualities() -> Node {
    let description = "The quality of the reaction to a stretch, in either version.".to_owned();
    let versions = QUALITY_LISTS.map(|list| whole(&Catalogue::system_of(list)));
    value_set(
        header("stretch-quality", "Qualities".to_owned(), description),
        versions.to_vec(),
    )
}

/// How something was found: by hand and eye, or by an instrument that recorded a stretch.
fn how_found() -> Node {
    let description = "How something was found: by hand and eye, or from the trace of a stretch.";
    let lists = ["method", "trace-method"].map(|list| whole(&Catalogue::system_of(list)));
    value_set(
        header("how-found", title("how-found"), description.to_owned()),
        lists.to_vec(),
    )
}

fn scale_values(catalogue: &Catalogue, scale: &Scale) -> Node {
    let mut include = vec![whole(&Catalogue::system_of(&scale.name))];
    let positions = scale.rows.iter().flat_map(|row| {
        let thing = format!("{}/{}", scale.name, row.code);
        let rows = catalogue.codes.iter().filter(move |code| {
            code.relation == Relation::Position && code.system == SNOMED && code.thing == thing
        });
        rows.map(|code| (code.code.as_str(), Some(code.display.as_str())))
    });
    let positions: Vec<_> = positions.collect();
    let mut header = header(&scale.name, title(&scale.name), scale.purpose.clone());
    if !positions.is_empty() {
        header.copyright = Some(SNOMED_NOTICE.to_owned());
        include.push(some(SNOMED, positions.into_iter()));
    }
    value_set(header, include)
}

fn site_values(catalogue: &Catalogue) -> Node {
    // Two sites of ours may share a published code without side; a set names it once.
    let published: BTreeMap<&str, &str> = catalogue
        .sites
        .values()
        .flat_map(|site| site.published().into_iter().flatten())
        .collect();
    let published = published
        .into_iter()
        .map(|(code, display)| (code, Some(display)));
    let description = "Sites of the body: published codes with and without side, and our own.";
    let mut header = header("body-site", title("body-site"), description.to_owned());
    header.copyright = Some(SNOMED_NOTICE.to_owned());
    let own = whole(&Catalogue::system_of("site"));
    value_set(header, vec![some(SNOMED, published), own])
}

fn own_site_values() -> Node {
    let description = "Every site of ours with its side.".to_owned();
    let system = Catalogue::system_of("site");
    value_set(
        header("site", "Sites".to_owned(), description),
        vec![whole(&system)],
    )
}

fn comparison_values() -> Node {
    let description = "Every comparison of every measure.".to_owned();
    let system = Catalogue::system_of("comparison");
    value_set(
        header("comparison", "Comparisons".to_owned(), description),
        vec![whole(&system)],
    )
}

fn value_set(header: Header<'_>, include: Vec<Node>) -> Node {
    let mut members = header.members();
    members.push(("compose", object([("include", Node::List(include))])));
    object(members)
}

/// A code system as a whole.
fn whole(system: &str) -> Node {
    object([("system", text(system))])
}

/// Some codes of a code system. Ours go without display, which stands in the code system.
fn some<'a>(system: &str, codes: impl Iterator<Item = (&'a str, Option<&'a str>)>) -> Node {
    let concepts = codes.map(|(code, display)| {
        let mut members = vec![("code", text(code))];
        members.extend(display.map(|display| ("display", text(display))));
        object(members)
    });
    object([
        ("system", text(system)),
        ("concept", Node::List(concepts.collect())),
    ])
}
