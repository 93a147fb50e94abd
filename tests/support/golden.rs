#![cfg(test)]
#![expect(clippy::disallowed_methods, reason = "golden files are files")]
//! Golden files: compared, or rewritten with `UPDATE_EXPECT=1`.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

/// A file or folder of the repository.
pub(crate) fn root(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(path)
}

/// True when golden files are to be rewritten.
fn rewriting() -> bool {
    std::env::var_os("UPDATE_EXPECT").is_some_and(|value| value == "1")
}

/// Fails when the folder differs from what was made: a file stale, missing or surplus.
pub(crate) fn folder_is(folder: &str, made: &BTreeMap<String, String>) {
    let names: BTreeSet<String> = fs::read_dir(root(folder))
        .expect("the folder")
        .map(|entry| entry.expect("an entry").file_name())
        .map(|name| name.to_string_lossy().into_owned())
        .collect();
    let surplus = names.iter().filter(|name| !made.contains_key(*name));
    let differs = |name: &str, text: &str| {
        fs::read_to_string(root(folder).join(name)).ok().as_deref() != Some(text)
    };
    let stale = made.iter().filter(|(name, text)| differs(name, text));
    if rewriting() {
        for name in surplus {
            fs::remove_file(root(folder).join(name)).expect("removed");
        }
        for (name, text) in stale {
            fs::write(root(folder).join(name), text).expect("written");
        }
        return;
    }
    let faults: Vec<String> = surplus
        .map(|name| format!("{folder}/{name}: nothing makes it"))
        .chain(stale.map(|(name, _)| format!("{folder}/{name}: stale or missing")))
        .collect();
    assert!(
        faults.is_empty(),
        "{faults:#?}\nhint: UPDATE_EXPECT=1 rewrites them"
    );
}
