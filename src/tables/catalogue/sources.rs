//! Whether every row names a source that is known.

use crate::tables::catalogue::fault::Fault;
use crate::tables::catalogue::{Source, TableFile, code_map, embedded};
use std::collections::BTreeMap;

/// The file of the sources, beside the tables.
pub(super) const FILE: &str = "SOURCES.toml";

/// Files whose rows say their source in another way.
const UNSOURCED: [&str; 2] = [FILE, code_map::FILE];

/// What an entry has to say of its source.
const SAID: [&str; 7] = [
    "attribution",
    "licence",
    "publisher",
    "retrieved",
    "title",
    "url",
    "version",
];

/// Rows whose source is not in the file of the sources, and entries there that say too little.
///
/// A set of tables without that file, such as the one compiled in, is held to it by the tests.
pub(super) fn faults(files: &[TableFile<'_>]) -> Vec<Fault> {
    let Some(file) = files.iter().find(|file| file.name == FILE) else {
        return Vec::new();
    };
    let sources: toml::Table = match file.text.parse() {
        Ok(sources) => sources,
        Err(cause) => return vec![unread(file.text, &cause)],
    };
    let mut faults: Vec<Fault> = Vec::new();
    for (key, entry) in &sources {
        for said in SAID.iter().filter(|said| entry.get(**said).is_none()) {
            let what = format!("{key} does not say its {said}");
            faults.push(fault(FILE, line_of(file.text, key), what));
        }
    }
    for table in files
        .iter()
        .filter(|table| !UNSOURCED.contains(&table.name))
    {
        for (line, source) in named(table.text) {
            if !sources.contains_key(&source) {
                let what = format!("source {source} is not in {FILE}");
                faults.push(fault(table.name, line, what));
            }
        }
    }
    faults
}

/// Title and version of each publication; those of ours where the set of tables has no such file.
pub(super) fn known(files: &[TableFile<'_>]) -> BTreeMap<String, Source> {
    let file = files.iter().find(|file| file.name == FILE);
    let text = file.map_or(embedded::SOURCES.text, |file| file.text);
    // What does not read is told by `faults`.
    let sources: toml::Table = text.parse().unwrap_or_default();
    let entries = sources.iter().filter_map(|(key, entry)| {
        let said = |name: &str| Some(entry.get(name)?.as_str()?.to_owned());
        let source = Source {
            title: said("title")?,
            version: said("version")?,
        };
        Some((key.clone(), source))
    });
    entries.collect()
}

/// Line and source of every row; a row that does not read is told elsewhere.
fn named(text: &str) -> Vec<(u64, String)> {
    let mut reader = csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .from_reader(text.as_bytes());
    let place = reader
        .headers()
        .ok()
        .and_then(|headers| headers.iter().position(|column| column == "source"));
    let rows = reader.records().filter_map(Result::ok);
    rows.filter_map(|row| {
        let source = row.get(place?).filter(|source| !source.is_empty())?;
        Some((
            row.position().map_or(0, csv::Position::line),
            source.to_owned(),
        ))
    })
    .collect()
}

fn line_of(text: &str, key: &str) -> u64 {
    let heading = format!("[{key}]");
    let found = (1..)
        .zip(text.lines())
        .find(|(_, line)| line.trim() == heading);
    found.map_or(0, |(number, _)| number)
}

fn unread(text: &str, cause: &toml::de::Error) -> Fault {
    let before = cause.span().and_then(|span| text.get(..span.start));
    let last = before.and_then(|before| (1..).zip(before.split('\n')).last());
    let line = last.map_or(0, |(number, _)| number);
    fault(FILE, line, cause.message().to_owned())
}

fn fault(file: &str, line: u64, what: String) -> Fault {
    Fault {
        file: file.to_owned(),
        line,
        what,
    }
}
