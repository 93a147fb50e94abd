//! `target`: what will and will not work with each record server.

use crate::base::clock::MachineClock;
use crate::base::json::{Node, object, text};
use crate::delivery::deliver::http::Connection;
use crate::service::app::checked::{Check, Readiness};
use crate::service::app::target::{Looked, look};
use crate::service::cli::arguments::TargetOptions;
use crate::service::cli::{Ended, screen, settings};
use std::io::{self, Write};

pub(super) async fn target(options: &TargetOptions) -> anyhow::Result<Ended> {
    let mut ended = Ended::Done;
    let mut all = Vec::new();
    let mut out = screen::words_or_json(options.json);
    let settings = settings::of_targets(options)?;
    for target in settings.targets {
        let gets = settings.routes.words_of(&target.name);
        let mut looked = look(&Connection::new(target)?, &MachineClock).await;
        looked.lines.insert(0, routed(gets));
        ended = ended.max(of(&looked));
        if options.json {
            all.push(looked_json(&looked));
        } else {
            print(&mut out, &looked)?;
        }
    }
    if options.json {
        out.write_all(Node::List(all).pretty().as_bytes())?;
    }
    Ok(ended)
}

/// What the routes say of a target.
fn routed(gets: Option<String>) -> Check {
    match gets {
        Some(words) => Check::fine("sessions", format!("it gets {words}")),
        None => Check::other(
            "sessions",
            Readiness::Warning,
            "no route leads to it: it gets nothing that is new, and only corrections of what it has",
            "name it in a route, or take it out once its queue is empty",
        ),
    }
}

fn of(looked: &Looked) -> Ended {
    if !looked.answered {
        Ended::Unreachable
    } else if looked
        .lines
        .iter()
        .any(|line| line.readiness == Readiness::No)
    {
        Ended::Problems
    } else {
        Ended::Done
    }
}

fn print(out: &mut dyn Write, looked: &Looked) -> io::Result<()> {
    writeln!(out, "{} at {}", looked.name, looked.base.open())?;
    for line in &looked.lines {
        let first = format!("  {:<8}  {:<13} ", line.readiness.word(), line.about);
        screen::wrapped(out, &first, &line.what)?;
        if let Some(change) = &line.change {
            let first = " ".repeat(first.chars().count());
            screen::wrapped(out, &first, &format!("change: {change}"))?;
        }
    }
    let of = |readiness: Readiness| {
        looked
            .lines
            .iter()
            .filter(|line| line.readiness == readiness)
            .count()
    };
    let (fine, warnings) = (of(Readiness::Fine), of(Readiness::Warning));
    let (no, not_said) = (of(Readiness::No), of(Readiness::NotSaid));
    writeln!(
        out,
        "{fine} ok, {warnings} warning, {no} no, {not_said} not said"
    )
}

fn looked_json(looked: &Looked) -> Node {
    object([
        ("target", text(looked.name.clone())),
        ("base", text(looked.base.open().clone())),
        ("answered", Node::Bool(looked.answered)),
        (
            "lines",
            Node::List(looked.lines.iter().map(line_json).collect()),
        ),
    ])
}

fn line_json(line: &Check) -> Node {
    let mut members = vec![
        ("about", text(line.about)),
        ("mark", text(line.readiness.word())),
        ("what", text(line.what.clone())),
    ];
    members.extend(line.change.clone().map(|change| ("change", text(change))));
    object(members)
}
