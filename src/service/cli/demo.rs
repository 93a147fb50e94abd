//! `demo`: everything on one machine, shown for a person to read on two screens.

use crate::base::clock::{Clock, MachineClock};
use crate::base::private::Private;
use crate::delivery::deliver::SignIn;
use crate::delivery::deliver::http::Connection;
use crate::delivery::outbox::place::Place;
use crate::delivery::outbox::trail::first_break;
use crate::delivery::outbox::{Item, Outbox, State};
use crate::examination::compare::{Comparison, Rule};
use crate::examination::measure::{Measured, Value};
use crate::practice::Practice;
use crate::service::app::assess::Earlier;
use crate::service::app::deliver::Delivery;
use crate::service::app::encode::{Encoded, encode};
use crate::service::app::submit::{Submitted, submit};
use crate::service::app::{earlier, view};
use crate::service::cli::arguments::DemoOptions;
use crate::service::cli::report::counted;
use crate::service::cli::tables::tables;
use crate::service::cli::{Ended, compared, people, practice, screen};
use crate::service::config::Settings;
use crate::tables::catalogue::Catalogue;
use anyhow::{Context, anyhow, bail};
use chrono::TimeDelta;
use std::collections::BTreeSet;
use std::io::{self, Write};
use std::path::PathBuf;
use std::sync::Arc;

const SESSIONS: [&str; 2] = [
    include_str!("../../../fixtures/sessions/first.json"),
    include_str!("../../../fixtures/sessions/second.json"),
];
/// Measures that the demo shows, from the words of the therapist to their codes.
const SHOWN: [&str; 3] = [
    "range.passive.ankle.dorsiflexion",
    "tone.modified-ashworth.calf",
    "stretch.dynamic.calf",
];

pub(super) async fn demo(options: &DemoOptions) -> anyhow::Result<Ended> {
    let folder = Folder::new()?;
    let server = Practice::open(None, Arc::new(MachineClock)).await?;
    let (listener, address) = practice::listen(0).await?;
    let base = format!("http://{address}/fhir");
    let (stop, stopped) = tokio::sync::oneshot::channel::<()>();
    let serving = tokio::spawn(server.serve(listener, async {
        drop(stopped.await);
    }));
    let settings = Settings::single(Place::Folder(folder.0.clone()), &base, SignIn::None)?;
    let outbox = Outbox::open(&folder.0).await?;
    let delivery = delivery(&settings, &outbox)?;
    people::put(&delivery.connection).await?;
    let catalogue = tables(None, &[])?;
    let mut sessions = Vec::new();
    for document in SESSIONS {
        sessions.push(one(&delivery, &catalogue, document).await?);
    }
    let mut out = screen::screen();
    head(&mut out)?;
    came_in(&mut out, &sessions, &catalogue)?;
    went_out(&mut out, &delivery, &catalogue, &sessions).await?;
    noticed(&mut out, &sessions, &catalogue)?;
    next(&mut out, (!options.exit).then_some(base.as_str()))?;
    out.flush()?;
    if !options.exit {
        practice::stopped().await;
    }
    outbox.close().await;
    // The server ends when the channel closes, whether this arrives or not.
    drop(stop);
    serving.await??;
    Ok(Ended::Done)
}

/// A folder of our own for the state of the demo, removed at its end.
struct Folder(PathBuf);

impl Folder {
    fn new() -> anyhow::Result<Self> {
        let path = std::env::temp_dir().join(format!("fascicle-demo-{}", uuid::Uuid::new_v4()));
        std::fs::create_dir(&path).context("no folder for the demo can be made")?;
        Ok(Self(path))
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        // A folder that is gone already is as good.
        drop(std::fs::remove_dir_all(&self.0));
    }
}

fn delivery(settings: &Settings, outbox: &Outbox) -> anyhow::Result<Delivery> {
    let target = settings.targets.first().context("the demo has a target")?;
    Ok(Delivery {
        outbox: outbox.clone(),
        connection: Connection::new(target.clone())?,
        clock: Arc::new(MachineClock),
        lease: settings.lease,
    })
}

/// A session that was encoded and delivered.
struct Sent {
    encoded: Encoded,
    items: Vec<Item>,
}

async fn one(delivery: &Delivery, catalogue: &Catalogue, document: &str) -> anyhow::Result<Sent> {
    let earlier = Earlier {
        sessions: earlier::of_store(&delivery.outbox, document, catalogue).await?,
        ..Earlier::default()
    };
    let encoded = encode(document, &earlier, catalogue, MachineClock.now());
    let encoded = encoded.map_err(|_held| anyhow!("a session of the demo does not hold"))?;
    let targets = [delivery.connection.target().name.clone()];
    let now = MachineClock.now();
    let submitted = submit(&delivery.outbox, catalogue, &targets, document, now).await?;
    let Submitted::Accepted { items, .. } = submitted else {
        bail!("a session of the demo was not accepted");
    };
    let ids: Vec<uuid::Uuid> = items.iter().map(|item| item.id).collect();
    delivery
        .until_settled(&ids, now + TimeDelta::seconds(30))
        .await?;
    let mut items = Vec::new();
    for id in ids {
        let item = delivery.outbox.item(id).await?;
        let item = item.context("what was accepted is kept")?;
        if item.state != State::Delivered {
            let why = item
                .reason
                .map_or_else(|| item.state.word().to_owned(), |why| why.to_string());
            bail!("a session of the demo was not delivered: {why}");
        }
        items.push(item);
    }
    Ok(Sent { encoded, items })
}

fn head(out: &mut dyn Write) -> io::Result<()> {
    let words = "Fascicle demo: one invented person, marked as test data; nothing leaves this \
                 machine. Not certified as a medical device: it supports and never replaces a \
                 qualified clinician; local policy and the treating team come first.";
    screen::wrapped(out, "", words)
}

fn day(sent: &Sent) -> &str {
    let start = &sent.encoded.session.start.text;
    start.get(..10).unwrap_or(start)
}

/// What was captured: how much, what limits it, and what one side came to on each day.
fn came_in(out: &mut dyn Write, sessions: &[Sent], catalogue: &Catalogue) -> io::Result<()> {
    writeln!(
        out,
        "\n1. What came in: bedside findings as a therapist wrote them"
    )?;
    let mut precautions = BTreeSet::new();
    for sent in sessions {
        let found = &sent.encoded.measured;
        let untested = found.iter().filter(|one| is_untested(one)).count();
        writeln!(
            out,
            "   {}: {}, {untested} of them not tested, each with its reason",
            day(sent),
            counted(
                u64::try_from(found.len()).unwrap_or(u64::MAX),
                "finding",
                "findings"
            ),
        )?;
        let stated = &sent.encoded.session.precautions;
        precautions.extend(stated.iter().map(|one| view::precaution(one, catalogue)));
    }
    for precaution in precautions {
        screen::wrapped(out, "   PRECAUTION ", &precaution)?;
    }
    let lines: Vec<Vec<view::SessionRow>> = sessions
        .iter()
        .map(|sent| view::lines(&sent.encoded.measured, catalogue))
        .collect();
    let [first, rest @ ..] = lines.as_slice() else {
        return Ok(());
    };
    for line in first
        .iter()
        .filter(|line| SHOWN_LINES.contains(&line.what.as_str()))
    {
        let then = rest.iter().flatten().filter(|one| one.what == line.what);
        let said: Vec<&str> = std::iter::once(line.right.as_str())
            .chain(then.map(|one| one.right.as_str()))
            .collect();
        screen::wrapped(out, "   ", &format!("{}, right:", line.what))?;
        screen::wrapped(out, "     ", &said.join(" -> "))?;
    }
    Ok(())
}

/// The lines of a session that the demo shows.
const SHOWN_LINES: [&str; 3] = [
    "passive dorsiflexion of the ankle, knee straight",
    "modified Ashworth grade of the calf, knee straight",
    "catch angle R1 of the fast calf stretch, knee straight",
];

fn is_untested(one: &Measured) -> bool {
    matches!(one.value, Value::NotTested { .. })
}

/// What the record server was sent, and that it holds it once.
async fn went_out(
    out: &mut dyn Write,
    delivery: &Delivery,
    catalogue: &Catalogue,
    sessions: &[Sent],
) -> anyhow::Result<()> {
    writeln!(
        out,
        "\n2. What went out: FHIR R4 Observations, for example of the second session"
    )?;
    let last = sessions.last().context("the demo has sessions")?;
    let entries = &last.encoded.checked.record().entries;
    for measure in SHOWN {
        let coded = entries.iter().map(|entry| view::coded(&entry.resource));
        if let Some(line) = coded.into_iter().find(|line| line.starts_with(measure)) {
            screen::wrapped(out, "   ", &line)?;
        }
    }
    for document in SESSIONS {
        let targets = [delivery.connection.target().name.clone()];
        let now = MachineClock.now();
        let again = submit(&delivery.outbox, catalogue, &targets, document, now).await?;
        if !matches!(again, Submitted::Accepted { before: true, .. }) {
            bail!("a session of the demo was accepted twice");
        }
    }
    let mut held = Vec::new();
    for kind in ["Observation", "Provenance", "Device"] {
        let answer = delivery.connection.search(kind, "_count=1").await?;
        let body = answer.body.as_ref().map(Private::open);
        let total = body.and_then(|body| body.member("total"));
        let total = total.context("the practice server counts")?;
        held.push(format!("{kind} {}", total.compact()));
    }
    let attempts: u64 = sessions
        .iter()
        .flat_map(|sent| &sent.items)
        .map(|item| u64::from(item.attempts))
        .sum();
    let words = format!(
        "{} delivered in {}, each read back. Both sent once more: accepted before, the same \
         receipts, nothing new. The practice record server counts: {}.",
        counted(u64::try_from(sessions.len())?, "session", "sessions"),
        counted(attempts, "attempt", "attempts"),
        held.join(", ")
    );
    screen::wrapped(out, "   ", &words)?;
    let rows = delivery.outbox.trail(None).await?;
    if let Some(number) = first_break(&rows) {
        bail!("row {number} of the trail does not follow");
    }
    let words = format!(
        "The trail has {} rows; each follows from the one before.",
        rows.len()
    );
    Ok(screen::wrapped(out, "   ", &words)?)
}

/// What is urgent, what is beyond the error of measuring, and how much was not judged.
fn noticed(out: &mut dyn Write, sessions: &[Sent], catalogue: &Catalogue) -> io::Result<()> {
    writeln!(
        out,
        "\n3. What was noticed: prompts to look, never diagnoses"
    )?;
    for sent in sessions {
        for item in sent.items.iter().filter(|item| !item.urgent.is_empty()) {
            let words = format!(
                "{}: {}. Delivered, and nobody is known to have seen it: tell the treating team \
                 yourself.",
                day(sent),
                item.urgent.join(", ")
            );
            screen::wrapped(out, "   URGENT ", &words)?;
        }
    }
    let Some(last) = sessions.last() else {
        return Ok(());
    };
    let headings = [
        (Rule::SideDifference, "right beside left"),
        (Rule::Change, "since last time"),
    ];
    let mut sources = BTreeSet::new();
    for (rule, heading) in headings {
        let all: Vec<&Comparison> = last
            .encoded
            .comparisons
            .iter()
            .filter(|one| one.rule == rule)
            .collect();
        let judged = all.iter().copied().filter(|one| compared::is_judged(one));
        let (beyond, within): (Vec<_>, Vec<_>) = judged.partition(|one| is_beyond(one));
        for one in &beyond {
            let words = view::in_words(one, catalogue);
            sources.extend(
                one.rows
                    .iter()
                    .map(|row| format!("{}, {}", row.title, row.version)),
            );
            let words = format!("{}: {}", words.what, words.came_to);
            screen::wrapped(out, &format!("   {heading}: "), &words)?;
        }
        let words = format!(
            "{} more compared and within error or equal, {} not judged",
            within.len(),
            all.len()
                .saturating_sub(beyond.len())
                .saturating_sub(within.len())
        );
        screen::wrapped(out, &format!("   {heading}: "), &words)?;
    }
    for source in sources {
        screen::wrapped(out, "   source: ", &source)?;
    }
    Ok(())
}

fn is_beyond(one: &Comparison) -> bool {
    one.outcome
        .as_ref()
        .is_ok_and(|found| found.verdict.is_beyond())
}

/// What to do next; `base` where the practice server stays open.
fn next(out: &mut dyn Write, base: Option<&str>) -> io::Result<()> {
    writeln!(out, "\n4. What to do next")?;
    writeln!(
        out,
        "   fascicle summary fixtures/sessions/first.json     in plain words"
    )?;
    writeln!(
        out,
        "   fascicle encode --compare fixtures/sessions/first.json"
    )?;
    writeln!(
        out,
        "   ten minutes each: docs/therapist.md, hospital-it.md, auditor.md"
    )?;
    if let Some(base) = base {
        writeln!(
            out,
            "   The practice server stays open for a look, with any FHIR client:"
        )?;
        writeln!(out, "     {base}/Observation?code=stretch.dynamic.calf")?;
        writeln!(out, "   Stop it with Ctrl-C; nothing is kept.")?;
    }
    Ok(())
}
