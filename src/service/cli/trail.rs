//! `trail`: what happened, and what stands behind one Observation.

use crate::base::json::{Node, object, text};
use crate::base::private::Private;
use crate::base::problem::file_words;
use crate::delivery::outbox::verify::Verified;
use crate::delivery::outbox::{Outbox, TrailRow, WantedRows};
use crate::service::app::shown;
use crate::service::app::words::{Behind, Looked, behind};
use crate::service::cli::arguments::TrailOptions;
use crate::service::cli::report::Mistake;
use crate::service::cli::tables::tables;
use crate::service::cli::{Ended, queue, report, screen, settings};
use std::fs::OpenOptions;
use std::io::{self, Write};
use std::os::unix::fs::OpenOptionsExt;
use std::path::Path;

pub(super) async fn trail(options: &TrailOptions) -> anyhow::Result<Ended> {
    let settings = settings::settings(&options.place)?;
    let outbox = settings::existing_outbox(&settings).await?;
    let own = settings::own_tables(&options.own, &settings);
    let ended = of(options, own, &outbox).await?;
    outbox.close().await;
    Ok(ended)
}

async fn of(options: &TrailOptions, own: Option<&Path>, outbox: &Outbox) -> anyhow::Result<Ended> {
    let mut out = screen::words_or_json(options.json);
    if let Some(name) = &options.words {
        let tables = tables(own, &[])?;
        let found = match behind(outbox, &tables, name).await? {
            Looked::Behind(found) => found,
            Looked::Purged(session) => {
                let words = format!(
                    "{name} was sent as a part of session {session}, whose content was purged since; \
                     `fascicle trail --session {session}` tells when"
                );
                report::say(options.json, "error", &words)?;
                return Ok(Ended::Problems);
            }
            Looked::NotKept => {
                let words = format!("no session kept here was sent as {name}");
                report::say(options.json, "error", &words)?;
                return Ok(Ended::Problems);
            }
        };
        if options.json {
            out.write_all(shown::behind(&found).pretty().as_bytes())?;
        } else {
            print_behind(&mut out, &found)?;
        }
        return Ok(Ended::Done);
    }
    if options.export.is_some() || options.verify {
        return prove(&mut out, options, outbox).await;
    }
    let wanted = WantedRows {
        session: options.session,
        target: options.target.clone(),
        event: options.event.clone(),
        ..WantedRows::default()
    };
    let rows = outbox.trail_wanted(&wanted).await?;
    if options.json {
        out.write_all(list(&rows).as_bytes())?;
        return Ok(Ended::Done);
    }
    for row in &rows {
        print_row(&mut out, row)?;
    }
    Ok(Ended::Done)
}

/// One list, a row a line.
fn list(rows: &[TrailRow]) -> String {
    let rows: Vec<String> = rows
        .iter()
        .map(|row| shown::trail_row(row).compact())
        .collect();
    if rows.is_empty() {
        return "[]\n".to_owned();
    }
    format!("[\n{}\n]\n", rows.join(",\n"))
}

/// Writes the whole trail to a file, or holds it against itself, or both; the rows are not listed.
async fn prove(
    out: &mut dyn Write,
    options: &TrailOptions,
    outbox: &Outbox,
) -> anyhow::Result<Ended> {
    let mut members = Vec::new();
    let mut ended = Ended::Done;
    if let Some(path) = &options.export {
        let rows = outbox.trail(None).await?;
        export(path, &rows)?;
        members.push(("written", shown::number(i128::try_from(rows.len())?)));
        if !options.json {
            writeln!(out, "{} rows written", rows.len())?;
            print_last(out, &rows)?;
        }
    }
    if options.verify {
        let held = outbox.verify_trail(options.expect.as_deref()).await?;
        if !held.faults.is_empty() {
            ended = Ended::Problems;
        }
        let faults = held.faults.iter().map(|fault| text(fault.clone()));
        members.push(("rows", shown::number(held.rows)));
        members.push(("last_hash", held.last_hash.clone().map_or(Node::Null, text)));
        members.push(("faults", Node::List(faults.collect())));
        if !options.json {
            verified(out, &held)?;
        }
    }
    if options.json {
        out.write_all(object(members).pretty().as_bytes())?;
    }
    Ok(ended)
}

fn verified(out: &mut dyn Write, held: &Verified) -> io::Result<()> {
    for fault in &held.faults {
        writeln!(out, "{fault}")?;
    }
    if !held.faults.is_empty() {
        return Ok(());
    }
    writeln!(
        out,
        "{} rows follow from each other and none is missing",
        held.rows
    )?;
    let last = held.last_hash.as_deref().unwrap_or("none");
    writeln!(out, "last hash: {last}")
}

fn print_last(out: &mut dyn Write, rows: &[TrailRow]) -> io::Result<()> {
    let last = rows.last().map_or("none", |row| row.sha256.as_str());
    writeln!(out, "last hash: {last}")
}

/// A file that is there already is left alone: it may be the proof of an earlier day.
fn export(path: &Path, rows: &[TrailRow]) -> anyhow::Result<()> {
    let mut text = String::new();
    for row in rows {
        text.push_str(&shown::trail_row(row).compact());
        text.push('\n');
    }
    let file = OpenOptions::new()
        .write(true)
        .create_new(true)
        .mode(0o600)
        .open(path);
    file.and_then(|mut file| file.write_all(text.as_bytes()))
        .map_err(|cause| Mistake(format!("the export: {}", file_words(cause.kind()))))?;
    Ok(())
}

fn print_row(out: &mut dyn Write, row: &TrailRow) -> io::Result<()> {
    let target = row
        .target
        .as_deref()
        .map(|t| format!(" to {t}"))
        .unwrap_or_default();
    let session = if row.of_session() {
        format!(": session {} version {}", row.session, row.version)
    } else {
        String::new()
    };
    writeln!(
        out,
        "{:>5} {} {}{target}{session} {}",
        row.number,
        row.at,
        row.event,
        short(&row.detail)
    )
}

/// A receipt is long; a person reads its counts and takes `--json` for the rest.
fn short(detail: &str) -> String {
    match Node::parse(detail)
        .ok()
        .and_then(|node| node.member("receipt").cloned())
    {
        Some(receipt) => format!(
            "({} resources, {} drifts)",
            receipt.items_of("resources").len(),
            receipt.items_of("drift").len()
        ),
        None => detail.to_owned(),
    }
}

fn print_behind(out: &mut dyn Write, found: &Behind) -> io::Result<()> {
    let captured = found.captured.as_ref().map(Private::open);
    let accepted = found.kept.accepted_at.to_rfc3339();
    writeln!(
        out,
        "session {} version {} of {}, accepted {accepted}",
        found.kept.session, found.kept.version, found.kept.source
    )?;
    match captured {
        Some(captured) => writeln!(out, "captured:\n{}", captured.pretty().trim_end())?,
        None => writeln!(
            out,
            "captured: nothing by hand; it follows from the session"
        )?,
    }
    writeln!(out, "rows of the tables behind its codes:")?;
    for row in &found.rows {
        writeln!(out, "  {} {}: {}", row.table, row.key, row.says)?;
        writeln!(out, "    source: {}, {}", row.source, row.locator)?;
    }
    writeln!(out, "sent:\n{}", found.resource.open().pretty().trim_end())?;
    for item in &found.items {
        queue::print_item(out, item)?;
    }
    Ok(())
}
