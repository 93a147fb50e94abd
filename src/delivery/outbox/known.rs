//! What is known of a session and its person before a document is accepted.

use crate::delivery::outbox::engine::{On, Row, Transaction, query};
use crate::delivery::outbox::kept::{
    DOCUMENT, KeptText, Kind, OF_PRECAUTION, RECORD, STATED, of_session,
};
use crate::delivery::outbox::offer::{Before, Key};
use crate::delivery::outbox::{NotAccepted, Outbox, OutboxError};

/// What the store knows of a session and its person, as far as it decides whether a document fits and what
/// it is encoded against. Two that are equal stand for the same [`Before`]:
///
/// - precautions, earlier sessions and the version before are read from rows of sessions and their
///   precautions, which are only added and purged, each person's under one lock: `sessions` and `emptied`
///   count both;
/// - the versions of this session may be another person's: `kept`, `latest` and `purged` tell of them;
/// - deliveries of earlier versions are sent and given up without that lock: `targets` is what is left.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Known {
    /// Hash of the document of the same session and version, when there is one.
    pub(super) kept: Option<String>,
    /// Latest version of the session and the person it belongs to.
    latest: Option<(u32, String)>,
    /// True when the content of a version was purged.
    pub(super) purged: bool,
    /// Rows of sessions of the person.
    sessions: i64,
    /// Those whose content was purged, with what was stated of precautions that no longer count.
    emptied: i64,
    /// Targets that have, or may get, an earlier version of the session.
    pub(super) targets: Vec<String>,
}

impl Known {
    pub(super) async fn of(connection: &mut Transaction, key: &Key) -> Result<Self, OutboxError> {
        let rows = query(
            "-- Known::of
             SELECT (SELECT count(*) FROM session WHERE subject = $1) AS sessions,
               (SELECT count(purged_at) FROM session WHERE subject = $1) AS emptied,
               there.version, there.subject, there.document_sha256,
               there.purged_at IS NOT NULL AS purged
             FROM (SELECT 1 AS one) AS asked
               LEFT JOIN session AS there ON there.source = $2 AND there.id = $3
             ORDER BY there.version",
        )
        .bind(&key.subject)
        .bind(&key.source)
        .bind(key.session.to_string())
        .fetch_all(&mut *connection)
        .await?;
        let mut known = Self {
            kept: None,
            latest: None,
            purged: false,
            sessions: 0,
            emptied: 0,
            targets: Vec::new(),
        };
        for row in rows {
            known.sessions = row.try_get("sessions")?;
            known.emptied = row.try_get("emptied")?;
            if row.try_get::<Option<i64>>("version")?.is_none() {
                continue;
            }
            let version = row.count("version")?;
            known.purged |= row.try_get::<bool>("purged")?;
            if version == key.version {
                known.kept = Some(row.try_get("document_sha256")?);
            }
            known.latest = Some((version, row.try_get("subject")?));
        }
        if known.latest.is_some() {
            known.targets = targets_before(connection, key).await?;
        }
        Ok(known)
    }

    /// Whether a document fits what was accepted before.
    pub(super) fn fits(&self, key: &Key) -> Result<(), NotAccepted> {
        match &self.kept {
            Some(kept) if *kept == key.document_sha256 => Ok(()),
            Some(_) => Err(NotAccepted::OtherContent),
            None => match self.out_of_order(key) {
                Some(reason) => Err(reason),
                None if self.purged => Err(NotAccepted::Purged),
                None => Ok(()),
            },
        }
    }

    fn out_of_order(&self, key: &Key) -> Option<NotAccepted> {
        let (latest, subject) = match &self.latest {
            Some((version, subject)) => (*version, subject),
            None => (0, &key.subject),
        };
        let expected = latest.saturating_add(1);
        if key.version != expected {
            Some(NotAccepted::Version { expected })
        } else if *subject != key.subject {
            Some(NotAccepted::OtherPerson)
        } else {
            None
        }
    }

    /// What a document is encoded against; only what can be there is asked for.
    pub(super) async fn before(
        &self,
        outbox: &Outbox,
        connection: &mut Transaction,
        key: &Key,
    ) -> Result<Before, OutboxError> {
        let mut before = Before {
            targets: self.targets.clone(),
            ..Before::default()
        };
        if self.sessions > 0 {
            before.precautions = precautions_before(outbox, connection, key).await?;
            before.sessions = sessions_before(outbox, &mut *connection, key).await?;
        }
        if self.latest.is_some() {
            before.version = version_before(outbox, connection, key).await?;
        }
        Ok(before)
    }
}

/// Precautions that stood when the examination began, each as its document stated it. What was emptied
/// counts for nobody any more: `purge::may_count` decided so.
async fn precautions_before(
    outbox: &Outbox,
    connection: &mut Transaction,
    key: &Key,
) -> Result<Vec<KeptText>, OutboxError> {
    let rows = query(
        "-- known::precautions_before
         SELECT source, session, version, id, stated, form FROM (
           SELECT precaution.source, precaution.session, precaution.version, precaution.id,
             precaution.stated, precaution.form, precaution.standing,
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
         WHERE nth = 1 AND standing AND stated <> '' ORDER BY id",
    )
    .bind(&key.subject)
    .bind(&key.source)
    .bind(key.session.to_string())
    .bind(key.examined_at)
    .fetch_all(connection)
    .await?;
    let stated = rows
        .iter()
        .map(|row| outbox.kept(row, &OF_PRECAUTION, STATED));
    stated.collect()
}

/// Document and record of the version before.
async fn version_before(
    outbox: &Outbox,
    connection: &mut Transaction,
    key: &Key,
) -> Result<Option<(KeptText, KeptText)>, OutboxError> {
    let row = query(
        "-- known::version_before
         SELECT source, id, version, document, record, form FROM session
         WHERE source = $1 AND id = $2 AND version = $3",
    )
    .bind(&key.source)
    .bind(key.session.to_string())
    .bind(key.version.saturating_sub(1))
    .fetch_optional(connection)
    .await?;
    let both = |row: &Row| {
        let document = outbox.kept(row, &of_session(Kind::Document), DOCUMENT)?;
        let record = outbox.kept(row, &of_session(Kind::Record), RECORD)?;
        Ok((document, record))
    };
    row.as_ref().map(both).transpose()
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
/// its latest version, unless that one is withdrawn or its content was purged.
pub(super) async fn sessions_before(
    outbox: &Outbox,
    on: impl Into<On<'_>>,
    key: &Key,
) -> Result<Vec<KeptText>, OutboxError> {
    let rows = query(
        "-- known::sessions_before
         SELECT source, id, version, document, form FROM session
         WHERE subject = $1 AND NOT (source = $2 AND id = $3)
           AND examined_at < $4 AND NOT withdrawn AND purged_at IS NULL
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
    let documents = rows.iter();
    let documents = documents.map(|row| outbox.kept(row, &of_session(Kind::Document), DOCUMENT));
    documents.collect()
}
