//! How fast a sheet of findings is read, beside bare reading of the same file, and how much memory a
//! long one takes.
//!
//! `cargo bench --bench csv` prints all of it. The file of a million findings takes about 1 GB under
//! `target`.
#![expect(
    clippy::disallowed_methods,
    clippy::print_stdout,
    clippy::expect_used,
    reason = "a bench reads the time and files, prints, and stops where it cannot go on"
)]

use fascicle::base::json::{Node, text};
use fascicle::examination::intake::sheet::Sheet;
use fascicle::examination::intake::sheet::write::{Columns, Writer};
use std::fs::{self, File};
use std::io::{BufReader, BufWriter, Write};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

const SESSION: &str = include_str!("../fixtures/sessions/first.json");

fn main() {
    for findings in [100_000, 1_000_000] {
        let file = written(findings);
        let bytes = fs::metadata(&file).expect("a file").len();
        println!("{findings} findings, {} MB", bytes / 1_000_000);
        let bare = per_second(findings, || bare(&file));
        let ours = per_second(findings, || sessions(&file));
        println!("  csv crate, bare                {bare:>9} rows a second");
        println!("  sheet to session documents     {ours:>9} rows a second");
        println!("    ours is {} % of it", ours * 100 / bare.max(1));
        let began = Instant::now();
        let peak = checked(&file);
        let whole = rate(findings, began.elapsed());
        println!("  fascicle check, all the checks {whole:>9} rows a second");
        println!("    its peak memory              {:>9} MiB", peak / 1024);
        fs::remove_file(&file).expect("it was there");
    }
}

/// A sheet of the findings of many sessions of one invented person.
fn written(findings: usize) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("bench");
    fs::create_dir_all(&folder).expect("a folder");
    let path = folder.join(format!("{findings}.csv"));
    let mut out = BufWriter::new(File::create(&path).expect("a file"));
    let mut document = Node::parse(SESSION).expect("JSON");
    let mut columns = Columns::default();
    columns.add(&document).expect("every field has a column");
    let writer = Writer::new(columns);
    let mut write = |text: String| out.write_all(text.as_bytes()).expect("written");
    write(writer.header().expect("a header"));
    let each = document.items_of("findings").len();
    for number in 0..findings.div_ceil(each) {
        let id = format!("00000000-0000-4000-8000-{number:012x}");
        let session = document.member_mut("session").expect("a session");
        session.set("id", text(id));
        write(writer.rows(&document).expect("rows"));
    }
    out.flush().expect("written");
    path
}

fn bare(path: &Path) -> usize {
    let file = BufReader::new(File::open(path).expect("a file"));
    let mut reader = csv::Reader::from_reader(file);
    let mut record = csv::ByteRecord::new();
    let mut cells = 0;
    while reader.read_byte_record(&mut record).expect("it reads") {
        cells += record.len();
    }
    cells
}

fn sessions(path: &Path) -> usize {
    let file = BufReader::new(File::open(path).expect("a file"));
    let mut sheet = Sheet::open(file, None).expect("its header reads");
    let mut bytes = 0;
    while let Some(session) = sheet.next_session().expect("it reads") {
        assert!(session.told.is_empty());
        bytes += session.text.len();
    }
    bytes
}

/// The highest memory of `check` over a sheet in KiB, as the kernel counts it.
fn checked(path: &Path) -> u64 {
    let mut child = Command::new(env!("CARGO_BIN_EXE_fascicle"))
        .arg("check")
        .arg(path)
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
        std::thread::sleep(Duration::from_millis(20));
    }
    let ended = child.wait().expect("it ends");
    assert!(ended.success() && peak > 0, "{ended}");
    peak
}

fn per_second(things: usize, mut go: impl FnMut() -> usize) -> u128 {
    let began = Instant::now();
    assert!(std::hint::black_box(go()) > 0);
    rate(things, began.elapsed())
}

fn rate(things: usize, took: Duration) -> u128 {
    u128::try_from(things).expect("few") * 1_000_000_000 / took.as_nanos().max(1)
}
