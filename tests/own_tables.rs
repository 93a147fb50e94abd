#![cfg(test)]
#![expect(clippy::disallowed_methods, reason = "tests read files")]
//! `fascicle catalogue`, as an operator with tables of their own meets it.

use fascicle::base::json::Node;
use fascicle::tables::catalogue::Catalogue;
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
    assert!(told.contains("\nnot read: fhir, r4\n"), "{told}");
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
    let units = ours("units.csv").replace("deg,angle,degree,ucum,", "deg,angle,degree,,");
    let (_kept, path) = folder(&[
        ("codes.csv", &codes),
        ("units.csv", &units),
        ("measure.csv", ""),
        ("scales/presense.csv", &ours("scales/presence.csv")),
    ]);

    let (code, told) = catalogue(&["check", &path]);

    assert_eq!(code, Some(1), "{told}");
    for wanted in [
        "/codes.csv:31: pain.intensity.calf: 72514-4 fails its check digit\n",
        "/units.csv:9: source is empty or padded; write none\n",
        "/measure.csv:0: no table has this name, so the file would not be read\n",
        "/scales/presense.csv:0: no table of ours has this name, and no measure names it as its scale\n",
        "/scales/presense.csv:2: presense: scales.csv has no row for it\n",
        "\n5 faults\n",
    ] {
        assert!(told.contains(wanted), "{wanted} not in {told}");
    }
}

const MAP: &str = include_str!("../fixtures/tables/code-map.json");

/// Runs a command with documents and tables; exit code, standard output and standard error.
fn run(arguments: &[&str]) -> (Option<i32>, String, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_fascicle"))
        .args(arguments)
        .output()
        .expect("the binary runs");
    let text = |bytes| String::from_utf8(bytes).expect("UTF-8");
    (
        output.status.code(),
        text(output.stdout),
        text(output.stderr),
    )
}

fn document(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/sessions");
    path.join(name).to_str().expect("UTF-8").to_owned()
}

#[test]
fn a_map_of_codes_is_used_by_every_command_that_codes() {
    let (_kept, tables) = folder(&[("code-map.json", MAP)]);
    let document = document("sound.json");

    let (code, bundle, told) = run(&["encode", "--tables", &tables, &document]);
    let (_, ours, _) = run(&["encode", &document]);

    assert_eq!(code, Some(0), "{told}");
    assert!(bundle.contains("\"CLONUS-ANKLE\"") && bundle.contains("\"38208-5\""));
    assert!(!ours.contains("CLONUS-ANKLE"));
    let kept = tempfile::tempdir().expect("a folder");
    let observations = kept.path().join("ours.json");
    fs::write(&observations, ours).expect("a file");
    let path = observations.to_str().expect("UTF-8");
    let (code, told, _) = run(&["check", "--tables", &tables, path]);
    assert_eq!(code, Some(0), "{told}");
    assert!(told.contains("CLONUS-ANKLE of https://invented-clinic.example/codes is missing"));
}

#[test]
fn nothing_starts_with_a_bad_table_and_every_fault_is_told() {
    let units = ours("units.csv").replace("deg,angle,degree,ucum,", "deg,force,degree,,");
    let (_kept, tables) = folder(&[
        ("code-map.json", &MAP.replace("38208-5", "38208-6")),
        ("units.csv", &units),
    ]);
    let state = tempfile::tempdir().expect("a folder");
    let store = state.path().join("state");
    let config = state.path().join("fascicle.toml");
    let text = format!(
        "state = '{}'\ntables = '{tables}'\n[[target]]\nname = 'ward'\nbase = 'http://127.0.0.1:9'\n",
        store.display()
    );
    fs::write(&config, text).expect("a file");
    let document = document("sound.json");
    let config = config.to_str().expect("UTF-8");

    for arguments in [
        vec!["send", "--config", config, &document],
        vec!["encode", "--tables", &tables, &document],
        vec!["check", "--tables", &tables, &document],
        vec!["catalogue", "list", "--tables", &tables],
    ] {
        let (code, out, told) = run(&arguments);

        assert_eq!(code, Some(1), "{arguments:?} {told}");
        assert_eq!(out, "", "{arguments:?}");
        for wanted in [
            "/code-map.json:19: pain.intensity.calf: 38208-6 fails its check digit\n",
            "/units.csv:9: deg is an angle, and not a force\n",
            "/units.csv:9: source is empty or padded; write none\n",
        ] {
            assert!(told.contains(wanted), "{wanted} not in {told}");
        }
    }
    assert!(!store.exists(), "the store was made");
}

#[test]
fn the_list_tells_which_rows_are_the_operators() {
    let measures = ours("measures.csv").replace(",-90,50,passive", ",-80,45,passive");
    let (_kept, tables) = folder(&[("code-map.json", MAP), ("measures.csv", &measures)]);

    let (code, told) = catalogue(&["list", "--tables", &tables]);
    let (_, json) = catalogue(&["list", "--json", "--tables", &tables]);

    assert_eq!(code, Some(0), "{told}");
    assert!(
        told.contains("Pain severity - Reported (row of the operator)\n"),
        "{told}"
    );
    assert!(
        told.contains("of the operator: code-map.json, SHA-256\n"),
        "{told}"
    );
    for line in told.lines() {
        assert!(line.chars().count() <= 80, "{line}");
    }
    let json = Node::parse(&json).expect("JSON");
    let origin = |measure: &str| {
        let measures = json.items_of("measures").iter();
        let mut found = measures.filter(|one| one.text_of("measure") == Some(measure));
        let found = found.next().expect("a measure").clone();
        let codes = found.items_of("codes").iter();
        let codes = codes.map(|code| code.text_of("origin").unwrap_or_default().to_owned());
        let codes: Vec<String> = codes.collect();
        (
            found.text_of("origin").unwrap_or_default().to_owned(),
            codes.join(" "),
        )
    };
    let said = |measure: &str, codes: &str| (measure.to_owned(), codes.to_owned());
    assert_eq!(origin("pain.intensity.calf"), said("ours", "operator"));
    assert_eq!(origin("pain.intensity.ankle"), said("ours", "ours"));
    assert_eq!(
        origin("range.passive.ankle.dorsiflexion"),
        said("operator", "ours")
    );
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
        assert!(line.chars().count() <= 80, "{line}");
    }
    let listed: Vec<&str> = told.lines().collect();
    for measure in measures.values() {
        // A key that fills half the page stands on a line of its own.
        let row = format!("{} ", measure.measure);
        let told = |line: &str| line.starts_with(&row) || line == measure.measure;
        assert!(listed.iter().any(|line| told(line)), "{row}");
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
