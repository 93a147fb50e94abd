//! Ending the keeping of content that is no longer needed, as a recorded event.
//!
//! Purged are the document and the record of every version of a session, and what a server said of its
//! deliveries. The rows themselves stay, with their hashes, states and receipts: it is still known what was
//! sent where, nothing is ever sent twice, and the trail stays whole. What stands of precautions stays as
//! well, because whoever examines the person next has to know of it.

use crate::base::json::{Node, object, text};
use crate::delivery::outbox::accept::alone_with_person;
use crate::delivery::outbox::engine::{Pool, Transaction, query};
use crate::delivery::outbox::trail::{self, About};
use crate::delivery::outbox::{Outbox, OutboxError, columns};
use chrono::{DateTime, SecondsFormat, Utc};
use uuid::Uuid;

/// Why content goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Why<'a> {
    /// The site keeps content for so many days.
    Age {
        /// Days.
        days: u32,
    },
    /// A person decided so.
    Decision {
        /// Who.
        by: &'a str,
        /// Why.
        why: &'a str,
    },
}

/// What came of purging one session.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Purged {
    /// The content of so many versions is gone.
    Gone {
        /// Versions.
        versions: usize,
        /// Precautions of it that still stand, and stay.
        standing: u32,
    },
    /// It was gone before.
    Before,
    /// A delivery of it is not done.
    Open,
    /// There is no such session.
    NotKept,
}

/// The generation from which on a binary knows of purged content.
const KNOWS_PURGED: i64 = 6;

impl Outbox {
    /// The sessions whose content may be purged, the earliest first, at most so many: their last version
    /// was accepted before this time, and every delivery of them is delivered or was given up.
    ///
    /// # Errors
    /// [`OutboxError`] when the store does not answer.
    pub async fn purgeable(
        &self,
        before: DateTime<Utc>,
        most: u32,
    ) -> Result<Vec<(String, Uuid)>, OutboxError> {
        let rows = query(
            "-- Outbox::purgeable
             SELECT DISTINCT source, id, min(accepted_at) AS accepted_at FROM session
             WHERE purged_at IS NULL AND accepted_at < $1
               AND NOT EXISTS (SELECT 1 FROM session AS later
                               WHERE later.source = session.source AND later.id = session.id
                                 AND later.accepted_at >= $1)
               AND NOT EXISTS (SELECT 1 FROM item
                               WHERE item.source = session.source AND item.session = session.id
                                 AND item.state NOT IN ('delivered', 'dropped'))
             GROUP BY source, id ORDER BY accepted_at LIMIT $2",
        )
        .bind(written(before))
        .bind(most)
        .fetch_all(&self.pool)
        .await?;
        rows.iter()
            .map(|row| Ok((row.try_get("source")?, columns::uuid(row.try_get("id")?)?)))
            .collect()
    }

    /// Purges the content of every version of a session, unless a delivery of it is not done. The rows of
    /// the trail are written in the same transaction.
    ///
    /// # Errors
    /// [`OutboxError`] when the store fails; then nothing was purged.
    pub async fn purge(
        &self,
        source: &str,
        session: Uuid,
        why: Why<'_>,
        now: DateTime<Utc>,
    ) -> Result<Purged, OutboxError> {
        let (mut transaction, now) = self.begin(now).await?;
        let versions = held(&mut transaction, source, session).await?;
        if versions.is_empty() {
            return Ok(Purged::NotKept);
        }
        let kept: Vec<&Version> = versions.iter().filter(|one| !one.purged).collect();
        if kept.is_empty() {
            return Ok(Purged::Before);
        }
        if open(&mut transaction, source, session).await? {
            return Ok(Purged::Open);
        }
        query(
            "-- Outbox::purge
             UPDATE session SET document = '', record = '', purged_at = $3, purged_why = $4
             WHERE source = $1 AND id = $2 AND purged_at IS NULL",
        )
        .bind(source)
        .bind(session.to_string())
        .bind(written(now))
        .bind(words(why, now))
        .execute(&mut transaction)
        .await?;
        query(
            "-- Outbox::purge (words of servers)
             UPDATE item SET words = NULL WHERE source = $1 AND session = $2",
        )
        .bind(source)
        .bind(session.to_string())
        .execute(&mut transaction)
        .await?;
        let standing = purge_precautions(&mut transaction, source, session).await?;
        query(
            "-- Outbox::purge (generation)
             UPDATE schema_use SET oldest = $1 WHERE oldest < $1",
        )
        .bind(KNOWS_PURGED)
        .execute(&mut transaction)
        .await?;
        let told = kept.iter().map(|version| {
            let about = About {
                source,
                session,
                version: version.number,
                item: None,
            };
            trail::of_session(now, "purged", about, &version.detail(why, now))
        });
        trail::add_all(&mut transaction, told.collect()).await?;
        transaction.commit().await?;
        Ok(Purged::Gone {
            versions: kept.len(),
            standing,
        })
    }

    /// Takes what was purged out of the file as well, where the store is one: freed pages are overwritten
    /// as they are freed, and what the write-ahead log holds goes with it
    /// (sqlite.org/pragma.html, `secure_delete` and `wal_checkpoint`). False while somebody is reading: then
    /// the log keeps it until the next time. A database does it by its own rules (VACUUM).
    ///
    /// # Errors
    /// [`OutboxError`] when the store does not answer.
    pub async fn forget_freed(&self) -> Result<bool, OutboxError> {
        if matches!(self.pool, Pool::Postgres(_)) {
            return Ok(true);
        }
        let row = query(
            "-- Outbox::forget_freed
             PRAGMA wal_checkpoint(TRUNCATE)",
        )
        .fetch_one(&self.pool)
        .await?;
        Ok(row.try_get::<i64>("busy")? == 0)
    }
}

/// A version of a session.
struct Version {
    number: u32,
    document_sha256: String,
    purged: bool,
}

impl Version {
    /// The words of a person stay out of the trail: their hash binds what is kept beside it.
    fn detail(&self, why: Why<'_>, now: DateTime<Utc>) -> Node {
        let hash = text(self.document_sha256.clone());
        let reason = match why {
            Why::Age { days } => ("after_days", Node::Number(days.to_string())),
            Why::Decision { .. } => (
                "decided_sha256",
                text(crate::tables::catalogue::sha256_hex(
                    words(why, now).as_bytes(),
                )),
            ),
        };
        object([("document_sha256", hash), reason])
    }
}

/// Every version of a session, locked where several nodes share the store.
async fn held(
    connection: &mut Transaction,
    source: &str,
    session: Uuid,
) -> Result<Vec<Version>, OutboxError> {
    let of_person = query(
        "-- purge::held (person)
         SELECT subject FROM session WHERE source = $1 AND id = $2 ORDER BY version LIMIT 1",
    )
    .bind(source)
    .bind(session.to_string())
    .fetch_optional(&mut *connection)
    .await?;
    if let Some(row) = of_person {
        let subject: String = row.try_get("subject")?;
        alone_with_person(connection, &subject).await?;
    }
    let rows = query(
        "-- purge::held
         SELECT version, document_sha256, purged_at IS NOT NULL AS purged FROM session
         WHERE source = $1 AND id = $2 ORDER BY version",
    )
    .bind(source)
    .bind(session.to_string())
    .fetch_all(connection)
    .await?;
    rows.iter()
        .map(|row| {
            Ok(Version {
                number: row.count("version")?,
                document_sha256: row.try_get("document_sha256")?,
                purged: row.try_get("purged")?,
            })
        })
        .collect()
}

async fn open(
    connection: &mut Transaction,
    source: &str,
    session: Uuid,
) -> Result<bool, OutboxError> {
    let row = query(
        "-- purge::open
         SELECT EXISTS (SELECT 1 FROM item WHERE source = $1 AND session = $2
                          AND state NOT IN ('delivered', 'dropped')) AS open",
    )
    .bind(source)
    .bind(session.to_string())
    .fetch_one(connection)
    .await?;
    row.try_get("open")
}

/// Empties what was stated of precautions of a session that count no longer, and gives how many stay.
async fn purge_precautions(
    connection: &mut Transaction,
    source: &str,
    session: Uuid,
) -> Result<u32, OutboxError> {
    let stated = query(
        "-- purge::purge_precautions
         SELECT DISTINCT subject, id FROM precaution WHERE source = $1 AND session = $2 ORDER BY id",
    )
    .bind(source)
    .bind(session.to_string())
    .fetch_all(&mut *connection)
    .await?;
    let mut staying = 0_u32;
    for row in &stated {
        let (subject, id): (String, String) = (row.try_get("subject")?, row.try_get("id")?);
        if may_count(connection, &subject, &id).await? {
            staying = staying.saturating_add(1);
            continue;
        }
        query(
            "-- purge::purge_precautions (one)
             UPDATE precaution SET stated = '' WHERE subject = $1 AND id = $2",
        )
        .bind(subject)
        .bind(id)
        .execute(&mut *connection)
        .await?;
    }
    Ok(staying)
}

/// Whether a precaution stands, or may stand again: while a session that states it can still be withdrawn,
/// an earlier statement may come to count. Which statement counts, `known::precautions_before` says.
async fn may_count(
    connection: &mut Transaction,
    subject: &str,
    id: &str,
) -> Result<bool, OutboxError> {
    let rows = query(
        "-- purge::may_count
         SELECT precaution.standing, session.withdrawn, session.purged_at IS NOT NULL AS purged,
           session.version = (SELECT max(latest.version) FROM session AS latest
                              WHERE latest.source = session.source
                                AND latest.id = session.id) AS latest
         FROM precaution
         JOIN session ON session.source = precaution.source AND session.id = precaution.session
           AND session.version = precaution.version
         WHERE precaution.subject = $1 AND precaution.id = $2
         ORDER BY session.examined_at DESC, session.accepted_at DESC, session.id DESC",
    )
    .bind(subject)
    .bind(id)
    .fetch_all(connection)
    .await?;
    let mut stands = None;
    for row in &rows {
        if !row.try_get::<bool>("purged")? {
            return Ok(true);
        }
        if row.try_get::<bool>("latest")? && !row.try_get::<bool>("withdrawn")? && stands.is_none()
        {
            stands = Some(row.try_get::<bool>("standing")?);
        }
    }
    Ok(stands.unwrap_or(false))
}

/// As it is kept beside the session.
fn words(why: Why<'_>, now: DateTime<Utc>) -> String {
    let at = now.to_rfc3339_opts(SecondsFormat::Secs, true);
    match why {
        Why::Age { days } => format!("purged at {at}: {days} days after it was accepted"),
        Why::Decision { by, why } => format!("purged by {by} at {at}: {why}"),
    }
}

fn written(at: DateTime<Utc>) -> String {
    at.to_rfc3339_opts(SecondsFormat::Millis, true)
}
