#![cfg(test)]
#![expect(
    clippy::disallowed_methods,
    reason = "tests write and read files, and set the scene"
)]
//! Marked values about a person, everywhere such a value can come from, and nowhere on standard
//! error, whatever the log level.

use axum::Router;
use axum::http::StatusCode;
use axum::http::header::CONTENT_TYPE;
use axum::routing::post;
use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::{SocketAddr, TcpStream};
use std::path::Path;
use std::process::{Child, ChildStdout, Command, Output, Stdio};

/// Values that occur nowhere else; each names where it was put.
const MARKS: [&str; 10] = [
    "Markfamily",
    "MARK-PATIENT-ID",
    "MARK-THERAPIST-ID",
    "marknote",
    "markreason",
    "markfile",
    "markaddress",
    "markdiagnostics",
    "markwish",
    "marktold",
];

const PATIENT: &str = r#"{"resourceType":"Bundle","type":"searchset","entry":[{"resource":
  {"resourceType":"Patient","id":"1",
   "identifier":[{"system":"https://invented-clinic.example/patients","value":"MARK-PATIENT-ID"}],
   "name":[{"family":"Markfamily"}],
   "birthDate":"1958-03-14"}}]}"#;
const NOBODY: &str = r#"{"resourceType":"Bundle","type":"searchset"}"#;
const REFUSAL: &str = r#"{"resourceType":"OperationOutcome","issue":[{"severity":"error",
  "code":"invalid","diagnostics":"Markfamily markdiagnostics MARK-PATIENT-ID"}]}"#;

fn document() -> String {
    let text = include_str!("../fixtures/sessions/first.json");
    let text = text
        .replace("Testperson", "Markfamily")
        .replace("TEST-0001", "MARK-PATIENT-ID")
        .replace("\"PT-7\"", "\"MARK-THERAPIST-ID\"")
        .replace("drops into inversion near the end", "marknote")
        .replace("I want to walk to the garden gate", "markwish")
        .replace("the nurse in charge", "marktold")
        .replace("fixation of an ankle fracture in 2025", "markreason");
    // Without a goniometer no instrument has to be created first.
    let mut document: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    for finding in document["findings"].as_array_mut().expect("findings") {
        let finding = finding.as_object_mut().expect("a finding");
        finding.remove("instrument");
        if finding["method"] == "goniometry" {
            finding.insert("method".to_owned(), "visual-estimate".into());
        }
    }
    document.to_string()
}

/// A server that knows the person and refuses every transaction, repeating what it was told.
fn refusing_server() -> SocketAddr {
    let (tell, told) = std::sync::mpsc::channel();
    std::thread::spawn(move || {
        let runtime = tokio::runtime::Runtime::new().expect("a runtime");
        runtime.block_on(async move {
            let fhir = |body: &'static str| ([(CONTENT_TYPE, "application/fhir+json")], body);
            let router = Router::new()
                .route(
                    "/fhir/Patient/_search",
                    post(move || async move { fhir(PATIENT) }),
                )
                .route(
                    "/fhir/Observation/_search",
                    post(move || async move { fhir(NOBODY) }),
                )
                .route(
                    "/fhir/Practitioner/_search",
                    post(move || async move { fhir(NOBODY) }),
                )
                .route(
                    "/fhir/Organization/_search",
                    post(move || async move { fhir(NOBODY) }),
                )
                .route(
                    "/fhir",
                    post(move || async move { (StatusCode::UNPROCESSABLE_ENTITY, fhir(REFUSAL)) }),
                );
            let listener = tokio::net::TcpListener::bind("127.0.0.1:0")
                .await
                .expect("a port");
            tell.send(listener.local_addr().expect("an address"))
                .expect("told");
            axum::serve(listener, router).await.expect("served");
        });
    });
    told.recv().expect("an address")
}

fn fascicle(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_fascicle"))
        .args(["--log", "trace"])
        .args(arguments)
        .output()
        .expect("the binary runs")
}

fn nothing_marked(what: &str, bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    for mark in MARKS {
        assert!(!text.contains(mark), "{what} holds {mark}:\n{text}");
    }
}

fn text(path: &Path) -> String {
    path.to_str().expect("UTF-8").to_owned()
}

#[test]
fn a_refused_session_leaves_no_marked_value_on_standard_error_or_in_the_trail() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("markfile.json");
    std::fs::write(&file, document()).expect("written");
    let state = text(&folder.path().join("state"));
    let base = format!("http://{}/fhir", refusing_server());

    let sent = fascicle(&["send", "--state", &state, "--to", &base, &text(&file)]);

    // The caller is told, on standard output; the log is not.
    let told = String::from_utf8_lossy(&sent.stdout).into_owned();
    assert_eq!(sent.status.code(), Some(5), "{told}");
    assert!(
        told.contains("refused") && told.contains("markdiagnostics"),
        "{told}"
    );
    let log = String::from_utf8_lossy(&sent.stderr).into_owned();
    assert!(
        log.contains("attempt ended") && log.contains("target.refused-422"),
        "{log}"
    );
    nothing_marked("standard error of send", &sent.stderr);
    let trail = fascicle(&["trail", "--state", &state, "--json"]);
    nothing_marked("the trail", &trail.stdout);
    nothing_marked("standard error of trail", &trail.stderr);
    let session = "7d1f0a52-3c68-4b0e-9a57-0f6b2e6c1a01";
    let of = ["summary", "--state", &state, "--of", session];
    let summary = fascicle(&[&of[..], &["--view", "handover"]].concat());
    let told = String::from_utf8_lossy(&summary.stdout).into_owned();
    assert!(
        told.contains("markwish") && told.contains("marktold"),
        "{told}"
    );
    nothing_marked("standard error of summary", &summary.stderr);
}

const TOKEN: &str = "0123456789abcdef0123456789abcdef";

/// A running service and its log.
struct Serving {
    child: Child,
    // Stays open, because it goes on writing.
    _out: BufReader<ChildStdout>,
    host: String,
}

impl Serving {
    fn start(folder: &Path, base: &str) -> Self {
        let tokens = folder.join("tokens");
        std::fs::write(&tokens, TOKEN).expect("written");
        let mode = std::os::unix::fs::PermissionsExt::from_mode(0o600);
        std::fs::set_permissions(&tokens, mode).expect("its mode");
        let mut child = Command::new(env!("CARGO_BIN_EXE_fascicle"))
            .args(["--log", "trace", "serve", "--address", "127.0.0.1:0"])
            .args(["--state", &text(&folder.join("state")), "--to", base])
            .args(["--token-file", &text(&tokens)])
            .env("NO_PROXY", "127.0.0.1")
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the binary starts");
        let mut out = BufReader::new(child.stdout.take().expect("its output"));
        let mut first = String::new();
        out.read_line(&mut first).expect("its address");
        let host = first.trim().trim_start_matches("BASE=http://");
        Self {
            host: host.strip_suffix("/v1").expect("an address").to_owned(),
            child,
            _out: out,
        }
    }

    /// One request by hand; a name of its own that is no UUID must not be kept.
    fn ask(&self, first: &str, token: &str, body: &str) -> String {
        let mut stream = TcpStream::connect(&self.host).expect("a connection");
        let request = format!(
            "{first} HTTP/1.1\r\nhost: {}\r\nconnection: close\r\n\
             authorization: Bearer {token}\r\ncontent-type: application/json\r\n\
             x-request-id: Markfamily\r\ncontent-length: {}\r\n\r\n{body}",
            self.host,
            body.len()
        );
        stream.write_all(request.as_bytes()).expect("written");
        let mut answer = String::new();
        stream.read_to_string(&mut answer).expect("an answer");
        answer
    }

    /// Asks for the queue until it tells of the refusal.
    fn refused(&self) -> String {
        for _ in 0..300 {
            let answer = self.ask("GET /v1/queue", TOKEN, "");
            if answer.contains("target.refused-422") {
                return answer;
            }
            std::thread::park_timeout(std::time::Duration::from_millis(50));
        }
        panic!("nothing was refused");
    }

    /// Asks it to end; its log.
    fn ended(self) -> Vec<u8> {
        let ended = Command::new("kill")
            .arg(self.child.id().to_string())
            .status();
        assert!(ended.expect("kill runs").success());
        self.child.wait_with_output().expect("it ends").stderr
    }
}

/// Marks in the address, the headers, the body and the answers of the record server.
#[test]
fn the_service_leaves_no_marked_value_in_its_log_its_counts_or_its_errors() {
    let folder = tempfile::tempdir().expect("a folder");
    let base = format!("http://{}/fhir", refusing_server());
    let service = Serving::start(folder.path(), &base);
    let broken = r#"{"patient": "Markfamily" "#;
    let other = document().replace("supine", "sitting");
    for (status, first, token, body) in [
        (202, "POST /v1/sessions?name=Markfamily", TOKEN, document()),
        (400, "POST /v1/sessions", TOKEN, broken.to_owned()),
        (409, "POST /v1/sessions", TOKEN, other),
        (
            404,
            "GET /v1/MARK-PATIENT-ID/Markfamily",
            TOKEN,
            String::new(),
        ),
        (400, "GET /v1/queue?state=Markfamily", TOKEN, String::new()),
        (401, "GET /v1/queue", "Markfamily", String::new()),
    ] {
        let answer = service.ask(first, token, &body);

        assert!(
            answer.starts_with(&format!("HTTP/1.1 {status} ")),
            "{answer}"
        );
        nothing_marked(first, answer.as_bytes());
    }
    // Who asks with a token is told what the record server said, and nobody else.
    assert!(service.refused().contains("markdiagnostics"));
    for counts in ["GET /v1/metrics", "GET /v1/trail", "GET /v1/targets"] {
        nothing_marked(counts, service.ask(counts, TOKEN, "").as_bytes());
    }
    let log = service.ended();

    nothing_marked("standard error of serve", &log);
    let log = String::from_utf8_lossy(&log).into_owned();
    assert!(
        log.contains("request answered") && log.contains("target.refused-422"),
        "{log}"
    );
    assert!(!log.contains(TOKEN), "the token stands in the log");
}

#[test]
fn a_failing_address_and_a_missing_file_are_told_without_their_names() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("markfile.json");
    std::fs::write(&file, document()).expect("written");
    let state = text(&folder.path().join("state"));
    let base = "http://markaddress.invalid:9/markaddress";

    let sent = fascicle(&[
        "send",
        "--wait",
        "1",
        "--state",
        &state,
        "--to",
        base,
        &text(&file),
    ]);
    let missing = fascicle(&["check", "/nowhere/markfile.json"]);
    let damaged = folder.path().join("markfile-2.json");
    std::fs::write(&damaged, r#"{"patient": "Markfamily" "#).expect("written");
    let checked = fascicle(&["check", &text(&damaged)]);

    assert_eq!(sent.status.code(), Some(4));
    assert_eq!(missing.status.code(), Some(1));
    assert_eq!(checked.status.code(), Some(1));
    for output in [sent, missing, checked] {
        nothing_marked("standard error", &output.stderr);
    }
}

#[test]
fn a_panic_tells_its_place_and_not_what_it_held() {
    let child = Command::new(std::env::current_exe().expect("this test"))
        .args([
            "--exact",
            "child_that_panics",
            "--nocapture",
            "--test-threads=1",
        ])
        .env("FASCICLE_TEST_PANIC", "yes")
        .env("RUST_BACKTRACE", "full")
        .output()
        .expect("the child runs");

    let told = String::from_utf8_lossy(&child.stderr).into_owned();
    assert!(
        told.contains("a fault of the program at tests/privacy.rs"),
        "{told}"
    );
    nothing_marked("standard error of a panic", &child.stderr);
}

/// Runs in a process of its own, started by the test above.
#[test]
fn child_that_panics() {
    if std::env::var("FASCICLE_TEST_PANIC").is_err() {
        return;
    }
    fascicle::service::cli::quiet_panics();
    let family = "Markfamily";
    assert!(family.is_empty(), "{family} markreason");
}

#[test]
fn what_a_room_holds_about_a_person_does_not_print() {
    let mut problems = fascicle::base::problem::Problems::new();

    let read = fascicle::examination::intake::read(&document(), &mut problems);
    let draft = read.draft.as_ref().expect("a draft");
    let now = "2026-11-20T00:00:00Z".parse().expect("a time");
    let session = fascicle::examination::finding::understand(draft, now, &mut problems);
    let catalogue = fascicle::tables::catalogue::Catalogue::embedded().expect("tables");
    let encoded = fascicle::service::app::encode::encode(
        &document(),
        &fascicle::service::app::assess::Earlier::default(),
        &catalogue,
        now,
    )
    .expect("holds");

    let printed = format!("{read:?} {draft:?} {session:?} {:?}", encoded.checked);
    nothing_marked("Debug", printed.as_bytes());
    nothing_marked(
        "Debug of problems",
        format!("{:?}", problems.sorted()).as_bytes(),
    );
}
