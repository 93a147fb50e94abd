#![cfg(test)]
#![expect(clippy::disallowed_methods, reason = "tests read files")]
//! The order of the wings and of the rooms in them, the crates each may use, their heads, and the size of files.

use proc_macro2::{Delimiter, TokenStream, TokenTree};
use std::collections::{BTreeMap, BTreeSet};
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
        "base/code/mod.rs",
        "one code after another, each with its word, its meaning and its sentence",
    ),
    (
        "delivery/outbox/mod.rs",
        "the types of the store, one after another, and what each promises",
    ),
    (
        "examination/finding/mod.rs",
        "the types of a session, one after another, each field with its sentence",
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
fn files_of_a_room_name_each_other_one_way() {
    let mut found: Vec<Vec<String>> = Vec::new();
    for (room, _) in ROOMS {
        found.extend(circles(&named_inside(room)));
    }
    found.sort();

    assert!(
        found.is_empty(),
        "move what both need to a file of its own: {found:?}"
    );
}

/// What each file of a room names of the others, by their paths. The head of a room or of a folder
/// (`mod.rs`) is not among them: it declares its files, and they may use what it holds.
fn named_inside(room: &str) -> BTreeMap<String, BTreeSet<String>> {
    let files: BTreeMap<String, PathBuf> = files_of(room)
        .into_iter()
        .filter(|file| !file.ends_with("mod.rs"))
        .map(|file| (module_of(&file), file))
        .collect();
    let named = files.iter().map(|(module, file)| {
        let mut named = BTreeSet::new();
        let text = fs::read_to_string(file).expect("text");
        let tokens = text.parse().expect("Rust");
        for path in paths_in(tokens) {
            let whole = from_the_root(module, &path, &files);
            let ends = (1..=whole.len()).rev();
            let mut prefixes = ends.map(|end| {
                whole
                    .iter()
                    .take(end)
                    .cloned()
                    .collect::<Vec<_>>()
                    .join("::")
            });
            named.extend(prefixes.find(|prefix| files.contains_key(prefix)));
        }
        named.remove(module);
        (module.clone(), named)
    });
    named.collect()
}

fn module_of(file: &Path) -> String {
    let inside = file.strip_prefix(src()).expect("in src").with_extension("");
    let parts: Vec<_> = inside.iter().map(|part| part.to_string_lossy()).collect();
    parts.join("::")
}

/// A path as it is written, from the root of the crate; a name alone may be a file below this one.
fn from_the_root(module: &str, path: &[String], files: &BTreeMap<String, PathBuf>) -> Vec<String> {
    let mut here: Vec<String> = module.split("::").map(str::to_owned).collect();
    let mut rest = path;
    match path.first().map(String::as_str) {
        Some("crate") => return path[1..].to_vec(),
        Some("self") => rest = &path[1..],
        Some("super") => {
            while let Some((first, after)) = rest.split_first()
                && first == "super"
            {
                here.pop();
                rest = after;
            }
        }
        Some(first) if files.contains_key(&format!("{module}::{first}")) => {}
        _ => return Vec::new(),
    }
    here.extend_from_slice(rest);
    here
}

#[test]
fn no_function_packs_its_arguments_into_a_tuple() {
    let mut found = Vec::new();
    for (room, _) in ROOMS {
        for file in files_of(room) {
            let text = fs::read_to_string(&file).expect("text");
            let named = packing(text.parse().expect("Rust"));
            let file = file
                .strip_prefix(src())
                .expect("in src")
                .display()
                .to_string();
            found.extend(named.into_iter().map(|name| format!("{file}: {name}")));
        }
    }
    found.sort();

    assert!(found.is_empty(), "give them one by one: {found:?}");
}

/// The functions of a file with a tuple among several parameters.
fn packing(tokens: TokenStream) -> Vec<String> {
    let mut found = Vec::new();
    let mut named: Option<String> = None;
    let mut before = String::new();
    for token in tokens {
        let this = token.to_string();
        match token {
            TokenTree::Ident(word) if before == "fn" => named = Some(word.to_string()),
            TokenTree::Group(group) => match named.take() {
                Some(name) if group.delimiter() == Delimiter::Parenthesis => {
                    found.extend(packs(group.stream()).then_some(name));
                }
                _ => found.extend(packing(group.stream())),
            },
            TokenTree::Ident(_) | TokenTree::Punct(_) | TokenTree::Literal(_) => {}
        }
        before = this;
    }
    found
}

/// Whether one of several parameters is a pattern of a tuple (axum hands over parts of a request by other patterns): what destructures its only argument, or the
/// item of a list, hides nothing.
fn packs(parameters: TokenStream) -> bool {
    let tokens: Vec<TokenTree> = parameters.into_iter().collect();
    let is = |token: &TokenTree, mark: char| matches!(token, TokenTree::Punct(one) if one.as_char() == mark);
    let starts = (0..tokens.len()).filter(|at| *at == 0 || is(&tokens[at - 1], ','));
    let tuple = |at: usize| match (&tokens[at], tokens.get(at + 1), tokens.get(at + 2)) {
        (TokenTree::Group(_), Some(colon), Some(kind)) => is(colon, ':') && !is(kind, '&'),
        _ => false,
    };
    tokens.iter().any(|token| is(token, ',')) && starts.into_iter().any(tuple)
}

#[test]
fn a_packed_argument_is_seen() {
    let named = |text: &str| packing(text.parse().expect("Rust"));

    assert_eq!(
        named("impl A { fn f(&self, (a, b): (B, C), d: D) {} }"),
        ["f"]
    );
    assert!(
        named("fn f(a: (B, C), d: D) { g((a, b), c); let h = |(i, j): (K, L), m| i; }").is_empty()
    );
    assert!(named("fn f(State(a): State<A>, b: B) {}").is_empty());
}

/// Every path of a file, those of groups one by one; what stands in tests is left out.
fn paths_in(tokens: TokenStream) -> Vec<Vec<String>> {
    let mut paths = Vec::new();
    let mut path: Vec<String> = Vec::new();
    let mut colons = 0;
    let mut in_tests = false;
    for token in tokens {
        match token {
            TokenTree::Ident(word) if colons == 2 => path.push(word.to_string()),
            TokenTree::Ident(word) => {
                paths.push(std::mem::replace(&mut path, vec![word.to_string()]));
                in_tests |= word == "tests";
            }
            TokenTree::Punct(mark) if mark.as_char() == ':' => {
                colons += 1;
                continue;
            }
            TokenTree::Group(group) => {
                let inside = paths_in(group.stream());
                if colons == 2 {
                    let whole = |one: Vec<String>| path.iter().cloned().chain(one).collect();
                    paths.extend(inside.into_iter().map(whole));
                } else if !in_tests && path != ["pub"] {
                    paths.extend(inside);
                }
                in_tests = false;
                paths.push(std::mem::take(&mut path));
            }
            TokenTree::Punct(_) | TokenTree::Literal(_) => paths.push(std::mem::take(&mut path)),
        }
        colons = 0;
    }
    paths.push(path);
    paths.retain(|path| !path.is_empty());
    paths
}

/// Files that lead back to themselves, each circle with all that is in it.
fn circles(named: &BTreeMap<String, BTreeSet<String>>) -> Vec<Vec<String>> {
    let reached = |from: &String| {
        let mut reached: BTreeSet<&String> = BTreeSet::new();
        let mut open: Vec<&String> = named[from].iter().collect();
        while let Some(next) = open.pop() {
            if reached.insert(next) {
                open.extend(&named[next]);
            }
        }
        reached
    };
    let all: BTreeMap<&String, BTreeSet<&String>> =
        named.keys().map(|file| (file, reached(file))).collect();
    let both = |one: &String, other: &String| all[one].contains(other) && all[other].contains(one);
    let inside: BTreeSet<Vec<String>> = named
        .keys()
        .map(|one| {
            named
                .keys()
                .filter(|other| both(one, other))
                .cloned()
                .collect()
        })
        .filter(|circle: &Vec<String>| !circle.is_empty())
        .collect();
    inside.into_iter().collect()
}

#[test]
fn a_circle_of_files_is_seen_whatever_way_it_is_named() {
    let named = |text: &str| paths_in(text.parse().expect("Rust"));
    let paths = named(
        "use crate::a::{b::C, d}; fn f() { super::e::g(); } #[cfg(test)] mod tests { use super::h; }",
    );
    let has = |path: &str| paths.iter().any(|one| one.join("::") == path);

    assert!(
        has("crate::a::b::C") && has("crate::a::d") && has("super::e::g"),
        "{paths:?}"
    );
    assert!(!has("super::h"));

    let files = |text: &str| -> BTreeMap<String, BTreeSet<String>> {
        let pairs = text
            .lines()
            .map(|line| line.split_once(' ').unwrap_or((line, "")));
        pairs
            .map(|(one, others)| {
                (
                    one.to_owned(),
                    others
                        .split(' ')
                        .filter(|one| !one.is_empty())
                        .map(str::to_owned)
                        .collect(),
                )
            })
            .collect()
    };
    assert_eq!(circles(&files("a b\nb c\nc b d\nd")), [["b", "c"]]);
    assert!(circles(&files("a b d\nb c\nc d\nd")).is_empty());
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
