//! Looking without changing anything.

use crate::base::json::{object, text};
use crate::delivery::outbox::engine::{Row, query};
use crate::delivery::outbox::kept::{
    DOCUMENT, KeptText, Kind, OF_PRECAUTION, RECORD, STATED, of_session,
};
use crate::delivery::outbox::known::sessions_before;
use crate::delivery::outbox::offer::Key;
use crate::delivery::outbox::rows::item_columns;
use crate::delivery::outbox::{Item, Kept, Outbox, OutboxError, State, WantedItems, columns};
use uuid::Uuid;

/// What is kept of one person.
#[derive(Debug, Clone, Default)]
pub struct OfSubject {
    /// Documents, each session in its latest version, in the order in which they were examined.
    pub documents: Vec<KeptText>,
    /// Sessions whose content was purged.
    pub purged: Vec<Uuid>,
    /// What those state of precautions that may still stand, each as its document stated it, the
    /// earliest first.
    pub precautions: Vec<KeptText>,
}

impl Outbox {
    /// Documents of the sessions of the same person that were examined before, the latest first.
    ///
    /// # Errors
    /// [`OutboxError`] when the store does not answer.
    pub async fn sessions_before(&self, key: &Key) -> Result<Vec<KeptText>, OutboxError> {
        sessions_before(self, &self.pool, key).await
    }

    /// Deliveries, the open ones or all, in the order of lanes.
    ///
    /// # Errors
    /// [`OutboxError`] when the store does not answer.
    pub async fn items(&self, open_only: bool) -> Result<Vec<Item>, OutboxError> {
        self.items_wanted(&WantedItems {
            open_only,
            ..WantedItems::default()
        })
        .await
    }

    /// The deliveries asked for, in the order of lanes.
    ///
    /// # Errors
    /// [`OutboxError`] when the store does not answer.
    pub async fn items_wanted(&self, wanted: &WantedItems) -> Result<Vec<Item>, OutboxError> {
        let rows = query(concat!(
            "-- Outbox::items_wanted
             SELECT ",
            item_columns!(),
            " FROM item JOIN session ON session.source = item.source
                AND session.id = item.session AND session.version = item.version
             WHERE (NOT $1 OR item.state NOT IN ('delivered', 'dropped'))
               AND ($2 IS NULL OR item.state = $2)
               AND ($3 IS NULL OR item.target = $3)
               AND ($4 IS NULL OR item.session = $4)
             ORDER BY item.target, session.accepted_at, item.number"
        ))
        .bind(wanted.open_only)
        .bind(wanted.state.map(State::word))
        .bind(&wanted.target)
        .bind(wanted.session.map(|session| session.to_string()))
        .fetch_all(&self.pool)
        .await?;
        rows.iter().map(|row| self.read_item(row)).collect()
    }

    /// One delivery.
    ///
    /// # Errors
    /// [`OutboxError`] when the store does not answer.
    pub async fn item(&self, id: Uuid) -> Result<Option<Item>, OutboxError> {
        let row = query(concat!(
            "-- Outbox::item
             SELECT ",
            item_columns!(),
            " FROM item JOIN session ON session.source = item.source
                AND session.id = item.session AND session.version = item.version
             WHERE item.id = $1"
        ))
        .bind(id.to_string())
        .fetch_optional(&self.pool)
        .await?;
        row.as_ref().map(|row| self.read_item(row)).transpose()
    }

    /// The document that a delivery is about; nothing where there is no such delivery.
    ///
    /// # Errors
    /// [`OutboxError`] when the store does not answer.
    pub async fn document_of(&self, item: Uuid) -> Result<Option<KeptText>, OutboxError> {
        let row = query(
            "-- Outbox::document_of
             SELECT session.source, session.id, session.version, session.document, session.form
             FROM item JOIN session ON session.source = item.source
               AND session.id = item.session AND session.version = item.version
             WHERE item.id = $1",
        )
        .bind(item.to_string())
        .fetch_optional(&self.pool)
        .await?;
        let document = row.map(|row| self.kept(&row, &of_session(Kind::Document), DOCUMENT));
        document.transpose()
    }

    /// The sessions as accepted, the earliest first, all of them in memory.
    ///
    /// # Errors
    /// [`OutboxError`] when the store does not answer.
    pub async fn sessions(&self) -> Result<Vec<Kept>, OutboxError> {
        let rows = query(
            "-- Outbox::sessions
             SELECT source, id, version, document, record, form, accepted_at FROM session
             ORDER BY accepted_at, source, id, version",
        )
        .fetch_all(&self.pool)
        .await?;
        rows.iter().map(|row| self.kept_session(row)).collect()
    }

    /// The latest session whose record holds a resource under this full URL; nothing where none does, or
    /// where the content of the session was purged. It is looked for by the store, so that one session is
    /// in memory and not all.
    ///
    /// # Errors
    /// [`OutboxError`] when the store does not answer.
    pub async fn session_with(&self, full_url: &str) -> Result<Option<Kept>, OutboxError> {
        let written = object([("fullUrl", text(full_url))]).compact();
        let row = query(
            "-- Outbox::session_with
             SELECT source, id, version, document, record, form, accepted_at FROM session
             WHERE length(replace(record, $1, '')) < length(record)
             ORDER BY accepted_at DESC, source DESC, id DESC, version DESC LIMIT 1",
        )
        .bind(written.trim_matches(['{', '}']))
        .fetch_optional(&self.pool)
        .await?;
        row.as_ref().map(|row| self.kept_session(row)).transpose()
    }

    /// The deliveries whose receipt names this reference.
    ///
    /// # Errors
    /// [`OutboxError`] when the store does not answer.
    pub async fn items_stored_as(&self, reference: &str) -> Result<Vec<Item>, OutboxError> {
        let written = object([("reference", text(reference))]).compact();
        let rows = query(concat!(
            "-- Outbox::items_stored_as
             SELECT ",
            item_columns!(),
            " FROM item JOIN session ON session.source = item.source
                AND session.id = item.session AND session.version = item.version
             WHERE length(replace(item.receipt, $1, '')) < length(item.receipt)
             ORDER BY item.target, item.number"
        ))
        .bind(written.trim_matches(['{', '}']))
        .fetch_all(&self.pool)
        .await?;
        rows.iter().map(|row| self.read_item(row)).collect()
    }

    /// The people, as hashes of their identifiers, who have a session of this name: one, unless two
    /// sources gave the same name.
    ///
    /// # Errors
    /// [`OutboxError`] when the store does not answer.
    pub async fn subjects_of(&self, session: Uuid) -> Result<Vec<String>, OutboxError> {
        let rows = query(
            "-- Outbox::subjects_of
             SELECT DISTINCT subject FROM session WHERE id = $1 ORDER BY subject",
        )
        .bind(session.to_string())
        .fetch_all(&self.pool)
        .await?;
        rows.iter().map(|row| row.try_get("subject")).collect()
    }

    /// The systems in which a session of this name was written: one, unless two gave the same name.
    ///
    /// # Errors
    /// [`OutboxError`] when the store does not answer.
    pub async fn sources_of(&self, session: Uuid) -> Result<Vec<String>, OutboxError> {
        let rows = query(
            "-- Outbox::sources_of
             SELECT DISTINCT source FROM session WHERE id = $1 ORDER BY source",
        )
        .bind(session.to_string())
        .fetch_all(&self.pool)
        .await?;
        rows.iter().map(|row| row.try_get("source")).collect()
    }

    /// What is kept of a person, withdrawn sessions as well.
    ///
    /// # Errors
    /// [`OutboxError`] when the store does not answer.
    pub async fn of_subject(&self, subject: &str) -> Result<OfSubject, OutboxError> {
        let rows = query(
            "-- Outbox::of_subject
             SELECT source, id, version, document, form, purged_at IS NOT NULL AS purged
             FROM session
             WHERE subject = $1
               AND version = (SELECT max(latest.version) FROM session AS latest
                              WHERE latest.source = session.source AND latest.id = session.id)
             ORDER BY examined_at, accepted_at, source, id",
        )
        .bind(subject)
        .fetch_all(&self.pool)
        .await?;
        let mut kept = OfSubject::default();
        for row in &rows {
            if row.try_get::<bool>("purged")? {
                kept.purged.push(columns::uuid(row.try_get("id")?)?);
            } else {
                let document = self.kept(row, &of_session(Kind::Document), DOCUMENT)?;
                kept.documents.push(document);
            }
        }
        if !kept.purged.is_empty() {
            kept.precautions = self.precautions_of_purged(subject).await?;
        }
        Ok(kept)
    }

    /// What purged sessions state of precautions, as long as it may count.
    async fn precautions_of_purged(&self, subject: &str) -> Result<Vec<KeptText>, OutboxError> {
        let rows = query(
            "-- Outbox::precautions_of_purged
             SELECT precaution.source, precaution.session, precaution.version, precaution.id,
               precaution.stated, precaution.form FROM precaution
             JOIN session ON session.source = precaution.source AND session.id = precaution.session
               AND session.version = precaution.version
             WHERE precaution.subject = $1 AND precaution.stated <> '' AND precaution.standing
               AND session.purged_at IS NOT NULL AND NOT session.withdrawn
               AND session.version = (SELECT max(latest.version) FROM session AS latest
                                      WHERE latest.source = session.source
                                        AND latest.id = session.id)
             ORDER BY session.examined_at, session.accepted_at, session.id, precaution.id",
        )
        .bind(subject)
        .fetch_all(&self.pool)
        .await?;
        rows.iter()
            .map(|row| self.kept(row, &OF_PRECAUTION, STATED))
            .collect()
    }

    /// When the next open delivery of a target falls due, ms since 1970 UTC; nothing when every
    /// lane is empty or blocked, or the target is paused.
    ///
    /// # Errors
    /// [`OutboxError`] when the store does not answer.
    pub async fn next_due(&self, target: &str) -> Result<Option<i64>, OutboxError> {
        let row = query(
            "-- Outbox::next_due
             SELECT min(CASE WHEN lane.lease_until > item.due_at THEN lane.lease_until
                             ELSE item.due_at END) AS due
             FROM lane JOIN item ON item.target = lane.target AND item.subject = lane.subject
             WHERE lane.target = $1
               AND NOT coalesce((SELECT paused FROM target_decision WHERE target = $1
                                 ORDER BY number DESC LIMIT 1), FALSE)
               AND item.state IN ('queued', 'sending', 'unknown')
               AND item.number = (SELECT min(head.number) FROM item AS head
                                  WHERE head.target = lane.target
                                    AND head.subject = lane.subject
                                    AND head.state NOT IN ('delivered', 'dropped'))",
        )
        .bind(target)
        .fetch_one(&self.pool)
        .await?;
        row.try_get("due")
    }
}

impl Outbox {
    fn kept_session(&self, row: &Row) -> Result<Kept, OutboxError> {
        Ok(Kept {
            source: row.try_get("source")?,
            session: columns::uuid(row.try_get("id")?)?,
            version: row.count("version")?,
            document: self.kept(row, &of_session(Kind::Document), DOCUMENT)?,
            record: self.kept(row, &of_session(Kind::Record), RECORD)?,
            accepted_at: columns::written(row.try_get("accepted_at")?)?,
        })
    }
}
