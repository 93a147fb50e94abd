//! `encode` and `check`: documents in, Bundles or problems out, no server and no store.
#![expect(
    clippy::disallowed_methods,
    reason = "this module reads the files a person names"
)]

use crate::app::encode::{Earlier, encode as encode_document};
use crate::catalogue::Catalogue;
use crate::cli::arguments::{CheckOptions, EncodeOptions};
use crate::cli::{Ended, report};
use crate::finding::Session;
use crate::json::Node;
use crate::problem::{Problem, Problems};
use anyhow::{Context, anyhow};
use chrono::{DateTime, Utc};
use std::fs;
use std::io::{self, Write};
use std::path::Path;

/// The tables of the binary.
pub(super) fn tables() -> anyhow::Result<Catalogue> {
    Catalogue::embedded().map_err(|faults| {
        let faults: Vec<String> = faults.iter().map(ToString::to_string).collect();
        anyhow!("the tables have faults: {}", faults.join("; "))
    })
}

/// Reads the file numbered `number`; the error names the number, because a file name may carry a
/// person's name.
pub(super) fn read(path: &Path, number: usize) -> anyhow::Result<String> {
    let unreadable = || format!("document {number} of the command line cannot be read");
    fs::read_to_string(path)
        .map_err(|cause| anyhow!(cause.kind()))
        .with_context(unreadable)
}

pub(super) fn encode(options: &EncodeOptions, now: DateTime<Utc>) -> anyhow::Result<Ended> {
    let catalogue = tables()?;
    let mut out = String::new();
    let mut ended = Ended::Done;
    let mut sessions: Vec<Session> = Vec::new();
    for (number, path) in (1..).zip(&options.files) {
        let text = read(path, number)?;
        let name = path.display().to_string();
        match encode_document(&text, &earlier(&sessions, &text), &catalogue, now) {
            Ok(encoded) => {
                let bundle = encoded.checked.record().bundle();
                let lines = options.ndjson || options.files.len() > 1;
                out.push_str(&if lines {
                    bundle.compact() + "\n"
                } else {
                    bundle.pretty()
                });
                sessions.push(encoded.session);
            }
            Err(held) => {
                report::problems(&mut io::stdout(), &name, &held.problems)?;
                ended = ended.max(report::ended(&held.problems));
            }
        }
    }
    if ended != Ended::Done {
        writeln!(io::stdout(), "nothing was encoded")?;
        return Ok(ended);
    }
    match &options.out {
        Some(path) => fs::write(path, out).context("the output cannot be written")?,
        None => io::stdout().write_all(out.as_bytes())?,
    }
    Ok(Ended::Done)
}

/// Precautions of earlier documents of the same command line and person carry on.
fn earlier(sessions: &[Session], text: &str) -> Earlier {
    let patient = Node::parse(text).ok().and_then(|node| {
        let identifier = node.at(&["patient", "identifier"])?;
        Some((
            identifier.text_of("system")?.to_owned(),
            identifier.text_of("value")?.to_owned(),
        ))
    });
    let mut standing: Vec<crate::finding::Precaution> = Vec::new();
    for session in sessions {
        let identifier = &session.patient.identifier;
        let same = patient.as_ref().is_some_and(|(system, value)| {
            *system == identifier.system && value == identifier.value.open()
        });
        if same {
            for precaution in &session.precautions {
                standing.retain(|earlier| earlier.id != precaution.id);
                standing.extend(precaution.lifted.is_none().then(|| precaution.clone()));
            }
        }
    }
    Earlier {
        precautions: standing,
        version_before: VersionBefore::default(),
    }
}

pub(super) fn check(options: &CheckOptions, now: DateTime<Utc>) -> anyhow::Result<Ended> {
    let mut out = io::stdout();
    if options.schema {
        let schema = serde_json::to_string_pretty(&crate::intake::schema::document_schema())?;
        writeln!(out, "{schema}")?;
        return Ok(Ended::Done);
    }
    let catalogue = tables()?;
    let mut ended = Ended::Done;
    let mut documents = Vec::new();
    for (number, path) in (1..).zip(&options.files) {
        let text = read(path, number)?;
        let name = path.display().to_string();
        let problems = problems_of(&text, &catalogue, now);
        ended = ended.max(report::ended(&problems));
        if options.json {
            documents.push(report::problems_json(&name, &problems));
        } else {
            report::problems(&mut out, &name, &problems)?;
            writeln!(out, "{name}: {}", report::count(&problems))?;
        }
    }
    if options.json {
        out.write_all(Node::List(documents).pretty().as_bytes())?;
    }
    Ok(ended)
}

/// FHIR JSON is told from a session document by its resourceType.
fn problems_of(text: &str, catalogue: &Catalogue, now: DateTime<Utc>) -> Vec<Problem> {
    if let Ok(node) = Node::parse(text)
        && node.member("resourceType").is_some()
    {
        let mut problems = Problems::new();
        crate::check::resource(&node, &mut problems);
        return problems.sorted();
    }
    match encode_document(text, &Earlier::default(), catalogue, now) {
        Ok(encoded) => encoded.told,
        Err(held) => held.problems,
    }
}
