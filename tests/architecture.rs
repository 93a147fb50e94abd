#![cfg(test)]
#![expect(clippy::disallowed_methods, reason = "tests read files")]
//! The order of the wings and of the rooms in them, the crates each may use, their heads, and the size of files.

use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

/// Each room in its wing with the foreign crates it may use; it may name what stands before it, never after.
const ROOMS: &[(&str, &[&str])] = &[
    ("base/code", &["thiserror"]),
    ("base/problem", &[]),
    ("base/private", &["thiserror"]),
    ("base/exact", &["rust_decimal", "thiserror"]),
    ("base/clock", &["chrono"]),
    ("base/json", &["serde", "serde_json", "thiserror"]),
    ("base/schema", &["jsonschema", "serde_json", "thiserror"]),
    (
        "tables/catalogue",
        &[
            "chrono",
            "csv",
            "flate2",
            "octofhir_ucum",
            "serde",
            "serde_json",
            "sha2",
            "tar",
            "thiserror",
            "toml",
        ],
    ),
    (
        "examination/intake",
        &[
            "csv",
            "jsonschema",
            "schemars",
            "serde",
            "serde_json",
            "thiserror",
        ],
    ),
    ("examination/finding", &["chrono", "uuid"]),
    ("examination/measure", &["chrono", "octofhir_ucum", "uuid"]),
    ("examination/compare", &["chrono", "thiserror", "uuid"]),
    ("examination/trace", &["biquad", "quick_xml", "uuid"]),
    ("fhir/coding", &["chrono", "uuid"]),
    ("fhir/summary", &["chrono", "quick_xml", "uuid"]),
    (
        "fhir/record",
        &["percent_encoding", "quick_xml", "serde", "uuid"],
    ),
    (
        "fhir/check",
        &[
            "base64",
            "chrono",
            "jsonschema",
            "octofhir_ucum",
            "quick_xml",
            "serde_json",
        ],
    ),
    (
        "delivery/outbox",
        &["chrono", "sqlx", "thiserror", "tokio", "tracing", "uuid"],
    ),
    (
        "delivery/deliver",
        &[
            "base64",
            "chrono",
            "fastrand",
            "fhir_sdk",
            "httpdate",
            "jsonwebtoken",
            "reqwest",
            "ring",
            "rustls",
            "serde",
            "serde_json",
            "thiserror",
            "tokio",
            "tracing",
            "uuid",
        ],
    ),
    (
        "practice",
        &[
            "axum",
            "base64",
            "chrono",
            "httpdate",
            "reqwest",
            "sha2",
            "sqlx",
            "thiserror",
            "tokio",
            "tracing",
            "uuid",
        ],
    ),
    ("service/config", &["serde", "thiserror", "toml"]),
    (
        "service/app",
        &["chrono", "fastrand", "maud", "tokio", "tracing", "uuid"],
    ),
    (
        "service/web",
        &[
            "axum",
            "chrono",
            "http_body_util",
            "hyper",
            "hyper_util",
            "prometheus_client",
            "serde",
            "serde_json",
            "sha2",
            "subtle",
            "thiserror",
            "tokio",
            "tracing",
            "uuid",
        ],
    ),
    (
        "service/cli",
        &[
            "anyhow",
            "async_trait",
            "chrono",
            "clap",
            "clap_complete",
            "clap_mangen",
            "indicatif",
            "libc",
            "opentelemetry",
            "opentelemetry_http",
            "opentelemetry_otlp",
            "opentelemetry_sdk",
            "reqwest",
            "serde_json",
            "textwrap",
            "thiserror",
            "tokio",
            "tracing",
            "tracing_opentelemetry",
            "tracing_subscriber",
            "uuid",
        ],
    ),
];

/// Files longer than 400 lines, each with its reason; an entry that is no longer needed fails.
const LONG: &[(&str, &str)] = &[
    (
        "delivery/deliver/http.rs",
        "one request and one answer: what is asked, how it is signed in, and what may come back",
    ),
    (
        "base/code/mod.rs",
        "one code after another, each with its word, its meaning and its sentence",
    ),
    (
        "base/json/mod.rs",
        "one tree: how it is read, asked and written, and why numbers keep their text",
    ),
    (
        "delivery/outbox/mod.rs",
        "the types of the store, one after another, and what each promises",
    ),
    (
        "examination/finding/understand.rs",
        "one part of the document after another, in the order in which they are told",
    ),
    (
        "examination/intake/draft.rs",
        "one type after another, each field with its sentence for the schema",
    ),
    (
        "fhir/coding/mod.rs",
        "one kind of statement after another, and the concepts they share",
    ),
    (
        "fhir/record/build.rs",
        "one resource after another, each field on its line",
    ),
    (
        "service/cli/arguments.rs",
        "one command after another, each option with its sentence for the help",
    ),
];

#[test]
fn a_room_names_only_what_stands_before_it_and_only_its_own_foreign_crates() {
    let mut faults = String::new();
    let foreign = dependencies();
    for (place, (room, allowed)) in ROOMS.iter().enumerate() {
        let before: BTreeSet<&str> = ROOMS[..place].iter().map(|(name, _)| *name).collect();
        for file in files_of(room) {
            for (number, line) in code_lines(&file) {
                let at = format!("{}:{number}", file.display());
                for named in rooms_named(&line) {
                    if named != *room && !before.contains(named.as_str()) {
                        let _written = writeln!(faults, "{at}: {room} names {named}, after it");
                    }
                }
                for named in &foreign {
                    let used = line.contains(&format!("{named}::")) && starts_word(&line, named);
                    if used && !allowed.contains(&named.as_str()) {
                        let _written = writeln!(faults, "{at}: {room} may not use {named}");
                    }
                }
            }
        }
    }
    assert!(faults.is_empty(), "{faults}");
}

#[test]
fn every_crate_a_room_may_use_it_does_use() {
    let mut faults = String::new();
    for (room, allowed) in ROOMS {
        let text: String = files_of(room)
            .iter()
            .flat_map(|file| code_lines(file).into_iter().map(|(_, line)| line + "\n"))
            .collect();
        for named in *allowed {
            if !text
                .lines()
                .any(|line| line.contains(&format!("{named}::")))
            {
                let _written = writeln!(faults, "{room} may use {named} and does not");
            }
        }
    }
    assert!(faults.is_empty(), "{faults}");
}

#[test]
fn src_holds_the_wings_and_each_wing_its_rooms_and_nothing_else() {
    let mut listed: BTreeSet<String> = ["lib", "main"].map(str::to_owned).into();
    for (room, _) in ROOMS {
        let wing = room.split('/').next().expect("a wing");
        listed.insert(wing.to_owned());
        if wing != *room {
            listed.insert(format!("{wing}/mod"));
            listed.insert((*room).to_owned());
        }
    }
    let mut found = BTreeSet::new();
    for name in names_in(&src()) {
        let rooms = src().join(&name);
        if rooms.is_dir() && name != "practice" {
            found.extend(
                names_in(&rooms)
                    .into_iter()
                    .map(|room| format!("{name}/{room}")),
            );
        }
        found.insert(name);
    }

    assert_eq!(found, listed);
}

#[test]
fn the_rooms_of_a_wing_stand_together() {
    let mut wings: Vec<&str> = ROOMS
        .iter()
        .map(|(room, _)| room.split('/').next().expect("a wing"))
        .collect();
    wings.dedup();
    let once: BTreeSet<&str> = wings.iter().copied().collect();

    assert_eq!(wings.len(), once.len(), "{wings:?}");
}

/// The files and folders of a folder, without their endings.
fn names_in(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).expect("a folder");
    let paths = entries.map(|entry| entry.expect("an entry").path());
    paths
        .map(|path| {
            path.file_stem()
                .expect("name")
                .to_string_lossy()
                .into_owned()
        })
        .collect()
}

/// The rooms that a line names by their whole path.
fn rooms_named(line: &str) -> Vec<String> {
    let one = |wing: String| {
        let inside = names_after(line, &format!("crate::{wing}::"));
        let room = inside.into_iter().map(|room| format!("{wing}/{room}"));
        match wing.as_str() {
            "practice" => vec![wing],
            _ => room.collect(),
        }
    };
    names_after(line, "crate::")
        .into_iter()
        .flat_map(one)
        .collect()
}

#[test]
fn every_room_opens_with_four_answers() {
    for (room, _) in ROOMS {
        let head = files_of(room).into_iter().find(|file| {
            file.ends_with(format!("src/{room}/mod.rs")) || file.ends_with(format!("src/{room}.rs"))
        });
        let text = fs::read_to_string(head.expect("a head")).expect("text");
        let head: String = text
            .lines()
            .take_while(|line| line.starts_with("//!"))
            .collect();
        for answer in ["Owns:", "In:", "Out:", "Never:"] {
            assert!(head.contains(answer), "{room} does not say {answer}");
        }
    }
}

#[test]
fn nothing_is_re_exported_and_no_group_hides_a_room() {
    let mut faults = String::new();
    for (room, _) in ROOMS {
        for file in files_of(room) {
            for (number, line) in code_lines(&file) {
                let line = line.trim();
                let hidden = line.starts_with("pub use ")
                    || line.starts_with("use crate::{")
                    || line.starts_with("use super::super");
                if hidden {
                    let _written = writeln!(faults, "{}:{number}: {line}", file.display());
                }
            }
        }
    }
    assert!(faults.is_empty(), "{faults}");
}

#[test]
fn long_files_are_listed_with_a_reason_and_listed_files_are_long() {
    let mut long: Vec<String> = Vec::new();
    for (room, _) in ROOMS {
        for file in files_of(room) {
            if fs::read_to_string(&file).expect("text").lines().count() > 400 {
                let name = file
                    .strip_prefix(src())
                    .expect("in src")
                    .display()
                    .to_string();
                long.push(name);
            }
        }
    }
    long.sort();
    let mut listed: Vec<&str> = LONG.iter().map(|(file, _)| *file).collect();
    listed.sort_unstable();

    assert_eq!(long, listed);
}

#[test]
fn sql_is_spoken_in_the_outbox_and_in_the_practice_server_only() {
    for (room, _) in ROOMS
        .iter()
        .filter(|(room, _)| !matches!(*room, "delivery/outbox" | "practice"))
    {
        for file in files_of(room) {
            for (number, line) in code_lines(&file) {
                let spoken = line.contains("SELECT ") || line.contains("INSERT INTO ");
                assert!(!spoken, "{}:{number}: {line}", file.display());
            }
        }
    }
}

fn src() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("src")
}

fn files_of(room: &str) -> Vec<PathBuf> {
    let single = src().join(format!("{room}.rs"));
    if single.exists() {
        return vec![single];
    }
    let mut files = Vec::new();
    gather(&src().join(room), &mut files);
    files.sort();
    files
}

fn gather(folder: &Path, files: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).expect("a folder") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            gather(&path, files);
        } else if path.extension().is_some_and(|ending| ending == "rs") {
            files.push(path);
        }
    }
}

/// Lines of code before the tests of a file, without comments.
fn code_lines(file: &Path) -> Vec<(usize, String)> {
    let text = fs::read_to_string(file).expect("text");
    let lines = text
        .lines()
        .enumerate()
        .take_while(|(_, line)| *line != "#[cfg(test)]");
    lines
        .filter(|(_, line)| !line.trim_start().starts_with("//"))
        .map(|(index, line)| (index + 1, line.to_owned()))
        .collect()
}

fn names_after(line: &str, marker: &str) -> Vec<String> {
    let mut names = Vec::new();
    for (at, _) in line.match_indices(marker) {
        let before = line.get(..at).and_then(|before| before.chars().next_back());
        if before.is_some_and(|c| c.is_alphanumeric() || c == '_') {
            continue;
        }
        let rest = line.get(at + marker.len()..).unwrap_or_default();
        names.push(
            rest.chars()
                .take_while(|c| c.is_alphanumeric() || *c == '_')
                .collect(),
        );
    }
    names
}

fn starts_word(line: &str, name: &str) -> bool {
    line.match_indices(&format!("{name}::")).any(|(at, _)| {
        let before = line.get(..at).and_then(|before| before.chars().next_back());
        !before.is_some_and(|c| c.is_alphanumeric() || c == '_' || c == ':')
    })
}

fn dependencies() -> Vec<String> {
    let manifest = Path::new(env!("CARGO_MANIFEST_DIR")).join("Cargo.toml");
    let manifest: toml::Table = fs::read_to_string(manifest)
        .expect("text")
        .parse()
        .expect("a manifest");
    let dependencies = manifest["dependencies"].as_table().expect("a table");
    dependencies
        .keys()
        .map(|name| name.replace('-', "_"))
        .collect()
}
