//! When a target was left alone because it failed again and again, and when it went on: rows of the
//! trail, so that every process and every auditor sees them.

use crate::base::code::reason::Reason;
use crate::base::json::{Node, object, text};
use crate::delivery::outbox::engine::{On, query};
use crate::delivery::outbox::{LeftAlone, Outbox, OutboxError, columns, trail};
use chrono::{DateTime, Utc};
use std::collections::BTreeMap;

const OPENED: &str = "breaker-opened";
const CLOSED: &str = "breaker-closed";

impl Outbox {
    /// Notes that a target is left alone, after so many failures in a row of which the last was this;
    /// nothing where that is known already. True when a row was added.
    ///
    /// # Errors
    /// [`OutboxError`] when the store fails.
    pub async fn leave_alone(
        &self,
        target: &str,
        failures: u32,
        reason: &Reason,
        now: DateTime<Utc>,
    ) -> Result<bool, OutboxError> {
        let failures = Node::Number(failures.to_string());
        let detail = object([("failures", failures), ("reason", text(reason.to_string()))]);
        self.turn(target, OPENED, detail, now).await
    }

    /// Notes that a target goes on; nothing where it was not left alone. True when a row was added.
    ///
    /// # Errors
    /// [`OutboxError`] when the store fails.
    pub async fn go_on(&self, target: &str, now: DateTime<Utc>) -> Result<bool, OutboxError> {
        let detail = object::<&str>([]);
        self.turn(target, CLOSED, detail, now).await
    }

    async fn turn(
        &self,
        target: &str,
        event: &str,
        detail: Node,
        now: DateTime<Utc>,
    ) -> Result<bool, OutboxError> {
        let (mut transaction, now) = self.begin(now).await?;
        trail::hold_end(&mut transaction).await?;
        let is_open = open(&mut transaction).await?.contains_key(target);
        if is_open == (event == OPENED) {
            return Ok(false);
        }
        trail::add_of_target(&mut transaction, now, event, target, detail).await?;
        transaction.commit().await?;
        Ok(true)
    }

    /// The targets that are left alone now, as far as any process noted.
    ///
    /// # Errors
    /// [`OutboxError`] when the store does not answer.
    pub async fn left_alone(&self) -> Result<BTreeMap<String, LeftAlone>, OutboxError> {
        open(&self.pool).await
    }
}

async fn open(on: impl Into<On<'_>>) -> Result<BTreeMap<String, LeftAlone>, OutboxError> {
    let found = query(
        "-- turns::open
         SELECT target, at, detail FROM trail
         WHERE event = $1 AND number IN
           (SELECT max(number) FROM trail WHERE event IN ($1, $2) GROUP BY target)",
    )
    .bind(OPENED)
    .bind(CLOSED)
    .fetch_all(on)
    .await?;
    let mut open = BTreeMap::new();
    for row in &found {
        let detail: String = row.try_get("detail")?;
        let detail = Node::parse(&detail).map_err(|_not_ours| OutboxError::Row("a detail"))?;
        let failures = match detail.member("failures") {
            Some(Node::Number(number)) => number.parse().ok(),
            _ => None,
        };
        let left = LeftAlone {
            since: columns::written(row.try_get("at")?)?,
            failures: failures.ok_or(OutboxError::Row("a count"))?,
            reason: columns::reason(detail.text_of("reason").unwrap_or_default())?,
        };
        open.insert(row.try_get("target")?, left);
    }
    Ok(open)
}
