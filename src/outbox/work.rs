//! Claiming lanes, finishing attempts, and what a person decides.

use crate::json::{Node, object, text};
use crate::outbox::rows::{self, item_columns};
use crate::outbox::trail::{self, About};
use crate::outbox::{LeaseLength, Leased, Outbox, OutboxError, Outcome, State};
use crate::private::Private;
use chrono::{DateTime, TimeDelta, Utc};
use sqlx::{Row, SqliteConnection};
use uuid::Uuid;

impl Outbox {
    /// Claims the lane of a target whose head is due, and begins an attempt at that head.
    ///
    /// The lease and the beginning are committed before this returns. A head that another worker
    /// left in sending when its lease ended is unknown: it may have reached the server. Nothing of
    /// a paused target is claimed.
    ///
    /// # Errors
    /// [`OutboxError`] when the store fails.
    pub async fn claim(
        &self,
        target: &str,
        lease: LeaseLength,
        now: DateTime<Utc>,
    ) -> Result<Option<Leased>, OutboxError> {
        let mut transaction = self.begin().await?;
        let token = Uuid::new_v4();
        let until = now + lease.whole;
        let Some(subject) = take_lane(&mut transaction, target, token, until, now).await? else {
            return Ok(None);
        };
        let mut leased = head(&mut transaction, target, &subject, token, until).await?;
        let about = About {
            source: &leased.1,
            session: leased.0.item.session,
            version: leased.0.item.version,
            item: Some((leased.0.item.id, target)),
        };
        if leased.0.item.state == State::Sending {
            let detail = object([("reason", text("lease-ended"))]);
            trail::add(&mut transaction, now, "unknown", about, detail).await?;
        }
        begin(&mut transaction, leased.0.item.id).await?;
        leased.0.item.attempts = leased.0.item.attempts.saturating_add(1);
        let attempt = Node::Number(leased.0.item.attempts.to_string());
        let detail = object([
            ("attempt", attempt),
            ("search_first", Node::Bool(leased.0.unknown)),
        ]);
        trail::add(&mut transaction, now, "sending", about, detail).await?;
        transaction.commit().await?;
        Ok(Some(leased.0))
    }

    /// Notes that a transaction is about to leave. Needs the token of the lease; without it somebody
    /// else holds the lane by now, and nothing may leave.
    ///
    /// # Errors
    /// [`OutboxError`] when the store fails.
    pub async fn about_to_send(
        &self,
        leased: &Leased,
        now: DateTime<Utc>,
    ) -> Result<bool, OutboxError> {
        let noted = sqlx::query(
            "-- Outbox::about_to_send
             UPDATE item SET sent_at = ?2, sends = sends + 1
             WHERE id = ?1 AND state = 'sending' AND EXISTS
               (SELECT 1 FROM lane WHERE lane.target = item.target
                  AND lane.subject = item.subject AND lane.token = ?3 AND lane.lease_until > ?2)",
        )
        .bind(leased.item.id.to_string())
        .bind(now.timestamp_millis())
        .bind(leased.token.to_string())
        .execute(&self.pool)
        .await?
        .rows_affected();
        Ok(noted == 1)
    }

    /// Ends an attempt. Needs the token of the lease and an item still in sending; otherwise the
    /// outcome is not kept, because somebody else holds the lane by now.
    ///
    /// # Errors
    /// [`OutboxError`] when the store fails.
    pub async fn finish(
        &self,
        leased: &Leased,
        outcome: &Outcome,
        now: DateTime<Utc>,
    ) -> Result<bool, OutboxError> {
        let mut transaction = self.begin().await?;
        if !release_lane(&mut transaction, leased).await? {
            return Ok(false);
        }
        let source = source_of(&mut transaction, leased.item.id).await?;
        let change = Change::of(outcome, leased.unknown);
        let changed = sqlx::query(
            "-- Outbox::finish
             UPDATE item SET state = ?2, due_at = ?3, reason = ?4, words = ?5, receipt = ?6,
               sent_at = CASE WHEN ?7 THEN ?8 ELSE sent_at END
             WHERE id = ?1 AND state = 'sending'",
        )
        .bind(leased.item.id.to_string())
        .bind(rows::column(change.state))
        .bind(change.due_at.unwrap_or(now).timestamp_millis())
        .bind(change.reason.clone())
        .bind(change.words.as_ref().map(|words| words.open().clone()))
        .bind(change.receipt.clone())
        .bind(change.nothing_stored)
        .bind(leased.sent_before.map(|at| at.timestamp_millis()))
        .execute(&mut *transaction)
        .await?
        .rows_affected();
        if changed != 1 {
            return Ok(false);
        }
        let about = About {
            source: &source,
            session: leased.item.session,
            version: leased.item.version,
            item: Some((leased.item.id, &leased.item.target)),
        };
        let detail = change.detail();
        trail::add(
            &mut transaction,
            now,
            rows::column(change.state),
            about,
            detail,
        )
        .await?;
        transaction.commit().await?;
        Ok(true)
    }
}

/// What an outcome does to the row of its item.
struct Change {
    state: State,
    due_at: Option<DateTime<Utc>>,
    reason: Option<String>,
    words: Option<Private<String>>,
    receipt: Option<String>,
    /// True when nothing of this attempt can have been stored.
    nothing_stored: bool,
}

impl Change {
    /// An item that was unknown stays so when this attempt sent nothing.
    fn of(outcome: &Outcome, was_unknown: bool) -> Self {
        let state = |state: State| Self {
            state,
            due_at: None,
            reason: None,
            words: None,
            receipt: None,
            nothing_stored: matches!(outcome, Outcome::Later { .. } | Outcome::Refused { .. }),
        };
        match outcome.clone() {
            Outcome::Delivered { receipt } => Self {
                receipt: Some(receipt),
                ..state(State::Delivered)
            },
            Outcome::Refused { reason, words } => Self {
                reason: Some(reason),
                words: Some(words),
                ..state(State::Refused)
            },
            Outcome::Waiting { reason, words } => Self {
                reason: Some(reason),
                words: Some(words),
                ..state(State::Waiting)
            },
            Outcome::Unknown {
                reason,
                words,
                due_at,
            } => Self {
                reason: Some(reason),
                words,
                due_at: Some(due_at),
                ..state(State::Unknown)
            },
            Outcome::Later { reason, due_at } => {
                let kept = if was_unknown {
                    State::Unknown
                } else {
                    State::Queued
                };
                Self {
                    reason: Some(reason),
                    due_at: Some(due_at),
                    ..state(kept)
                }
            }
        }
    }

    fn detail(&self) -> Node {
        let mut members = Vec::new();
        members.extend(self.reason.clone().map(|reason| ("reason", text(reason))));
        if let Some(receipt) = &self.receipt {
            // The receipt was written by us; a row keeps it as it is.
            members.push(("receipt", Node::parse(receipt).unwrap_or(Node::Null)));
        }
        object(members)
    }
}

async fn take_lane(
    connection: &mut SqliteConnection,
    target: &str,
    token: Uuid,
    until: DateTime<Utc>,
    now: DateTime<Utc>,
) -> Result<Option<String>, OutboxError> {
    let row = sqlx::query(
        "-- work::take_lane
         UPDATE lane SET token = ?2, lease_until = ?3
         WHERE target = ?1 AND subject = (
           SELECT lane.subject FROM lane
           JOIN item ON item.target = lane.target AND item.subject = lane.subject
           WHERE lane.target = ?1
             AND NOT coalesce((SELECT paused FROM target_decision WHERE target = ?1
                               ORDER BY number DESC LIMIT 1), 0)
             AND (lane.lease_until IS NULL OR lane.lease_until <= ?4 OR lane.lease_until > ?5)
             AND item.number = (SELECT min(head.number) FROM item AS head
                                WHERE head.target = lane.target
                                  AND head.subject = lane.subject
                                  AND head.state NOT IN ('delivered', 'dropped'))
             AND item.state IN ('queued', 'sending', 'unknown')
             AND (item.due_at <= ?4 OR item.due_at > ?6)
           ORDER BY item.due_at LIMIT 1)
         RETURNING subject",
    )
    .bind(target)
    .bind(token.to_string())
    .bind(until.timestamp_millis())
    .bind(now.timestamp_millis())
    // A lease or a wait longer than any we give comes from a clock that has been set back since.
    .bind((now + TimeDelta::days(1)).timestamp_millis())
    .bind((now + TimeDelta::days(2)).timestamp_millis())
    .fetch_optional(connection)
    .await?;
    Ok(row.map(|row| row.try_get("subject")).transpose()?)
}

/// The head of a lane as a leased item, and the source of its session.
async fn head(
    connection: &mut SqliteConnection,
    target: &str,
    subject: &str,
    token: Uuid,
    until: DateTime<Utc>,
) -> Result<(Leased, String), OutboxError> {
    let row = sqlx::query(concat!(
        "-- work::head
         SELECT ",
        item_columns!(),
        ", item.source, session.record, session.document,
           (SELECT earlier.receipt FROM item AS earlier
            WHERE earlier.target = item.target AND earlier.source = item.source
              AND earlier.session = item.session AND earlier.version = item.version - 1)
             AS receipt_before
         FROM item JOIN session ON session.source = item.source AND session.id = item.session
            AND session.version = item.version
         WHERE item.target = ?1 AND item.subject = ?2
           AND item.state NOT IN ('delivered', 'dropped')
         ORDER BY item.number LIMIT 1"
    ))
    .bind(target)
    .bind(subject)
    .fetch_one(connection)
    .await?;
    let item = rows::item(&row)?;
    let sent_at: Option<i64> = row.try_get("sent_at")?;
    let confirmed: Option<String> = row.try_get("confirmed")?;
    let leased = Leased {
        unknown: matches!(item.state, State::Unknown | State::Sending),
        item,
        subject: subject.to_owned(),
        token,
        until,
        sent_before: sent_at.map(rows::instant).transpose()?,
        sends: row.try_get("sends")?,
        receipt_before: row.try_get("receipt_before")?,
        record: Private::new(row.try_get("record")?),
        document: Private::new(row.try_get("document")?),
        confirmed: confirmed
            .unwrap_or_default()
            .split(',')
            .map(str::to_owned)
            .collect(),
    };
    Ok((leased, row.try_get("source")?))
}

async fn begin(connection: &mut SqliteConnection, id: Uuid) -> Result<(), OutboxError> {
    let changed = sqlx::query(
        "-- work::begin
         UPDATE item SET state = 'sending', attempts = attempts + 1
         WHERE id = ?1 AND state IN ('queued', 'sending', 'unknown')",
    )
    .bind(id.to_string())
    .execute(connection)
    .await?
    .rows_affected();
    if changed == 1 {
        Ok(())
    } else {
        Err(OutboxError::Row("a leased item"))
    }
}

async fn release_lane(
    connection: &mut SqliteConnection,
    leased: &Leased,
) -> Result<bool, OutboxError> {
    let released = sqlx::query(
        "-- work::release_lane
         UPDATE lane SET token = NULL, lease_until = NULL
         WHERE target = ?1 AND subject = ?2 AND token = ?3 AND lease_until = ?4",
    )
    .bind(&leased.item.target)
    .bind(&leased.subject)
    .bind(leased.token.to_string())
    .bind(leased.until.timestamp_millis())
    .execute(connection)
    .await?
    .rows_affected();
    Ok(released == 1)
}

async fn source_of(connection: &mut SqliteConnection, id: Uuid) -> Result<String, OutboxError> {
    let row = sqlx::query(
        "-- work::source_of
         SELECT source FROM item WHERE id = ?1",
    )
    .bind(id.to_string())
    .fetch_one(connection)
    .await?;
    Ok(row.try_get("source")?)
}
