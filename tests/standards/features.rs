#![cfg(test)]
//! A feature of a library that must stay off.

use crate::host::host;
use serde_json::Value;
use std::process::Command;

/// Source: the models of FHIR we read with, seen: with `arbitrary_precision` a Bundle fails to parse
/// and the valueDecimal of an extension is dropped in silence. Features are united over the whole
/// graph, so any crate could switch it on for all.
#[test]
fn the_json_library_holds_its_numbers_as_the_models_need_them() {
    let told = Command::new(env!("CARGO"))
        .args(["metadata", "--offline", "--locked", "--format-version", "1"])
        // Only the crates of this platform were fetched for this build.
        .args(["--filter-platform", &host()])
        .arg("--manifest-path")
        .arg(concat!(env!("CARGO_MANIFEST_DIR"), "/Cargo.toml"))
        .output()
        .expect("cargo runs");
    assert!(
        told.status.success(),
        "{}",
        String::from_utf8_lossy(&told.stderr)
    );

    let graph: Value = serde_json::from_slice(&told.stdout).expect("JSON");

    let nodes = graph["resolve"]["nodes"].as_array().expect("nodes");
    let features: Vec<&str> = nodes
        .iter()
        .filter(|node| {
            node["id"]
                .as_str()
                .is_some_and(|id| id.contains("#serde_json@"))
        })
        .flat_map(|node| node["features"].as_array().into_iter().flatten())
        .filter_map(Value::as_str)
        .collect();
    assert!(features.contains(&"raw_value"), "{features:?}");
    assert!(!features.contains(&"arbitrary_precision"), "{features:?}");
}
