#![cfg(test)]
#![expect(clippy::disallowed_methods, reason = "tests read files")]
//! The safety file is complete: every control is there, every test exists, every caution has a row.

use fascicle::base::code::Code;
use fascicle::base::code::meaning::Severity;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

const COLUMNS: [&str; 9] = [
    "hazard",
    "harm",
    "control",
    "file",
    "codes",
    "tests",
    "source",
    "locator",
    "checked_on",
];

/// Beginnings of codes that are about people, precautions, and what others hold at the server: each
/// such code belongs to a hazard, as every caution does.
const OF_A_HAZARD: [&str; 5] = [
    "person.",
    "precaution.",
    "precautions.",
    "held.",
    "duplicate.",
];

type Row = BTreeMap<String, String>;

fn root(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(path)
}

fn read(path: &str) -> String {
    fs::read_to_string(root(path)).unwrap_or_default()
}

fn rows() -> Vec<(u64, Row)> {
    let text = read("SAFETY.csv");
    let mut reader = csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .from_reader(text.as_bytes());
    let columns: Vec<String> = reader
        .headers()
        .expect("columns")
        .iter()
        .map(str::to_owned)
        .collect();
    assert_eq!(columns, COLUMNS);
    let rows = reader.records().map(|record| {
        let record = record.expect("a row");
        let line = record.position().map_or(0, csv::Position::line);
        let cells = columns
            .iter()
            .cloned()
            .zip(record.iter().map(str::to_owned));
        (line, cells.collect())
    });
    rows.collect()
}

/// The words of a cell; none for `none`.
fn words<'a>(row: &'a Row, column: &str) -> impl Iterator<Item = &'a str> {
    row[column].split(' ').filter(|word| *word != "none")
}

#[test]
fn every_row_is_whole_in_order_and_names_a_source() {
    let sources = read("profiles/SOURCES.toml");
    let mut faults = Vec::new();
    let mut before = String::new();

    for (line, row) in rows() {
        for (column, cell) in &row {
            if cell.is_empty() || cell.trim() != cell {
                faults.push(format!("SAFETY.csv:{line}: {column} is empty or padded"));
            }
        }
        if row["hazard"] <= before {
            faults.push(format!("SAFETY.csv:{line}: out of order or twice"));
        }
        if !sources.contains(&format!("[{}]\n", row["source"])) {
            faults.push(format!("SAFETY.csv:{line}: {} is no source", row["source"]));
        }
        if row["checked_on"].parse::<chrono::NaiveDate>().is_err() {
            faults.push(format!("SAFETY.csv:{line}: checked_on is no day"));
        }
        before.clone_from(&row["hazard"]);
    }

    assert!(faults.is_empty(), "{faults:#?}");
}

#[test]
fn every_control_stands_in_a_file_and_is_held_by_tests_that_exist() {
    let mut faults = Vec::new();

    for (line, row) in rows() {
        if !root(&row["file"]).is_file() {
            faults.push(format!("SAFETY.csv:{line}: no file {}", row["file"]));
        }
        if words(&row, "tests").next().is_none() {
            faults.push(format!("SAFETY.csv:{line}: no test"));
        }
        for test in words(&row, "tests") {
            let (file, function) = test.split_once("::").unwrap_or((test, ""));
            let text = read(file);
            let declared = text.contains(&format!("fn {function}("));
            if !declared || !is_run(&text, function) {
                faults.push(format!("SAFETY.csv:{line}: {test} is no test"));
            }
        }
    }

    assert!(faults.is_empty(), "{faults:#?}");
}

/// True for a function under `#[test]`, in `proptest!`, or in a list of scenarios or of tests of both engines.
fn is_run(text: &str, function: &str) -> bool {
    let before = text
        .split(&format!("fn {function}("))
        .next()
        .unwrap_or_default();
    let attribute = before
        .trim_end()
        .rsplit('\n')
        .next()
        .unwrap_or_default()
        .trim();
    let listed = ["scenarios!(", "on_both!("].map(|list| text.split(list).nth(1));
    let listed = listed.into_iter().flatten().next();
    let listed = listed.and_then(|rest| rest.split(')').next());
    before.trim_end().ends_with(']') && attribute.starts_with("#[")
        || before.trim_end().ends_with("async") && before.contains("#[tokio::test]")
        || listed.is_some_and(|list| list.contains(function))
}

#[test]
fn every_code_of_a_row_is_one_and_every_caution_has_a_row() {
    let table = cautions_of_the_table();
    let mut faults = Vec::new();
    let mut named = BTreeSet::new();

    for (line, row) in rows() {
        for code in words(&row, "codes") {
            if Code::of(code).is_none() {
                faults.push(format!("SAFETY.csv:{line}: {code} is no code"));
            }
            named.insert(code.to_owned());
        }
    }
    let of = |wanted: fn(&Code) -> bool| -> BTreeSet<String> {
        let codes = Code::ALL.iter().filter(|code| wanted(code));
        codes.map(|code| code.word().to_owned()).collect()
    };
    let cautions = of(|code| code.meaning().severity == Some(Severity::Caution));
    let asked = of(|code| {
        OF_A_HAZARD
            .iter()
            .any(|start| code.word().starts_with(start))
    });
    faults.extend(
        cautions
            .union(&asked)
            .chain(&table)
            .filter(|code| !named.contains(*code))
            .map(|code| format!("SAFETY.csv: no row names {code}")),
    );

    assert!(faults.is_empty(), "{faults:#?}");
}

/// The codes of cautions and prompts that `profiles/cautions.csv` words.
fn cautions_of_the_table() -> BTreeSet<String> {
    let text = read("profiles/cautions.csv");
    let mut reader = csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .from_reader(text.as_bytes());
    let rows = reader
        .records()
        .map(|row| row.expect("a row")[0].to_owned());
    let codes: BTreeSet<String> = rows.collect();
    assert!(codes.len() > 5, "{codes:?}");
    codes
}

#[test]
fn the_page_is_the_table() {
    let mut page = String::from(
        "# Safety\n\n\
         Fascicle is not certified as a medical device; a site has to assess it before clinical use.\n\
         It supports and never replaces the judgement of a qualified clinician; local policy, the \
         surgeon's limits and the treating team come first.\n\n\
         This page is written from `SAFETY.csv` by `UPDATE_EXPECT=1 cargo test --test safety`.\n",
    );
    for (_, row) in rows() {
        let title = row["hazard"].replace('-', " ");
        let list = |column: &str| {
            let words: Vec<String> = words(&row, column)
                .map(|word| format!("`{word}`"))
                .collect();
            if words.is_empty() {
                "none".to_owned()
            } else {
                words.join(", ")
            }
        };
        write!(
            page,
            "\n## {title}\n\n- Harm: {}.\n- Control: {}.\n- Where: `{}`.\n- Told as: {}.\n- Held by: {}.\n- Source: {}, {}.\n",
            row["harm"], row["control"], row["file"], list("codes"), list("tests"), row["source"],
            row["locator"],
        )
        .expect("a string takes it");
    }
    if std::env::var_os("UPDATE_EXPECT").is_some_and(|value| value == "1") {
        fs::write(root("SAFETY.md"), &page).expect("written");
    }

    assert!(
        read("SAFETY.md") == page,
        "stale: UPDATE_EXPECT=1 cargo test --test safety"
    );
}
