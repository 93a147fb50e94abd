//! Looking without changing anything.

use crate::outbox::accept::Key;
use crate::outbox::engine::query;
use crate::outbox::known::sessions_before;
use crate::outbox::rows::{self, item_columns};
use crate::outbox::{Item, Kept, Outbox, OutboxError, WantedItems};
use crate::private::Private;
use uuid::Uuid;

impl Outbox {
    /// Documents of the sessions of the same person that were examined before, the latest first.
    ///
    /// # Errors
    /// [`OutboxError`] when the store does not answer.
    pub async fn sessions_before(&self, key: &Key) -> Result<Vec<Private<String>>, OutboxError> {
        let documents = sessions_before(&self.pool, key).await?;
        Ok(documents.into_iter().map(Private::new).collect())
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
        .bind(wanted.state.map(rows::column))
        .bind(&wanted.target)
        .bind(wanted.session.map(|session| session.to_string()))
        .fetch_all(&self.pool)
        .await?;
        rows.iter().map(rows::item).collect()
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
        row.as_ref().map(rows::item).transpose()
    }

    /// The sessions as accepted, the earliest first.
    ///
    /// # Errors
    /// [`OutboxError`] when the store does not answer.
    pub async fn sessions(&self) -> Result<Vec<Kept>, OutboxError> {
        let rows = query(
            "-- Outbox::sessions
             SELECT source, id, version, document, record, accepted_at FROM session
             ORDER BY accepted_at, source, id, version",
        )
        .fetch_all(&self.pool)
        .await?;
        rows.iter()
            .map(|row| {
                Ok(Kept {
                    source: row.try_get("source")?,
                    session: rows::uuid(row.try_get("id")?)?,
                    version: row.count("version")?,
                    document: Private::new(row.try_get("document")?),
                    record: Private::new(row.try_get("record")?),
                    accepted_at: rows::written(row.try_get("accepted_at")?)?,
                })
            })
            .collect()
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

    /// The documents of a person, each session in its latest version, in the order in which they were
    /// examined; withdrawn ones as well.
    ///
    /// # Errors
    /// [`OutboxError`] when the store does not answer.
    pub async fn latest_of_subject(
        &self,
        subject: &str,
    ) -> Result<Vec<Private<String>>, OutboxError> {
        let rows = query(
            "-- Outbox::latest_of_subject
             SELECT document FROM session
             WHERE subject = $1
               AND version = (SELECT max(latest.version) FROM session AS latest
                              WHERE latest.source = session.source AND latest.id = session.id)
             ORDER BY examined_at, accepted_at, source, id",
        )
        .bind(subject)
        .fetch_all(&self.pool)
        .await?;
        rows.iter()
            .map(|row| Ok(Private::new(row.try_get("document")?)))
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
