//! `encode` and `check`: documents in, Bundles or problems out, no server and no store.
use crate::app::encode::{Earlier, encode as encode_document};
use crate::app::tables::load;
use crate::catalogue::Catalogue;
use crate::cli::arguments::{CheckOptions, EncodeOptions};
use crate::cli::before::{Before, Out};
use crate::cli::lines::{Form, Told};
use crate::cli::report::Mistake;
use crate::cli::{Ended, lines, report};
use crate::intake::MOST_BYTES;
use crate::json::Node;
use crate::problem::{Problem, Problems, file_words};
use anyhow::Context;
use chrono::{DateTime, Utc};
use std::fs::File;
use std::io::{self, Read, Write};
use std::path::Path;

/// The tables of the binary, with those of a folder laid over them where one is named.
pub(super) fn tables(own: Option<&Path>) -> anyhow::Result<Catalogue> {
    load(own).map_err(|bad| match own {
        Some(_) => Mistake(bad.to_string()).into(),
        None => bad.into(),
    })
}

/// Reads the file numbered `number`; the error names the number, because a file name may carry a
/// person's name.
pub(super) fn read(path: &Path, number: usize) -> anyhow::Result<String> {
    let mut bytes = Vec::new();
    // One byte more than a document may have, so that no file fills memory.
    let most = u64::try_from(MOST_BYTES)?.saturating_add(1);
    let read = File::open(path).and_then(|file| file.take(most).read_to_end(&mut bytes));
    read.map_err(|cause| {
        Mistake(format!(
            "document {number} of the command line: {}",
            file_words(cause.kind())
        ))
    })?;
    if bytes.len() > MOST_BYTES {
        let what = format!("document {number} of the command line is longer than 8 MiB");
        return Err(Mistake(what).into());
    }
    utf8(bytes, number)
}

fn utf8(bytes: Vec<u8>, number: usize) -> anyhow::Result<String> {
    Ok(String::from_utf8(bytes).map_err(|_bytes| {
        Mistake(format!(
            "document {number} of the command line is not UTF-8"
        ))
    })?)
}

pub(super) fn encode(options: &EncodeOptions, now: DateTime<Utc>) -> anyhow::Result<Ended> {
    if options.files.len() > 1 && !options.ndjson {
        writeln!(
            io::stdout(),
            "several documents become several Bundles: add --ndjson"
        )?;
        return Ok(Ended::Problems);
    }
    let catalogue = tables(options.own.tables.as_deref())?;
    let mut before = Before::default();
    for (number, path) in (1..).zip(&options.files) {
        before.announce(&read(path, number)?);
    }
    let mut out = Out::to(options.out.as_deref())?;
    let mut ended = Ended::Done;
    for (number, path) in (1..).zip(&options.files) {
        let text = read(path, number)?;
        let name = path.display().to_string();
        match encode_document(&text, &before.of(&text), &catalogue, now) {
            Ok(encoded) if before.lacks_what_is_corrected_by(&encoded.session) => {
                ended = ended.max(Ended::Problems);
                report::problems(&mut io::stdout(), &name, &half_a_correction())?;
            }
            Ok(encoded) => {
                let record = encoded.checked.record();
                let text = if options.ndjson {
                    record.text() + "\n"
                } else {
                    record.bundle().pretty()
                };
                out.add(&text).context("the output cannot be written")?;
                before.add(encoded);
            }
            Err(held) => {
                report::problems(&mut io::stdout(), &name, &held.problems)?;
                ended = ended.max(report::ended(&held.problems));
            }
        }
    }
    if ended != Ended::Done {
        writeln!(io::stdout(), "nothing was encoded")?;
        out.give_up()?;
        return Ok(ended);
    }
    out.finish()?;
    Ok(Ended::Done)
}

fn half_a_correction() -> Vec<Problem> {
    let mut problems = Problems::new();
    problems.error(
        "encode.correction",
        "/session/version",
        "a later version alone does not say what it corrects".to_owned(),
        "name the versions before it first on the same command line, or use send",
    );
    problems.sorted()
}

pub(super) fn check(options: &CheckOptions, now: DateTime<Utc>) -> anyhow::Result<Ended> {
    let mut out = io::stdout();
    if options.schema {
        let schema = serde_json::to_string_pretty(&crate::intake::schema::document_schema())?;
        writeln!(out, "{schema}")?;
        return Ok(Ended::Done);
    }
    let catalogue = tables(options.own.tables.as_deref())?;
    let mut told = Told::new(&mut out, options.json);
    for (number, path) in (1..).zip(&options.files) {
        told.document(path.display().to_string())?;
        match lines::open(path, number)? {
            Form::Lines(each) => lines::each(each, &catalogue, &mut told)?,
            Form::Document(bytes) => {
                told.add(&problems_of(&utf8(bytes, number)?, &catalogue, now))?;
            }
            Form::TooLarge => {
                let mut problems = Problems::new();
                lines::too_large(&mut problems);
                told.add(&problems.sorted())?;
            }
        }
        told.close()?;
    }
    Ok(told.end()?)
}

/// FHIR JSON is told from a session document by its resourceType.
fn problems_of(text: &str, catalogue: &Catalogue, now: DateTime<Utc>) -> Vec<Problem> {
    if let Ok(node) = Node::parse(text)
        && node.member("resourceType").is_some()
    {
        let mut problems = Problems::new();
        crate::check::resource(&node, catalogue, &mut problems);
        return problems.sorted();
    }
    match encode_document(text, &Earlier::default(), catalogue, now) {
        Ok(encoded) => encoded.told,
        Err(held) => held.problems,
    }
}
