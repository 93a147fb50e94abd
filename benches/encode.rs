//! How fast findings become checked JSON, beside two other ways of writing the same resources, and
//! how much memory a long stream of them takes.
//!
//! `cargo bench` prints all of it in one run. Needs Python 3 with venv for the second of the others.
#![expect(
    clippy::disallowed_methods,
    clippy::print_stdout,
    clippy::expect_used,
    reason = "a bench reads the time and files, prints, and stops where it cannot go on"
)]

use fascicle::base::json::Node;
use fascicle::base::problem::Problems;
use fascicle::examination::finding::Session;
use fascicle::fhir::summary::Examined;
use fascicle::service::app::assess::Earlier;
use fascicle::service::app::encode::encode;
use fascicle::tables::catalogue::Catalogue;
use fhir_sdk::r4b::resources::Observation;
use std::fs;
use std::hint::black_box;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// As in the binary.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

const SESSION: &str = include_str!("../fixtures/sessions/first.json");
const LONG: Duration = Duration::from_secs(5);

fn main() {
    let catalogue = Catalogue::embedded().expect("sound tables");
    let draft = serde_json::from_str(SESSION).expect("a draft");
    let now = "2026-11-25T00:00:00Z".parse().expect("a time");
    let session = fascicle::examination::finding::understand(&draft, now, &mut Problems::new());
    let findings = session.findings.len();
    let bundle = checked(&session, &catalogue);
    let observations: Vec<String> = Node::parse(&bundle)
        .expect("JSON")
        .items_of("entry")
        .iter()
        .filter_map(|entry| entry.member("resource"))
        .filter(|resource| resource.text_of("resourceType") == Some("Observation"))
        .map(Node::compact)
        .collect();

    let ours = per_second(findings, || checked(&session, &catalogue));
    let whole = per_second(findings, || {
        let encoded = encode(SESSION, &Earlier::default(), &catalogue, now).expect("holds");
        encoded.checked.record().text()
    });
    let typed: Vec<Observation> = observations
        .iter()
        .map(|text| serde_json::from_str(text).expect("it reads"))
        .collect();
    let bare = per_second(typed.len(), || {
        let texts = typed
            .iter()
            .map(|one| serde_json::to_string(one).expect("it serialises"));
        texts.collect::<Vec<String>>()
    });
    println!("finding to checked JSON          {ours:>9} findings a second");
    println!("document text to Bundle text     {whole:>9} findings a second");
    println!("fhir-sdk, bare serialisation     {bare:>9} Observations a second");
    println!("  ours is {} % of it (aim 50)", ours * 100 / bare.max(1));
    let script = ordinary(&observations);
    println!("fhir.resources, validate, dump   {script:>9} Observations a second");
    println!("  ours is {} times it (aim 150)", ours / script.max(1));
    for count in [25_000, 100_000] {
        let peak = peak_kib(count / findings + 1);
        println!(
            "peak memory over {count:>7} findings {:>6} MiB (aim under 100)",
            peak / 1024
        );
    }
}

/// From typed statements to the text of the checked record: everything after reading the document.
fn checked(session: &Session, catalogue: &Catalogue) -> String {
    let mut problems = Problems::new();
    let measured = fascicle::examination::measure::measure(session, catalogue, &mut problems);
    fascicle::examination::measure::sense::check(session, &measured, catalogue, &mut problems);
    let comparisons = fascicle::examination::compare::all(session, &measured, &[], catalogue);
    let traces = fascicle::examination::trace::session::Traces::default();
    let coded = fascicle::fhir::coding::code(session, &measured, &comparisons, &traces, catalogue);
    let examined = Examined {
        session,
        measured: &measured,
        coded: &coded,
        comparisons: &comparisons,
        prompts: &[],
    };
    let summary = fascicle::fhir::summary::of_session(&examined, catalogue);
    let record = fascicle::fhir::record::build(session, &coded, &summary, catalogue);
    let record = record.expect("it serialises");
    let checked = fascicle::fhir::check::check(record).expect("it holds");
    checked.record().text()
}

/// How many things one core does a second, when one go does several.
fn per_second<T>(things: usize, mut go: impl FnMut() -> T) -> u128 {
    let began = Instant::now();
    let mut done: u128 = 0;
    while began.elapsed() < LONG {
        black_box(go());
        done += 1;
    }
    let things = u128::try_from(things).expect("few");
    done * things * 1_000_000_000 / began.elapsed().as_nanos().max(1)
}

/// The ordinary script, in an environment of its own under `target`.
fn ordinary(observations: &[String]) -> u128 {
    let folder = folder("ordinary");
    let environment = folder.join("venv");
    if !environment.join("ready").exists() {
        run(Command::new("python3")
            .args(["-m", "venv"])
            .arg(&environment));
        let pip = environment.join("bin/pip");
        run(Command::new(pip).args(["install", "--quiet", "fhir.resources==8.3.0"]));
        fs::write(environment.join("ready"), "").expect("a file");
    }
    let file = folder.join("observations.ndjson");
    fs::write(&file, observations.join("\n")).expect("a file");
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("benches/ordinary.py");
    let mut python = Command::new(environment.join("bin/python"));
    let told = run(python.arg(script).arg(file).arg(LONG.as_secs().to_string()));
    told.trim().parse().expect("a number")
}

/// The highest memory of `encode` over many documents, as the kernel counts it.
fn peak_kib(documents: usize) -> u64 {
    let folder = folder("stream");
    let paths: Vec<PathBuf> = (0..documents)
        .map(|number| {
            let path = folder.join(format!("{number}.json"));
            fs::write(&path, session(number)).expect("a file");
            path
        })
        .collect();
    let mut child = Command::new(env!("CARGO_BIN_EXE_fascicle"))
        .args(["encode", "--ndjson", "--out"])
        .arg(folder.join("out.ndjson"))
        .args(paths)
        .stdout(Stdio::null())
        .spawn()
        .expect("the binary starts");
    let status = format!("/proc/{}/status", child.id());
    let mut peak = 0;
    while child.try_wait().expect("it can be asked").is_none() {
        let text = fs::read_to_string(&status).unwrap_or_default();
        let line = text.lines().find_map(|line| line.strip_prefix("VmHWM:"));
        let kib = line.and_then(|line| line.trim().strip_suffix(" kB")?.parse().ok());
        peak = kib.unwrap_or(peak).max(peak);
        std::thread::sleep(Duration::from_millis(5));
    }
    let ended = child.wait().expect("it ends");
    assert!(ended.success() && peak > 0, "{ended}");
    peak
}

/// The session under another identity.
fn session(number: usize) -> String {
    let mut document = Node::parse(SESSION).expect("JSON");
    let id = format!("00000000-0000-4000-8000-{number:012x}");
    let session = document.member_mut("session").expect("a session");
    session.set("id", fascicle::base::json::text(id));
    document.compact()
}

fn folder(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR"))
        .join("bench")
        .join(name);
    fs::create_dir_all(&folder).expect("a folder");
    folder
}

/// Runs a command to its end and gives what it printed.
fn run(command: &mut Command) -> String {
    let output = command.output();
    let output = output.unwrap_or_else(|cause| stop(&format!("{command:?}: {cause}")));
    if !output.status.success() {
        stop(&format!(
            "{command:?}: {}",
            String::from_utf8_lossy(&output.stderr)
        ));
    }
    String::from_utf8_lossy(&output.stdout).into_owned()
}

#[expect(
    clippy::exit,
    reason = "a bench that cannot go on says so and ends with 1"
)]
fn stop(why: &str) -> ! {
    println!("stopped: {why}");
    std::process::exit(1)
}
