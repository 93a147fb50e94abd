#![cfg(test)]
//! What the fuzzer found worth keeping, tried again in every run.

use crate::parsers;
use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fuzz")
}

fn names(folder: &Path) -> BTreeSet<String> {
    let entries = fs::read_dir(folder).expect("a folder");
    let paths = entries.map(|entry| entry.expect("an entry").path());
    paths
        .map(|path| {
            path.file_stem()
                .expect("a name")
                .to_string_lossy()
                .into_owned()
        })
        .collect()
}

#[test]
fn no_parser_falls_over_on_its_corpus() {
    for (name, parser) in parsers::ALL {
        let files = fs::read_dir(folder().join("corpus").join(name)).expect("a corpus");
        let mut tried = 0;
        for file in files {
            let path = file.expect("an entry").path();
            let bytes = fs::read(&path).expect("a file");
            let held = std::panic::catch_unwind(|| parser(&bytes));
            assert!(held.is_ok(), "{}", path.display());
            tried += 1;
        }
        assert!(tried > 0, "{name} has no corpus");
    }
}

#[test]
fn every_parser_has_a_target_and_a_corpus() {
    let parsers: BTreeSet<String> = parsers::ALL
        .iter()
        .map(|(name, _)| (*name).to_owned())
        .collect();

    assert_eq!(names(&folder().join("targets")), parsers);
    assert_eq!(names(&folder().join("corpus")), parsers);
}
