//! Reading rows into types.

use crate::base::private::Private;
use crate::delivery::outbox::columns::{instant, reason, state, uuid, written};
use crate::delivery::outbox::engine::Row;
use crate::delivery::outbox::kept::{KeptText, Kind, RECEIPT, of_item};
use crate::delivery::outbox::{Item, Outbox, OutboxError};
use crate::examination::intake::kept::NotRead;

/// The columns [`Outbox::read_item`] reads, from `item` joined with `session`.
macro_rules! item_columns {
    () => {
        "item.id, item.target, item.subject, item.number, item.source, item.session, item.version, \
         item.state, item.attempts, item.due_at, item.sent_at, item.sends, item.reason, \
         item.words, item.confirmed, item.decided, item.receipt, item.receipt_form, session.accepted_at, \
         session.urgent, \
         (SELECT head.id FROM item AS head \
          WHERE head.target = item.target AND head.subject = item.subject \
            AND head.number < item.number \
            AND head.state IN ('refused', 'waiting') \
          ORDER BY head.number LIMIT 1) AS behind"
    };
}
pub(super) use item_columns;

impl Outbox {
    /// A delivery, or the name of its row where a column of it does not read.
    pub(super) fn read_item(&self, row: &Row) -> Result<Item, OutboxError> {
        let receipt = self.kept_text(row, &of_item(Kind::Receipt), RECEIPT)?;
        item(row, receipt).map_err(|fault| {
            let OutboxError::Row(what) = fault else {
                return fault;
            };
            match of_item(Kind::Delivery).name(row) {
                Ok(name) => self.noted.note(name, NotRead::Column(what)).into(),
                Err(fault) => fault,
            }
        })
    }
}

fn item(row: &Row, receipt: Option<KeptText>) -> Result<Item, OutboxError> {
    Ok(Item {
        id: uuid(row.try_get("id")?)?,
        target: row.try_get("target")?,
        number: row.try_get("number")?,
        session: uuid(row.try_get("session")?)?,
        version: row.count("version")?,
        state: state(row.try_get("state")?)?,
        attempts: row.count("attempts")?,
        due_at: instant(row.try_get("due_at")?)?,
        reason: row
            .try_get::<Option<&str>>("reason")?
            .map(reason)
            .transpose()?,
        words: row.try_get::<Option<String>>("words")?.map(Private::new),
        receipt,
        accepted_at: written(row.try_get("accepted_at")?)?,
        urgent: row
            .try_get::<Option<&str>>("urgent")?
            .map_or_else(Vec::new, |codes| {
                codes.split(',').map(str::to_owned).collect()
            }),
        behind: row
            .try_get::<Option<&str>>("behind")?
            .map(uuid)
            .transpose()?,
        decided: row.try_get::<Option<String>>("decided")?.map(Private::new),
    })
}
