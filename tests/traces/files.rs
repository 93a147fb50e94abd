#![cfg(test)]
#![expect(
    clippy::disallowed_methods,
    reason = "the samples lie in a file beside the document"
)]
//! Samples in a CSV file beside the document, by the built commands.

use crate::document::sound;
use fascicle::base::json::{Node, text};
use std::fs;
use std::path::Path;
use std::process::{Command, Output};

fn run(folder: &Path, words: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_fascicle"))
        .args(words)
        .current_dir(folder)
        .output()
        .expect("the command runs")
}

/// The session with every trace, one of which names a file in the place of its samples.
fn write(folder: &Path, name: &str, csv: Option<&str>) -> Node {
    let every = include_str!("../../fixtures/sessions/every-trace.json");
    let mut document = Node::parse(every).expect("JSON");
    let mut traces: Vec<Node> = document.items_of("traces")[..4].to_vec();
    let inline = traces[1].clone();
    traces[1].remove("angles");
    traces[1].remove("period");
    traces[1].set("file", text(name));
    document.set("traces", Node::List(traces));
    fs::write(folder.join("session.json"), document.pretty()).expect("written");
    if let Some(csv) = csv {
        fs::write(folder.join(name), csv).expect("written");
    }
    inline
}

fn csv_of(trace: &Node) -> String {
    let angles = trace.items_of("angles").iter().filter_map(Node::text);
    let rows = angles
        .enumerate()
        .map(|(n, angle)| format!("{},{angle}", n * 10));
    let rows: Vec<String> = rows.collect();
    format!("time,angle\r\n{}\r\n", rows.join("\r\n"))
}

#[test]
fn samples_in_a_file_become_the_same_bundle_and_pictures_as_samples_inline() {
    let folder = tempfile::tempdir().expect("a folder");
    let inline = write(folder.path(), "fast.csv", Some(""));
    fs::write(folder.path().join("fast.csv"), csv_of(&inline)).expect("written");

    let done = run(
        folder.path(),
        &[
            "encode",
            "session.json",
            "--out",
            "bundle.json",
            "--plots",
            "plots",
        ],
    );

    assert!(
        done.status.success(),
        "{}",
        String::from_utf8_lossy(&done.stdout)
    );
    let bundle = fs::read_to_string(folder.path().join("bundle.json")).expect("a bundle");
    let angles: Vec<&str> = inline
        .items_of("angles")
        .iter()
        .filter_map(Node::text)
        .collect();
    let turned: Vec<String> = angles
        .iter()
        .map(|angle| match angle.strip_prefix('-') {
            Some(angle) => angle.to_owned(),
            None if *angle == "0.0" => "0.0".to_owned(),
            None => format!("-{angle}"),
        })
        .collect();
    assert!(
        bundle.contains(&turned.join(" ")),
        "the second trace counts the other way"
    );
    let plots = fs::read_dir(folder.path().join("plots")).expect("pictures");
    assert_eq!(plots.count(), 4);
}

#[test]
fn every_fault_of_a_file_is_told_with_its_row_and_nothing_is_encoded() {
    let folder = tempfile::tempdir().expect("a folder");
    let cases = [
        (
            "fast.csv",
            Some("time,angle\n0,1\n10,x\n20\n"),
            &["trace-file.row", "row at line 3", "row at line 4"][..],
        ),
        (
            "fast.csv",
            Some("zeit,winkel\n0,1\n"),
            &["trace-file.header"],
        ),
        ("../fast.csv", None, &["trace-file.name"]),
        (
            "none.csv",
            None,
            &["trace-file.read", "there is no such file"],
        ),
    ];
    for (name, csv, wanted) in cases {
        write(folder.path(), name, csv);
        for command in ["encode", "check"] {
            let done = run(folder.path(), &[command, "session.json"]);

            let said = String::from_utf8_lossy(&done.stdout).into_owned();
            assert_eq!(done.status.code(), Some(1), "{said}");
            for words in wanted {
                assert!(said.contains(words), "{words}: {said}");
            }
            assert!(!said.contains("trace.file "), "told once: {said}");
        }
    }
}

#[test]
fn a_file_of_too_many_rows_is_refused() {
    let folder = tempfile::tempdir().expect("a folder");
    let rows: Vec<String> = (0..100_001).map(|n| format!("{n},1")).collect();
    let rows = rows.join("\n");
    write(
        folder.path(),
        "long.csv",
        Some(&format!("time,angle\n{rows}")),
    );

    let done = run(folder.path(), &["check", "session.json"]);

    assert!(String::from_utf8_lossy(&done.stdout).contains("trace-file.rows"));
    assert!(sound().member("traces").is_none());
}
