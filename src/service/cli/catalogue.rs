//! `catalogue`: what can be recorded, and whether an operator's own tables hold.

use crate::base::json::{Node, object, text};
use crate::base::problem::file_words;
use crate::service::app::tables::{BadTables, Folder};
use crate::service::app::worksheet;
use crate::service::cli::arguments::{
    CatalogueCommand, CatalogueOptions, ListOptions, TablesOptions, WorksheetOptions,
};
use crate::service::cli::report::{Mistake, counted};
use crate::service::cli::screen::{self, wrapped};
use crate::service::cli::tables::tables;
use crate::service::cli::{Ended, confirm};
use crate::tables::catalogue::fault::Fault;
use crate::tables::catalogue::overlay::Overlay;
use crate::tables::catalogue::rows::{CodeRow, Measure, Origin};
use crate::tables::catalogue::{Catalogue, LOINC, SNOMED};
use std::collections::BTreeSet;
use std::fs;
use std::io::{self, Write};
use std::path::Path;

pub(super) fn catalogue(options: &CatalogueOptions) -> anyhow::Result<Ended> {
    match &options.command {
        CatalogueCommand::List(options) => list(options),
        CatalogueCommand::Check(options) => check(options),
        CatalogueCommand::Worksheet(options) => worksheet(options),
        CatalogueCommand::Confirm(options) => confirm::confirm(options),
        CatalogueCommand::Pack(options) => confirm::pack(options),
    }
}

fn list(options: &ListOptions) -> anyhow::Result<Ended> {
    let catalogue = tables(options.own.tables.as_deref(), &options.own.reference_tables)?;
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
    let mut out = screen::words_or_json(options.json);
    if options.json {
        let measures = measures.iter().map(|one| measure_json(&catalogue, one));
        let all = object([
            ("sha256", text(catalogue.sha256.clone())),
            ("own_files", own_json(&catalogue)),
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
    for (name, sha256) in &catalogue.own_files {
        wrapped(&mut out, "of the operator: ", &format!("{name}, SHA-256"))?;
        writeln!(out, "  {sha256}")?;
    }
    writeln!(out, "of all tables: SHA-256\n  {}", catalogue.sha256)?;
    Ok(Ended::Done)
}

/// The operator's files with the hash of each.
fn own_json(catalogue: &Catalogue) -> Node {
    let own = catalogue.own_files.iter();
    object(own.map(|(name, sha256)| (name.clone(), text(sha256.clone()))))
}

fn print_head(out: &mut dyn Write) -> io::Result<()> {
    wrapped(out, &format!("{:<36}", "MEASURE"), "LABEL")?;
    let row = columns(["KIND", "SITE", "UNIT OR SCALE", "BOUNDS"]);
    writeln!(out, "{}", row.trim_end())?;
    writeln!(out, "  {:<13} PUBLISHED CODE", "RELATION")
}

fn columns([kind, site, value, bounds]: [&str; 4]) -> String {
    format!("  {kind:<13} {site:<12} {value:<22} {bounds:<26} ")
}

/// The key and the label, then kind, site, value and bounds in columns, then the source and the codes.
fn print_measure(out: &mut dyn Write, catalogue: &Catalogue, measure: &Measure) -> io::Result<()> {
    // A key longer than its column is still followed by a space.
    wrapped(out, &format!("{:<35} ", measure.measure), &measure.label)?;
    let site = measure.site.as_deref().unwrap_or("no site");
    let (value, bounds) = (value(measure), bounds(measure));
    let row = columns([measure.kind.word(), site, &value, &bounds]);
    // A site or scale longer than its column must not push the row past the page.
    let row = screen::fitted(row.trim_end(), screen::page());
    writeln!(out, "{row}")?;
    let whose = match measure.origin {
        Origin::Ours => "",
        Origin::Operator => " (row of the operator)",
    };
    let source = format!("{}{whose}", measure.source);
    wrapped(out, &format!("  {:<13} ", "source"), &source)?;
    for row in catalogue.codes_of(&measure.measure) {
        let whose = match row.origin {
            Origin::Ours => "",
            Origin::Operator => " (row of the operator)",
        };
        let words = format!("{} {} {}{whose}", system(row), row.code, row.display);
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
    let number = |value: Option<crate::base::exact::Exact>| {
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
            ("origin", text(row.origin.word())),
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
        ("origin", text(measure.origin.word())),
    ])
}

fn worksheet(options: &WorksheetOptions) -> anyhow::Result<Ended> {
    let catalogue = tables(options.own.tables.as_deref(), &options.own.reference_tables)?;
    let rows = worksheet::rows(&catalogue);
    let mut out = screen::screen();
    let folder = |cause: io::Error| {
        Mistake(format!(
            "the folder to write to: {}",
            file_words(cause.kind())
        ))
    };
    fs::create_dir_all(&options.out).map_err(folder)?;
    for (name, text) in [
        ("worksheet.csv", worksheet::csv(&catalogue, &rows)),
        ("worksheet.html", worksheet::html(&catalogue, &rows)),
    ] {
        let path = options.out.join(name);
        fs::write(&path, text).map_err(folder)?;
        writeln!(out, "{}", path.display())?;
    }
    let count = u64::try_from(rows.len()).unwrap_or(u64::MAX);
    writeln!(out, "{}", counted(count, "measure", "measures"))?;
    Ok(Ended::Done)
}

fn check(options: &TablesOptions) -> anyhow::Result<Ended> {
    let folder = Folder::read(&options.dir)
        .map_err(|cause| Mistake(BadTables::Folder(cause.kind()).to_string()))?;
    let files = folder.files();
    let overlay = Overlay::new(&files);
    let (catalogue, faults) = folder.judge(&overlay);
    let told = CheckReport {
        dir: &options.dir,
        folder: &folder,
        overlay: &overlay,
        faults: &faults,
        sha256: catalogue.as_ref().map(|one| one.sha256.as_str()),
    };
    let mut out = screen::words_or_json(options.json);
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

struct CheckReport<'a> {
    dir: &'a Path,
    folder: &'a Folder,
    overlay: &'a Overlay<'a>,
    faults: &'a [Fault],
    sha256: Option<&'a str>,
}

impl CheckReport<'_> {
    fn print(&self, out: &mut dyn Write) -> io::Result<()> {
        for fault in self.faults {
            writeln!(
                out,
                "{}:{}: {}",
                self.folder.path(self.dir, &fault.file),
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
        if !self.folder.aside.is_empty() {
            wrapped(out, "not read: ", &self.folder.aside.join(", "))?;
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
                ("path", text(self.folder.path(self.dir, &fault.file))),
                ("line", Node::Number(fault.line.to_string())),
                ("what", text(fault.what.clone())),
            ])
        });
        let aside = self.folder.aside.iter().map(|name| text(name.clone()));
        object([
            ("faults", Node::List(faults.collect())),
            ("replaced", names(&self.overlay.replaced)),
            ("added", names(&self.overlay.added)),
            ("not_read", Node::List(aside.collect())),
            ("sha256", self.sha256.map_or(Node::Null, text)),
        ])
    }
}
