//! `send`: accept, deliver, wait, print what came of it.

use crate::base::clock::{Clock, MachineClock};
use crate::base::json::{Node, object, text};
use crate::delivery::outbox::{Item, Outbox, State};
use crate::examination::intake::sheet::rows::Rows;
use crate::service::app::deliver::settled;
use crate::service::app::encode::Held;
use crate::service::app::shown;
use crate::service::app::submit::{Intake, Submitted};
use crate::service::cli::arguments::SendOptions;
use crate::service::cli::progress::Progress;
use crate::service::cli::report::Mistake;
use crate::service::cli::sessions::{Beside, Sessions};
use crate::service::cli::{Ended, queue, report, screen, settings};
use chrono::TimeDelta;
use std::io::{self, Write};
use std::path::Path;
use std::time::Duration;
use uuid::Uuid;

/// How often the bar is moved on.
const LOOK_AGAIN: Duration = Duration::from_millis(500);

/// Accepts, delivers and waits; `logging` where log lines are written besides.
pub(super) async fn send(options: &SendOptions, logging: bool) -> anyhow::Result<Ended> {
    let settings = settings::settings(&options.place)?;
    if settings.targets.is_empty() {
        return Err(Mistake(settings::NO_TARGET.to_owned()).into());
    }
    // Before the store is touched: with a bad table nothing may start.
    let catalogue = settings::tables(&options.own, &settings)?;
    let beside = Beside::read(options.beside.session.as_ref())?;
    let outbox = settings::outbox(&settings).await?;
    let mut told = SendReport {
        ended: Ended::Done,
        waiting: Vec::new(),
        documents: Vec::new(),
    };
    let progress = Progress::of(options.files.len(), options.json || logging);
    progress.now("accepting", options.files.len());
    let elsewhere = settings::elsewhere(&settings)?;
    let accepting = Accepting {
        outbox: &outbox,
        intake: Intake {
            catalogue: &catalogue,
            routes: &settings.routes,
            elsewhere: elsewhere.as_ref(),
        },
        progress: &progress,
        json: options.json,
    };
    for (number, path) in (1..).zip(&options.files) {
        let sessions = Sessions::of(path, &beside);
        accepting.all_of(sessions, path, &mut told).await?;
        progress.at(number);
    }
    let mut waiting = told.waiting;
    if options.files.is_empty() {
        waiting.extend(outbox.items(true).await?.iter().map(|item| item.id));
    }
    let until = MachineClock.now() + TimeDelta::seconds(i64::from(options.wait));
    // Targets are worked at the same time: one that sleeps does not hold up another.
    let mut working = tokio::task::JoinSet::new();
    for delivery in settings::deliveries(&settings, &outbox)? {
        let of_target = of_target(&outbox, &waiting, &delivery.connection.target().name).await?;
        working.spawn(async move { delivery.until_settled(&of_target, until).await });
    }
    progress.now("delivering", waiting.len());
    while !working.is_empty() {
        tokio::select! {
            done = working.join_next() => if let Some(done) = done { done?? },
            () = tokio::time::sleep(LOOK_AGAIN) => {
                let items = items(&outbox, &waiting).await?;
                progress.at(items.iter().filter(|item| settled(item)).count());
            }
        }
    }
    progress.done();
    let items = items(&outbox, &waiting).await?;
    print(options, told.documents, &items)?;
    outbox.close().await;
    Ok(items
        .iter()
        .map(|item| of_state(item.state))
        .fold(told.ended, Ended::max))
}

/// What it takes to accept sessions.
struct Accepting<'a> {
    outbox: &'a Outbox,
    intake: Intake<'a>,
    progress: &'a Progress,
    json: bool,
}

impl Accepting<'_> {
    /// Accepts the sessions of one file.
    async fn all_of(
        &self,
        mut sessions: Sessions,
        path: &Path,
        told: &mut SendReport,
    ) -> anyhow::Result<()> {
        let name = path.display().to_string();
        while let Some(session) = sessions.next() {
            let (submitted, rows) = match session {
                Ok(given) => {
                    let now = MachineClock.now();
                    let submitted = given.submit(self.outbox, self.intake, now);
                    (submitted.await?, given.rows)
                }
                Err(problems) => (Submitted::Held(Held::new(problems)), None),
            };
            self.progress
                .aside(|| told.add(&name, submitted, rows.as_ref(), self.json))?;
        }
        Ok(())
    }
}

/// What was told of the documents so far.
struct SendReport {
    ended: Ended,
    waiting: Vec<Uuid>,
    documents: Vec<Node>,
}

impl SendReport {
    fn add(
        &mut self,
        name: &str,
        submitted: Submitted,
        rows: Option<&Rows>,
        json: bool,
    ) -> io::Result<()> {
        let mut out = screen::screen();
        match submitted {
            Submitted::Accepted {
                session,
                version,
                before,
                items,
                told,
            } => {
                self.waiting.extend(items.iter().map(|item| item.id));
                let mut document = accepted_json(name, session, version, before, &items);
                document.set("problems", shown::problems(&told, rows));
                self.documents.push(document);
                if !json {
                    report::problems(&mut out, name, &told, rows)?;
                    let how = if before {
                        "accepted before"
                    } else {
                        "accepted"
                    };
                    writeln!(out, "{name}: {how}: session {session} version {version}")?;
                }
            }
            Submitted::Held(held) => {
                self.ended = self.ended.max(report::ended(&held.problems));
                let mut told = report::problems_json(name, &held.problems, rows);
                if !held.urgent.is_empty() {
                    let codes = held.urgent.iter().map(|code| text(code.clone()));
                    told.set("urgent", Node::List(codes.collect()));
                }
                self.documents.push(told);
                if !json {
                    report::problems(&mut out, name, &held.problems, rows)?;
                    writeln!(out, "{name}: nothing was stored, nothing was sent")?;
                    if !held.urgent.is_empty() {
                        writeln!(
                            out,
                            "  URGENT ({}), and not kept: tell the treating team by telephone or in person",
                            held.urgent.join(", ")
                        )?;
                    }
                }
            }
        }
        Ok(())
    }
}

fn of_state(state: State) -> Ended {
    match state {
        State::Delivered => Ended::Done,
        State::Queued | State::Sending | State::Unknown => Ended::NotDelivered,
        // What was given up is not delivered and will not be, whoever sends it again.
        State::Refused | State::Waiting | State::Dropped => Ended::WaitsForAPerson,
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
    let mut out = screen::words_or_json(options.json);
    if options.json {
        let all = object([
            ("documents", Node::List(documents)),
            ("items", shown::items(items)),
        ]);
        out.write_all(all.pretty().as_bytes())?;
        return Ok(());
    }
    for item in items {
        queue::print_item(&mut out, item)?;
    }
    Ok(())
}
