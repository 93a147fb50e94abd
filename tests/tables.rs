//! The tables of `profiles/` name their sources, and the notices the sources ask for are given.
#![cfg(test)]
#![expect(clippy::disallowed_methods, reason = "tests read files")]

use fascicle::tables::catalogue::{Catalogue, conformance, embedded_names};
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

const LICENCES: [&str; 6] = [
    "CC0-1.0",
    "LOINC licence",
    "MIT OR Apache-2.0",
    "SNOMED CT licence",
    "UCUM licence",
    "facts only",
];
const KEYS: [&str; 7] = [
    "attribution",
    "licence",
    "publisher",
    "retrieved",
    "title",
    "url",
    "version",
];
/// `sha256` stands where the licence lets us keep a copy, `note` where something is to be known.
const OPTIONAL: [&str; 2] = ["note", "sha256"];

#[test]
fn the_embedded_tables_have_no_fault() {
    let faults = Catalogue::embedded().err().unwrap_or_default();

    let told: Vec<String> = faults.iter().map(ToString::to_string).collect();
    assert!(told.is_empty(), "{told:#?}");
}

#[test]
fn the_embedded_tables_are_those_of_the_folder() {
    let embedded: BTreeSet<String> = embedded_names().map(str::to_owned).collect();

    let folder: BTreeSet<String> = tables().into_keys().collect();

    assert_eq!(embedded, folder);
}

#[test]
fn every_row_names_a_source_and_every_source_serves_a_row() {
    let sources = sources();
    let mut faults = Vec::new();
    let mut used = BTreeSet::new();

    for (name, text) in tables() {
        for (line, source) in cells(&text, "source") {
            if sources.contains_key(&source) {
                used.insert(source);
            } else {
                faults.push(format!(
                    "profiles/{name}:{line}: {source} is not in SOURCES.toml"
                ));
            }
        }
    }
    for (key, source) in &sources {
        if !used.contains(key) {
            faults.push(told(source.line, &format!("no row names {key}")));
        }
    }

    assert!(faults.is_empty(), "{faults:#?}");
}

#[test]
fn every_source_says_all_it_has_to_say() {
    let mut faults = Vec::new();

    for (key, source) in sources() {
        let has = |wanted: &str| source.cells.contains_key(wanted);
        for wanted in KEYS.iter().filter(|wanted| !has(wanted)) {
            faults.push(told(source.line, &format!("{key} has no {wanted}")));
        }
        let known = |cell: &str| KEYS.contains(&cell) || OPTIONAL.contains(&cell);
        for cell in source.cells.keys().filter(|cell| !known(cell)) {
            faults.push(told(source.line, &format!("{key}: {cell} is no key")));
        }
        let licence = source.cell("licence");
        if !LICENCES.contains(&licence) {
            faults.push(told(
                source.line,
                &format!("{key}: {licence} is no licence we allow"),
            ));
        }
        let retrieved = source.cell("retrieved");
        if retrieved != "not retrieved" && retrieved.parse::<chrono::NaiveDate>().is_err() {
            faults.push(told(
                source.line,
                &format!("{key}: retrieved {retrieved} is no date"),
            ));
        }
        if retrieved == "not retrieved" && !has("note") {
            faults.push(told(
                source.line,
                &format!("{key}: not retrieved, and no note says why"),
            ));
        }
    }

    assert!(faults.is_empty(), "{faults:#?}");
}

#[test]
fn the_notices_that_publishers_ask_for_are_given() {
    let notice = one_line(&read(&root("NOTICE")));
    let mut faults = Vec::new();

    for (key, source) in sources() {
        let attribution = one_line(source.cell("attribution"));
        let own_licence = source.cell("licence").ends_with(" licence");
        if attribution == "none" && own_licence {
            faults.push(told(
                source.line,
                &format!("{key}: its licence asks for an attribution"),
            ));
        }
        if attribution != "none" && !notice.contains(&attribution) {
            faults.push(told(
                source.line,
                &format!("{key}: its attribution is not in NOTICE"),
            ));
        }
    }

    assert!(faults.is_empty(), "{faults:#?}");
}

#[test]
fn generated_resources_that_carry_published_codes_carry_the_notice_in_full() {
    let catalogue = Catalogue::embedded().expect("the embedded tables");
    let sources = sources();
    let mut faults = Vec::new();

    for (name, resource) in conformance::resources(&catalogue) {
        // In R4 an ObservationDefinition has no copyright element.
        if name.starts_with("ObservationDefinition-") {
            continue;
        }
        let text = resource.compact();
        let copyright = resource.text_of("copyright").unwrap_or_default();
        for (key, system) in [
            ("loinc", r#""http://loinc.org""#),
            ("snomed", r#""http://snomed.info/sct""#),
        ] {
            let attribution = sources.get(key).map(|source| source.cell("attribution"));
            if text.contains(system) && !attribution.is_some_and(|text| copyright.contains(text)) {
                faults.push(format!("profiles/fhir/{name}:1: no notice of {key}"));
            }
        }
    }

    assert!(faults.is_empty(), "{faults:#?}");
}

struct Source {
    line: usize,
    cells: toml::Table,
}

impl Source {
    fn cell(&self, key: &str) -> &str {
        let cell = self.cells.get(key).and_then(toml::Value::as_str);
        cell.unwrap_or_default()
    }
}

fn sources() -> BTreeMap<String, Source> {
    let text = read(&root("profiles/SOURCES.toml"));
    let table: toml::Table = text.parse().expect("SOURCES.toml is TOML");
    let line = |key: &str| {
        let heading = format!("[{key}]");
        let at = text.lines().position(|line| line == heading);
        at.map_or(0, |at| at.saturating_add(1))
    };
    let source = |(key, value): (String, toml::Value)| {
        let toml::Value::Table(cells) = value else {
            panic!("profiles/SOURCES.toml:1: {key} stands outside an entry");
        };
        let line = line(&key);
        (key, Source { line, cells })
    };
    table.into_iter().map(source).collect()
}

/// Line and content of every cell of a column.
fn cells(text: &str, column: &str) -> Vec<(u64, String)> {
    let mut reader = csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .from_reader(text.as_bytes());
    let headers = reader.headers().expect("a header").clone();
    let place = headers.iter().position(|name| name == column);
    let rows = reader.records().map(|row| row.expect("a row"));
    rows.map(|row| {
        let line = row.position().map_or(0, csv::Position::line);
        let cell = place.and_then(|place| row.get(place)).unwrap_or_default();
        (line, cell.to_owned())
    })
    .collect()
}

/// Every table of the folder, by its name under `profiles/`.
fn tables() -> BTreeMap<String, String> {
    let mut found = BTreeMap::new();
    for folder in ["", "scales/"] {
        let path = root("profiles").join(folder);
        for entry in fs::read_dir(&path).expect("a folder") {
            let name = entry.expect("an entry").file_name();
            let name = name.into_string().expect("a name in UTF-8");
            if Path::new(&name).extension().is_some_and(|end| end == "csv") {
                let text = read(&path.join(&name));
                found.insert(format!("{folder}{name}"), text);
            }
        }
    }
    found
}

fn told(line: usize, what: &str) -> String {
    format!("profiles/SOURCES.toml:{line}: {what}")
}

fn one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn root(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(path)
}

fn read(path: &Path) -> String {
    fs::read_to_string(path).unwrap_or_else(|cause| panic!("{}: {cause}", path.display()))
}
