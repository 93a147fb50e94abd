#![cfg(test)]
//! An operator's own release of a code system, and what it confirms.
//!
//! The files are invented, in the column layout as published: LoincTableCore.csv of LOINC; RF2
//! description files (confluence.ihtsdotools.org/display/REUSE/Description+File) of SNOMED CT.

use crate::document::catalogue;
use fascicle::base::json::Node;
use fascicle::tables::catalogue::confirm::{self, JudgedRow, switched_on};
use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::process::Command;

const LOINC: &str = include_str!("../../fixtures/releases/loinc-table-core.csv");
const DESCRIPTIONS: &str = include_str!("../../fixtures/releases/sct2_Description_Test.txt");
const CONCEPTS: &str = include_str!("../../fixtures/releases/sct2_Concept_Test.txt");

fn verdicts(lines: &[JudgedRow]) -> BTreeMap<&str, String> {
    let told = |line: &JudgedRow| {
        let more = line.verdict.more();
        format!("{} {more}", line.verdict.word())
            .trim_end()
            .to_owned()
    };
    lines
        .iter()
        .map(|line| (line.code.as_str(), told(line)))
        .collect()
}

#[test]
fn a_loinc_table_agrees_differs_has_retired_or_lacks_each_row() {
    let lines = confirm::loinc(LOINC.as_bytes(), catalogue()).expect("a table");

    let told = verdicts(&lines);
    for (code, verdict) in [
        ("41363-3", "agrees"),
        ("41373-2", "agrees"),
        ("72514-3", "agrees"),
        ("41364-1", "differs system Elbow.left"),
        ("41361-7", "differs property Len"),
        (
            "41362-5",
            "differs component Flexion.passive range of motion",
        ),
        ("41374-0", "differs system Knee"),
        ("41379-9", "retired status DEPRECATED"),
        ("41380-7", "differs status DISCOURAGED"),
        ("41389-8", "differs named Another name (test data)"),
        ("41381-5", "absent"),
    ] {
        assert_eq!(told[code], verdict, "{code}");
    }
    assert!(!told.contains_key("99999-9"));
    let on = switched_on(&lines, catalogue());
    let on: Vec<&str> = on.iter().map(|row| row.thing.as_str()).collect();
    assert_eq!(
        on,
        ["range.active.elbow.flexion", "range.active.hip.flexion"]
    );
}

#[test]
fn the_last_state_of_a_description_and_of_a_concept_counts() {
    let whole = Some(CONCEPTS.as_bytes());
    let lines = confirm::snomed(DESCRIPTIONS.as_bytes(), whole, catalogue()).expect("a release");

    let told = verdicts(&lines);
    for (code, verdict) in [
        ("40199007", "agrees"),
        ("364564000", "agrees"),
        ("765771006", "agrees"),
        ("398151007", "agrees"),
        ("56731001", "retired the concept is inactive"),
        ("1240000", "retired none of its descriptions is active"),
        (
            "10904000",
            "differs named A name \"with\" quotation marks (test data)",
        ),
        ("33653009", "absent"),
        ("70258002", "absent"),
    ] {
        assert_eq!(told[code], verdict, "{code}");
    }
    let none: Option<&[u8]> = None;
    let alone = confirm::snomed(DESCRIPTIONS.as_bytes(), none, catalogue()).expect("a release");
    assert_eq!(verdicts(&alone)["56731001"], "agrees");
}

#[test]
fn a_file_of_another_kind_is_told_by_the_column_it_lacks() {
    let cause = confirm::loinc(DESCRIPTIONS.as_bytes(), catalogue()).err();
    let cause = cause.expect("no table").to_string();
    assert!(cause.contains("LOINC_NUM"), "{cause}");
    let none: Option<&[u8]> = None;
    let cause = confirm::snomed(LOINC.as_bytes(), none, catalogue()).err();
    assert!(
        cause
            .expect("no release")
            .to_string()
            .contains("the column id is missing")
    );
}

/// Exit code and output of a command.
fn run(arguments: &[&str]) -> (Option<i32>, String) {
    let mut command = Command::new(env!("CARGO_BIN_EXE_fascicle"));
    let output = command.args(arguments).output().expect("it runs");
    let text = String::from_utf8(output.stdout).expect("text");
    (output.status.code(), text)
}

fn fixture(name: &str) -> String {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    root.join("fixtures").join(name).display().to_string()
}

#[test]
fn what_is_confirmed_is_on_in_the_table_of_the_operator_and_in_what_is_sent() {
    let folder = tempfile::tempdir().expect("a folder");
    let own = folder.path().join("tables").display().to_string();
    let release = fixture("releases/loinc-table-core.csv");
    let session = fixture("sheets/beside.json");
    let header = "measure,side,value.beyond_neutral,value.unit,ended.how,method,instrument";
    let row = "range.active.elbow.flexion,right,140,deg,end-of-range,goniometry,goniometer";
    let sheet = folder.path().join("elbow.csv");
    fs::write(&sheet, format!("{header}\r\n{row}\r\n")).expect("a file");
    let sheet = sheet.display().to_string();

    let (code, told) = run(&["catalogue", "confirm", "--loinc", &release, "--out", &own]);
    let checked = run(&["catalogue", "check", &own]);
    let before = run(&["encode", "--session", &session, &sheet]).1;
    let after = run(&["encode", "--session", &session, "--tables", &own, &sheet]).1;
    let again = run(&[
        "catalogue",
        "confirm",
        "--loinc",
        &release,
        "--tables",
        &own,
    ])
    .1;

    assert_eq!(code, Some(1), "some rows differ");
    assert!(
        told.contains("2 rows that were off are confirmed"),
        "{told}"
    );
    assert_eq!(checked.0, Some(0), "{}", checked.1);
    assert!(!before.contains("41363-3"));
    assert!(
        after.contains("\"code\": \"41363-3\""),
        "the confirmed code is sent"
    );
    assert!(
        again.contains("0 rows that were off are confirmed"),
        "{again}"
    );
}

#[test]
fn a_program_is_told_the_same_of_each_row() {
    let release = fixture("releases/loinc-table-core.csv");

    let json = run(&["catalogue", "confirm", "--json", "--loinc", &release]).1;

    let json = Node::parse(&json).expect("JSON");
    let rows = json.items_of("rows");
    let on = |row: &&Node| row.member("switched_on") == Some(&Node::Bool(true));
    assert_eq!(rows.iter().filter(on).count(), 2);
    assert!(rows.iter().all(|row| row.text_of("verdict").is_some()));
}
