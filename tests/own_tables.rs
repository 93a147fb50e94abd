#![cfg(test)]
#![expect(clippy::disallowed_methods, reason = "tests read files")]
//! `fascicle catalogue`, as an operator with tables of their own meets it.

use fascicle::catalogue::Catalogue;
use fascicle::json::Node;
use std::fs;
use std::path::Path;
use std::process::Command;
use tempfile::TempDir;

fn catalogue(arguments: &[&str]) -> (Option<i32>, String) {
    let mut command = Command::new(env!("CARGO_BIN_EXE_fascicle"));
    let output = command.arg("catalogue").args(arguments).output();
    let output = output.expect("the binary runs");
    let text = String::from_utf8(output.stdout).expect("UTF-8");
    (output.status.code(), text)
}

/// A folder with these files, and its path.
fn folder(files: &[(&str, &str)]) -> (TempDir, String) {
    let folder = tempfile::tempdir().expect("a folder");
    for (name, text) in files {
        let path = folder.path().join(name);
        fs::create_dir_all(path.parent().expect("a parent")).expect("a folder");
        fs::write(path, text).expect("a file");
    }
    let path = folder.path().to_str().expect("UTF-8").to_owned();
    (folder, path)
}

fn ours(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("profiles");
    fs::read_to_string(path.join(name)).expect("a table of ours")
}

fn sha256() -> String {
    Catalogue::embedded().expect("ours").sha256
}

#[test]
fn our_own_folder_holds_and_has_the_hash_of_the_binary() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("profiles");

    let (code, told) = catalogue(&["check", path.to_str().expect("UTF-8")]);

    assert_eq!(code, Some(0), "{told}");
    assert!(told.contains("scales/presence.csv"), "{told}");
    assert!(told.contains("\nnot read: fhir\n"), "{told}");
    assert!(told.ends_with(&format!("SHA-256 of the tables: {}\n", sha256())));
}

#[test]
fn a_replaced_row_holds_and_gives_a_hash_of_its_own() {
    let text = ours("measures.csv").replace(",-90,50,passive", ",-80,45,passive");
    let (_kept, path) = folder(&[("measures.csv", &text)]);

    let (code, told) = catalogue(&["check", &path]);
    let (_, json) = catalogue(&["check", "--json", &path]);

    assert_eq!(code, Some(0), "{told}");
    assert!(told.starts_with("replaced: measures.csv\n"), "{told}");
    let json = Node::parse(&json).expect("JSON");
    let hash = json.text_of("sha256").expect("a hash");
    assert!(told.contains(hash) && hash != sha256(), "{told}");
}

#[test]
fn every_fault_is_told_as_path_line_and_what() {
    let codes = ours("codes.csv").replace(
        "pain.intensity.calf,wider,http://loinc.org,72514-3",
        "pain.intensity.calf,wider,http://loinc.org,72514-4",
    );
    let units = ours("units.csv").replace("deg,degree,ucum,", "deg,degree,,");
    let (_kept, path) = folder(&[
        ("codes.csv", &codes),
        ("units.csv", &units),
        ("measure.csv", ""),
        ("scales/presense.csv", &ours("scales/presence.csv")),
    ]);

    let (code, told) = catalogue(&["check", &path]);

    assert_eq!(code, Some(1), "{told}");
    for wanted in [
        "/codes.csv:16: pain.intensity.calf: 72514-4 fails its check digit\n",
        "/units.csv:3: source is empty or padded; write none\n",
        "/measure.csv:0: no table has this name, so the file would not be read\n",
        "/scales/presense.csv:0: no table of ours has this name, and no measure names it as its scale\n",
        "\n4 faults\n",
    ] {
        assert!(told.contains(wanted), "{wanted} not in {told}");
    }
}

#[test]
fn a_folder_that_is_not_there_is_a_mistake() {
    assert_eq!(catalogue(&["check", "/nowhere/tables"]).0, Some(1));
}

#[test]
fn the_list_tells_every_measure_and_fits_its_page() {
    let measures = Catalogue::embedded().expect("ours").measures;

    let (code, told) = catalogue(&["list"]);
    let (_, json) = catalogue(&["list", "--json"]);

    assert_eq!(code, Some(0));
    for line in told.lines() {
        assert!(line.chars().count() <= 100, "{line}");
    }
    for measure in measures.values() {
        let row = format!("{} ", measure.measure);
        assert!(told.lines().any(|line| line.starts_with(&row)), "{row}");
    }
    let json = Node::parse(&json).expect("JSON");
    assert_eq!(json.items_of("measures").len(), measures.len());
}

#[test]
fn the_list_of_one_kind_holds_that_kind_and_an_unknown_kind_is_a_mistake() {
    let (code, json) = catalogue(&["list", "--json", "--kind", "range"]);

    assert_eq!(code, Some(0));
    let json = Node::parse(&json).expect("JSON");
    let measures = json.items_of("measures");
    assert!(measures.len() >= 4);
    assert!(
        measures
            .iter()
            .all(|one| one.text_of("kind") == Some("range"))
    );
    assert_eq!(catalogue(&["list", "--kind", "angle"]).0, Some(1));
}
