//! `trail`: what happened, and what stands behind one Observation.

use crate::base::json::Node;
use crate::base::private::Private;
use crate::base::problem::file_words;
use crate::delivery::outbox::{Outbox, TrailRow, WantedRows};
use crate::service::app::shown;
use crate::service::app::words::{Behind, Looked, behind};
use crate::service::cli::arguments::TrailOptions;
use crate::service::cli::report::Mistake;
use crate::service::cli::{Ended, documents, queue, settings};
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
    let mut out = io::stdout();
    if let Some(name) = &options.words {
        let tables = documents::tables(own, &[])?;
        let found = match behind(outbox, &tables, name).await? {
            Looked::Behind(found) => found,
            Looked::Purged(session) => {
                writeln!(
                    out,
                    "{name} was sent as a part of session {session}, whose content was purged since; \
                     `fascicle trail --session {session}` tells when"
                )?;
                return Ok(Ended::Problems);
            }
            Looked::NotKept => {
                writeln!(out, "no session kept here was sent as {name}")?;
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
    if let Some(path) = &options.export {
        export(&mut out, path, &outbox.trail(None).await?)?;
    } else {
        let wanted = WantedRows {
            session: options.session,
            target: options.target.clone(),
            event: options.event.clone(),
            ..WantedRows::default()
        };
        for row in &outbox.trail_wanted(&wanted).await? {
            print_row(&mut out, row, options.json)?;
        }
    }
    if options.verify {
        return verify(&mut out, options, outbox).await;
    }
    Ok(Ended::Done)
}

async fn verify(
    out: &mut dyn Write,
    options: &TrailOptions,
    outbox: &Outbox,
) -> anyhow::Result<Ended> {
    let held = outbox.verify_trail(options.expect.as_deref()).await?;
    for fault in &held.faults {
        writeln!(out, "{fault}")?;
    }
    if !held.faults.is_empty() {
        return Ok(Ended::Problems);
    }
    writeln!(
        out,
        "{} rows follow from each other and none is missing",
        held.rows
    )?;
    let last = held.last_hash.as_deref().unwrap_or("none");
    writeln!(out, "last hash: {last}")?;
    Ok(Ended::Done)
}

fn print_last(out: &mut dyn Write, rows: &[TrailRow]) -> io::Result<()> {
    let last = rows.last().map_or("none", |row| row.sha256.as_str());
    writeln!(out, "last hash: {last}")
}

/// A file that is there already is left alone: it may be the proof of an earlier day.
fn export(out: &mut dyn Write, path: &Path, rows: &[TrailRow]) -> anyhow::Result<()> {
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
    writeln!(out, "{} rows written", rows.len())?;
    print_last(out, rows)?;
    Ok(())
}

fn print_row(out: &mut dyn Write, row: &TrailRow, json: bool) -> io::Result<()> {
    if json {
        return writeln!(out, "{}", shown::trail_row(row).compact());
    }
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
