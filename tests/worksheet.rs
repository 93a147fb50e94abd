#![cfg(test)]
//! The worksheet that a hospital's build team reads.

use fascicle::base::json::Node;
use fascicle::service::app::worksheet;
use fascicle::service::app::worksheet::row::Row;
use fascicle::tables::catalogue::Catalogue;
use fascicle::tables::catalogue::rows::Kind;
use std::collections::{BTreeMap, BTreeSet};
use std::process::Command;

#[path = "support/golden.rs"]
mod golden;

/// One measure of each kind: enough to see what the worksheet looks like.
const SHOWN: [&str; 9] = [
    "clonus.ankle",
    "pain.intensity.calf",
    "precaution",
    "range.passive.ankle.dorsiflexion",
    "session.examination",
    "stretch.dynamic.calf",
    "stretch.fast.calf",
    "stretch.slow.calf",
    "tone.modified-ashworth.calf",
];

fn small() -> Catalogue {
    let mut catalogue = Catalogue::embedded().expect("ours");
    let shown = |key: &String| SHOWN.contains(&key.as_str());
    catalogue.measures.retain(|key, _| shown(key));
    // The hash changes with every row of every table.
    catalogue.sha256 = "0".repeat(64);
    catalogue
}

/// Examples are made with all measures: one may be computed from others.
fn rows_of(catalogue: &Catalogue) -> Vec<Row> {
    let whole = Catalogue::embedded().expect("ours");
    let shown = |row: &Row| catalogue.measures.contains_key(&row.measure);
    worksheet::rows(&whole).into_iter().filter(shown).collect()
}

fn csv_of(text: &str) -> Vec<csv::StringRecord> {
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let records = reader.records();
    records.map(|row| row.expect("RFC 4180")).collect()
}

#[test]
fn the_worksheet_of_one_measure_of_each_kind_is_the_committed_one() {
    let catalogue = small();
    let rows = rows_of(&catalogue);

    let made = BTreeMap::from([
        (
            "worksheet.csv".to_owned(),
            worksheet::csv(&catalogue, &rows),
        ),
        (
            "worksheet.html".to_owned(),
            worksheet::html(&catalogue, &rows),
        ),
    ]);

    golden::folder_is("fixtures/worksheet", &made);
}

#[test]
fn every_measure_stands_in_it_with_an_example_that_says_its_unit_and_code() {
    let catalogue = Catalogue::embedded().expect("ours");
    let rows = worksheet::rows(&catalogue);

    let told: BTreeSet<&str> = rows.iter().map(|row| row.measure.as_str()).collect();
    assert!(told.into_iter().eq(catalogue.measures.keys()));
    for row in &rows {
        if row.measure == "comparison.fixed-part-range" {
            // No table of ours has a range of a slow stretch.
            let why = row.example.as_ref().expect_err("no range of ours");
            assert!(why.contains("a range of that very stretch"), "{why}");
            continue;
        }
        let (words, part) = row.example.as_ref().expect(&row.measure);
        assert!(!words.is_empty(), "{}", row.measure);
        let given = part.at(&["code", "coding"]).map(Node::items);
        let given: Vec<(&str, &str)> = given
            .unwrap_or_default()
            .iter()
            .filter_map(|coding| coding.text_of("system").zip(coding.text_of("code")))
            .collect();
        let listed: Vec<(&str, &str)> = row
            .codings
            .iter()
            .map(|one| (one.system.as_str(), one.code.as_str()))
            .collect();
        // What the worksheet lists is what is sent, in the same order.
        assert_eq!(listed, given, "{}", row.measure);
        let unit = part.at(&["valueQuantity", "code"]).and_then(Node::text);
        let wanted = row.unit.as_ref().map(|(unit, _)| unit.as_str());
        // A comparison has the unit of what was compared.
        let compared = row.kind == Kind::Comparison.word();
        assert!(
            unit.is_none() || unit == wanted || compared,
            "{}",
            row.measure
        );
    }
}

/// What an operator writes reaches a spreadsheet and a browser as text.
#[test]
fn nothing_in_a_table_becomes_a_formula_or_a_tag() {
    let mut catalogue = small();
    let clonus = catalogue.measures.get_mut("clonus.ankle").expect("a row");
    clonus.label = r#"=HYPERLINK("x")<script>alert(1)</script>"#.to_owned();
    clonus.kind = Kind::Word;
    let mut rows = rows_of(&catalogue);
    for row in &mut rows {
        let label = &catalogue.measures[&row.measure].label;
        row.meaning.clone_from(label);
    }

    let csv = worksheet::csv(&catalogue, &rows);
    let html = worksheet::html(&catalogue, &rows);

    for record in csv_of(&csv) {
        for cell in &record {
            let formula = cell.starts_with(['=', '+', '-', '@', '\t', '\r', '\n']);
            assert!(!formula, "{cell}");
        }
    }
    assert!(csv.contains(r#""'=HYPERLINK(""x"")<script>"#), "quoted");
    assert!(!html.contains("<script"), "escaped");
    assert!(html.contains("&lt;script&gt;alert(1)"));
}

/// Source: RFC 4180, section 2: lines end in CRLF, and each has the same number of fields.
#[test]
fn the_table_is_csv_as_rfc_4180_has_it() {
    let catalogue = small();
    let csv = worksheet::csv(&catalogue, &rows_of(&catalogue));

    assert_eq!(csv.matches('\n').count(), csv.matches("\r\n").count());
    // One row a measure, and the two notices; the reader refuses rows of another length.
    assert_eq!(csv_of(&csv).len(), SHOWN.len() + 2);
}

#[test]
fn the_command_writes_both_from_an_operators_tables() {
    let folder = tempfile::tempdir().expect("a folder");
    let tables = golden::root("fixtures/tables");
    let out = folder.path().join("worksheet");

    let output = Command::new(env!("CARGO_BIN_EXE_fascicle"))
        .args(["catalogue", "worksheet", "--out"])
        .arg(&out)
        .arg("--tables")
        .arg(tables)
        .output()
        .expect("the binary runs");

    let told = String::from_utf8(output.stdout).expect("UTF-8");
    assert_eq!(output.status.code(), Some(0), "{told}");
    let read = |name: &str| {
        let bytes = std::fs::read(out.join(name)).expect("written");
        String::from_utf8(bytes).expect("UTF-8")
    };
    for name in ["worksheet.csv", "worksheet.html"] {
        let text = read(name);
        assert!(text.contains("CLONUS-ANKLE"), "{name}");
    }
    assert!(read("worksheet.html").contains("With the site’s own <code>code-map.json</code>"));
}
