//! Claiming lanes, finishing attempts, and what a person decides.

use crate::base::code::reason::Reason;
use crate::base::json::{Node, object, text};
use crate::base::private::Private;
use crate::delivery::outbox::engine::{Row, Transaction, query};
use crate::delivery::outbox::kept::{Columns, DOCUMENT, KeptText, Kind, RECORD, of_item};
use crate::delivery::outbox::lane::{Hold, hold_still, release_lane, take_lane};
use crate::delivery::outbox::rows::item_columns;
use crate::delivery::outbox::trail::{self, About};
use crate::delivery::outbox::{LeaseLength, Leased, Outbox, OutboxError, Outcome, State, columns};
use crate::examination::intake::kept::OF_RECEIPT;
use chrono::{DateTime, Utc};
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
        let (mut transaction, now) = self.begin(now).await?;
        let hold = Hold {
            token: Uuid::new_v4(),
            claimed_at: now,
            until: now + lease.whole,
        };
        let Some(subject) = take_lane(&mut transaction, target, hold).await? else {
            return Ok(None);
        };
        let mut leased = head(self, &mut transaction, target, &subject, hold).await?;
        begin(&mut transaction, leased.item.id).await?;
        leased.item.attempts = leased.item.attempts.saturating_add(1);
        let about = About {
            source: &leased.source,
            session: leased.item.session,
            version: leased.item.version,
            item: Some((leased.item.id, target)),
        };
        let mut told = Vec::new();
        if leased.item.state == State::Sending {
            let detail = object([("reason", text("lease-ended"))]);
            told.push(trail::of_session(now, "unknown", about, &detail));
        }
        let attempt = Node::Number(leased.item.attempts.to_string());
        let detail = object([
            ("attempt", attempt),
            ("search_first", Node::Bool(leased.unknown)),
        ]);
        told.push(trail::of_session(now, "sending", about, &detail));
        trail::add_all(&mut transaction, told).await?;
        transaction.commit().await?;
        Ok(Some(leased))
    }

    /// Notes that a request is about to leave, the first of an attempt or a further one. Needs the token
    /// of the lease; without it somebody else holds the lane by now, and nothing may leave.
    ///
    /// # Errors
    /// [`OutboxError`] when the store fails.
    pub async fn about_to_send(
        &self,
        leased: &Leased,
        first: bool,
        now: DateTime<Utc>,
    ) -> Result<bool, OutboxError> {
        let (mut transaction, _begun) = self.begin(now).await?;
        hold_still(&mut transaction, &leased.item.target, &leased.subject).await?;
        // Asked once nobody can take the lane any more: waiting for the lock may have taken long.
        let now = self.now(&mut transaction, now).await?;
        let noted = query(
            "-- Outbox::about_to_send
             UPDATE item SET sent_at = $2, sends = sends + $4
             WHERE id = $1 AND state = 'sending' AND EXISTS
               (SELECT 1 FROM lane WHERE lane.target = item.target
                  AND lane.subject = item.subject AND lane.token = $3 AND lane.lease_until > $2)",
        )
        .bind(leased.item.id.to_string())
        .bind(now.timestamp_millis())
        .bind(leased.token.to_string())
        .bind(i64::from(first))
        .execute(&mut transaction)
        .await?;
        transaction.commit().await?;
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
        let (mut transaction, now) = self.begin(now).await?;
        if !release_lane(&mut transaction, leased).await? {
            return Ok(false);
        }
        let change = Change::of(outcome, leased.unknown);
        let changed = query(
            "-- Outbox::finish
             UPDATE item SET state = $2, due_at = $3, reason = $4, words = $5, receipt = $6,
               receipt_form = $9,
               sent_at = CASE WHEN $7 THEN $8 ELSE sent_at END
             WHERE id = $1 AND state = 'sending'",
        )
        .bind(leased.item.id.to_string())
        .bind(change.state.word())
        .bind(change.due_at.unwrap_or(now).timestamp_millis())
        .bind(change.reason.as_ref().map(Reason::to_string))
        .bind(change.words.as_ref().map(|words| words.open().clone()))
        .bind(change.receipt.clone())
        .bind(change.nothing_stored)
        .bind(leased.sent_before.map(|at| at.timestamp_millis()))
        .bind(OF_RECEIPT)
        .execute(&mut transaction)
        .await?;
        if changed != 1 {
            return Ok(false);
        }
        let about = About {
            source: &leased.source,
            session: leased.item.session,
            version: leased.item.version,
            item: Some((leased.item.id, &leased.item.target)),
        };
        let detail = change.detail(leased.item.attempts);
        trail::add(&mut transaction, now, change.state.word(), about, detail).await?;
        transaction.commit().await?;
        Ok(true)
    }
}

/// What an outcome does to the row of its item.
struct Change {
    state: State,
    due_at: Option<DateTime<Utc>>,
    reason: Option<Reason>,
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

    fn detail(&self, attempt: u32) -> Node {
        let mut members = vec![("attempt", Node::Number(attempt.to_string()))];
        let reason = self.reason.as_ref();
        members.extend(reason.map(|reason| ("reason", text(reason.to_string()))));
        if let Some(receipt) = &self.receipt {
            // The receipt was written by us; a row keeps it as it is, whatever it is.
            let receipt = Node::parse(receipt).unwrap_or_else(|_no_json| text(receipt.clone()));
            members.push(("receipt", receipt));
        }
        object(members)
    }
}

/// The head of a lane as a leased item.
async fn head(
    outbox: &Outbox,
    connection: &mut Transaction,
    target: &str,
    subject: &str,
    hold: Hold,
) -> Result<Leased, OutboxError> {
    let row = query(concat!(
        "-- work::head
         SELECT ",
        item_columns!(),
        ", session.record, session.document, session.form,
           earlier.id AS id_before, earlier.version AS version_before,
           earlier.receipt AS receipt_before, earlier.receipt_form AS form_before
         FROM item JOIN session ON session.source = item.source AND session.id = item.session
            AND session.version = item.version
         LEFT JOIN item AS earlier ON earlier.target = item.target
            AND earlier.source = item.source AND earlier.session = item.session
            AND earlier.version = item.version - 1
         WHERE item.target = $1 AND item.subject = $2
           AND item.state NOT IN ('delivered', 'dropped')
         ORDER BY item.number LIMIT 1"
    ))
    .bind(target)
    .bind(subject)
    .fetch_one(connection)
    .await?;
    let item = outbox.read_item(&row)?;
    let sent_at: Option<i64> = row.try_get("sent_at")?;
    let confirmed: Option<String> = row.try_get("confirmed")?;
    let leased = Leased {
        unknown: matches!(item.state, State::Unknown | State::Sending),
        item,
        source: row.try_get("source")?,
        subject: subject.to_owned(),
        token: hold.token,
        claimed_at: hold.claimed_at,
        until: hold.until,
        sent_before: sent_at.map(columns::instant).transpose()?,
        sends: row.count("sends")?,
        receipt_before: receipt_before(outbox, &row)?,
        record: outbox.kept(&row, &of_it(Kind::Record), RECORD)?,
        document: outbox.kept(&row, &of_it(Kind::Document), DOCUMENT)?,
        confirmed: released(confirmed.as_deref())?,
    };
    Ok(leased)
}

/// What persons released, one after another; a release of what nothing held up leaves an empty place.
fn released(reasons: Option<&str>) -> Result<Vec<Reason>, OutboxError> {
    let reasons = reasons.into_iter().flat_map(|reasons| reasons.split(','));
    reasons
        .filter(|reason| !reason.is_empty())
        .map(columns::reason)
        .collect()
}

/// The session that a delivery is about, as its row names it.
const fn of_it(kind: Kind) -> Columns {
    Columns {
        id: None,
        ..of_item(kind)
    }
}

/// The receipt of the version before at the same target, where there is one.
fn receipt_before(outbox: &Outbox, row: &Row) -> Result<Option<KeptText>, OutboxError> {
    let columns = Columns {
        version: "version_before",
        id: Some("id_before"),
        ..of_item(Kind::Receipt)
    };
    match row.try_get::<Option<i64>>("form_before")? {
        Some(_) => outbox.kept_text(row, &columns, ["receipt_before", "form_before"]),
        None => Ok(None),
    }
}

async fn begin(connection: &mut Transaction, id: Uuid) -> Result<(), OutboxError> {
    let changed = query(
        "-- work::begin
         UPDATE item SET state = 'sending', attempts = attempts + 1
         WHERE id = $1 AND state IN ('queued', 'sending', 'unknown')",
    )
    .bind(id.to_string())
    .execute(connection)
    .await?;
    if changed == 1 {
        Ok(())
    } else {
        Err(OutboxError::Row("a leased item"))
    }
}
