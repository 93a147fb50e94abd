//! `store --purge-due` and `store --purge`: content that is to be kept no longer.

use crate::base::clock::{Clock, MachineClock};
use crate::delivery::outbox::Outbox;
use crate::delivery::outbox::purge::{Purged, Why};
use crate::service::app::retention::Purging;
use crate::service::cli::arguments::StoreOptions;
use crate::service::cli::report::{self, Mistake};
use crate::service::cli::{Ended, screen};
use crate::service::config::Settings;
use std::io::{self, Write};
use std::sync::Arc;
use uuid::Uuid;

/// How many are listed that would be purged.
const LISTED: u32 = 1000;

pub(super) async fn due(
    options: &StoreOptions,
    settings: &Settings,
    outbox: &Outbox,
) -> anyhow::Result<Ended> {
    let Some(days) = settings.retention.after_days else {
        let told = "the configuration names no time of keeping: say after_days under [retention]";
        return Err(Mistake(told.to_owned()).into());
    };
    let purging = Purging {
        outbox: outbox.clone(),
        retention: settings.retention,
        clock: Arc::new(MachineClock),
    };
    let mut out = screen::screen();
    if options.dry_run {
        let due = purging.due(LISTED).await?;
        for (source, session) in &due {
            writeln!(out, "{session} of {source}")?;
        }
        let many = report::counted(count(due.len()), "session", "sessions");
        let ago = report::counted(u64::from(days), "day", "days");
        writeln!(
            out,
            "{many} accepted {ago} ago or earlier, every delivery of which is done; nothing was purged"
        )?;
        return Ok(Ended::Done);
    }
    let done = purging.once().await?;
    let many = report::counted(count(done.sessions), "session", "sessions");
    writeln!(
        out,
        "the content of {many} was purged; the trail tells of each"
    )?;
    stays(&mut out, done.standing)?;
    if done.sessions > 0 && !done.forgotten {
        writeln!(out, "{READ}")?;
    }
    Ok(Ended::Done)
}

const READ: &str = "somebody was reading meanwhile: the log of the store holds some of it until the next \
                    purge, or until nobody has the store open";

pub(super) async fn one(
    options: &StoreOptions,
    outbox: &Outbox,
    session: Uuid,
) -> anyhow::Result<Ended> {
    let (by, why) = (
        options.by.as_deref().unwrap_or_default(),
        options.why.as_deref().unwrap_or_default(),
    );
    let mut out = screen::screen();
    let sources = outbox.sources_of(session).await?;
    let [source] = sources.as_slice() else {
        let told = if sources.is_empty() {
            "no session of this name is kept here"
        } else {
            "sessions of several sources have this name: nothing was purged"
        };
        writeln!(out, "{told}")?;
        return Ok(Ended::Problems);
    };
    let decision = Why::Decision { by, why };
    let purged = outbox.purge(source, session, decision, MachineClock.now());
    let told = match purged.await? {
        Purged::Gone { versions, standing } => {
            let versions = report::counted(count(versions), "version", "versions");
            writeln!(
                out,
                "the content of {versions} of session {session} was purged; the trail tells of each"
            )?;
            stays(&mut out, standing)?;
            if !outbox.forget_freed().await? {
                writeln!(out, "{READ}")?;
            }
            return Ok(Ended::Done);
        }
        Purged::Before => "its content was purged before",
        Purged::Open => {
            "a delivery of it is not done: let it be delivered, or give it up (fascicle queue), and say \
             this again"
        }
        Purged::NotKept => "no session of this name is kept here",
    };
    writeln!(out, "{told}")?;
    Ok(Ended::Problems)
}

fn stays(out: &mut dyn Write, standing: u32) -> io::Result<()> {
    if standing == 0 {
        return Ok(());
    }
    let many = report::counted(u64::from(standing), "precaution", "precautions");
    writeln!(
        out,
        "{many} may still stand and stay kept: whoever examines next has to know of them"
    )
}

fn count(many: usize) -> u64 {
    u64::try_from(many).unwrap_or(u64::MAX)
}
