#![cfg(test)]
#![expect(
    clippy::disallowed_methods,
    reason = "tests read files and run commands"
)]
//! What the documents say is so.

use fascicle::base::code::reason::Reason;
use fascicle::delivery::deliver::SignIn;
use std::collections::BTreeSet;
use std::path::Path;
use std::process::Command;

#[path = "../support/host.rs"]
mod host;
mod terminal;

fn text(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(name);
    std::fs::read_to_string(path).unwrap_or_else(|cause| panic!("{name}: {cause}"))
}

fn blocks(document: &str, language: &str) -> Vec<String> {
    let opening = format!("```{language}\n");
    document
        .split(&opening)
        .skip(1)
        .filter_map(|rest| rest.split_once("```").map(|(block, _)| block.to_owned()))
        .collect()
}

fn json(text: &str) -> serde_json::Value {
    serde_json::from_str(text).expect("JSON")
}

#[test]
fn the_finding_of_the_readme_is_of_the_first_fixture_and_leaves_as_the_readme_says() {
    let readme = text("README.md");
    let blocks = blocks(&readme, "json");
    let [finding] = blocks.as_slice() else {
        panic!("one block of JSON")
    };
    let document = text("fixtures/sessions/first.json");

    let catalogue = fascicle::tables::catalogue::Catalogue::embedded().expect("tables");
    let encoded = fascicle::service::app::encode::encode(
        &document,
        &fascicle::service::app::assess::Earlier::default(),
        &catalogue,
        "2026-11-20T00:00:00Z".parse().expect("a time"),
    )
    .expect("holds");

    assert_eq!(json(finding), json(&document)["findings"][0]);
    let entries = &encoded.checked.record().entries;
    let made = entries
        .iter()
        .find(|entry| entry.path.as_deref() == Some("/findings/0"));
    let made = json(&made.expect("made").resource.compact());
    let value = &made["valueQuantity"];
    let told = format!(
        "| `{} {}`, ",
        value["value"],
        value["code"].as_str().expect("a unit")
    );
    assert_eq!(told, "| `-5 deg`, ");
    assert!(readme.contains(&told), "the table says {told}");
}

#[test]
fn the_readme_is_short_and_ci_runs_its_two_commands() {
    let readme = text("README.md");
    let shell: String = blocks(&readme, "sh").concat();

    assert!(readme.lines().count() < 130, "{}", readme.lines().count());
    assert_eq!(shell, "cargo run -- demo --exit\ncargo test\n");
    let ci = text(".ci/run");
    for command in shell.lines() {
        let as_written = ci.lines().any(|line| line.trim() == command);
        assert!(as_written, ".ci/run does not run {command} as written");
    }
    // The paths of the readers are played by a stage of their own.
    assert!(ci.contains("tests/docs/play"), "nobody plays the pages");
    for page in ["therapist", "hospital-it", "auditor"] {
        assert!(readme.contains(&format!("(docs/{page}.md)")), "{page}");
    }
}

/// What a paper names in backticks is there: `room::file` in its wing, a table, a path.
#[test]
fn what_architecture_developers_and_the_map_of_tests_name_is_there() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let rooms = rooms();
    let mut missing = Vec::new();
    for page in [
        "ARCHITECTURE.md",
        "DEVELOPERS.md",
        "tests/README.md",
        "README.md",
    ] {
        let page_text = text(page);
        let mut named = 0;
        for line in page_text.lines().filter(|line| !line.starts_with("```")) {
            for token in line.split('`').skip(1).step_by(2) {
                let there = if let Some((room, rest)) = token.split_once("::") {
                    let Some((_, folder)) = rooms.iter().find(|(name, _)| name == room) else {
                        continue;
                    };
                    let file = rest.split("::").next().expect("a part");
                    let is_file = file.chars().all(|one| one.is_lowercase() || one == '_');
                    let head = std::fs::read_to_string(folder.join("mod.rs")).unwrap_or_default();
                    folder.join(format!("{file}.rs")).exists()
                        || folder.join(file).is_dir()
                        || (!is_file && head.contains(file))
                } else if Path::new(token)
                    .extension()
                    .is_some_and(|ending| ending == "csv")
                    && !token.contains(['*', '/', ' '])
                {
                    let everywhere = ["profiles", "profiles/scales", "profiles/r4", "."];
                    everywhere
                        .iter()
                        .any(|folder| root.join(folder).join(token).exists())
                } else if [
                    "src/",
                    "tests/",
                    "fixtures/",
                    "deploy/",
                    "profiles/",
                    "docs/",
                    ".ci/",
                ]
                .iter()
                .any(|folder| token.starts_with(folder))
                    && !token.contains(['*', '…'])
                {
                    let path = token.split([' ', ':']).next().expect("a path");
                    let beside = root.join(page).with_file_name(path);
                    root.join(path).exists() || beside.exists()
                } else {
                    continue;
                };
                named += 1;
                if !there {
                    missing.push(format!("{page}: {token}"));
                }
            }
        }
        assert!(named > 3, "{page} names {named}: this test sees nothing");
    }
    assert!(missing.is_empty(), "{missing:#?}");
}

/// Each room with its folder, whatever its wing.
fn rooms() -> Vec<(String, std::path::PathBuf)> {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let folders = |path: &Path| -> Vec<std::path::PathBuf> {
        let entries = std::fs::read_dir(path).expect("a folder");
        let paths = entries.map(|entry| entry.expect("an entry").path());
        paths.filter(|path| path.is_dir()).collect()
    };
    let wings = folders(&src);
    let rooms = wings
        .iter()
        .flat_map(|wing| folders(wing))
        .chain(wings.clone());
    let named = rooms.map(|path| {
        let name = path
            .file_name()
            .expect("a name")
            .to_string_lossy()
            .into_owned();
        (name, path)
    });
    named.collect()
}

/// Every suite is on the map, and every suite on the map is there.
#[test]
fn the_map_of_tests_names_every_suite() {
    let map = text("tests/README.md");
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests");
    for entry in std::fs::read_dir(&root).expect("tests") {
        let path = entry.expect("an entry").path();
        let name = path
            .file_stem()
            .expect("a name")
            .to_string_lossy()
            .into_owned();
        let helps = ["README", "support", "proptest-regressions"].contains(&name.as_str());
        let told = [
            format!("`{name}`"),
            format!("`{name}/"),
            format!("tests/{name}/"),
        ];
        assert!(
            helps || told.iter().any(|told| map.contains(told)),
            "{name} is not on the map"
        );
    }
}

/// Keys that the sample shows.
const KEYS: &[&str] = &[
    "state",
    "lease_seconds",
    "tables",
    "name",
    "base",
    "sign_in",
    "secret_file",
    "timeout_seconds",
    "visibility_seconds",
    "purpose",
    "paused",
    "proxy",
    "proxy_secret_file",
    "headers",
    "header_files",
    "ca_file",
    "client_id",
    "key_file",
    "key_id",
    "scopes",
    "token_endpoint",
    "client_certificate_file",
    "client_key_file",
    "address",
    "open_to_network",
    "token_file",
    "workers",
    "connections",
    "connections_per_address",
    "connection_requests",
    "connection_minutes",
    "idle_seconds",
    "body_seconds",
    "body_bytes_a_second",
    "request_seconds",
    "work",
    "waiting",
    "stop_seconds",
];

#[test]
fn the_sample_configuration_reads_and_shows_every_key() {
    let sample = text("deploy/fascicle.toml");

    let settings = fascicle::service::config::Settings::read(&sample).expect("reads");
    // What is optional stands behind a bare #, and reads as well.
    let whole = sample.replace("\n#", "\n").replace("\n ", "\n# ");
    let whole = fascicle::service::config::Settings::read(&whole).expect("reads");

    assert_eq!(settings.targets.len(), 1);
    assert!(settings.targets[0].headers.is_empty() && settings.targets[0].ca_file.is_none());
    assert_eq!(whole.targets[0].headers.len(), 2);
    assert!(whole.targets[0].ca_file.is_some());
    assert!(matches!(whole.targets[1].sign_in, SignIn::Smart(_)));
    assert!(whole.targets[1].client_certificate.is_some());
    assert!(settings.serve.clone().checked().is_ok());
    // What the sample says of a default is the default.
    let without = fascicle::service::config::serve::Serve {
        token_file: settings.serve.token_file.clone(),
        ..fascicle::service::config::serve::Serve::default()
    };
    assert_eq!(settings.serve, without);
    for key in KEYS {
        assert!(
            sample.lines().any(|line| line
                .trim_start_matches('#')
                .starts_with(&format!("{key} = "))),
            "{key}"
        );
    }
}

/// The manifest carries settings that the binary reads.
#[test]
fn the_settings_of_the_manifest_read() {
    let manifest = text("deploy/kubernetes.yaml");
    let settings = manifest
        .lines()
        .skip_while(|line| !line.ends_with(".toml: |"));
    let settings = settings.skip(1).take_while(|line| line.starts_with("    "));
    let settings: Vec<&str> = settings.map(str::trim_start).collect();

    let settings = fascicle::service::config::Settings::read(&settings.join("\n")).expect("reads");

    assert_eq!(settings.targets.len(), 1);
    assert!(settings.serve.checked().is_ok());
}

/// A code of the runbook is one that the queue can show, and every code of a target is in it.
#[test]
fn the_runbook_names_codes_that_there_are() {
    let runbook = text("deploy/RUNBOOK.md");
    let codes: BTreeSet<&str> = runbook.split('`').skip(1).step_by(2).collect();
    let families = ["duplicate.", "guard.", "held.", "person.", "target."];
    let named = codes.iter().filter(|code| {
        let whole = !code.ends_with(['…', '-']);
        whole && families.iter().any(|family| code.starts_with(family))
    });

    for code in named.clone() {
        assert!(code.parse::<Reason>().is_ok(), "{code}");
    }
    assert!(named.count() > 10);
    for code in [
        "token-insecure",
        "token-key",
        "token-refused",
        "token-undiscovered",
    ] {
        assert!(codes.contains(format!("target.{code}").as_str()), "{code}");
    }
}

/// Every command with a help text of its own.
const COMMANDS: [&[&str]; 21] = [
    &[],
    &["demo"],
    &["encode"],
    &["check"],
    &["summary"],
    &["send"],
    &["serve"],
    &["queue"],
    &["target"],
    &["public-keys"],
    &["store"],
    &["trail"],
    &["catalogue"],
    &["catalogue", "list"],
    &["catalogue", "check"],
    &["catalogue", "worksheet"],
    &["catalogue", "confirm"],
    &["catalogue", "pack"],
    &["practice"],
    &["completions"],
    &["manual"],
];

/// Every help text, one after another.
#[test]
fn the_help_texts_are_as_they_are_kept() {
    let mut all = String::new();
    for command in COMMANDS {
        let help = Command::new(env!("CARGO_BIN_EXE_fascicle"))
            .args(command)
            .arg("--help")
            .env("COLUMNS", "80")
            .output()
            .expect("help");
        assert!(help.status.success(), "{command:?}");
        let help = String::from_utf8(help.stdout).expect("UTF-8");
        assert!(!help.contains('\u{1b}'), "colour where nobody sees it");
        assert!(
            help.contains("\nExample") || command.is_empty(),
            "{command:?} shows no example"
        );
        let call = format!("fascicle {}", command.join(" "));
        let first = help.lines().next().expect("a line");
        assert!(
            first.contains(call.trim()) || command.is_empty(),
            "{command:?} does not start with its most usual call: {first}"
        );
        for line in help.lines() {
            assert!(line.chars().count() <= 80, "{command:?}: {line}");
        }
        let line = format!("$ fascicle {} --help", command.join(" ")).replace("  ", " ");
        all.extend([line.as_str(), "\n", help.trim_end(), "\n\n"]);
    }
    let listed = all
        .lines()
        .skip_while(|line| *line != "Commands:")
        .skip(1)
        .take_while(|line| !line.is_empty())
        .filter(|line| !line.starts_with("   "))
        .filter_map(|line| line.split_whitespace().next());
    for command in listed.filter(|command| *command != "help") {
        assert!(
            COMMANDS.contains(&[command].as_slice()),
            "{command} is not kept"
        );
    }
    let kept = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/help.txt");
    if std::env::var_os("UPDATE_EXPECT").is_some_and(|value| value == "1") {
        std::fs::write(&kept, &all).expect("written");
    }
    assert!(
        std::fs::read_to_string(&kept).ok().as_ref() == Some(&all),
        "fixtures/help.txt is stale or missing\nhint: UPDATE_EXPECT=1 rewrites it"
    );
}

/// Source: no-color.org, from memory: `NO_COLOR`, present and not empty, prevents the addition of colour.
#[test]
fn no_colour_is_shown_where_nobody_wants_it() {
    let help = |no_colour: Option<&str>| {
        let mut command = Command::new(env!("CARGO_BIN_EXE_fascicle"));
        command
            .arg("--help")
            .env("CLICOLOR_FORCE", "1")
            .env_remove("NO_COLOR");
        if let Some(value) = no_colour {
            command.env("NO_COLOR", value);
        }
        let output = command.output().expect("help");
        String::from_utf8(output.stdout).expect("UTF-8")
    };

    assert!(help(None).contains('\u{1b}'), "this test shows nothing");
    assert!(!help(Some("1")).contains('\u{1b}'));
}

#[test]
fn every_dependency_says_why_it_is_here() {
    let manifest: toml::Table = text("Cargo.toml").parse().expect("a manifest");
    let developers = text("DEVELOPERS.md");

    for table in ["dependencies", "dev-dependencies"] {
        for name in manifest[table].as_table().expect("a table").keys() {
            let told = developers.lines().any(|line| {
                let cell = line
                    .strip_prefix("| ")
                    .and_then(|line| line.split(" |").next());
                cell.is_some_and(|cell| cell.split([',', ' ']).any(|word| word == name))
            });
            assert!(
                told,
                "{name} is not in the dependency list of DEVELOPERS.md"
            );
        }
    }
}

#[test]
fn every_licence_of_the_crates_in_use_is_on_the_list_and_there_is_one_tls() {
    const ALLOWED: [&str; 13] = [
        "MIT",
        "MIT-0",
        "Apache-2.0",
        "Apache-2.0 WITH LLVM-exception",
        "BSD-2-Clause",
        "BSD-3-Clause",
        "ISC",
        "Unicode-3.0",
        "Unlicense",
        "Zlib",
        "0BSD",
        "BSL-1.0",
        "CDLA-Permissive-2.0",
    ];
    let metadata = Command::new(env!("CARGO"))
        .args(["metadata", "--format-version", "1", "--offline", "--locked"])
        // Only the crates of this platform were fetched for this build.
        .args(["--filter-platform", &host::host()])
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .expect("cargo metadata");
    let metadata = json(&String::from_utf8(metadata.stdout).expect("UTF-8"));
    let used: BTreeSet<&str> = metadata["resolve"]["nodes"]
        .as_array()
        .expect("nodes")
        .iter()
        .filter_map(|node| node["id"].as_str())
        .collect();

    let mut faults = Vec::new();
    for package in metadata["packages"].as_array().expect("packages") {
        let (name, id) = (package["name"].as_str(), package["id"].as_str());
        if !id.is_some_and(|id| used.contains(id)) {
            continue;
        }
        if matches!(name, Some("openssl" | "native-tls" | "aws-lc-rs")) {
            faults.push(format!("{name:?}: a second TLS"));
        }
        // One alternative of an OR suffices; every part of an AND is asked.
        let licence = package["license"]
            .as_str()
            .unwrap_or("none")
            .replace('/', " OR ");
        let allowed = licence.replace(['(', ')'], "").split(" AND ").all(|part| {
            part.split(" OR ")
                .any(|licence| ALLOWED.contains(&licence.trim()))
        });
        if !allowed {
            faults.push(format!("{name:?}: {licence}"));
        }
    }
    assert!(used.len() > 100, "{} crates", used.len());
    assert!(faults.is_empty(), "{faults:#?}");
}
