#![cfg(test)]
//! Files that are no documents, given to the built binary: exit code, words, bounded memory.

use fascicle::base::json::{Node, text};
use std::fs;
use std::path::PathBuf;
use std::process::{Command, Output};

/// More than any command may take of memory to say that a file is too long, in KiB of address space.
const MOST_KIB: u32 = 600_000;

struct Folder(tempfile::TempDir);

impl Folder {
    fn with(name: &str, bytes: &[u8]) -> (Self, PathBuf) {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join(name);
        fs::write(&path, bytes).expect("a file");
        (Self(folder), path)
    }

    /// What a command says of the file, its state kept in the folder.
    fn run(&self, command: &str, path: &PathBuf) -> Output {
        let limited = format!("ulimit -v {MOST_KIB}; exec \"$@\"");
        let mut shell = Command::new("sh");
        shell.args([
            "-c",
            &limited,
            "sh",
            env!("CARGO_BIN_EXE_fascicle"),
            command,
        ]);
        if command == "send" {
            shell.args(["--to", "http://127.0.0.1:9/fhir", "--wait", "0", "--state"]);
            shell.arg(self.0.path().join("state"));
        }
        // Every thread of the allocator would take an arena of its own from the address space.
        shell.env("MALLOC_ARENA_MAX", "1").arg(path);
        shell.output().expect("the binary runs")
    }
}

fn cases() -> Vec<(&'static str, Vec<u8>, &'static str)> {
    let sound = include_str!("../../fixtures/sessions/sound.json");
    let bom = [b"\xef\xbb\xbf\xef\xbb\xbf", sound.as_bytes()].concat();
    let utf_16: Vec<u8> = sound.encode_utf16().flat_map(u16::to_le_bytes).collect();
    let mut cut = sound.as_bytes().to_vec();
    cut.truncate(1000);
    let mut latin = sound.as_bytes().to_vec();
    latin.extend(b"\xb0");
    let deep = "[".repeat(100_000) + &"]".repeat(100_000);
    let nan = sound.replacen("\"version\": 1", "\"version\": NaN", 1);
    vec![
        ("empty", Vec::new(), "json.syntax"),
        ("blank", b"\n\n".to_vec(), "json.syntax"),
        ("two byte order marks", bom, "json.syntax"),
        ("UTF-16", utf_16, "json.syntax"),
        ("Latin-1", latin, "is not UTF-8"),
        ("random bytes", vec![0xff; 4096], "is not UTF-8"),
        ("cut off", cut, "json.syntax"),
        ("deep", deep.into_bytes(), "json.deep"),
        ("not a number", nan.into_bytes(), "json.syntax"),
    ]
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&[output.stdout.as_slice(), output.stderr.as_slice()].concat())
        .into_owned()
}

#[test]
fn what_is_no_document_ends_with_1_and_says_why() {
    for (name, bytes, words) in cases() {
        let (folder, path) = Folder::with("document.json", &bytes);

        for command in ["check", "encode", "send"] {
            let output = folder.run(command, &path);

            let told = said(&output);
            assert!(
                matches!(output.status.code(), Some(1 | 2)),
                "{name} {command}: {told}"
            );
            assert!(told.contains(words), "{name} {command}: {told}");
            assert!(!told.contains("panicked"), "{name} {command}: {told}");
        }
    }
}

#[test]
fn a_document_that_holds_ends_with_0_beside_them() {
    let sound = include_bytes!("../../fixtures/sessions/sound.json");
    let (folder, path) = Folder::with("document.json", sound);

    for command in ["check", "encode"] {
        let output = folder.run(command, &path);

        assert_eq!(
            output.status.code(),
            Some(0),
            "{command}: {}",
            said(&output)
        );
    }
}

#[test]
fn a_byte_order_mark_before_a_document_is_taken_and_told() {
    let sound = include_bytes!("../../fixtures/sessions/sound.json");
    let marked = [b"\xef\xbb\xbf", sound.as_slice()].concat();
    let (folder, path) = Folder::with("document.json", &marked);

    let output = folder.run("check", &path);

    let told = said(&output);
    assert_eq!(output.status.code(), Some(0), "{told}");
    assert!(told.contains("note [document.mark]"), "{told}");
}

/// Puts something at a path.
type Made = fn(&PathBuf);

#[cfg(unix)]
#[test]
fn the_file_of_a_trace_is_an_ordinary_file_beside_the_document_and_nothing_else() {
    let traces = include_str!("../../fixtures/sessions/every-trace.json");
    let mut document = Node::parse(traces).expect("JSON");
    let trace = &mut document.member_mut("traces").expect("traces").items_mut()[0];
    trace.remove("angles");
    trace.remove("times");
    trace.remove("period");
    trace.set("file", text("samples.csv"));
    let place = |path: &PathBuf| path.with_file_name("samples.csv");
    let cases: [(&str, Made); 4] = [
        ("it is a link", |place| {
            std::os::unix::fs::symlink("/etc/hostname", place).expect("a link");
        }),
        ("it is a link", |place| {
            std::os::unix::fs::symlink("nowhere", place).expect("a link");
        }),
        ("a device or a pipe", |place| {
            let made = Command::new("mkfifo").arg(place).status();
            assert!(made.expect("it runs").success());
        }),
        ("it is a folder", |place| {
            fs::create_dir(place).expect("a folder");
        }),
    ];
    for (words, made) in cases {
        let (folder, path) = Folder::with("document.json", document.compact().as_bytes());
        made(&place(&path));

        let output = folder.run("check", &path);

        let told = said(&output);
        assert_eq!(output.status.code(), Some(1), "{told}");
        assert!(
            told.contains("trace-file.read") && told.contains(words),
            "{told}"
        );
    }
}

#[test]
fn a_file_of_fifty_megabytes_is_refused_without_filling_memory() {
    let sound = include_str!("../../fixtures/sessions/sound.json");
    let note = format!("\"note\": \"{}\", \"measure\"", "x".repeat(50 << 20));
    let large = sound.replacen("\"measure\"", &note, 1);
    let (folder, path) = Folder::with("document.json", large.as_bytes());

    for command in ["check", "encode", "send"] {
        let output = folder.run(command, &path);

        let told = said(&output);
        assert!(
            matches!(output.status.code(), Some(1 | 2)),
            "{command}: {told}"
        );
        assert!(told.contains("MiB"), "{command}: {told}");
        assert!(told.len() < 2000, "{command}");
    }
}

#[test]
fn a_folder_in_the_place_of_a_file_is_told() {
    let (folder, path) = Folder::with("document.json", b"");
    let parent = path.parent().expect("a folder").to_path_buf();

    for command in ["check", "encode", "send"] {
        let output = folder.run(command, &parent);

        assert!(
            matches!(output.status.code(), Some(1 | 2)),
            "{command}: {}",
            said(&output)
        );
    }
}
