//! Where `encode` and `summary` find the earlier sessions that they compare with.

use crate::base::problem::Problem;
use crate::delivery::deliver::http::Connection;
use crate::delivery::outbox::Outbox;
use crate::service::app::assess::Earlier;
use crate::service::app::{earlier, held};
use crate::service::cli::arguments::{EarlierFrom, EarlierSessions};
use crate::service::cli::before::Before;
use crate::service::cli::report::{Mistake, Refused};
use crate::service::cli::sessions::{Beside, Sessions};
use crate::service::cli::{screen, settings};
use crate::tables::catalogue::Catalogue;
use chrono::{DateTime, Utc};
use std::io::Write as _;

/// Takes the earlier sessions of the command line the pure way; they are compared with and not
/// written. What does not hold is told.
pub(super) fn files(
    options: &EarlierSessions,
    refused: &mut Refused,
    beside: &Beside,
    before: &mut Before,
    catalogue: &Catalogue,
    now: DateTime<Utc>,
) -> anyhow::Result<()> {
    for path in &options.earlier {
        let name = path.display().to_string();
        let mut sessions = Sessions::of(path, beside);
        while let Some(session) = sessions.next() {
            let (problems, rows): (Vec<Problem>, _) = match session {
                Err(problems) => (problems, None),
                Ok(given) => match given.encode(&before.of(&given.text), catalogue, now) {
                    Ok(encoded) => {
                        before.add(encoded);
                        continue;
                    }
                    Err(held) => (held.problems, given.rows),
                },
            };
            refused.add(&name, &problems, rows.as_ref())?;
        }
    }
    Ok(())
}

/// Where earlier sessions come from besides the command line.
pub(super) enum Source {
    Nowhere,
    Store(Outbox),
    Target(Box<Connection>),
}

impl Source {
    pub(super) async fn of(options: &EarlierSessions) -> anyhow::Result<Self> {
        let Some(from) = options.earlier_from else {
            return Ok(Self::Nowhere);
        };
        let settings = settings::of_earlier(options)?;
        match from {
            EarlierFrom::Store => Ok(Self::Store(settings::existing_outbox(&settings).await?)),
            EarlierFrom::Target => match settings.targets.as_slice() {
                [one] => Ok(Self::Target(Box::new(Connection::new(one.clone())?))),
                [] => Err(Mistake(settings::NO_TARGET.to_owned()).into()),
                [_, _, ..] => {
                    let what = "several record servers are configured: name one with --to";
                    Err(Mistake(what.to_owned()).into())
                }
            },
        }
    }

    /// Adds what is known there to what the command line gave; the latest stays first.
    pub(super) async fn add(
        &self,
        earlier: &mut Earlier,
        text: &str,
        catalogue: &Catalogue,
    ) -> anyhow::Result<()> {
        let found = match self {
            Self::Nowhere => return Ok(()),
            Self::Store(outbox) => earlier::of_store(outbox, text, catalogue).await?,
            Self::Target(connection) => {
                let found = held::sessions(connection, text, catalogue).await;
                let found =
                    found.map_err(|cause| Mistake(format!("the record server: {cause}")))?;
                if let Some(words) = found.words() {
                    writeln!(screen::screen(), "the record server {words}")?;
                }
                found.sessions
            }
        };
        earlier.sessions = earlier::with(std::mem::take(&mut earlier.sessions), found);
        Ok(())
    }
}
