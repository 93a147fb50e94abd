//! `catalogue`: what can be recorded, and whether an operator's own tables hold.

use crate::catalogue::load::Fault;
use crate::catalogue::overlay::Overlay;
use crate::catalogue::rows::{CodeRow, Measure};
use crate::catalogue::{Catalogue, LOINC, SNOMED, TableFile};
use crate::cli::arguments::{CatalogueCommand, CatalogueOptions, ListOptions, TablesOptions};
use crate::cli::report::{Mistake, WIDTH, counted, wrapped};
use crate::cli::{Ended, documents};
use crate::json::{Node, object, text};
use crate::problem::file_words;
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::io::{self, Write};
use std::path::Path;

pub(super) fn catalogue(options: &CatalogueOptions) -> anyhow::Result<Ended> {
    match &options.command {
        CatalogueCommand::List(options) => list(options),
        CatalogueCommand::Check(options) => check(options),
    }
}

fn list(options: &ListOptions) -> anyhow::Result<Ended> {
    let catalogue = documents::tables()?;
    let wanted = |measure: &&Measure| {
        let kind = options.kind.as_deref();
        kind.is_none_or(|kind| measure.kind.word() == kind)
    };
    let measures: Vec<&Measure> = catalogue.measures.values().filter(wanted).collect();
    if measures.is_empty() {
        let kinds: BTreeSet<&str> = catalogue.measures.values().map(|m| m.kind.word()).collect();
        let kinds: Vec<&str> = kinds.into_iter().collect();
        let words = format!("no measure has this kind; kinds are {}", kinds.join(", "));
        return Err(Mistake(words).into());
    }
    let mut out = io::stdout();
    if options.json {
        let measures = measures.iter().map(|one| measure_json(&catalogue, one));
        let all = object([
            ("sha256", text(catalogue.sha256.clone())),
            ("measures", Node::List(measures.collect())),
        ]);
        out.write_all(all.pretty().as_bytes())?;
        return Ok(Ended::Done);
    }
    print_head(&mut out)?;
    for measure in &measures {
        print_measure(&mut out, &catalogue, measure)?;
    }
    let count = u64::try_from(measures.len()).unwrap_or(u64::MAX);
    writeln!(out, "{}", counted(count, "measure", "measures"))?;
    writeln!(out, "SHA-256 of the tables: {}", catalogue.sha256)?;
    Ok(Ended::Done)
}

fn print_head(out: &mut dyn Write) -> io::Result<()> {
    wrapped(out, &format!("{:<36}", "MEASURE"), "LABEL")?;
    writeln!(
        out,
        "{}SOURCE",
        columns(["KIND", "SITE", "UNIT OR SCALE", "BOUNDS"])
    )?;
    writeln!(out, "  {:<13} PUBLISHED CODE", "RELATION")
}

fn columns([kind, site, value, bounds]: [&str; 4]) -> String {
    format!("  {kind:<13} {site:<12} {value:<22} {bounds:<26} ")
}

/// The key and the label, then kind, site, value, bounds and source in columns, then the codes.
fn print_measure(out: &mut dyn Write, catalogue: &Catalogue, measure: &Measure) -> io::Result<()> {
    // A key longer than its column is still followed by a space.
    wrapped(out, &format!("{:<35} ", measure.measure), &measure.label)?;
    let site = measure.site.as_deref().unwrap_or("no site");
    let (value, bounds) = (value(measure), bounds(measure));
    let row = columns([measure.kind.word(), site, &value, &bounds]);
    if row.len().saturating_add(measure.source.len()) <= WIDTH {
        writeln!(out, "{row}{}", measure.source)?;
    } else {
        writeln!(out, "{}", row.trim_end())?;
        writeln!(out, "  {:<13} {}", "source", measure.source)?;
    }
    for row in catalogue.codes_of(&measure.measure) {
        let words = format!("{} {} {}", system(row), row.code, row.display);
        wrapped(out, &format!("  {:<13} ", row.relation.word()), &words)?;
    }
    Ok(())
}

fn value(measure: &Measure) -> String {
    match (&measure.unit, &measure.scale) {
        (Some(unit), Some(scale)) => format!("{unit} or {scale}"),
        (Some(one), None) | (None, Some(one)) => one.clone(),
        (None, None) => "no value".to_owned(),
    }
}

fn bounds(measure: &Measure) -> String {
    match (measure.ask_below, measure.ask_above) {
        (Some(low), Some(high)) => format!("asks outside {low} to {high}"),
        (Some(low), None) => format!("asks below {low}"),
        (None, Some(high)) => format!("asks above {high}"),
        (None, None) => "no bounds".to_owned(),
    }
}

fn system(row: &CodeRow) -> &str {
    match row.system.as_str() {
        LOINC => "LOINC",
        SNOMED => "SNOMED CT",
        other => other,
    }
}

fn measure_json(catalogue: &Catalogue, measure: &Measure) -> Node {
    let word = |value: Option<&String>| value.map_or(Node::Null, |value| text(value.clone()));
    let number = |value: Option<crate::exact::Exact>| {
        value.map_or(Node::Null, |value| Node::Number(value.to_string()))
    };
    let codes = catalogue.codes_of(&measure.measure).map(|row| {
        object([
            ("relation", text(row.relation.word())),
            ("system", text(row.system.clone())),
            ("code", text(row.code.clone())),
            ("display", text(row.display.clone())),
            ("source", text(row.source.clone())),
            ("locator", text(row.locator.clone())),
        ])
    });
    object([
        ("measure", text(measure.measure.clone())),
        ("label", text(measure.label.clone())),
        ("kind", text(measure.kind.word())),
        ("site", word(measure.site.as_ref())),
        ("unit", word(measure.unit.as_ref())),
        ("scale", word(measure.scale.as_ref())),
        ("ask_below", number(measure.ask_below)),
        ("ask_above", number(measure.ask_above)),
        ("codes", Node::List(codes.collect())),
        ("source", text(measure.source.clone())),
    ])
}

fn check(options: &TablesOptions) -> anyhow::Result<Ended> {
    let own = own(&options.dir)?;
    let files: Vec<TableFile<'_>> = own
        .texts
        .iter()
        .map(|(name, text)| TableFile { name, text })
        .collect();
    let overlay = Overlay::new(&files);
    let (sha256, mut faults) = match overlay.read() {
        Ok(catalogue) => (Some(catalogue.sha256), Vec::new()),
        Err(faults) => (None, faults),
    };
    faults.extend(own.unreadable.iter().cloned());
    faults.sort();
    let sha256 = sha256.filter(|_| faults.is_empty());
    let told = Told {
        dir: &options.dir,
        own: &own,
        overlay: &overlay,
        faults: &faults,
        sha256: sha256.as_deref(),
    };
    let mut out = io::stdout();
    if options.json {
        out.write_all(told.json().pretty().as_bytes())?;
    } else {
        told.print(&mut out)?;
    }
    Ok(if faults.is_empty() {
        Ended::Done
    } else {
        Ended::Problems
    })
}

/// What an operator's folder holds, by name under it.
struct Own {
    texts: BTreeMap<String, String>,
    unreadable: Vec<Fault>,
    /// Left aside on purpose: hidden files, and what is generated from the tables.
    aside: Vec<String>,
}

/// Reads the folder and its `scales/`; anything else in it becomes a file no table has.
fn own(dir: &Path) -> anyhow::Result<Own> {
    let mut own = Own {
        texts: BTreeMap::new(),
        unreadable: Vec::new(),
        aside: Vec::new(),
    };
    own.folder(dir, "").map_err(|cause| {
        Mistake(format!(
            "the folder of tables: {}",
            file_words(cause.kind())
        ))
    })?;
    Ok(own)
}

impl Own {
    fn folder(&mut self, dir: &Path, before: &str) -> io::Result<()> {
        for entry in fs::read_dir(dir)? {
            let path = entry?.path();
            let name = path.file_name().unwrap_or_default().to_string_lossy();
            let name = format!("{before}{name}");
            if name.starts_with('.') || name.contains("/.") || name == "fhir" {
                self.aside.push(name);
            } else if path.is_dir() && name == "scales" {
                self.folder(&path, "scales/")?;
            } else if path.is_dir() {
                self.texts.insert(name, String::new());
            } else {
                self.file(&path, name);
            }
        }
        self.aside.sort();
        Ok(())
    }

    fn file(&mut self, path: &Path, name: String) {
        let what = match fs::read(path).map(String::from_utf8) {
            Ok(Ok(text)) => {
                self.texts.insert(name, text);
                return;
            }
            Ok(Err(_bytes)) => "it is not UTF-8".to_owned(),
            Err(cause) => format!("it cannot be read: {}", file_words(cause.kind())),
        };
        self.unreadable.push(Fault {
            file: name,
            line: 0,
            what,
        });
    }
}

struct Told<'a> {
    dir: &'a Path,
    own: &'a Own,
    overlay: &'a Overlay<'a>,
    faults: &'a [Fault],
    sha256: Option<&'a str>,
}

impl Told<'_> {
    /// The path of a table: the operator's own, or ours.
    fn path(&self, file: &str) -> String {
        let unreadable = &self.own.unreadable;
        if self.own.texts.contains_key(file) || unreadable.iter().any(|one| one.file == file) {
            self.dir.join(file).display().to_string()
        } else {
            format!("profiles/{file}")
        }
    }

    fn print(&self, out: &mut dyn Write) -> io::Result<()> {
        for fault in self.faults {
            writeln!(
                out,
                "{}:{}: {}",
                self.path(&fault.file),
                fault.line,
                fault.what
            )?;
        }
        let lists = [
            ("replaced: ", &self.overlay.replaced),
            ("added: ", &self.overlay.added),
        ];
        for (first, names) in lists.iter().filter(|(_, names)| !names.is_empty()) {
            wrapped(out, first, &names.join(", "))?;
        }
        if self.overlay.replaced.is_empty() {
            writeln!(out, "replaced: nothing; every table is ours")?;
        }
        if !self.own.aside.is_empty() {
            wrapped(out, "not read: ", &self.own.aside.join(", "))?;
        }
        if let Some(sha256) = self.sha256 {
            return writeln!(out, "SHA-256 of the tables: {sha256}");
        }
        let count = u64::try_from(self.faults.len()).unwrap_or(u64::MAX);
        writeln!(out, "{}", counted(count, "fault", "faults"))
    }

    fn json(&self) -> Node {
        let names = |names: &[&str]| Node::List(names.iter().map(|name| text(*name)).collect());
        let faults = self.faults.iter().map(|fault| {
            object([
                ("path", text(self.path(&fault.file))),
                ("line", Node::Number(fault.line.to_string())),
                ("what", text(fault.what.clone())),
            ])
        });
        let aside = self.own.aside.iter().map(|name| text(name.clone()));
        object([
            ("faults", Node::List(faults.collect())),
            ("replaced", names(&self.overlay.replaced)),
            ("added", names(&self.overlay.added)),
            ("not_read", Node::List(aside.collect())),
            ("sha256", self.sha256.map_or(Node::Null, text)),
        ])
    }
}
