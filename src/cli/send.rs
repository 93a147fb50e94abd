//! `send`: accept, deliver, wait, print what came of it.

use crate::app::submit::{Submitted, submit};
use crate::cli::arguments::SendOptions;
use crate::cli::{Ended, documents, queue, report, settings};
use crate::clock::{Clock, MachineClock};
use crate::json::{Node, object, text};
use crate::outbox::{Item, Outbox, State};
use anyhow::bail;
use chrono::TimeDelta;
use std::io::{self, Write};
use uuid::Uuid;

pub(super) async fn send(options: &SendOptions) -> anyhow::Result<Ended> {
    let settings = settings::settings(&options.place)?;
    if settings.targets.is_empty() {
        bail!("no record server is named: use --to BASE or a configuration with a target");
    }
    let outbox = settings::outbox(&settings).await?;
    let targets: Vec<String> = settings.targets.iter().map(|t| t.name.clone()).collect();
    let catalogue = documents::tables()?;
    let mut ended = Ended::Done;
    let mut waiting = Vec::new();
    let mut documents_json = Vec::new();
    for (number, path) in (1..).zip(&options.files) {
        let document = documents::read(path, number)?;
        let name = path.display().to_string();
        let now = MachineClock.now();
        match submit(&outbox, &catalogue, &targets, &document, now).await? {
            Submitted::Accepted {
                session,
                version,
                before,
                items,
                told,
            } => {
                waiting.extend(items.iter().map(|item| item.id));
                documents_json.push(accepted_json(&name, session, version, before, &items));
                if !options.json {
                    report::problems(&mut io::stdout(), &name, &told)?;
                    let how = if before {
                        "accepted before"
                    } else {
                        "accepted"
                    };
                    writeln!(
                        io::stdout(),
                        "{name}: {how}: session {session} version {version}"
                    )?;
                }
            }
            Submitted::Held(held) => {
                ended = ended.max(report::ended(&held.problems));
                documents_json.push(report::problems_json(&name, &held.problems));
                if !options.json {
                    report::problems(&mut io::stdout(), &name, &held.problems)?;
                    writeln!(io::stdout(), "{name}: nothing was stored, nothing was sent")?;
                }
            }
        }
    }
    if options.files.is_empty() {
        waiting.extend(outbox.items(true).await?.iter().map(|item| item.id));
    }
    let until = MachineClock.now() + TimeDelta::seconds(i64::from(options.wait));
    for delivery in settings::deliveries(&settings, &outbox)? {
        let of_target = of_target(&outbox, &waiting, &delivery.connection.target().name).await?;
        delivery.until_settled(&of_target, until).await?;
    }
    let items = items(&outbox, &waiting).await?;
    print(options, documents_json, &items)?;
    outbox.close().await;
    Ok(items
        .iter()
        .map(|item| of_state(item.state))
        .fold(ended, Ended::max))
}

fn of_state(state: State) -> Ended {
    match state {
        State::Delivered | State::Dropped => Ended::Done,
        State::Queued | State::Sending | State::Unknown => Ended::NotDelivered,
        State::Refused | State::Waiting => Ended::WaitsForAPerson,
    }
}

async fn items(outbox: &Outbox, ids: &[Uuid]) -> anyhow::Result<Vec<Item>> {
    let mut items = Vec::new();
    for id in ids {
        items.extend(outbox.item(*id).await?);
    }
    Ok(items)
}

async fn of_target(outbox: &Outbox, ids: &[Uuid], target: &str) -> anyhow::Result<Vec<Uuid>> {
    let items = items(outbox, ids).await?;
    Ok(items
        .into_iter()
        .filter(|item| item.target == target)
        .map(|item| item.id)
        .collect())
}

fn accepted_json(name: &str, session: Uuid, version: u32, before: bool, items: &[Item]) -> Node {
    let items = items.iter().map(|item| text(item.id.to_string()));
    object([
        ("document", text(name)),
        ("session", text(session.to_string())),
        ("version", Node::Number(version.to_string())),
        ("accepted_before", Node::Bool(before)),
        ("items", Node::List(items.collect())),
    ])
}

fn print(options: &SendOptions, documents: Vec<Node>, items: &[Item]) -> anyhow::Result<()> {
    let mut out = io::stdout();
    if options.json {
        let items = items.iter().map(queue::item_json).collect();
        let all = object([
            ("documents", Node::List(documents)),
            ("items", Node::List(items)),
        ]);
        out.write_all(all.pretty().as_bytes())?;
        return Ok(());
    }
    for item in items {
        queue::print_item(&mut out, item)?;
    }
    Ok(())
}
