#![cfg(test)]
#![expect(
    clippy::disallowed_methods,
    reason = "the sheets are files, and commands and an outside reader are run"
)]
//! Findings as a sheet, one a row: in, refused with row and column, and out again.

use crate::document::{catalogue, encoded, lines, now, sound};
use crate::store::Store;
use fascicle::base::json::Node;
use fascicle::base::problem::Problem;
use fascicle::examination::intake::sheet::Sheet;
use fascicle::examination::intake::sheet::write::{Columns, Writer};
use fascicle::service::app::assess::Earlier;
use fascicle::service::app::given::Given;
use fascicle::service::app::submit::{Intake, Submitted};
use fascicle::service::config::route::Routes;
use fascicle::tables::catalogue::Catalogue;
use std::collections::BTreeSet;
use std::fs;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

const FINDINGS: &str = include_str!("../../fixtures/sheets/findings.csv");
const SESSION: &str = include_str!("../../fixtures/sheets/beside.json");

fn beside() -> Node {
    Node::parse(SESSION).expect("JSON")
}

/// `error csv.cells row 5` of each problem, over all sessions of a sheet.
fn told(bytes: &[u8], beside: Option<&Node>) -> Vec<String> {
    let mut sheet = match Sheet::open(bytes, beside) {
        Ok(sheet) => sheet,
        Err(problems) => return lines(&problems),
    };
    let mut told = Vec::new();
    loop {
        match sheet.next_session() {
            Ok(Some(session)) => told.extend(told_of(&Given::rows(session))),
            Ok(None) => return told,
            Err(problems) => {
                told.extend(lines(&problems));
                return told;
            }
        }
    }
}

fn told_of(given: &Given) -> Vec<String> {
    let told = match given.encode(&Earlier::default(), catalogue(), now()) {
        Ok(encoded) => encoded.told,
        Err(held) => held.problems,
    };
    let rows = given.rows.as_ref().expect("rows");
    let line = |problem: &Problem| {
        let place = rows.place(&problem.path).map(|place| place.to_string());
        let place = place.unwrap_or_else(|| problem.path.clone());
        let line = format!("{} {} {place}", problem.severity.word(), problem.code);
        line.trim_end().to_owned()
    };
    told.iter().map(line).collect()
}

/// The example with one text put in place of another.
fn edited(from: &str, to: &str) -> Vec<u8> {
    assert!(FINDINGS.contains(from), "{from}");
    FINDINGS.replacen(from, to, 1).into_bytes()
}

/// A whole session as a sheet with the columns of the session.
fn whole(document: &Node) -> String {
    let mut columns = Columns::default();
    columns.add(document).expect("every field has a column");
    let writer = Writer::new(columns);
    writer.header().expect("a header") + &writer.rows(document).expect("rows")
}

/// A sheet, and what is told of it.
type Case = (&'static str, Vec<u8>, Vec<&'static str>);

const FINER: &str = "note angle.finer row 5, column value";

/// What is wrong with a sheet as a whole, or with a row as such.
fn forms() -> Vec<Case> {
    let text = |text: String| text.into_bytes();
    let marked = [b"\xef\xbb\xbf", FINDINGS.as_bytes()].concat();
    let wide = [0xfeff].into_iter().chain(FINDINGS.encode_utf16());
    let wide: Vec<u8> = wide.flat_map(u16::to_le_bytes).collect();
    let mut latin = FINDINGS.as_bytes().to_vec();
    latin[FINDINGS.find("mean of").expect("a note")] = 0xb0;
    let header = FINDINGS.lines().next().expect("a header").to_owned();
    let long = format!("{header}\r\n\"{}", "x".repeat(9 << 20));
    let row = "clonus.ankle,right,knee,straight,,,,,,,,pain,,,,,handling,,\r\n";
    let many = format!("{header}\r\n{}", row.repeat(20_000));
    let separated = |by: &str| text(FINDINGS.replace(',', by));
    vec![
        ("as it is", text(FINDINGS.to_owned()), vec![FINER]),
        ("a mark before it", marked, vec!["note csv.mark", FINER]),
        ("two bytes a letter", wide, vec!["error csv.utf8"]),
        ("one byte a letter", latin, vec!["error csv.utf8 row 5"]),
        ("semicolons", separated(";"), vec!["error csv.separator"]),
        ("tabs", separated("\t"), vec!["error csv.separator"]),
        (
            "only empty rows",
            text(format!("{header}\r\n,,,\r\n,,\r\n")),
            vec!["error csv.empty"],
        ),
        ("no row", text(header + "\r\n"), vec!["error csv.empty"]),
        (
            "rows of commas",
            text(format!("{FINDINGS},,\r\n,,,\r\n")),
            vec![FINER],
        ),
        (
            "a quotation mark left open",
            text(long),
            vec!["error csv.row"],
        ),
        (
            "a quotation mark that swallows the rest",
            edited("clonus.ankle,right,knee", "\"clonus.ankle,right,knee"),
            vec![FINER, "error csv.quote row 9"],
        ),
        (
            "text behind a quotation mark",
            edited("clonus.ankle,right,knee", "\"clonus\".ankle,right,knee"),
            vec![FINER, "error csv.quote row 9"],
        ),
        (
            "more cells than any sheet has",
            text(format!("{FINDINGS}{}", ",".repeat(20_000))),
            vec!["error csv.wide", FINER],
        ),
        (
            "too many rows",
            text(many),
            vec!["error csv.large /findings"],
        ),
    ]
}

/// Edits of the example, each with what is told besides what is told of the example.
const EDITS: &[(&str, &str, &str, &str)] = &[
    (
        "too few cells",
        "clonus.ankle,right,knee",
        "clonus.ankle,right",
        "error csv.cells row 9",
    ),
    (
        "a day",
        "'1+",
        "01.Feb",
        "error csv.day row 6, column value.grade",
    ),
    (
        "a plus lost",
        "'1+",
        "1",
        "note csv.plus-lost row 6, column value.grade",
    ),
    (
        "a grade that is none",
        "'1+",
        "1.5",
        "error grade.half row 6, column value.grade",
    ),
    (
        "a formula",
        "\"'mean of two readings, 12 and 13\"",
        "#NAME?",
        "error csv.formula row 5, column note",
    ),
    (
        "no whole number",
        "note\r\n",
        "repeat\r\n",
        "error csv.whole row 5, column repeat",
    ),
    (
        "no truth",
        "note\r\n",
        "withdrawn\r\n",
        "error csv.truth row 5, column withdrawn",
    ),
    (
        "no order",
        "extension/flexion",
        "",
        "error notation.unordered row 2, column value.notation.order",
    ),
];

/// Edits of the example that are told alone.
const ALONE: &[(&str, &str, &str, &str)] = &[
    (
        "a bare comma",
        "12 and 13",
        "12, 13\",\"x",
        "error csv.cells row 5",
    ),
    (
        "a column misspelt",
        "value.lacks",
        "value.lack",
        "error csv.column-unknown",
    ),
    (
        "a column twice",
        "value.word",
        "value.grade",
        "error csv.column-twice",
    ),
    (
        "a column missing",
        "measure,",
        "condition,",
        "error csv.column-missing",
    ),
    (
        "a decimal comma",
        "'12.5",
        "\"12,5\"",
        "error csv.comma row 5, column value.beyond_neutral",
    ),
    (
        "an exponent",
        "'12.5",
        "1.25E+01",
        "error csv.exponent row 5, column value.beyond_neutral",
    ),
];

/// What a spreadsheet or a hand does to a sheet, and what is told of it.
fn cases() -> Vec<Case> {
    let mut cases = forms();
    for (name, from, to, told) in EDITS {
        cases.push((*name, edited(from, to), vec![*told, FINER]));
    }
    for (name, from, to, told) in ALONE {
        cases.push((*name, edited(from, to), vec![*told]));
    }
    cases
}

#[test]
fn what_a_spreadsheet_did_is_told_with_row_and_column_and_all_at_once() {
    let mut faults = Vec::new();
    for (name, sheet, wanted) in cases() {
        let told = told(&sheet, Some(&beside()));

        let few = told.len() == wanted.len() || name == "too many rows";
        if !few || !wanted.iter().all(|line| told.iter().any(|one| one == line)) {
            let told: Vec<&String> = told.iter().take(5).collect();
            faults.push(format!("{name}: {told:?}, wanted {wanted:?}"));
        }
    }

    assert!(faults.is_empty(), "{faults:#?}");
}

/// A session of its own for each, in one sheet.
fn several(versions: &[(&str, &str)]) -> String {
    let mut all = String::new();
    for (id, version) in versions {
        let sheet = whole(&sound())
            .replace("7d1f0a52-3c68-4b0e-9a57-0f6b2e6c1f01", id)
            .replace(
                sound()
                    .at(&["session", "id"])
                    .and_then(Node::text)
                    .expect("an id"),
                id,
            );
        let (header, rows) = sheet.split_once("\r\n").expect("a header");
        if all.is_empty() {
            all = format!("{header}\r\n");
        }
        let column = header
            .split(',')
            .position(|name| name == "\"session.version\"");
        let column = column.expect("a version");
        for row in rows.lines() {
            let mut cells: Vec<&str> = row.split("\",\"").collect();
            cells[column] = version;
            all += &(cells.join("\",\"") + "\r\n");
        }
    }
    all
}

const ONE: &str = "7d1f0a52-3c68-4b0e-9a57-0f6b2e6c1f11";
const OTHER: &str = "7d1f0a52-3c68-4b0e-9a57-0f6b2e6c1f12";

#[test]
fn sessions_stand_one_after_another_and_none_comes_back() {
    let count = |sheet: &str| {
        let mut sheet = Sheet::open(sheet.as_bytes(), None).expect("its header reads");
        let mut count = 0;
        while sheet.next_session().expect("it reads").is_some() {
            count += 1;
        }
        count
    };

    assert_eq!(count(&several(&[(ONE, "1"), (OTHER, "1"), (ONE, "2")])), 3);
    let back = several(&[(ONE, "1"), (OTHER, "1"), (ONE, "1")]);
    assert_eq!(count(&back), 3);
    let rows = sound().items_of("findings").len();
    let first = 2 + 2 * rows;
    assert_eq!(
        told(back.as_bytes(), None).last().map(String::as_str),
        Some(format!("error csv.session-returns row {first}, column session.id").as_str())
    );
}

#[test]
fn what_holds_for_a_session_is_the_same_in_all_its_rows() {
    let sheet = whole(&sound()).replacen("\"supine\"", "\"sitting\"", 2);
    let told = told(sheet.as_bytes(), None);

    let differs = told
        .iter()
        .filter(|line| line.contains("csv.session-differs"));
    assert!(differs.count() > 5, "{told:?}");
}

#[test]
fn a_session_stands_in_the_sheet_or_beside_it() {
    let sheet = whole(&sound());

    assert_eq!(
        told(FINDINGS.as_bytes(), None),
        ["error csv.session-missing"]
    );
    assert_eq!(
        told(sheet.as_bytes(), Some(&beside())),
        ["error csv.session-twice"]
    );
    assert!(
        told(sheet.as_bytes(), None)
            .iter()
            .all(|line| line.starts_with("note "))
    );
}

#[test]
fn a_sheet_says_the_same_as_its_document() {
    for document in [
        include_str!("../../fixtures/sessions/first.json"),
        include_str!("../../fixtures/sessions/second.json"),
        include_str!("../../fixtures/sessions/sound.json"),
        include_str!("../../fixtures/sessions/every-measure.json"),
    ] {
        let document = Node::parse(document).expect("JSON");
        let sheet = whole(&document);
        let mut sheet = Sheet::open(sheet.as_bytes(), None).expect("its header reads");

        let session = sheet.next_session().expect("it reads").expect("a session");

        let given = Given::rows(session);
        let read = given
            .encode(&Earlier::default(), catalogue(), now())
            .expect("it holds");
        assert_eq!(read.checked.record(), encoded(&document).checked.record());
        assert_eq!(read.canonical, encoded(&document).canonical);
    }
}

#[tokio::test]
async fn a_sheet_with_a_bad_cell_stores_nothing_and_a_sound_one_is_stored_once() {
    let store = Store::open().await;
    let routes = Routes::to_all(vec!["ward".to_owned()]);
    let intake = Intake {
        catalogue: catalogue(),
        routes: &routes,
        elsewhere: None,
    };
    let submit = async |bytes: Vec<u8>| {
        let mut sheet = Sheet::open(bytes.as_slice(), Some(&beside())).expect("a header");
        let session = sheet.next_session().expect("it reads").expect("a session");
        let given = Given::rows(session);
        let submitted = given.submit(&store.outbox, intake, now()).await;
        match submitted.expect("the store answers") {
            Submitted::Accepted { before, .. } => Ok(before),
            Submitted::Held(held) => Err(lines(&held.problems)),
        }
    };

    let bad = submit(edited("\"'mean of two readings, 12 and 13\"", "#NAME?")).await;
    let empty = store.holds().await;
    let first = submit(FINDINGS.as_bytes().to_vec()).await;
    let again = submit(FINDINGS.as_bytes().to_vec()).await;

    assert!(bad.is_err_and(|told| told.contains(&"error csv.formula /findings/3/note".to_owned())));
    assert_eq!(empty.sessions, 0);
    assert_eq!((first, again), (Ok(false), Ok(true)));
    assert_eq!(store.holds().await.sessions, 1);
}

/// What Python's csv module, an outside reader, reads of a text.
fn outside(sheet: &str) -> Vec<Vec<String>> {
    let script = "import csv,json,sys,io\n\
                  text=sys.stdin.buffer.read().decode('utf-8')\n\
                  rows=list(csv.reader(io.StringIO(text,newline=''),strict=True))\n\
                  print(json.dumps(rows))";
    let mut python = Command::new("python3")
        .args(["-c", script])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("Python 3");
    let mut input = python.stdin.take().expect("its input");
    input.write_all(sheet.as_bytes()).expect("written");
    drop(input);
    let output = python.wait_with_output().expect("it ends");
    assert!(output.status.success());
    serde_json::from_slice(&output.stdout).expect("rows")
}

/// Source: OWASP ASVS 5.0, 1.2.10, and owasp.org/www-community/attacks/CSV_Injection: no cell begins
/// with = + - @, a tab, a carriage return, a line feed or a null character; RFC 4180, section 2, for
/// the form, which Python's csv module reads strictly.
#[test]
fn no_cell_that_is_written_is_a_formula_and_an_outside_reader_reads_them_all() {
    let mut document = sound();
    for (index, note) in [
        "=cmd|' /C calc'!A0",
        "+1",
        "-5",
        "@sum(a1)",
        "\tx",
        "'x",
        "a \"b\", c\r\nd",
    ]
    .iter()
    .enumerate()
    {
        let finding = &mut document
            .member_mut("findings")
            .expect("findings")
            .items_mut()[index];
        finding.set("note", fascicle::base::json::text(*note));
    }
    let sheet = whole(&document);

    let rows = outside(&sheet);

    let width = rows[0].len();
    assert!(rows.iter().all(|row| row.len() == width));
    assert_eq!(rows.len(), document.items_of("findings").len() + 1);
    let cells = || rows.iter().flatten();
    assert!(cells().all(|cell| !cell.starts_with(['=', '+', '-', '@', '\t', '\r', '\n', '\0'])));
    assert!(cells().any(|cell| cell == "'1+") && cells().any(|cell| cell == "'-5"));
    // What a spreadsheet saves of it: the same cells, quoted only where it has to.
    let script_free = |cell: &String| {
        if cell.contains([',', '"', '\r', '\n']) {
            format!("\"{}\"", cell.replace('"', "\"\""))
        } else {
            cell.clone()
        }
    };
    let saved: Vec<String> = rows
        .iter()
        .map(|row| row.iter().map(script_free).collect::<Vec<_>>().join(","))
        .collect();
    let saved = saved.join("\r\n") + "\r\n";
    let mut sheet = Sheet::open(saved.as_bytes(), None).expect("its header reads");
    let session = sheet.next_session().expect("it reads").expect("a session");
    assert_eq!(
        Node::parse(&session.text).expect("JSON").canonical(),
        document.canonical()
    );
}

/// Exit code and output of a command.
fn run(arguments: &[&str]) -> (Option<i32>, String) {
    let mut command = Command::new(env!("CARGO_BIN_EXE_fascicle"));
    let output = command.args(arguments).output().expect("it runs");
    let text = String::from_utf8(output.stdout).expect("text");
    (output.status.code(), text)
}

fn fixture(name: &str) -> String {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    root.join("fixtures/sheets")
        .join(name)
        .display()
        .to_string()
}

#[test]
fn check_says_row_and_column_to_people_and_to_programs() {
    let folder = tempfile::tempdir().expect("a folder");
    let bad = folder.path().join("bad.csv");
    fs::write(&bad, edited("'1+", "01.Feb")).expect("a file");
    let (session, bad) = (fixture("beside.json"), bad.display().to_string());

    let (code, words) = run(&["check", "--session", &session, &bad]);
    let (json_code, json) = run(&["check", "--json", "--session", &session, &bad]);

    assert_eq!((code, json_code), (Some(1), Some(1)));
    let place = "row 6, column value.grade\n  error [csv.day]";
    assert!(words.contains(place), "{words}");
    let told = Node::parse(&json).expect("JSON");
    let problems = told.items()[0].items_of("problems");
    let day = problems
        .iter()
        .find(|one| one.text_of("code") == Some("csv.day"));
    let day = day.expect("the day is told");
    assert_eq!(day.member("row"), Some(&Node::Number("6".to_owned())));
    assert_eq!(day.text_of("column"), Some("value.grade"));
}

#[test]
fn encode_takes_a_sheet_and_gives_one_and_writes_its_planes() {
    let (session, sheet) = (fixture("beside.json"), fixture("findings.csv"));
    let encode = |form: &[&str]| {
        let mut arguments = vec!["encode", "--session", &session, &sheet];
        arguments.extend(form);
        run(&arguments)
    };

    let (code, bundle) = encode(&[]);
    assert_eq!(code, Some(0));
    assert!(bundle.contains("\"resourceType\": \"Bundle\""));
    let (code, out) = encode(&["--csv"]);
    assert_eq!(code, Some(0));
    assert!(told_is_only_notes(&told_of_sheet(&out)));
    let (code, planes) = encode(&["--notation", "flexion-first"]);
    assert_eq!(code, Some(0));
    let plane = "right elbow, passive, supine, flexion/extension: 150-20-0";
    assert!(planes.contains(plane), "{planes}");
    assert_eq!(encode(&["--notation", "backwards"]).0, Some(1));
}

fn told_of_sheet(sheet: &str) -> Vec<String> {
    told(sheet.as_bytes(), None)
}

fn told_is_only_notes(told: &[String]) -> bool {
    told.iter().all(|line| line.starts_with("note "))
}

#[test]
fn every_code_about_cells_is_provoked_here() {
    // Of several sessions in one request: tests/api. Of reading that fails: no test makes a disk fail.
    const ELSEWHERE: [&str; 3] = ["csv.sessions", "csv.read", "csv.lost"];
    let mut provoked: BTreeSet<String> = BTreeSet::new();
    for (_, _, wanted) in cases() {
        provoked.extend(
            wanted
                .iter()
                .filter_map(|line| line.split(' ').nth(1))
                .map(str::to_owned),
        );
    }
    for code in [
        "session-returns",
        "session-differs",
        "session-missing",
        "session-twice",
    ] {
        provoked.insert(format!("csv.{code}"));
    }
    provoked.extend(ELSEWHERE.map(str::to_owned));
    let source = sources(&Path::new(env!("CARGO_MANIFEST_DIR")).join("src"));
    let mut missing = BTreeSet::new();
    for text in source {
        for after in text.split("\"csv.").skip(1) {
            let code = format!("csv.{}", after.split('"').next().unwrap_or_default());
            if !provoked.contains(&code) {
                missing.insert(code);
            }
        }
    }

    assert_eq!(missing, BTreeSet::new());
}

fn sources(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).expect("a folder of sources");
    let paths: Vec<PathBuf> = entries
        .map(|entry| entry.expect("an entry").path())
        .collect();
    let paths = paths.into_iter();
    paths
        .flat_map(|path| {
            if path.is_dir() {
                sources(&path)
            } else {
                vec![fs::read_to_string(&path).unwrap_or_default()]
            }
        })
        .collect()
}

/// A note that a plus may be lost needs a scale that has both grades.
#[test]
fn a_scale_has_a_grade_with_a_plus_and_one_without() {
    let catalogue = Catalogue::embedded().expect("sound tables");

    assert!(catalogue.word("modified-ashworth", "1").is_some());
    assert!(catalogue.word("modified-ashworth", "1+").is_some());
}
