//! What the commands print, as somebody at a terminal or a program reads it.

use fascicle::base::json::Node;
use fascicle::delivery::outbox::State;
use std::io::{BufRead as _, BufReader, Write as _};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

const FIRST: &str = "fixtures/sessions/first.json";
const SECOND: &str = "fixtures/sessions/second.json";
/// A port where nothing listens: the discard service, which nobody starts.
const NOWHERE: &str = "http://127.0.0.1:9/fhir";

struct Said {
    code: i32,
    out: String,
    all: String,
}

fn fascicle(arguments: &[&str], columns: Option<&str>, input: &str) -> Said {
    let mut command = Command::new(env!("CARGO_BIN_EXE_fascicle"));
    command
        .args(arguments)
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .env_remove("COLUMNS")
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped());
    if let Some(columns) = columns {
        command.env("COLUMNS", columns);
    }
    let mut running = command.spawn().expect("the binary starts");
    let mut stdin = running.stdin.take().expect("an input");
    // What does not ask for it closes it.
    drop(stdin.write_all(input.as_bytes()));
    drop(stdin);
    let done = running.wait_with_output().expect("the binary ends");
    let out = String::from_utf8(done.stdout).expect("UTF-8");
    let errors = String::from_utf8(done.stderr).expect("UTF-8");
    Said {
        code: done.status.code().expect("a code"),
        all: format!("{out}{errors}"),
        out,
    }
}

fn run(arguments: &[&str]) -> Said {
    fascicle(arguments, None, "")
}

/// A state folder that holds one session, which nobody takes.
fn state() -> (tempfile::TempDir, String) {
    let folder = tempfile::tempdir().expect("a folder");
    let state = folder.path().join("state").display().to_string();
    let sent = run(&[
        "send", "--state", &state, "--to", NOWHERE, "--wait", "0", FIRST,
    ]);
    assert_eq!(sent.code, 4, "{}", sent.all);
    (folder, state)
}

fn written(folder: &tempfile::TempDir, name: &str, text: &str) -> String {
    let path: PathBuf = folder.path().join(name);
    std::fs::write(&path, text).expect("written");
    path.display().to_string()
}

#[test]
fn the_demo_fits_on_two_screens_and_says_what_came_went_was_noticed_and_is_next() {
    let demo = run(&["demo", "--exit"]);

    assert_eq!(demo.code, 0, "{}", demo.all);
    let lines: Vec<&str> = demo.out.lines().collect();
    assert!(lines.len() <= 48, "{} lines\n{}", lines.len(), demo.out);
    for line in lines {
        assert!(line.chars().count() <= 80, "{line}");
    }
    for part in [
        "\n1. What came in",
        "PRECAUTION left ankle: no fast stretch",
        "\n2. What went out",
        "SNOMED CT 364564000 = 2 deg",
        "Observation 110, Provenance 2, Device 1",
        "\n3. What was noticed",
        "12 not judged",
        "\n4. What to do next",
    ] {
        assert!(demo.out.contains(part), "{part}\n{}", demo.out);
    }
}

#[test]
fn nothing_is_wider_than_the_terminal() {
    let (folder, state) = state();
    let bad = written(&folder, "bad.json", "{\"fascicle\":\"session/1\"}");
    let settings = written(
        &folder,
        "bad.toml",
        "state = \"x\"\nunknown_key_of_nobody = 1\n",
    );
    for arguments in [
        &["demo", "--exit"][..],
        &["check", &bad, FIRST, "nowhere.json"],
        &["check", "--columns"],
        &["summary", FIRST],
        &["encode", "--compare", FIRST, SECOND],
        &["encode", FIRST, SECOND],
        &["encode", "nowhere.json"],
        &["catalogue", "list"],
        &["catalogue", "check", "fixtures/tables"],
        &["queue", "--state", &state],
        &["trail", "--state", &state],
        &["trail", "--state", &state, "--verify"],
        &["store", "--state", &state],
        &[
            "send", "--state", &state, "--to", NOWHERE, "--wait", "0", FIRST,
        ],
        &["target", "--to", NOWHERE],
        &["target", "--config", &settings],
        &["queue", "--state", "/nowhere/at/all"],
    ] {
        let said = fascicle(arguments, Some("60"), "");

        assert!(!said.all.is_empty(), "{arguments:?} says nothing");
        for line in said.all.lines() {
            // What people copy is never broken: it stands on a line of its own.
            let alone = line.split_whitespace().count() <= 1;
            assert!(
                line.chars().count() <= 60 || alone,
                "{arguments:?}: {line}\n{}",
                said.all
            );
        }
    }
}

#[test]
fn what_was_not_judged_is_counted_and_a_source_is_named_once() {
    let said = run(&["encode", "--compare", FIRST, SECOND]);

    assert_eq!(said.code, 0, "{}", said.all);
    let second = said.out.split("second.json:").nth(1).expect("the second");
    assert!(
        second.contains("7 not judged: no published error"),
        "{second}"
    );
    let listed = second.lines().filter(|line| line.contains("not judged"));
    assert!(listed.count() <= 3, "{second}");
    let once = |words: &str| second.replace(['\n', ' '], "").matches(words).count();
    assert_eq!(
        once("Reliabilityofrange-of-motionmeasurement"),
        1,
        "{second}"
    );
    assert_eq!(once("38peoplewithdiseaseofelbow"), 2, "{second}");
    // The judged ones stand there one by one, with the row that judged them.
    assert_eq!(once("(rowarmstrong-1998-"), 6, "{second}");
}

#[test]
fn a_missing_file_is_named_and_the_rest_is_still_looked_at() {
    let bad = "fixtures/sheets/beside.json";
    let checked = run(&["check", "nowhere.json", FIRST, bad]);
    let (_folder, state) = state();
    let sent = run(&[
        "send",
        "--state",
        &state,
        "--to",
        NOWHERE,
        "--wait",
        "0",
        "nowhere.json",
        SECOND,
    ]);
    let encoded = run(&["encode", "--ndjson", "nowhere.json", "gone.json", FIRST]);
    let summary = run(&["summary", "nowhere.json", FIRST]);

    assert_eq!(checked.code, 1, "{}", checked.all);
    let missing = "nowhere.json: the document\n  error [file.unread]: there is no such file";
    assert!(checked.out.contains(missing), "{}", checked.out);
    assert!(
        checked.out.contains(&format!("{FIRST}: 0 errors")),
        "{}",
        checked.out
    );
    assert!(
        checked.out.contains(&format!("{bad}: 1 error")),
        "{}",
        checked.out
    );
    assert_eq!(sent.code, 1, "{}", sent.all);
    assert!(sent.out.contains(missing), "{}", sent.out);
    assert!(
        sent.out.contains(&format!("{SECOND}: accepted")),
        "{}",
        sent.out
    );
    for named in ["nowhere.json", "gone.json", "nothing was encoded"] {
        assert!(encoded.out.contains(named), "{}", encoded.out);
    }
    assert!(summary.out.contains(missing), "{}", summary.out);
    assert_eq!((encoded.code, summary.code), (1, 1));
}

#[test]
fn a_document_on_standard_input_is_named_by_a_dash() {
    let text = std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join(FIRST));
    let text = text.expect("a document");
    let checked = fascicle(&["check", "-"], None, &text);
    let fhir = fascicle(
        &["check", "-"],
        None,
        "{\"resourceType\":\"Patient\",\"active\":1}",
    );
    let piped = fascicle(&["encode", "-"], None, &text);
    let named = run(&["encode", FIRST]);

    assert_eq!(checked.code, 0, "{}", checked.all);
    assert!(
        checked.out.ends_with("-: 0 errors, 0 cautions, 1 note\n"),
        "{}",
        checked.out
    );
    assert!(
        fhir.out.contains("-: /active\n  error [fhir.type]"),
        "{}",
        fhir.out
    );
    assert_eq!(piped.out, named.out);
}

/// Whatever was asked and whatever came of it, a program reads one piece of JSON.
#[test]
#[expect(clippy::too_many_lines, reason = "one case after another")]
fn with_json_standard_output_is_json_in_every_command_and_lists_have_one_form() {
    let (folder, state) = state();
    let bad = written(&folder, "bad.json", "{\"fascicle\":\"session/1\"}");
    let there = written(&folder, "there.ndjson", "");
    let new = folder.path().join("new.ndjson").display().to_string();
    let item = "00000000-0000-4000-8000-000000000000";
    let at = |arguments: &[&str]| {
        let mut all: Vec<String> = arguments.iter().map(|one| (*one).to_owned()).collect();
        all.extend(["--state".to_owned(), state.clone(), "--json".to_owned()]);
        all
    };
    let free = |arguments: &[&str]| {
        let mut all: Vec<String> = arguments.iter().map(|one| (*one).to_owned()).collect();
        all.push("--json".to_owned());
        all
    };
    let by = ["--by", "A", "--why", "b"];
    let cases = [
        (free(&["check", FIRST, "nowhere.json", &bad]), 1, true),
        (free(&["encode", "--compare", FIRST, SECOND]), 0, true),
        (
            free(&["encode", "--compare", FIRST, "nowhere.json"]),
            1,
            false,
        ),
        (free(&["summary", FIRST]), 0, true),
        (free(&["summary", &bad]), 1, false),
        (free(&["target", "--to", NOWHERE]), 4, true),
        (free(&["target", "--config", "nowhere.toml"]), 1, false),
        (free(&["catalogue", "list"]), 0, false),
        (free(&["catalogue", "list", "--kind", "nothing"]), 1, false),
        (free(&["catalogue", "check", "fixtures/tables"]), 0, false),
        (
            free(&["catalogue", "confirm", "--loinc", "nowhere.csv"]),
            1,
            false,
        ),
        (free(&["queue", "--state", "nowhere-at-all"]), 1, false),
        (
            at(&["send", "--to", NOWHERE, "--wait", "0", "nowhere.json"]),
            1,
            false,
        ),
        (at(&["send", FIRST]), 1, false),
        (at(&["queue"]), 0, true),
        (at(&["queue", "--only", "nothing"]), 1, false),
        (
            at(&[&["queue", "--pause", "nobody"][..], &by].concat()),
            1,
            false,
        ),
        (
            at(&[&["queue", "--pause", "record-server"][..], &by].concat()),
            0,
            false,
        ),
        (
            at(&[&["queue", "--resume", "record-server"][..], &by].concat()),
            0,
            false,
        ),
        (
            at(&[&["queue", "--drop", item][..], &by].concat()),
            1,
            false,
        ),
        (at(&["queue", "--sheet", item, "--out", &new]), 1, false),
        (at(&["summary", "--of", item]), 1, false),
        (at(&["store"]), 0, false),
        (at(&["trail"]), 0, true),
        (at(&["trail", "--event", "purged"]), 0, true),
        (at(&["trail", "--verify"]), 0, false),
        (at(&["trail", "--export", &new, "--verify"]), 0, false),
        (at(&["trail", "--export", &there]), 1, false),
        (at(&["trail", "--words", "Observation/none"]), 1, false),
    ];
    for (arguments, code, is_list) in cases {
        let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();

        let said = fascicle(&arguments, Some("40"), "");

        assert_eq!(said.code, code, "{arguments:?}: {}", said.all);
        let told = Node::parse(&said.out);
        let told = told.unwrap_or_else(|fault| panic!("{arguments:?}: {fault}\n{}", said.out));
        let form = matches!(told, Node::List(_));
        assert_eq!(form, is_list, "{arguments:?}: {}", said.out);
        if code == 1 && !is_list && arguments[0] != "send" {
            assert!(
                told.text_of("error").or(told.text_of("words")).is_some(),
                "{arguments:?}: {}",
                said.out
            );
        }
    }
}

#[test]
fn a_fault_of_the_settings_is_told_once() {
    let folder = tempfile::tempdir().expect("a folder");
    let broken = written(&folder, "a.toml", "state = \n");
    let unknown = written(&folder, "b.toml", "state = \"x\"\nnobodys_key = 1\n");

    for (file, words) in [(broken, "TOML parse error"), (unknown, "nobodys_key")] {
        let said = run(&["queue", "--config", &file]);

        assert_eq!(said.code, 1, "{}", said.all);
        assert_eq!(said.all.matches("parse error").count(), 1, "{}", said.all);
        assert!(said.all.contains(words), "{}", said.all);
    }
}

#[test]
fn no_store_is_said_only_where_there_is_none() {
    let folder = tempfile::tempdir().expect("a folder");
    let empty = folder.path().display().to_string();
    // A loop of links cannot be looked through, whoever looks: root too, who has every right.
    let round = folder.path().join("round");
    std::os::unix::fs::symlink(&round, &round).expect("a link");
    let file = written(&folder, "file", "");

    let none = run(&["queue", "--state", &empty]);
    let looped = run(&["queue", "--state", &round.display().to_string()]);
    let no_folder = run(&["queue", "--state", &file]);

    assert!(
        none.all.contains("there is no store in the state folder"),
        "{}",
        none.all
    );
    for said in [looped, no_folder] {
        assert_eq!(said.code, 1, "{}", said.all);
        assert!(
            said.all.contains("the state folder cannot be used: "),
            "{}",
            said.all
        );
        assert!(!said.all.contains("no store"), "{}", said.all);
        assert!(!said.all.contains("os error"), "{}", said.all);
    }
}

#[test]
fn what_is_there_already_is_told_in_words() {
    let (folder, state) = state();
    let there = written(&folder, "there", "");
    for arguments in [
        ["trail", "--state", &state, "--export", &there],
        ["store", "--state", &state, "--backup", &there],
    ] {
        let said = run(&arguments);

        assert_eq!(said.code, 1, "{}", said.all);
        let words = "there is a file of this name already; it is left alone";
        assert!(said.all.contains(words), "{}", said.all);
        assert_eq!(std::fs::read(&there).expect("a file"), b"");
    }
}

#[test]
fn a_state_has_one_word_for_people_programs_and_filters() {
    let (_folder, state) = state();
    let shown = run(&["queue", "--state", &state]);
    let listed = run(&["queue", "--state", &state, "--json"]);
    let listed = Node::parse(&listed.out).expect("JSON");
    let word = listed.items()[0].text_of("state").expect("a state");

    let only = run(&["queue", "--state", &state, "--only", word]);

    assert!(
        shown.out.starts_with(&format!("{word}: session ")),
        "{}",
        shown.out
    );
    assert_eq!(only.out, shown.out);
    let words: Vec<&str> = State::ALL.map(State::word).into();
    assert!(words.iter().all(|word| !word.contains(' ')), "{words:?}");
}

const SHELLS: [&str; 3] = ["bash", "zsh", "fish"];

#[test]
fn shells_complete_every_command_and_each_has_a_manual_page() {
    let help = run(&["--help"]).out;
    let commands = help
        .lines()
        .skip_while(|line| *line != "Commands:")
        .skip(1)
        .take_while(|line| !line.is_empty())
        .filter(|line| !line.starts_with("   "));
    let commands: Vec<&str> = commands
        .map(|line| line.split_whitespace().next().expect("a command"))
        .filter(|command| *command != "help")
        .collect();
    assert!(commands.len() > 12, "{commands:?}");
    let folder = tempfile::tempdir().expect("a folder");
    let pages = folder.path().join("man").display().to_string();

    let made = run(&["manual", "--out", &pages]);

    assert_eq!(made.code, 0, "{}", made.all);
    for command in commands {
        for shell in SHELLS {
            let script = run(&["completions", shell]);
            assert_eq!(script.code, 0, "{}", script.all);
            assert!(script.out.contains(command), "{shell}: {command}");
        }
        let page = Path::new(&pages).join(format!("fascicle-{command}.1"));
        let page = std::fs::read_to_string(&page).unwrap_or_else(|why| panic!("{page:?}: {why}"));
        assert!(
            page.contains(".SH EXAMPLES") || page.contains("Example"),
            "{command}"
        );
    }
}

/// A practice server of its own.
struct Practice(Child, String);

impl Practice {
    fn start(more: &[&str]) -> Self {
        let mut command = Command::new(env!("CARGO_BIN_EXE_fascicle"));
        command.arg("practice").args(more).stdout(Stdio::piped());
        let mut running = command.spawn().expect("the binary starts");
        let mut line = String::new();
        let said = running.stdout.as_mut().expect("its output");
        BufReader::new(said).read_line(&mut line).expect("a line");
        let base = line.trim().strip_prefix("BASE=").expect("its address");
        let base = base.to_owned();
        Self(running, base)
    }
}

impl Drop for Practice {
    fn drop(&mut self) {
        drop(self.0.kill());
        drop(self.0.wait());
    }
}

#[test]
fn a_first_send_finds_its_person_where_practice_starts_with_people() {
    let folder = tempfile::tempdir().expect("a folder");
    let (with, without) = (Practice::start(&["--with-people"]), Practice::start(&[]));
    let send = |practice: &Practice, name: &str| {
        let state = folder.path().join(name).display().to_string();
        run(&["send", "--state", &state, "--to", &practice.1, FIRST])
    };

    let (found, unknown) = (send(&with, "a"), send(&without, "b"));

    assert_eq!(found.code, 0, "{}", found.all);
    assert!(found.out.contains("delivered: session "), "{}", found.out);
    assert_eq!(unknown.code, 5, "{}", unknown.all);
    assert!(unknown.out.contains("person.not-found"), "{}", unknown.out);
}
