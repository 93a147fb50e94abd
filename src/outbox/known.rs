//! What is known of a session and its person before a document is accepted.

use crate::outbox::accept::{Before, Key};
use crate::outbox::engine::{On, Transaction, query};
use crate::outbox::{NotAccepted, OutboxError};

pub(super) async fn kept_sha256(
    connection: &mut Transaction,
    key: &Key,
) -> Result<Option<String>, OutboxError> {
    let row = query(
        "-- accept::kept_sha256
         SELECT document_sha256 FROM session WHERE source = $1 AND id = $2 AND version = $3",
    )
    .bind(&key.source)
    .bind(key.session.to_string())
    .bind(key.version)
    .fetch_optional(connection)
    .await?;
    row.map(|row| row.try_get("document_sha256")).transpose()
}

pub(super) async fn out_of_order(
    connection: &mut Transaction,
    key: &Key,
) -> Result<Option<NotAccepted>, OutboxError> {
    let row = query(
        "-- accept::out_of_order
         SELECT version, subject FROM session WHERE source = $1 AND id = $2
         ORDER BY version DESC LIMIT 1",
    )
    .bind(&key.source)
    .bind(key.session.to_string())
    .fetch_optional(connection)
    .await?;
    let (latest, subject) = match row {
        Some(row) => (row.count("version")?, row.try_get::<String>("subject")?),
        None => (0, key.subject.clone()),
    };
    let expected = latest.saturating_add(1);
    Ok(if key.version != expected {
        Some(NotAccepted::Version { expected })
    } else if subject != key.subject {
        Some(NotAccepted::OtherPerson)
    } else {
        None
    })
}

pub(super) async fn before(connection: &mut Transaction, key: &Key) -> Result<Before, OutboxError> {
    let precautions = query(
        "-- accept::before (precautions)
         SELECT stated FROM (
           SELECT precaution.id, precaution.stated, precaution.standing,
             row_number() OVER (PARTITION BY precaution.id
               ORDER BY session.examined_at DESC, session.accepted_at DESC,
                 session.id DESC) AS nth
           FROM precaution
           JOIN session ON session.source = precaution.source AND session.id = precaution.session
             AND session.version = precaution.version
           WHERE precaution.subject = $1
             AND NOT (session.source = $2 AND session.id = $3)
             AND session.examined_at <= $4
             AND NOT session.withdrawn
             AND session.version = (SELECT max(latest.version) FROM session AS latest
                                    WHERE latest.source = session.source
                                      AND latest.id = session.id)) AS stood
         WHERE nth = 1 AND standing ORDER BY id",
    )
    .bind(&key.subject)
    .bind(&key.source)
    .bind(key.session.to_string())
    .bind(key.examined_at)
    .fetch_all(&mut *connection)
    .await?;
    let version = query(
        "-- accept::before (version)
         SELECT document, record FROM session WHERE source = $1 AND id = $2 AND version = $3",
    )
    .bind(&key.source)
    .bind(key.session.to_string())
    .bind(key.version.saturating_sub(1))
    .fetch_optional(&mut *connection)
    .await?;
    Ok(Before {
        targets: targets_before(&mut *connection, key).await?,
        sessions: sessions_before(connection, key).await?,
        precautions: precautions
            .iter()
            .map(|row| row.try_get("stated"))
            .collect::<Result<_, OutboxError>>()?,
        version: match version {
            Some(row) => Some((row.try_get("document")?, row.try_get("record")?)),
            None => None,
        },
    })
}

/// Targets that have, or may get, an earlier version of a session; what was given up before anything was
/// sent is at no target.
async fn targets_before(
    connection: &mut Transaction,
    key: &Key,
) -> Result<Vec<String>, OutboxError> {
    let rows = query(
        "-- known::targets_before
         SELECT DISTINCT target FROM item
         WHERE source = $1 AND session = $2 AND version < $3 AND (state <> 'dropped' OR sends > 0)
         ORDER BY target",
    )
    .bind(&key.source)
    .bind(key.session.to_string())
    .bind(key.version)
    .fetch_all(connection)
    .await?;
    rows.iter().map(|row| row.try_get("target")).collect()
}

/// How many earlier sessions of a person are looked into for the one that speaks of a finding.
const EARLIER_SESSIONS: u32 = 12;

/// Documents of the sessions of the same person that were examined before, the latest first: of each
/// its latest version, unless that one is withdrawn.
pub(super) async fn sessions_before(
    on: impl Into<On<'_>>,
    key: &Key,
) -> Result<Vec<String>, OutboxError> {
    let rows = query(
        "-- known::sessions_before
         SELECT document FROM session
         WHERE subject = $1 AND NOT (source = $2 AND id = $3)
           AND examined_at < $4 AND NOT withdrawn
           AND version = (SELECT max(latest.version) FROM session AS latest
                          WHERE latest.source = session.source AND latest.id = session.id)
         ORDER BY examined_at DESC, accepted_at DESC, id DESC LIMIT $5",
    )
    .bind(&key.subject)
    .bind(&key.source)
    .bind(key.session.to_string())
    .bind(key.examined_at)
    .bind(EARLIER_SESSIONS)
    .fetch_all(on)
    .await?;
    rows.iter().map(|row| row.try_get("document")).collect()
}
