//! `summary`: what a colleague reads, of documents or of what is kept.

use crate::base::clock::{Clock, MachineClock};
use crate::base::json::Node;
use crate::fhir::summary::Summary;
use crate::service::app::summary::{self, SummaryAnswer};
use crate::service::cli::arguments::SummaryOptions;
use crate::service::cli::before::Before;
use crate::service::cli::earlier::Source;
use crate::service::cli::report::{Mistake, Refused};
use crate::service::cli::sessions::{Beside, Sessions};
use crate::service::cli::tables::tables;
use crate::service::cli::{Ended, earlier, report, screen, settings};
use std::io::{self, Write};
use uuid::Uuid;

pub(super) async fn summary(options: &SummaryOptions) -> anyhow::Result<Ended> {
    match options.of {
        Some(session) => of_store(options, session).await,
        None => of_documents(options).await,
    }
}

const NOTHING: &str = "nothing was summarised";

/// Of documents, which are neither kept nor sent by it.
async fn of_documents(options: &SummaryOptions) -> anyhow::Result<Ended> {
    if options.files.is_empty() {
        let words = "name session documents, or a session that is kept with --of SESSION";
        return Err(Mistake(words.to_owned()).into());
    }
    let catalogue = tables(options.own.tables.as_deref(), &options.own.reference_tables)?;
    let now = MachineClock.now();
    let beside = Beside::read(options.beside.session.as_ref())?;
    let mut before = Before::default();
    let mut refused = Refused::new(options.json);
    let mut summaries = Vec::new();
    for files in [&options.with.earlier, &options.files] {
        for path in files {
            let mut sessions = Sessions::of(path, &beside);
            while let Some(Ok(given)) = sessions.next() {
                before.announce(&given.text);
            }
        }
    }
    earlier::files(
        &options.with,
        &mut refused,
        &beside,
        &mut before,
        &catalogue,
        now,
    )?;
    if !refused.is_empty() {
        return Ok(refused.nothing(NOTHING)?);
    }
    let source = Source::of(&options.with).await?;
    for path in &options.files {
        let name = path.display().to_string();
        let mut sessions = Sessions::of(path, &beside);
        while let Some(session) = sessions.next() {
            let given = match session {
                Ok(given) => given,
                Err(problems) => {
                    refused.add(&name, &problems, None)?;
                    continue;
                }
            };
            let mut known = before.of(&given.text);
            source.add(&mut known, &given.text, &catalogue).await?;
            match given.encode(&known, &catalogue, now) {
                Ok(encoded) => {
                    summaries.push(encoded.summary.clone());
                    before.add(encoded);
                }
                Err(why) => refused.add(&name, &why.problems, given.rows.as_ref())?,
            }
        }
    }
    // A summary of a document that does not hold would be taken for one that does.
    if !refused.is_empty() {
        return Ok(refused.nothing(NOTHING)?);
    }
    print(&summaries, options.json)?;
    Ok(Ended::Done)
}

async fn of_store(options: &SummaryOptions, session: Uuid) -> anyhow::Result<Ended> {
    let place = options.place();
    let settings = settings::settings(&place)?;
    let catalogue = settings::tables(&options.own, &settings)?;
    let outbox = settings::existing_outbox(&settings).await?;
    let today = MachineClock.now().date_naive();
    let asked = summary::kept(&outbox, &catalogue, session, options.view, today).await?;
    outbox.close().await;
    let words = match asked {
        SummaryAnswer::Summary(one) => {
            print(&[one], options.json)?;
            return Ok(Ended::Done);
        }
        SummaryAnswer::NotKept => "no session of this name is kept here",
        SummaryAnswer::SeveralPeople => {
            "sessions of several people have this name, so nothing is put together of them"
        }
        SummaryAnswer::AllWithdrawn => {
            "every session of this person that is kept here was withdrawn"
        }
        SummaryAnswer::Purged => {
            "the content of it was purged when its time of keeping was over; the record server has what was \
             sent"
        }
    };
    report::say(options.json, "error", words)?;
    Ok(Ended::Problems)
}

fn print(summaries: &[Summary], json: bool) -> io::Result<()> {
    let mut out = screen::words_or_json(json);
    if json {
        let all = Node::List(summaries.iter().map(summary::shown).collect());
        return out.write_all(all.pretty().as_bytes());
    }
    for (index, one) in summaries.iter().enumerate() {
        if index > 0 {
            writeln!(out)?;
        }
        out.write_all(one.text().as_bytes())?;
    }
    Ok(())
}
