//! `trail`: what happened, and what stands behind one Observation.

use crate::app::words::{Behind, behind};
use crate::cli::arguments::TrailOptions;
use crate::cli::{Ended, queue, settings};
use crate::json::{Node, object, text};
use crate::outbox::TrailRow;
use std::io::{self, Write};

pub(super) async fn trail(options: &TrailOptions) -> anyhow::Result<Ended> {
    let settings = settings::settings(&options.place)?;
    let outbox = settings::existing_outbox(&settings).await?;
    let mut out = io::stdout();
    if let Some(name) = &options.words {
        let Some(found) = behind(&outbox, name).await? else {
            writeln!(out, "no session kept here was sent as {name}")?;
            return Ok(Ended::Problems);
        };
        print_behind(&mut out, &found, options.json)?;
        return Ok(Ended::Done);
    }
    let rows = outbox.trail(options.session).await?;
    for row in &rows {
        print_row(&mut out, row, options.json)?;
    }
    if options.verify {
        let faults = outbox.verify_trail(options.expect.as_deref()).await?;
        for fault in &faults {
            writeln!(out, "{fault}")?;
        }
        if !faults.is_empty() {
            return Ok(Ended::Problems);
        }
        let whole = outbox.trail(None).await?;
        let last = whole.last().map_or("none", |row| row.sha256.as_str());
        writeln!(
            out,
            "{} rows follow from each other and none is missing",
            whole.len()
        )?;
        writeln!(out, "last hash: {last}")?;
    }
    outbox.close().await;
    Ok(Ended::Done)
}

fn print_row(out: &mut dyn Write, row: &TrailRow, json: bool) -> io::Result<()> {
    if json {
        return writeln!(out, "{}", row_json(row).compact());
    }
    let target = row
        .target
        .as_deref()
        .map(|t| format!(" to {t}"))
        .unwrap_or_default();
    writeln!(
        out,
        "{:>5} {} {}{target}: session {} version {} {}",
        row.number,
        row.at,
        row.event,
        row.session,
        row.version,
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

fn row_json(row: &TrailRow) -> Node {
    let optional = |value: &Option<String>| value.clone().map_or(Node::Null, text);
    object([
        ("number", Node::Number(row.number.to_string())),
        ("at", text(row.at.clone())),
        ("event", text(row.event.clone())),
        ("item", optional(&row.item)),
        ("target", optional(&row.target)),
        ("source", text(row.source.clone())),
        ("session", text(row.session.clone())),
        ("version", Node::Number(row.version.to_string())),
        ("detail", Node::parse(&row.detail).unwrap_or(Node::Null)),
        ("sha256", text(row.sha256.clone())),
    ])
}

fn print_behind(out: &mut dyn Write, found: &Behind, json: bool) -> io::Result<()> {
    let captured = found
        .captured
        .as_ref()
        .map(|captured| captured.open().clone());
    if json {
        let all = object([
            ("session", text(found.kept.session.to_string())),
            ("version", Node::Number(found.kept.version.to_string())),
            ("captured", captured.unwrap_or(Node::Null)),
            ("sent", found.resource.open().clone()),
            (
                "items",
                Node::List(found.items.iter().map(queue::item_json).collect()),
            ),
        ]);
        return out.write_all(all.pretty().as_bytes());
    }
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
    writeln!(out, "sent:\n{}", found.resource.open().pretty().trim_end())?;
    for item in &found.items {
        queue::print_item(out, item)?;
    }
    Ok(())
}
