//! Taking a lane, holding it and giving it back.

use crate::delivery::outbox::engine::{Transaction, query, query_each};
use crate::delivery::outbox::{Leased, OutboxError};
use chrono::{DateTime, TimeDelta, Utc};
use uuid::Uuid;

/// A lease as it is given.
#[derive(Clone, Copy)]
pub(super) struct Hold {
    pub(super) token: Uuid,
    pub(super) claimed_at: DateTime<Utc>,
    pub(super) until: DateTime<Utc>,
}

/// How often a lane is looked for again that changed between being seen and being locked.
const LOOKS: usize = 8;

/// Whether the head of a lane of target $1 may be attempted: now is $2. A lease ($3) or a wait ($4) longer than any
/// we give comes from a clock that has been set back since.
macro_rules! ready {
    () => {
        "item.target = lane.target AND item.subject = lane.subject
         AND NOT coalesce((SELECT paused FROM target_decision
                           WHERE target_decision.target = $1
                           ORDER BY target_decision.number DESC LIMIT 1), FALSE)
         AND (lane.lease_until IS NULL OR lane.lease_until <= $2 OR lane.lease_until > $3)
         AND item.number = (SELECT min(head.number) FROM item AS head
                            WHERE head.target = lane.target
                              AND head.subject = lane.subject
                              AND head.state NOT IN ('delivered', 'dropped'))
         AND item.state IN ('queued', 'sending', 'unknown')
         AND (item.due_at <= $2 OR item.due_at > $4)"
    };
}

/// Finds the lane of the item that is due first.
macro_rules! look {
    () => {
        concat!(
            "-- work::take_lane (look)
             SELECT lane.subject FROM lane, item
             WHERE lane.target = $1 AND ",
            ready!(),
            " ORDER BY item.due_at LIMIT 1"
        )
    };
}

/// Finds a lane, locks it, and takes it if it is still ready then: between the two another node may
/// have worked on it. Lanes that others have locked are passed over.
///
/// It looks from the item on that is due first (index `item_due`), so that it takes no longer when many
/// wait; only what is due and stands behind another of its lane is looked at in vain.
pub(super) async fn take_lane(
    connection: &mut Transaction,
    target: &str,
    hold: Hold,
) -> Result<Option<String>, OutboxError> {
    let times = [TimeDelta::zero(), TimeDelta::days(1), TimeDelta::days(2)]
        .map(|later| (hold.claimed_at + later).timestamp_millis());
    for _ in 0..LOOKS {
        let seen = query_each(look!(), concat!(look!(), " FOR UPDATE OF lane SKIP LOCKED"));
        let seen = times
            .iter()
            .fold(seen.bind(target), |seen, at| seen.bind(*at));
        let Some(row) = seen.fetch_optional(&mut *connection).await? else {
            return Ok(None);
        };
        let subject: String = row.try_get("subject")?;
        let taken = query(concat!(
            "-- work::take_lane
             UPDATE lane SET token = $5, lease_until = $6
             WHERE lane.target = $1 AND lane.subject = $7
               AND EXISTS (SELECT 1 FROM item WHERE ",
            ready!(),
            ")"
        ));
        let taken = times
            .iter()
            .fold(taken.bind(target), |taken, at| taken.bind(*at));
        let taken = taken
            .bind(hold.token.to_string())
            .bind(hold.until.timestamp_millis())
            .bind(&subject)
            .execute(&mut *connection)
            .await?;
        if taken == 1 {
            return Ok(Some(subject));
        }
    }
    Ok(None)
}

/// Keeps everybody from the lane until the transaction ends. `SQLite` has its one write lock.
pub(super) async fn hold_still(
    connection: &mut Transaction,
    target: &str,
    subject: &str,
) -> Result<(), OutboxError> {
    if matches!(connection, Transaction::Postgres(_)) {
        query(
            "-- work::hold_still
             SELECT subject FROM lane WHERE target = $1 AND subject = $2 FOR UPDATE",
        )
        .bind(target)
        .bind(subject)
        .fetch_optional(connection)
        .await?;
    }
    Ok(())
}

pub(super) async fn release_lane(
    connection: &mut Transaction,
    leased: &Leased,
) -> Result<bool, OutboxError> {
    let released = query(
        "-- work::release_lane
         UPDATE lane SET token = NULL, lease_until = NULL
         WHERE target = $1 AND subject = $2 AND token = $3 AND lease_until = $4",
    )
    .bind(&leased.item.target)
    .bind(&leased.subject)
    .bind(leased.token.to_string())
    .bind(leased.until.timestamp_millis())
    .execute(connection)
    .await?;
    Ok(released == 1)
}

#[cfg(test)]
mod tests {
    use crate::delivery::outbox::Outbox;
    use crate::delivery::outbox::engine::query;

    #[tokio::test]
    async fn a_lane_is_found_from_the_item_on_that_is_due_first() {
        let folder = tempfile::tempdir().expect("a folder");
        let outbox = Outbox::open(folder.path()).await.expect("a store");
        let plan = query(concat!("EXPLAIN QUERY PLAN ", look!()));

        let plan = plan
            .bind("record")
            .bind(2_i64)
            .bind(3_i64)
            .bind(4_i64)
            .fetch_all(&outbox.pool)
            .await
            .expect("a plan");

        let steps: Vec<String> = plan
            .iter()
            .map(|step| step.try_get("detail").expect("a step"))
            .collect();
        assert!(steps[0].contains("item USING INDEX item_due"), "{steps:?}");
        // Neither sorted, nor looked at as a whole.
        let walks = |step: &String| step.starts_with("SCAN") && !step.contains("SUBQUERY");
        assert!(!steps.iter().any(walks), "{steps:?}");
        assert!(
            !steps.iter().any(|step| step.contains("ORDER BY")),
            "{steps:?}"
        );
    }
}
