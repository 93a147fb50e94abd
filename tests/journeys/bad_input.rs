#![cfg(test)]
#![expect(
    clippy::disallowed_methods,
    reason = "the cases and the sources are files"
)]
//! Documents that must not pass, each beside the nearest one that does.

use crate::document::{edited, marked, set, sound};
use crate::store::{Held, Store};
use fascicle::base::code::Code;
use fascicle::base::json::{Node, text};
use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

/// Problem codes that no document provokes, each with the reason.
const NOT_PROVOKED: &[(&str, &str)] = &[
    (
        "check.base-only",
        "about Observations from elsewhere: from_anywhere.rs",
    ),
    (
        "code.display",
        "about Observations from elsewhere: from_anywhere.rs",
    ),
    (
        "code.first-unknown",
        "about Observations from elsewhere: own_codes.rs",
    ),
    (
        "code.missing",
        "about Observations from elsewhere: own_codes.rs",
    ),
    (
        "code.wider-first",
        "about Observations from elsewhere: own_codes.rs",
    ),
    (
        "ending.bound",
        "about Observations from elsewhere: from_anywhere.rs",
    ),
    (
        "site.sides-differ",
        "about Observations from elsewhere: from_anywhere.rs",
    ),
    (
        "unit.measure",
        "about Observations from elsewhere: from_anywhere.rs",
    ),
    (
        "value.impossible",
        "about Observations from elsewhere: from_anywhere.rs",
    ),
    (
        "value.list",
        "about Observations from elsewhere: from_anywhere.rs",
    ),
    (
        "record.twice",
        "guards our own record: things listed twice are told before there is one",
    ),
    (
        "document.types",
        "guards our own types: the schema and the walk beside it tell first",
    ),
    (
        "document.key",
        "guards our own reading: a document that holds names its session",
    ),
    ("document.schema", "guards our own schema, which compiles"),
    (
        "earlier.not-known",
        "about a kept session whose words other tables do not know: tests/stores/kept.rs",
    ),
    (
        "earlier.not-told",
        "about a record server that does not tell: tests/e2e/earlier.rs",
    ),
    (
        "earlier.unread",
        "about what a record server holds: tests/e2e/earlier.rs",
    ),
    (
        "encode.correction",
        "about files on one command line, which remember nothing",
    ),
    (
        "id.form",
        "guards our own schema, which tells what is no UUID first",
    ),
    ("csv.cells", "about cells of a sheet: sheets.rs"),
    ("csv.column-missing", "about cells of a sheet: sheets.rs"),
    ("csv.column-twice", "about cells of a sheet: sheets.rs"),
    ("csv.column-unknown", "about cells of a sheet: sheets.rs"),
    ("csv.comma", "about cells of a sheet: sheets.rs"),
    ("csv.day", "about cells of a sheet: sheets.rs"),
    ("csv.empty", "about cells of a sheet: sheets.rs"),
    ("csv.exponent", "about cells of a sheet: sheets.rs"),
    ("csv.formula", "about cells of a sheet: sheets.rs"),
    ("csv.large", "about cells of a sheet: sheets.rs"),
    (
        "csv.lost",
        "guards our own counting: rows read are findings and rows told of",
    ),
    ("csv.mark", "about cells of a sheet: sheets.rs"),
    ("csv.plus-lost", "about cells of a sheet: sheets.rs"),
    ("csv.quote", "about cells of a sheet: sheets.rs"),
    ("csv.read", "about cells of a sheet: sheets.rs"),
    ("csv.row", "about cells of a sheet: sheets.rs"),
    ("csv.separator", "about cells of a sheet: sheets.rs"),
    ("csv.session-differs", "about cells of a sheet: sheets.rs"),
    ("csv.session-missing", "about cells of a sheet: sheets.rs"),
    ("csv.session-returns", "about cells of a sheet: sheets.rs"),
    ("csv.session-twice", "about cells of a sheet: sheets.rs"),
    ("csv.sessions", "about cells of a sheet: sheets.rs"),
    ("csv.truth", "about cells of a sheet: sheets.rs"),
    ("csv.utf8", "about cells of a sheet: sheets.rs"),
    ("csv.whole", "about cells of a sheet: sheets.rs"),
    ("csv.wide", "about cells of a sheet: sheets.rs"),
    (
        "document.mark",
        "a note; a document with a mark holds: files.rs",
    ),
    (
        "route.left",
        "about several targets: tests/stores/contract.rs",
    ),
    (
        "route.none",
        "about several targets: tests/stores/contract.rs",
    ),
    (
        "session.contended",
        "about others of the same person: tests/stores/between.rs",
    ),
    (
        "json.utf8",
        "about lines of NDJSON: src/service/cli/lines.rs",
    ),
    (
        "trace-file.header",
        "about a CSV file beside the document: tests/traces/files.rs",
    ),
    (
        "trace-file.name",
        "about a CSV file beside the document: tests/traces/files.rs",
    ),
    (
        "trace-file.read",
        "about a CSV file beside the document: tests/traces/files.rs",
    ),
    (
        "trace-file.row",
        "about a CSV file beside the document: tests/traces/files.rs",
    ),
    (
        "trace-file.rows",
        "about a CSV file beside the document: tests/traces/files.rs",
    ),
    (
        "trace.size",
        "takes a document of many samples: tests/traces/session.rs",
    ),
    ("record.json", "guards our own types, which serialise"),
    (
        "record.reference",
        "guards our own references, which are built from the entries",
    ),
    (
        "problems.more",
        "about more problems than are kept: src/base/problem.rs",
    ),
    (
        "file.unread",
        "about a file that cannot be read: tests/docs/terminal.rs",
    ),
    (
        "session.purged",
        "about a session whose content is gone: tests/stores/purge.rs",
    ),
];

/// Texts that are no session document at all.
fn texts() -> Vec<(String, &'static str)> {
    let sound = sound().compact();
    let twice = sound.replacen(r#""version":1"#, r#""version":1,"version":1"#, 1);
    let null = sound.replacen(r#""test_data":true"#, r#""test_data":null"#, 1);
    let huge = sound.replacen(r#""version":1"#, r#""version":1e999"#, 1);
    let half = sound.replacen("Testperson", r"\ud800", 1);
    let turned = sound.replacen("Testperson", r"\udc00\ud800", 1);
    let version = |number: &str| {
        let written = format!(r#""version":{number}"#);
        sound.replacen(r#""version":1"#, &written, 1)
    };
    let long = "x".repeat(1024 * 1024 + 1);
    let long = sound.replacen("handling", &format!(r#"handling","note":"{long}"#), 1);
    let raw = sound.replacen("Testperson", "Test\nperson", 1);
    let nested = r#"{"a":"#.repeat(200) + "1" + &"}".repeat(200);
    vec![
        (" ".repeat(40), "error json.syntax"),
        ("\u{0}".repeat(40), "error json.syntax"),
        (version("NaN"), "error json.syntax"),
        (version("-Infinity"), "error json.syntax"),
        (version("01"), "error json.syntax"),
        (version("+1"), "error json.syntax"),
        (version("0x1"), "error json.syntax"),
        (version("\u{ff11}"), "error json.syntax"),
        (version("1.0"), "error field.type /session/version"),
        (version("1e0"), "error field.type /session/version"),
        (turned, "error json.syntax"),
        (raw, "error json.syntax"),
        (nested, "error json.deep"),
        (sound.replace('"', "'"), "error json.syntax"),
        (format!("// a comment\n{sound}"), "error json.syntax"),
        (format!("{sound}{sound}"), "error json.syntax"),
        (sound.chars().take(900).collect(), "error json.syntax"),
        (
            format!("{sound}{}", " ".repeat(9 << 20)),
            "error json.large",
        ),
        (long, "error text.long /findings/0/note"),
        (half, "error json.syntax"),
        (twice, "error json.key-twice /session"),
        (huge, "error json.number /session/version"),
        (null, "error field.type /test_data"),
    ]
}

/// Texts that are none for their size, their nesting or what stands around them.
fn shapes() -> Vec<(String, &'static str)> {
    let sound = sound().compact();
    vec![
        (String::new(), "error json.syntax"),
        ("{\"fascicle\": ,}".to_owned(), "error json.syntax"),
        (format!("{sound},"), "error json.syntax"),
        (format!("\u{feff}\u{feff}{sound}"), "error json.syntax"),
        (
            sound.replacen(
                r#""findings":["#,
                &format!(r#""findings":[{}"#, "1,".repeat(3000)),
                1,
            ),
            "error list.long /findings",
        ),
        (format!("[{}1]", "1,".repeat(1_000_000)), "error json.many"),
        ("[".repeat(100) + &"]".repeat(100), "error json.deep"),
        (
            "[".repeat(200_000) + &"]".repeat(200_000),
            "error json.deep",
        ),
        ("5".to_owned(), "error field.type"),
    ]
}

/// Everything at once, and each thing told.
const MANY: &[(&str, &str)] = &[
    ("/session/performed/end", r#""2026-11-16T09:00:00+01:00""#),
    ("/session/signed/by", r#""nobody""#),
    ("/session/body_position", r#""lying""#),
    ("/session/consent/given", r#""no""#),
    ("/patient/birth_date", r#""14.07.1961""#),
    ("/precautions/0/review", r#""2026-11-01""#),
    ("/precautions/0/limit", r#""no-running""#),
    ("/instruments/0/unit", r#""degrees""#),
    ("/findings/0/note", r#""""#),
    ("/findings/1/value/score", r#""11""#),
    (
        "/findings/2/value",
        r#"{"beyond_neutral":"45","unit":"deg"}"#,
    ),
    ("/findings/3/value/unit", r#""rad""#),
    ("/findings/4/value/lacks", r#""-5""#),
    ("/findings/5/ended", ""),
    ("/findings/6/end_feel", r#""firm""#),
    ("/findings/7/stretch", r#"{"speed":"V1"}"#),
    ("/findings/8/neighbour/joint", r#""hip""#),
    ("/findings/9/value/grade", r#""1.5""#),
    ("/findings/10/valeu", r#""increased""#),
    ("/findings/11/not_tested/reason", r#""no time""#),
];

const MANY_TOLD: &[&str] = &[
    "error field.empty /findings/0/note",
    "error score.range /findings/1/value/score",
    "error unit.conversion /findings/3/value/unit",
    "error value.one /findings/4/value",
    "error ending.missing /findings/5/ended",
    "error part.stray /findings/6/end_feel",
    "error stretch.quality /findings/7/stretch/quality",
    "error stretch.speed /findings/7/stretch/speed",
    "error neighbour.joint /findings/8/neighbour",
    "error grade.half /findings/9/value/grade",
    "error field.unknown /findings/10/valeu",
    "error word.unknown /findings/11/not_tested/reason",
    "error unit.ucum /instruments/0/unit",
    "error field.form /patient/birth_date",
    "error word.unknown /precautions/0/limit",
    "caution precaution.overdue /precautions/0/review",
    "error word.unknown /session/body_position",
    "caution consent.refused /session/consent/given",
    "error time.order /session/performed/end",
    "error reference.performer /session/signed/by",
];

struct Case {
    name: String,
    before: Vec<Node>,
    wrong: Node,
    right: Node,
    told: Vec<String>,
    noted: Vec<String>,
}

fn cases() -> Vec<Case> {
    let file = fs::read_to_string(file()).expect("the cases");
    let file = Node::parse(&file).expect("the cases are JSON");
    let strings = |case: &Node, key: &str| {
        let items = case.items_of(key).iter();
        items.filter_map(Node::text).map(str::to_owned).collect()
    };
    file.items()
        .iter()
        .map(|case| Case {
            name: case.text_of("name").expect("a name").to_owned(),
            before: case.items_of("before").iter().map(with).collect(),
            wrong: with(case.member("wrong").expect("wrong edits")),
            right: with(case.member("right").expect("right edits")),
            told: strings(case, "told"),
            noted: strings(case, "noted"),
        })
        .collect()
}

/// The sound document with the edits of a case; null removes, and confirmations get their marks.
fn with(edits: &Node) -> Node {
    let mut document = sound();
    for (pointer, value) in edits.members() {
        let value = (*value != Node::Null).then(|| value.clone());
        set(&mut document, pointer, value);
    }
    marked(document)
}

#[tokio::test]
async fn what_is_wrong_is_told_whole_and_nothing_is_stored_or_queued() {
    let mut faults = Vec::new();
    let mut seen = Vec::new();

    for case in cases() {
        let store = Store::open().await;
        for before in &case.before {
            store.submit(before).await.expect("the one before holds");
        }
        let before = store.holds().await;
        let told = store.submit(&case.wrong).await.err().unwrap_or_default();
        let after = store.holds().await;
        let noted = store.submit(&case.right).await;
        let accepted = store.holds().await;

        if told.is_empty() || before != after {
            faults.push(format!("{}: accepted, or something was stored", case.name));
        }
        let one_more = Held {
            sessions: before.sessions + 1,
            items: before.items + 1,
            trail: before.trail + 2,
        };
        let again = case.right == sound() && before.sessions > 0;
        match &noted {
            Err(told) => faults.push(format!("{}: the nearest is held: {told:?}", case.name)),
            Ok(_) if accepted != if again { before } else { one_more } => {
                faults.push(format!("{}: the nearest is not stored once", case.name));
            }
            Ok(_) => {}
        }
        if told != case.told || noted.as_ref().is_ok_and(|noted| *noted != case.noted) {
            faults.push(format!("{}: {told:?} {noted:?}", case.name));
        }
        seen.push((told, noted.unwrap_or_default()));
    }

    if std::env::var_os("UPDATE_EXPECT").is_some_and(|value| value == "1") {
        rewrite(&seen);
    }
    assert!(faults.is_empty(), "{faults:#?}");
}

#[tokio::test]
async fn what_is_no_document_is_told_and_nothing_is_stored() {
    let store = Store::open().await;

    for (text, told) in texts().into_iter().chain(shapes()) {
        let start: String = text.chars().take(40).collect();

        let refused = store.submit_text(&text).await;

        let refused = refused.expect_err("it cannot pass");
        assert!(
            refused.iter().any(|line| line == told),
            "{start}: {refused:?}"
        );
    }
    assert_eq!(store.holds().await.trail, 0);
}

#[tokio::test]
async fn many_faults_are_told_at_once_in_the_order_of_their_paths() {
    let store = Store::open().await;

    let told = store.submit(&edited(MANY)).await;

    assert_eq!(
        told,
        Err(MANY_TOLD.iter().map(ToString::to_string).collect())
    );
    assert_eq!(store.holds().await.trail, 0);
}

#[test]
fn there_are_cases_enough_and_no_two_have_one_name() {
    let cases = cases();
    let names: BTreeSet<&str> = cases.iter().map(|case| case.name.as_str()).collect();

    assert!(cases.len() >= 190);
    assert_eq!(names.len(), cases.len());
}

#[test]
fn every_code_of_a_problem_is_provoked_or_listed_with_a_reason() {
    let cases = cases();
    let told = cases
        .iter()
        .flat_map(|case| case.told.iter().chain(&case.noted));
    let texts: Vec<_> = texts().into_iter().chain(shapes()).collect();
    let provoked: BTreeSet<&str> = told
        .map(String::as_str)
        .chain(texts.iter().map(|(_, told)| *told))
        .filter_map(|line| line.split(' ').nth(1))
        .collect();
    let listed: BTreeSet<&str> = NOT_PROVOKED.iter().map(|(code, _)| *code).collect();
    let codes = codes_of_problems();

    let explained: BTreeSet<&str> = provoked.union(&listed).copied().collect();
    let unexplained: Vec<_> = codes.difference(&explained).collect();
    let stale: Vec<_> = listed.intersection(&provoked).collect();
    let gone: Vec<_> = explained.difference(&codes).collect();

    assert!(unexplained.is_empty(), "no case provokes {unexplained:#?}");
    assert!(
        stale.is_empty(),
        "listed as not provoked, yet provoked: {stale:#?}"
    );
    assert!(gone.is_empty(), "no codes any more: {gone:#?}");
}

/// Every code of a problem, but for the rules of FHIR, which `from_elsewhere.rs` provokes.
fn codes_of_problems() -> BTreeSet<&'static str> {
    let codes = Code::ALL
        .iter()
        .filter(|code| code.meaning().severity.is_some());
    codes
        .map(|code| code.word())
        .filter(|word| !word.starts_with("fhir."))
        .collect()
}

fn file() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/bad/edits.json")
}

/// Writes the cases back with what was told, one member a line.
fn rewrite(seen: &[(Vec<String>, Vec<String>)]) {
    let cases = fs::read_to_string(file()).expect("the cases");
    let cases = Node::parse(&cases).expect("the cases are JSON");
    let list = |lines: &[String]| Node::List(lines.iter().map(text).collect());
    let cases: Vec<String> = cases
        .items()
        .iter()
        .zip(seen)
        .map(|(case, (told, noted))| {
            let mut case = case.clone();
            case.set("told", list(told));
            case.set("noted", list(noted));
            let members = case.members().iter();
            let members = members.map(|(key, value)| format!(" \"{key}\":{}", value.compact()));
            format!("{{\n{}\n}}", members.collect::<Vec<_>>().join(",\n"))
        })
        .collect();
    fs::write(file(), format!("[\n{}\n]\n", cases.join(",\n"))).expect("written");
}
