//! `catalogue confirm` and `catalogue pack`.

use crate::base::clock::{Clock, MachineClock};
use crate::base::json::{Node, object, text};
use crate::base::problem::file_words;
use crate::service::app::tables::Folder;
use crate::service::cli::Ended;
use crate::service::cli::arguments::catalogue::{ConfirmOptions, PackOptions};
use crate::service::cli::report::{Mistake, counted};
use crate::service::cli::screen::{self, wrapped};
use crate::service::cli::tables::tables;
use crate::tables::catalogue::confirm::release::{NoRelease, Verdict};
use crate::tables::catalogue::confirm::{self, JudgedRow, switched_on, with_rows};
use crate::tables::catalogue::overlay::Overlay;
use crate::tables::catalogue::rows::CodeRow;
use crate::tables::catalogue::{Catalogue, LOINC, package, sha256_hex, table};
use std::fs::{self, File};
use std::io::{self, BufReader, Write};
use std::path::Path;

pub(super) fn confirm(options: &ConfirmOptions) -> anyhow::Result<Ended> {
    let catalogue = tables(options.own.tables.as_deref(), &options.own.reference_tables)?;
    let mut lines = Vec::new();
    if let Some(path) = &options.loinc {
        let read = confirm::loinc(open(path, "the LOINC table")?, &catalogue);
        lines.extend(read.map_err(|cause| bad("the LOINC table", &cause))?);
    }
    if let Some(path) = &options.snomed {
        let descriptions = open(path, "the SNOMED CT descriptions")?;
        let concepts = match &options.snomed_concepts {
            Some(path) => Some(open(path, "the SNOMED CT concepts")?),
            None => None,
        };
        let read = confirm::snomed(descriptions, concepts, &catalogue);
        lines.extend(read.map_err(|cause| bad("the SNOMED CT release", &cause))?);
    }
    let on = switched_on(&lines, &catalogue);
    let mut out = screen::words_or_json(options.json);
    if options.json {
        out.write_all(json(&lines, &on).pretty().as_bytes())?;
    } else {
        print(&mut out, &lines, &on)?;
    }
    if let Some(dir) = &options.out {
        write(dir, options.own.tables.as_deref(), &on)?;
        if !options.json {
            writeln!(out, "written: {}", dir.join("codes.csv").display())?;
        }
    }
    let all = lines.iter().all(|line| line.verdict == Verdict::Agrees);
    Ok(if all { Ended::Done } else { Ended::Problems })
}

fn open(path: &Path, what: &str) -> anyhow::Result<BufReader<File>> {
    let file = File::open(path);
    let file = file.map_err(|cause| Mistake(format!("{what}: {}", file_words(cause.kind()))))?;
    Ok(BufReader::new(file))
}

fn bad(what: &str, cause: &NoRelease) -> Mistake {
    Mistake(format!("{what}: {cause}"))
}

/// Writes the operator's table of codes, and nothing where it would not hold.
fn write(dir: &Path, own: Option<&Path>, on: &[CodeRow]) -> anyhow::Result<()> {
    const NAME: &str = "codes.csv";
    let folder = |cause: io::Error| {
        Mistake(format!(
            "the folder to write to: {}",
            file_words(cause.kind())
        ))
    };
    let theirs = match own {
        Some(own) => Folder::read(own).map_err(folder)?,
        None => Folder::default(),
    };
    let files = theirs.files();
    let before = files.iter().find(|file| file.name == NAME);
    let before = before.map_or(table(NAME), |file| file.text);
    let day = MachineClock.now().format("%Y-%m-%d").to_string();
    let made = with_rows(before, on, &day)?;
    let mut laid: Vec<_> = files.into_iter().filter(|file| file.name != NAME).collect();
    laid.push(crate::tables::catalogue::TableFile {
        name: NAME,
        text: &made,
    });
    if let Err(faults) = Overlay::new(&laid).read() {
        let faults: Vec<String> = faults.iter().map(ToString::to_string).collect();
        let what = format!(
            "the table would not hold, so nothing was written\n{}",
            faults.join("\n")
        );
        return Err(Mistake(what).into());
    }
    fs::create_dir_all(dir).map_err(folder)?;
    fs::write(dir.join(NAME), made).map_err(folder)?;
    Ok(())
}

fn system(line: &JudgedRow) -> &'static str {
    if line.system == LOINC {
        "LOINC"
    } else {
        "SNOMED CT"
    }
}

fn print(out: &mut dyn Write, lines: &[JudgedRow], on: &[CodeRow]) -> io::Result<()> {
    for line in lines {
        let first = format!(
            "{:<8} {:<9} {:<10} ",
            line.verdict.word(),
            system(line),
            line.code
        );
        let waits = if line.is_off() { " (off)" } else { "" };
        let more = line.verdict.more();
        let more = if more.is_empty() {
            more
        } else {
            format!(": {more}")
        };
        wrapped(out, &first, &format!("{}{waits}{more}", line.thing))?;
    }
    let count = |word: &str| {
        let found = lines
            .iter()
            .filter(|line| line.verdict.word() == word)
            .count();
        format!("{found} {word}")
    };
    let counts = ["agrees", "differs", "retired", "absent"].map(count);
    writeln!(out, "{}", counts.join(", "))?;
    let on = u64::try_from(on.len()).unwrap_or(u64::MAX);
    writeln!(
        out,
        "{} confirmed",
        counted(on, "row that was off is", "rows that were off are")
    )
}

fn json(lines: &[JudgedRow], on: &[CodeRow]) -> Node {
    let switched = |line: &JudgedRow| {
        let same = |row: &CodeRow| row.thing == line.thing && row.code == line.code;
        line.is_off() && on.iter().any(same)
    };
    let lines = lines.iter().map(|line| {
        object([
            ("table", text(line.table)),
            ("thing", text(line.thing.clone())),
            ("system", text(line.system.clone())),
            ("code", text(line.code.clone())),
            ("verdict", text(line.verdict.word())),
            ("more", text(line.verdict.more())),
            (
                "release_display",
                line.display.clone().map_or(Node::Null, text),
            ),
            ("off", Node::Bool(line.is_off())),
            ("switched_on", Node::Bool(switched(line))),
        ])
    });
    object([("rows", Node::List(lines.collect()))])
}

pub(super) fn pack(options: &PackOptions) -> anyhow::Result<Ended> {
    let catalogue: Catalogue =
        tables(options.own.tables.as_deref(), &options.own.reference_tables)?;
    let files = package::files(&catalogue)?;
    let bytes = package::packed(&files)?;
    let written = fs::write(&options.out, &bytes);
    written.map_err(|cause| Mistake(format!("the package: {}", file_words(cause.kind()))))?;
    let mut out = screen::screen();
    let count = u64::try_from(files.len()).unwrap_or(u64::MAX);
    writeln!(
        out,
        "{} {}, {}, SHA-256 {}",
        package::NAME,
        env!("CARGO_PKG_VERSION"),
        counted(count, "file", "files"),
        sha256_hex(&bytes)
    )?;
    Ok(Ended::Done)
}
