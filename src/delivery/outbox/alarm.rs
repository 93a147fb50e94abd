//! What is urgent and not delivered, and of which somebody was alerted.

use crate::base::code::Code;
use crate::base::json::{object, text};
use crate::delivery::outbox::engine::query;
use crate::delivery::outbox::rows::item_columns;
use crate::delivery::outbox::trail::{self, About};
use crate::delivery::outbox::{Item, Outbox, OutboxError};
use chrono::{DateTime, SecondsFormat, Utc};

/// The reason of a delivery that is an alarm by itself: somebody has to look at the record server.
pub const DUPLICATE: Code = Code::DuplicateFound;

impl Outbox {
    /// Deliveries that are urgent and not done, the oldest first.
    ///
    /// # Errors
    /// [`OutboxError`] when the store does not answer.
    pub async fn urgent_open(&self) -> Result<Vec<Item>, OutboxError> {
        let rows = query(concat!(
            "-- Outbox::urgent_open
             SELECT ",
            item_columns!(),
            " FROM session JOIN item ON item.source = session.source
                AND item.session = session.id AND item.version = session.version
             WHERE session.urgent IS NOT NULL AND item.state NOT IN ('delivered', 'dropped')
             ORDER BY session.accepted_at, item.target, item.number"
        ))
        .fetch_all(&self.pool)
        .await?;
        rows.iter().map(|row| self.read_item(row)).collect()
    }

    /// Deliveries of which somebody is to be alerted now and was not yet: urgent ones that a person has
    /// to decide about, or that are not there though they were accepted before `late`; and duplicates.
    ///
    /// # Errors
    /// [`OutboxError`] when the store does not answer.
    pub async fn to_alert(&self, late: DateTime<Utc>) -> Result<Vec<Item>, OutboxError> {
        let rows = query(concat!(
            "-- Outbox::to_alert
             SELECT ",
            item_columns!(),
            " FROM session JOIN item ON item.source = session.source
                AND item.session = session.id AND item.version = session.version
             WHERE item.state NOT IN ('delivered', 'dropped')
               AND ((session.urgent IS NOT NULL
                     AND (item.state IN ('refused', 'waiting') OR session.accepted_at <= $1))
                    OR (item.state = 'waiting' AND item.reason = $2))
               AND NOT EXISTS (SELECT 1 FROM trail
                               WHERE trail.item = item.id AND trail.event = 'alerted')
             ORDER BY session.accepted_at, item.target, item.number"
        ))
        .bind(late.to_rfc3339_opts(SecondsFormat::Millis, true))
        .bind(DUPLICATE.word())
        .fetch_all(&self.pool)
        .await?;
        rows.iter().map(|row| self.read_item(row)).collect()
    }

    /// Notes that somebody was alerted of a delivery, and how.
    ///
    /// # Errors
    /// [`OutboxError`] when the store fails.
    pub async fn alerted(
        &self,
        item: &Item,
        how: &str,
        now: DateTime<Utc>,
    ) -> Result<(), OutboxError> {
        let (mut transaction, now) = self.begin(now).await?;
        let row = query(
            "-- Outbox::alerted
             SELECT source FROM item WHERE id = $1",
        )
        .bind(item.id.to_string())
        .fetch_one(&mut transaction)
        .await?;
        let source: String = row.try_get("source")?;
        let about = About {
            source: &source,
            session: item.session,
            version: item.version,
            item: Some((item.id, &item.target)),
        };
        let detail = object([("how", text(how)), ("urgent", text(item.urgent.join(",")))]);
        trail::add(&mut transaction, now, "alerted", about, detail).await?;
        transaction.commit().await?;
        Ok(())
    }
}
