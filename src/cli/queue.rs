//! `queue`: what waits, why, since when; and what a person decides.

use crate::cli::arguments::QueueOptions;
use crate::cli::{Ended, reasons, report, settings};
use crate::clock::{Clock, MachineClock};
use crate::json::{Node, object, text};
use crate::outbox::{Decision, Item, State};
use std::io::{self, Write};

pub(super) async fn queue(options: &QueueOptions) -> anyhow::Result<Ended> {
    let settings = settings::settings(&options.place)?;
    let outbox = settings::existing_outbox(&settings).await?;
    let mut out = io::stdout();
    let decision = options
        .release
        .map(|id| (id, Decision::Release))
        .or_else(|| options.drop.map(|id| (id, Decision::Drop)));
    if let Some((id, decision)) = decision {
        let by = options.by.as_deref().unwrap_or_default();
        let why = options.why.as_deref().unwrap_or_default();
        let done = outbox
            .decide(id, &decision, (by, why), MachineClock.now())
            .await?;
        let word = match (&decision, done) {
            (_, false) => "is done, or being sent right now: nothing was changed",
            (Decision::Release, true) => "goes on; `fascicle send` without files works it off",
            (Decision::Drop, true) => "was given up",
        };
        writeln!(out, "{id} {word}")?;
        return Ok(if done { Ended::Done } else { Ended::Problems });
    }
    let items = outbox.items(!options.all).await?;
    if options.json {
        let items = items.iter().map(item_json).collect();
        out.write_all(Node::List(items).pretty().as_bytes())?;
    } else if items.is_empty() {
        writeln!(out, "nothing waits for delivery")?;
    } else {
        for item in &items {
            print_item(&mut out, item)?;
        }
    }
    outbox.close().await;
    Ok(Ended::Done)
}

/// Prints one delivery: state, session, target; then why and what can be done.
pub(super) fn print_item(out: &mut dyn Write, item: &Item) -> io::Result<()> {
    let attempts = report::counted(item.attempts, "attempt", "attempts");
    writeln!(
        out,
        "{}: session {} version {} to {} after {attempts}",
        item.state.word(),
        item.session,
        item.version,
        item.target
    )?;
    if let Some(receipt) = item
        .receipt
        .as_deref()
        .and_then(|text| Node::parse(text).ok())
    {
        print_receipt(out, &receipt)?;
    }
    if let Some(reason) = &item.reason {
        writeln!(out, "  reason: {reason}: {}", reasons::sentence(reason))?;
    }
    let said = item.reason.as_deref().map(reasons::sentence);
    if let Some(words) = item
        .words
        .as_ref()
        .filter(|words| Some(words.open().as_str()) != said)
    {
        writeln!(out, "  {}", words.open())?;
    }
    if let Some(decided) = &item.decided {
        writeln!(out, "  {}", decided.open())?;
    }
    match item.state {
        State::Queued | State::Unknown | State::Sending => match item.behind {
            Some(head) => writeln!(out, "  waits behind item {head} of the same person")?,
            None => writeln!(
                out,
                "  item {}, not before {}",
                item.id,
                item.due_at.to_rfc3339()
            )?,
        },
        State::Refused | State::Waiting => writeln!(
            out,
            "  decide with `fascicle queue`: --release {0} or --drop {0}, with --by and --why",
            item.id
        )?,
        State::Delivered | State::Dropped => {}
    }
    Ok(())
}

fn print_receipt(out: &mut dyn Write, receipt: &Node) -> io::Result<()> {
    writeln!(out, "  {}", receipt_words(receipt))?;
    for drift in receipt.items_of("drift") {
        let of = |key| drift.text_of(key).unwrap_or_default();
        let (url, path, kind) = (of("full_url"), of("path"), of("kind"));
        writeln!(out, "  the server holds it otherwise: {url} {path}: {kind}")?;
    }
    Ok(())
}

fn receipt_words(receipt: &Node) -> String {
    let count = |kind: &str| {
        let of_kind = |row: &&Node| {
            row.text_of("reference")
                .is_some_and(|r| r.starts_with(kind))
        };
        receipt.items_of("resources").iter().filter(of_kind).count()
    };
    format!(
        "the record server holds {} Observations and {} Provenance of it, read back; that does not mean \
         that anybody has seen it",
        count("Observation/"),
        count("Provenance/")
    )
}

/// One delivery as JSON.
pub(super) fn item_json(item: &Item) -> Node {
    let mut members = vec![
        ("item", text(item.id.to_string())),
        ("target", text(item.target.clone())),
        ("number", Node::Number(item.number.to_string())),
        ("session", text(item.session.to_string())),
        ("version", Node::Number(item.version.to_string())),
        ("state", text(item.state.word())),
        ("attempts", Node::Number(item.attempts.to_string())),
        ("not_before", text(item.due_at.to_rfc3339())),
        ("accepted_at", text(item.accepted_at.to_rfc3339())),
    ];
    members.extend(item.reason.clone().map(|reason| ("reason", text(reason))));
    members.extend(
        item.words
            .as_ref()
            .map(|words| ("words", text(words.open().clone()))),
    );
    members.extend(item.behind.map(|head| ("behind", text(head.to_string()))));
    let decided = item.decided.as_ref();
    members.extend(decided.map(|decided| ("decided", text(decided.open().clone()))));
    let receipt = item
        .receipt
        .as_deref()
        .and_then(|receipt| Node::parse(receipt).ok());
    members.extend(receipt.map(|receipt| ("receipt", receipt)));
    object(members)
}
