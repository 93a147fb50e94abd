//! What a person decides about a stuck item, and lanes that are held by hand of a worker.

use crate::base::json::{object, text};
use crate::delivery::outbox::engine::query;
use crate::delivery::outbox::lane::hold_still;
use crate::delivery::outbox::trail::{self, About};
use crate::delivery::outbox::{Decision, Outbox, OutboxError, columns};
use chrono::{DateTime, SecondsFormat, Utc};
use std::time::Duration;
use uuid::Uuid;

impl Outbox {
    /// What a person decided about an item; false when it is done, or a worker holds it right now.
    ///
    /// A released item goes on at once; one whose outcome is unknown stays so, because only a
    /// search can settle it.
    ///
    /// # Errors
    /// [`OutboxError`] when the store fails.
    pub async fn decide(
        &self,
        id: Uuid,
        decision: &Decision,
        by: &str,
        why: &str,
        now: DateTime<Utc>,
    ) -> Result<bool, OutboxError> {
        let (mut transaction, now) = self.begin(now).await?;
        let (drop, event) = match decision {
            Decision::Release => (false, "released"),
            Decision::Drop => (true, "dropped"),
        };
        let words = format!(
            "{event} by {by} at {}: {why}",
            now.to_rfc3339_opts(SecondsFormat::Secs, true)
        );
        let row = query(
            "-- Outbox::decide
             UPDATE item SET due_at = $3,
               state = CASE WHEN $2 THEN 'dropped' WHEN state = 'unknown' THEN 'unknown'
                 ELSE 'queued' END,
               confirmed = CASE WHEN $2 THEN confirmed
                 ELSE coalesce(confirmed || ',', '') || coalesce(reason, '') END,
               decided = coalesce(decided || '; ', '') || $4
             WHERE id = $1 AND state IN ('refused', 'waiting', 'unknown', 'queued')
             RETURNING source, session, version, target, reason",
        )
        .bind(id.to_string())
        .bind(drop)
        .bind(now.timestamp_millis())
        .bind(&words)
        .fetch_optional(&mut transaction)
        .await?;
        let Some(row) = row else { return Ok(false) };
        let (source, target): (String, String) = (row.try_get("source")?, row.try_get("target")?);
        let about = About {
            source: &source,
            session: columns::uuid(row.try_get("session")?)?,
            version: row.count("version")?,
            item: Some((id, &target)),
        };
        let held_by = row.try_get::<Option<String>>("reason")?.unwrap_or_default();
        // The words of the person stay out of the trail: their hash binds what is kept beside it.
        let detail = object([
            ("held_by", text(held_by)),
            (
                "decided_sha256",
                text(crate::tables::catalogue::sha256_hex(words.as_bytes())),
            ),
        ]);
        trail::add(&mut transaction, now, event, about, detail).await?;
        transaction.commit().await?;
        Ok(true)
    }

    /// Takes a lane that has no items, such as that of an instrument, for as long as a lease.
    ///
    /// # Errors
    /// [`OutboxError`] when the store fails.
    pub async fn hold(
        &self,
        target: &str,
        subject: &str,
        until: DateTime<Utc>,
        now: DateTime<Utc>,
    ) -> Result<Option<Uuid>, OutboxError> {
        let token = Uuid::new_v4();
        let (mut transaction, now) = self.begin(now).await?;
        let rows = query(
            "-- Outbox::hold
             INSERT INTO lane (target, subject, next_number, token, lease_until)
             VALUES ($1, $2, 1, $3, $4)
             ON CONFLICT (target, subject) DO UPDATE
               SET token = excluded.token, lease_until = excluded.lease_until
             WHERE lane.lease_until IS NULL OR lane.lease_until <= $5",
        )
        .bind(target)
        .bind(subject)
        .bind(token.to_string())
        .bind(until.timestamp_millis())
        .bind(now.timestamp_millis())
        .execute(&mut transaction)
        .await?;
        transaction.commit().await?;
        Ok((rows == 1).then_some(token))
    }

    /// Notes that a request is about to leave under a lane taken by [`Outbox::hold`], and holds the lane
    /// for so long from now on: whatever becomes of the worker, nobody sends another before that. False
    /// when the lease has ended or somebody else has the lane; then nothing may leave.
    ///
    /// # Errors
    /// [`OutboxError`] when the store fails.
    pub async fn hold_on(
        &self,
        target: &str,
        subject: &str,
        token: Uuid,
        length: Duration,
        now: DateTime<Utc>,
    ) -> Result<bool, OutboxError> {
        let (mut transaction, _begun) = self.begin(now).await?;
        hold_still(&mut transaction, target, subject).await?;
        let now = self.now(&mut transaction, now).await?;
        let held = query(
            "-- Outbox::hold_on
             UPDATE lane SET lease_until = $4
             WHERE target = $1 AND subject = $2 AND token = $3 AND lease_until > $5",
        )
        .bind(target)
        .bind(subject)
        .bind(token.to_string())
        .bind((now + length).timestamp_millis())
        .bind(now.timestamp_millis())
        .execute(&mut transaction)
        .await?;
        transaction.commit().await?;
        Ok(held == 1)
    }

    /// Gives back a lane taken by [`Outbox::hold`].
    ///
    /// # Errors
    /// [`OutboxError`] when the store fails.
    pub async fn let_go(
        &self,
        target: &str,
        subject: &str,
        token: Uuid,
    ) -> Result<(), OutboxError> {
        query(
            "-- Outbox::let_go
             UPDATE lane SET token = NULL, lease_until = NULL
             WHERE target = $1 AND subject = $2 AND token = $3",
        )
        .bind(target)
        .bind(subject)
        .bind(token.to_string())
        .execute(&self.pool)
        .await?;
        Ok(())
    }
}
