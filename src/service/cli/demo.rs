//! `demo`: everything on one machine, shown for a person to read.

use crate::base::clock::{Clock, MachineClock};
use crate::base::json::Node;
use crate::delivery::deliver::SignIn;
use crate::delivery::deliver::http::Connection;
use crate::delivery::outbox::Outbox;
use crate::delivery::outbox::place::Place;
use crate::delivery::outbox::trail::first_break;
use crate::practice::Practice;
use crate::service::app::deliver::Delivery;
use crate::service::app::earlier;
use crate::service::app::encode::{Earlier, Encoded, encode};
use crate::service::app::submit::{Submitted, submit};
use crate::service::app::view;
use crate::service::cli::arguments::DemoOptions;
use crate::service::cli::{Ended, compared, documents, practice, queue};
use crate::service::config::Settings;
use crate::tables::catalogue::Catalogue;
use anyhow::{Context, anyhow, bail};
use chrono::TimeDelta;
use std::io::{self, Write};
use std::path::PathBuf;
use std::sync::Arc;

const SESSIONS: [&str; 2] = [
    include_str!("../../../fixtures/sessions/first.json"),
    include_str!("../../../fixtures/sessions/second.json"),
];
/// Measures whose coding the demo shows.
const SHOWN: [&str; 4] = [
    "range.passive.ankle.dorsiflexion",
    "tone.modified-ashworth.calf",
    "stretch.dynamic.calf",
    "clonus.ankle",
];
const PERSON: &str = include_str!("../../../fixtures/sessions/person.json");

pub(super) async fn demo(options: &DemoOptions) -> anyhow::Result<Ended> {
    let folder = Folder::new()?;
    let server = Practice::open(None, Arc::new(MachineClock)).await?;
    let (listener, address) = practice::listen(0).await?;
    let base = format!("http://{address}/fhir");
    let (stop, stopped) = tokio::sync::oneshot::channel::<()>();
    let serving = tokio::spawn(server.serve(listener, async {
        drop(stopped.await);
    }));
    let mut out = io::stdout();
    head(&mut out, &base)?;
    let settings = Settings::single(Place::Folder(folder.0.clone()), &base, SignIn::None)?;
    let outbox = Outbox::open(&folder.0).await?;
    let delivery = delivery(&settings, &outbox)?;
    put_person(&delivery.connection).await?;
    let catalogue = documents::tables(None, &[])?;
    for (number, document) in (1..).zip(SESSIONS) {
        let earlier = Earlier {
            sessions: earlier::of_store(&outbox, document, &catalogue).await?,
            ..Earlier::default()
        };
        let encoded = encode(document, &earlier, &catalogue, MachineClock.now());
        let encoded = encoded.map_err(|_held| anyhow!("demo session {number} does not hold"))?;
        show(&mut out, number, &encoded, &catalogue)?;
        compared::print(&mut out, &encoded, &catalogue)?;
        deliver(&mut out, &delivery, &catalogue, document).await?;
    }
    again(&mut out, &delivery, &catalogue).await?;
    tail(&mut out, &outbox).await?;
    if !options.exit {
        writeln!(
            out,
            "\nThe practice server stays open for a look, with any FHIR client:"
        )?;
        writeln!(out, "  {base}/Observation?code=stretch.dynamic.calf")?;
        writeln!(out, "Stop it with Ctrl-C; nothing is kept.")?;
        out.flush()?;
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

/// A record server knows its people before a session arrives; Fascicle itself creates nobody.
async fn put_person(connection: &Connection) -> anyhow::Result<()> {
    let person = Node::parse(PERSON)?;
    let identifier = person
        .items_of("identifier")
        .first()
        .context("the person is known")?;
    let condition = crate::fhir::record::if_none_exist(
        identifier.text_of("system").unwrap_or_default(),
        identifier.text_of("value").unwrap_or_default(),
    );
    let answer = connection
        .create("Patient", Some(&condition), &person)
        .await?;
    if answer.status != 201 {
        bail!(
            "the practice server answered {} to the invented person",
            answer.status
        );
    }
    Ok(())
}

fn head(out: &mut dyn Write, base: &str) -> io::Result<()> {
    writeln!(
        out,
        "Fascicle demo: an invented person of an invented clinic, marked as test data."
    )?;
    writeln!(
        out,
        "Nothing leaves this machine. Practice record server: {base}"
    )?;
    writeln!(
        out,
        "Not certified as a medical device; it supports and never replaces the judgement"
    )?;
    writeln!(
        out,
        "of a qualified clinician; local policy and the treating team come first."
    )
}

fn show(
    out: &mut dyn Write,
    number: u32,
    encoded: &Encoded,
    catalogue: &Catalogue,
) -> io::Result<()> {
    let session = &encoded.session;
    writeln!(
        out,
        "\nSession {number}: {}, signed {}",
        session.start.text, session.signed.at.text
    )?;
    for precaution in &session.precautions {
        writeln!(
            out,
            "  PRECAUTION {}",
            view::precaution(precaution, catalogue)
        )?;
    }
    let lines = view::lines(&encoded.measured, catalogue);
    let width = lines
        .iter()
        .map(|line| line.what.chars().count())
        .max()
        .unwrap_or_default();
    let right = lines
        .iter()
        .map(|line| line.right.chars().count())
        .max()
        .unwrap_or_default();
    writeln!(
        out,
        "  {:width$}  {:right$}  left",
        "", "right (more affected)"
    )?;
    for line in &lines {
        writeln!(
            out,
            "  {:width$}  {:right$}  {}",
            line.what, line.right, line.left
        )?;
    }
    writeln!(out, "  coded, for example:")?;
    let entries = &encoded.checked.record().entries;
    for measure in SHOWN {
        let coded = entries.iter().map(|entry| view::coded(&entry.resource));
        if let Some(line) = coded.into_iter().find(|line| line.starts_with(measure)) {
            writeln!(out, "    {line}")?;
        }
    }
    Ok(())
}

async fn deliver(
    out: &mut dyn Write,
    delivery: &Delivery,
    catalogue: &Catalogue,
    document: &str,
) -> anyhow::Result<()> {
    let targets = [delivery.connection.target().name.clone()];
    let now = MachineClock.now();
    let submitted = submit(&delivery.outbox, catalogue, &targets, document, now).await?;
    let Submitted::Accepted { items, .. } = submitted else {
        bail!("the demo session was not accepted");
    };
    let ids: Vec<uuid::Uuid> = items.iter().map(|item| item.id).collect();
    delivery
        .until_settled(&ids, now + TimeDelta::seconds(30))
        .await?;
    for id in ids {
        if let Some(item) = delivery.outbox.item(id).await? {
            queue::print_item(out, &item)?;
        }
    }
    Ok(())
}

/// The same documents once more: the same receipts, and nothing new on the server.
async fn again(
    out: &mut dyn Write,
    delivery: &Delivery,
    catalogue: &Catalogue,
) -> anyhow::Result<()> {
    writeln!(out, "\nBoth sessions sent once more:")?;
    for document in SESSIONS {
        let targets = [delivery.connection.target().name.clone()];
        let now = MachineClock.now();
        let submitted = submit(&delivery.outbox, catalogue, &targets, document, now).await?;
        let Submitted::Accepted {
            before: true,
            session,
            ..
        } = submitted
        else {
            bail!("the demo session was accepted twice");
        };
        writeln!(
            out,
            "  session {session}: accepted before, the same receipt"
        )?;
    }
    for kind in ["Observation", "Provenance", "Device", "Patient"] {
        let answer = delivery.connection.search(kind, "_count=1").await?;
        let total = answer
            .body
            .as_ref()
            .and_then(|body| body.open().member("total"));
        let total = total.map(Node::compact).unwrap_or_default();
        writeln!(out, "  the record server holds {total} {kind}")?;
    }
    Ok(())
}

async fn tail(out: &mut dyn Write, outbox: &Outbox) -> anyhow::Result<()> {
    let rows = outbox.trail(None).await?;
    match first_break(&rows) {
        None => writeln!(
            out,
            "\nThe trail has {} rows; each follows from the one before.",
            rows.len()
        )?,
        Some(number) => bail!("row {number} of the trail does not follow"),
    }
    Ok(())
}
