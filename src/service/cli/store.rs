//! `store`: what the store holds, a copy of it while it is in use, and its move into a database.

use crate::base::json::{Node, object, text};
use crate::delivery::outbox::contents::Content;
use crate::delivery::outbox::moving::{Moving, move_store};
use crate::delivery::outbox::place::Place as Store;
use crate::service::cli::arguments::StoreOptions;
use crate::service::cli::report::Mistake;
use crate::service::cli::{Ended, purge, report, screen, settings};
use crate::service::config::ConfigError;
use std::io::{self, Write};
use std::path::Path;

pub(super) async fn store(options: &StoreOptions) -> anyhow::Result<Ended> {
    let settings = settings::settings(&options.place())?;
    if let Some(address) = &options.move_to {
        let to =
            Store::named(address, options.password_file.clone()).map_err(ConfigError::State)?;
        return moved(&settings.state, &to).await;
    }
    let outbox = settings::existing_outbox(&settings).await?;
    let ended = if let Some(file) = &options.backup {
        backup(outbox.copy_to(file).await?, file)?
    } else if options.purge_due {
        purge::due(options, &settings, &outbox).await?
    } else if let Some(session) = options.purge {
        purge::one(options, &outbox, session).await?
    } else {
        let (oldest, newest) = outbox.generations().await?;
        let held = outbox.contents().await?;
        let words = settings.state.words();
        let mut out = screen::words_or_json(options.json);
        if options.json {
            let node = object([
                ("store", text(words)),
                ("oldest_generation", Node::Number(oldest.to_string())),
                ("newest_generation", Node::Number(newest.to_string())),
                (
                    "tables",
                    Node::List(held.iter().map(content_json).collect()),
                ),
            ]);
            out.write_all(node.pretty().as_bytes())?;
        } else {
            writeln!(
                out,
                "{words}, for generations {oldest} to {newest} of Fascicle"
            )?;
            print(&mut out, &held)?;
        }
        Ended::Done
    };
    outbox.close().await;
    Ok(ended)
}

fn backup(copied: bool, file: &Path) -> anyhow::Result<Ended> {
    if !copied {
        let told = "a database is copied with its own tools, while it is in use: \
                    pg_dump --format=custom --file=COPY, and pg_restore into an empty database";
        return Err(Mistake(told.to_owned()).into());
    }
    writeln!(
        screen::screen(),
        "{} holds the store as it stood; note the last hash of `fascicle trail --verify` elsewhere",
        file.display()
    )?;
    Ok(Ended::Done)
}

async fn moved(from: &Store, to: &Store) -> anyhow::Result<Ended> {
    let (Store::Folder(folder), Store::Database(database)) = (from, to) else {
        let told = "a store is moved from a folder into a database: --state DIR --move-to \
                    postgres://user@host/database";
        return Err(Mistake(told.to_owned()).into());
    };
    let mut out = screen::screen();
    match move_store(folder, database).await? {
        Moving::Done(held) => {
            print(&mut out, &held)?;
            writeln!(
                out,
                "the {} holds all of it, compared row by row; the folder is kept and refuses to be \
                 used: name the database as state in every configuration",
                database.words()
            )?;
        }
        Moving::Before => writeln!(
            out,
            "the {} has the store already; nothing was changed",
            database.words()
        )?,
    }
    Ok(Ended::Done)
}

fn print(out: &mut dyn Write, held: &[Content]) -> io::Result<()> {
    for content in held {
        let rows = report::counted(content.rows, "row", "rows");
        let hash = content.sha256.get(..16).unwrap_or("-");
        writeln!(out, "  {:<16} {rows:>14}  {hash}", content.table)?;
    }
    Ok(())
}

fn content_json(content: &Content) -> Node {
    object([
        ("table", text(content.table)),
        ("rows", Node::Number(content.rows.to_string())),
        ("sha256", text(content.sha256.clone())),
    ])
}
