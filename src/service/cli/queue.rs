//! `queue`: what waits, why, since when; and what a person decides.

use crate::base::clock::{Clock, MachineClock};
use crate::base::code::reason::Reason;
use crate::base::json::{Node, object, text};
use crate::base::problem::file_words;
use crate::delivery::outbox::kept::KeptText;
use crate::delivery::outbox::{Decision, Item, Outbox, OutboxError, Pausing, State, WantedItems};
use crate::service::app::kept::first_unread;
use crate::service::app::urgent::age;
use crate::service::app::{sheet, shown};
use crate::service::cli::arguments::QueueOptions;
use crate::service::cli::report::Mistake;
use crate::service::cli::{Ended, report, screen, settings};
use crate::service::config::Settings;
use std::fs::OpenOptions;
use std::io::{self, Write};
use std::os::unix::fs::OpenOptionsExt;
use std::path::Path;
use uuid::Uuid;

pub(super) async fn queue(options: &QueueOptions) -> anyhow::Result<Ended> {
    let settings = settings::settings(&options.place)?;
    let by = options.by.as_deref().unwrap_or_default();
    let why = options.why.as_deref().unwrap_or_default();
    let pause = options.pause.as_ref().map(|target| (target, true));
    if let Some((target, paused)) = pause.or(options.resume.as_ref().map(|one| (one, false))) {
        return pause_target(&settings, target, paused, by, why, options.json).await;
    }
    let outbox = settings::existing_outbox(&settings).await?;
    let decision = options
        .release
        .map(|id| (id, Decision::Release))
        .or_else(|| options.drop.map(|id| (id, Decision::Drop)));
    let mut out = screen::words_or_json(options.json);
    if let (Some(id), Some(path)) = (options.sheet, &options.out) {
        return print_sheet(options, &settings, &outbox, id, path).await;
    }
    if let Some((id, decision)) = decision {
        let done = outbox
            .decide(id, &decision, by, why, MachineClock.now())
            .await?;
        let word = match (&decision, done) {
            (_, false) => "is done, or being sent right now: nothing was changed",
            (Decision::Release, true) => {
                "goes on; `fascicle send` without files, or a running `fascicle serve`, works it off"
            }
            (Decision::Drop, true) => "was given up",
        };
        answer(options.json, ("item", &id.to_string()), done, word)?;
        return Ok(if done { Ended::Done } else { Ended::Problems });
    }
    let items = outbox.items_wanted(&wanted(options)?).await?;
    if options.json {
        out.write_all(shown::items(&items).pretty().as_bytes())?;
    } else {
        print_paused(&mut out, &settings, &outbox).await?;
        if items.is_empty() {
            writeln!(out, "{}", nothing(options))?;
        }
        // What is urgent and not there stands first.
        let (urgent, others): (Vec<&Item>, Vec<&Item>) = items.iter().partition(|item| waits(item));
        for item in urgent.into_iter().chain(others) {
            print_item(&mut out, item)?;
        }
    }
    outbox.close().await;
    match first_unread(&items) {
        Some(unread) => Err(OutboxError::Unread(unread).into()),
        None => Ok(Ended::Done),
    }
}

/// True for what is urgent and not known to be at the record server.
fn waits(item: &Item) -> bool {
    !item.urgent.is_empty() && !item.state.is_done()
}

async fn print_sheet(
    options: &QueueOptions,
    settings: &Settings,
    outbox: &Outbox,
    id: Uuid,
    path: &Path,
) -> anyhow::Result<Ended> {
    let catalogue = settings::tables(&options.own, settings)?;
    let item = outbox.item(id).await?;
    let item = item.ok_or_else(|| Mistake("there is no delivery of this id".to_owned()))?;
    let page = sheet::sheet(outbox, &catalogue, &item, MachineClock.now()).await?;
    outbox.close().await;
    let page = match page {
        Ok(page) => page,
        Err(why) => {
            report::say(
                options.json,
                "error",
                &format!("{why}: nothing was written"),
            )?;
            return Ok(Ended::Problems);
        }
    };
    // It is about a person.
    let file = OpenOptions::new()
        .write(true)
        .create_new(true)
        .mode(0o600)
        .open(path);
    let mut file = file.map_err(|cause| {
        Mistake(format!(
            "the page cannot be written: {}",
            file_words(cause.kind())
        ))
    })?;
    file.write_all(page.as_bytes())?;
    let words = "a page to print, about a person; delete it when it was told";
    answer(
        options.json,
        ("file", &path.display().to_string()),
        true,
        words,
    )?;
    Ok(Ended::Done)
}

fn wanted(options: &QueueOptions) -> anyhow::Result<WantedItems> {
    let state = match &options.only.standing {
        None => None,
        Some(word) => Some(State::named(word).ok_or_else(|| {
            let states: Vec<&str> = State::ALL.iter().map(|state| state.word()).collect();
            Mistake(format!("no such state; states are {}", states.join(", ")))
        })?),
    };
    Ok(WantedItems {
        // Who asks for a state that is done wants to see what is done.
        open_only: !options.all && !state.is_some_and(State::is_done),
        state,
        target: options.only.target.clone(),
        session: options.only.session,
    })
}

const fn nothing(options: &QueueOptions) -> &'static str {
    let only = &options.only;
    if only.standing.is_some() || only.target.is_some() || only.session.is_some() {
        "no delivery fits what was asked for"
    } else {
        "nothing waits for delivery"
    }
}

/// Tells what came of a decision: what it was about, whether something was changed, and the words.
fn answer(json: bool, about: (&'static str, &str), changed: bool, words: &str) -> io::Result<()> {
    let mut out = screen::words_or_json(json);
    let (name, value) = about;
    if json {
        let members = [
            (name, text(value)),
            ("changed", Node::Bool(changed)),
            ("words", text(words)),
        ];
        return out.write_all(object(members).pretty().as_bytes());
    }
    let colon = if name == "file" { ":" } else { "" };
    writeln!(out, "{value}{colon} {words}")
}

async fn pause_target(
    settings: &Settings,
    target: &str,
    paused: bool,
    by: &str,
    why: &str,
    json: bool,
) -> anyhow::Result<Ended> {
    // A target of the settings can be paused before anything was sent to it.
    let outbox = if settings.targets.iter().any(|one| one.name == target) {
        settings::outbox(settings).await?
    } else {
        settings::existing_outbox(settings).await?
    };
    let done = outbox
        .pause(target, paused, by, why, MachineClock.now())
        .await?;
    let about = ("target", target);
    let ended = match (done, paused) {
        (Pausing::Changed, true) => {
            let words = "is paused: what is accepted for it is kept, and nothing is sent";
            answer(json, about, true, words)?;
            Ended::Done
        }
        (Pausing::Changed, false) => {
            let words = "goes on; `fascicle send` without files, or a running `fascicle serve`, \
                         works it off";
            answer(json, about, true, words)?;
            Ended::Done
        }
        (Pausing::AsItWas, paused) => {
            let word = if paused {
                "is paused already: nothing was changed"
            } else {
                "is not paused: nothing was changed"
            };
            answer(json, about, false, word)?;
            Ended::Problems
        }
        (Pausing::NoSuchTarget, _) => {
            let known: Vec<String> = outbox
                .targets()
                .await?
                .into_iter()
                .map(|t| t.name)
                .collect();
            let words = format!(
                "the store knows no target of this name; it knows: {}",
                known.join(", ")
            );
            report::say(json, "error", &words)?;
            Ended::Problems
        }
    };
    outbox.close().await;
    Ok(ended)
}

async fn print_paused(
    out: &mut dyn Write,
    settings: &Settings,
    outbox: &Outbox,
) -> anyhow::Result<()> {
    for target in outbox.targets().await? {
        if let Some(words) = &target.paused {
            writeln!(out, "target {}: {}", target.name, words.open())?;
        }
    }
    for (target, left) in outbox.left_alone().await? {
        writeln!(
            out,
            "target {target}: left alone since {} after {} failures in a row; one attempt at a time finds \
             out whether it works again\n  reason: {}: {}",
            left.since.to_rfc3339(),
            left.failures,
            left.reason,
            left.reason.sentence()
        )?;
    }
    for target in settings.targets.iter().filter(|target| target.paused) {
        writeln!(out, "target {}: paused by the settings", target.name)?;
    }
    Ok(())
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
    print_urgent(out, item)?;
    match item.receipt.as_ref().map(KeptText::node) {
        Some(Ok(receipt)) => print_receipt(out, &receipt)?,
        Some(Err(unread)) => writeln!(out, "  {unread}")?,
        None => {}
    }
    if let Some(reason) = &item.reason {
        writeln!(out, "  reason: {reason}: {}", reason.sentence())?;
    }
    let said = item.reason.as_ref().map(Reason::sentence);
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

fn print_urgent(out: &mut dyn Write, item: &Item) -> io::Result<()> {
    if waits(item) {
        writeln!(
            out,
            "  URGENT ({}), not delivered for {}: tell the treating team by telephone or in person; a page to \
             print: `fascicle queue --sheet {} --out FILE`",
            item.urgent.join(", "),
            age(item.accepted_at, MachineClock.now()),
            item.id
        )?;
    } else if !item.urgent.is_empty() && item.state == State::Delivered {
        writeln!(
            out,
            "  urgent ({}): nobody is known to have seen it; tell the treating team yourself",
            item.urgent.join(", ")
        )?;
    }
    Ok(())
}

fn print_receipt(out: &mut dyn Write, receipt: &Node) -> io::Result<()> {
    writeln!(out, "  {}", receipt_words(receipt))?;
    if let Some(Node::Number(requests)) = receipt.member("requests") {
        writeln!(
            out,
            "  it was not sent whole: {requests} requests carried it"
        )?;
    }
    let left_out = receipt.member("left_out").map_or(&[][..], Node::members);
    for (element, count) in left_out {
        let count = count.compact();
        writeln!(
            out,
            "  left out for this target: {element} of {count} Observations"
        )?;
    }
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
