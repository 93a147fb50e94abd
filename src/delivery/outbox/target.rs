//! Targets as such: paused or not, and what waits for each.

use crate::base::json::{object, text};
use crate::base::private::Private;
use crate::delivery::outbox::engine::{query, query_each};
use crate::delivery::outbox::{Outbox, OutboxError, Pausing, State, TargetHeld, columns, trail};
use crate::tables::catalogue::sha256_hex;
use chrono::{DateTime, SecondsFormat, Utc};
use std::collections::BTreeMap;

impl Outbox {
    /// Binds the name of a target to its record server for good.
    ///
    /// # Errors
    /// [`OutboxError::OtherServer`] when the name stands for another one in this store: what was
    /// accepted for one server is not delivered to another.
    pub async fn bind_target(&self, name: &str, base_sha256: &str) -> Result<(), OutboxError> {
        let row = query(
            "-- Outbox::bind_target
             INSERT INTO target (name, base_sha256) VALUES ($1, $2)
             ON CONFLICT (name) DO UPDATE SET name = excluded.name
             RETURNING base_sha256",
        )
        .bind(name)
        .bind(base_sha256)
        .fetch_one(&self.pool)
        .await?;
        if row.try_get::<String>("base_sha256")? == base_sha256 {
            Ok(())
        } else {
            Err(OutboxError::OtherServer(name.to_owned()))
        }
    }

    /// Pauses a target, or lets it go on: a paused target keeps what is accepted for it and sends
    /// nothing. An attempt that runs at this moment is not cut off.
    ///
    /// # Errors
    /// [`OutboxError`] when the store fails.
    pub async fn pause(
        &self,
        target: &str,
        paused: bool,
        by: &str,
        why: &str,
        now: DateTime<Utc>,
    ) -> Result<Pausing, OutboxError> {
        let (mut transaction, now) = self.begin(now).await?;
        let row = query_each(
            "-- Outbox::pause (as it is)
             SELECT coalesce((SELECT paused FROM target_decision
                              WHERE target_decision.target = target.name
                              ORDER BY number DESC LIMIT 1), FALSE) AS paused
             FROM target WHERE name = $1",
            "-- Outbox::pause (as it is)
             SELECT coalesce((SELECT paused FROM target_decision
                              WHERE target_decision.target = target.name
                              ORDER BY number DESC LIMIT 1), FALSE) AS paused
             FROM target WHERE name = $1 FOR UPDATE",
        )
        .bind(target)
        .fetch_optional(&mut transaction)
        .await?;
        let Some(row) = row else {
            return Ok(Pausing::NoSuchTarget);
        };
        if row.try_get::<bool>("paused")? == paused {
            return Ok(Pausing::AsItWas);
        }
        let event = if paused { "paused" } else { "resumed" };
        let words = format!(
            "{event} by {by} at {}: {why}",
            now.to_rfc3339_opts(SecondsFormat::Secs, true)
        );
        query(
            "-- Outbox::pause
             INSERT INTO target_decision (target, paused, at, decided) VALUES ($1, $2, $3, $4)",
        )
        .bind(target)
        .bind(paused)
        .bind(now.to_rfc3339_opts(SecondsFormat::Millis, true))
        .bind(&words)
        .execute(&mut transaction)
        .await?;
        // The words of the person stay out of the trail: their hash binds what is kept beside it.
        let detail = object([("decided_sha256", text(sha256_hex(words.as_bytes())))]);
        trail::add_of_target(&mut transaction, now, event, target, detail).await?;
        transaction.commit().await?;
        Ok(Pausing::Changed)
    }

    /// Every target of the store, in the order of names.
    ///
    /// # Errors
    /// [`OutboxError`] when the store does not answer.
    pub async fn targets(&self) -> Result<Vec<TargetHeld>, OutboxError> {
        let named = query(
            "-- Outbox::targets
             SELECT target.name, (SELECT CASE WHEN paused THEN decided END FROM target_decision
                                  WHERE target_decision.target = target.name
                                  ORDER BY number DESC LIMIT 1) AS decided
             FROM target ORDER BY target.name",
        )
        .fetch_all(&self.pool)
        .await?;
        let mut targets = Vec::new();
        for row in &named {
            targets.push(TargetHeld {
                name: row.try_get("name")?,
                paused: row.try_get::<Option<String>>("decided")?.map(Private::new),
                counts: State::ALL.into_iter().map(|state| (state, 0)).collect(),
                oldest_open: None,
            });
        }
        let counted = query(
            "-- Outbox::targets (counts)
             SELECT item.target, item.state, count(*) AS items, min(session.accepted_at) AS oldest
             FROM item JOIN session ON session.source = item.source
               AND session.id = item.session AND session.version = item.version
             GROUP BY item.target, item.state",
        )
        .fetch_all(&self.pool)
        .await?;
        for row in &counted {
            let (name, state): (String, State) = (
                row.try_get("target")?,
                columns::state(row.try_get("state")?)?,
            );
            let Some(held) = targets.iter_mut().find(|held| held.name == name) else {
                continue;
            };
            held.counts.insert(state, row.try_get("items")?);
            if !state.is_done() {
                let oldest = columns::written(row.try_get("oldest")?)?;
                let before = held.oldest_open.unwrap_or(oldest);
                held.oldest_open = Some(before.min(oldest));
            }
        }
        Ok(targets)
    }

    /// How many rows of the trail tell of each event at each target; an event of no target stands
    /// under `None`.
    ///
    /// # Errors
    /// [`OutboxError`] when the store does not answer.
    pub async fn events(&self) -> Result<BTreeMap<(Option<String>, String), i64>, OutboxError> {
        let counted = query(
            "-- Outbox::events
             SELECT target, event, count(*) AS rows FROM trail GROUP BY target, event",
        )
        .fetch_all(&self.pool)
        .await?;
        let mut events = BTreeMap::new();
        for row in &counted {
            let key = (row.try_get("target")?, row.try_get("event")?);
            events.insert(key, row.try_get("rows")?);
        }
        Ok(events)
    }
}
