#![cfg(test)]
//! `summary` of a document beside an earlier session, by the built binary.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

fn fixture(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures/sessions")
        .join(name)
}

/// A command of the binary with files of the fixtures behind it.
fn run(arguments: &[&str], files: &[&str]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_fascicle"));
    command.args(arguments);
    command.args(files.iter().map(|name| fixture(name)));
    command.output().expect("it runs")
}

fn text(output: &Output) -> String {
    String::from_utf8(output.stdout.clone()).expect("text")
}

const CHANGE: &str =
    "- Right: change since an earlier session, passive extension of the elbow: 10 degrees";

#[test]
fn a_change_since_a_file_or_a_kept_session_is_told_and_the_earlier_session_is_not() {
    let first = fixture("first.json").display().to_string();
    let folder = tempfile::tempdir().expect("a folder");
    let state = folder.path().join("state").display().to_string();
    let nowhere = ["send", "--to", "http://127.0.0.1:9/fhir", "--wait", "0"];
    let kept = run(
        &[&nowhere[..], &["--state", &state]].concat(),
        &["first.json"],
    );
    assert!(text(&kept).contains("queued: session"), "{}", text(&kept));

    let alone = run(&["summary"], &["second.json"]);
    let file = run(&["summary", "--earlier", &first], &["second.json"]);
    let store = ["summary", "--earlier-from", "store", "--state", &state];
    let store = run(&store, &["second.json"]);

    assert!(!text(&alone).contains(CHANGE), "{}", text(&alone));
    for output in [&file, &store] {
        let told = text(output);
        assert!(output.status.success(), "{told}");
        assert!(told.contains(CHANGE), "{told}");
        assert!(told.contains("compared with 19 October 2026"), "{told}");
        let examinations = told
            .matches("Neurological physiotherapy examination on")
            .count();
        assert_eq!(examinations, 1, "{told}");
    }
}

#[test]
fn an_earlier_session_is_told_apart_from_one_that_is_kept() {
    let first = fixture("first.json").display().to_string();
    let of = "7d1f0a52-3c68-4b0e-9a57-0f6b2e6c1a10";
    for arguments in [
        // Of what is kept everything earlier is known.
        &[
            "summary",
            "--of",
            of,
            "--state",
            "nowhere",
            "--earlier",
            &first,
        ][..],
        &[
            "summary",
            "--of",
            of,
            "--state",
            "nowhere",
            "--earlier-from",
            "store",
        ],
        &["summary", "--of", of],
        &["summary", "--state", "nowhere", &first],
        &["encode", "--state", "nowhere", &first],
    ] {
        let output = run(arguments, &[]);
        assert_eq!(output.status.code(), Some(2), "{arguments:?}");
    }
    let broken = run(
        &["summary", "--earlier", "no-such-file.json"],
        &["second.json"],
    );
    assert!(!broken.status.success());
    let told = text(&broken);
    assert!(
        told.starts_with("no-such-file.json: ") && told.contains("[file.unread]"),
        "{told}"
    );
    assert!(told.ends_with("nothing was summarised\n"), "{told}");
}
