//! Accepting a document: session, precautions, items and trail in one transaction.

use crate::base::json::{Node, object, text};
use crate::delivery::outbox::engine::{Transaction, query, query_rows};
use crate::delivery::outbox::kept::hold_older_off;
use crate::delivery::outbox::known::Known;
use crate::delivery::outbox::offer::{Before, Key, New, Rejected, Wanted};
use crate::delivery::outbox::rows::item_columns;
use crate::delivery::outbox::trail;
use crate::delivery::outbox::{
    Accepted, Item, NotAccepted, Outbox, OutboxError, State, TrailRow, columns,
};
use chrono::{DateTime, SecondsFormat, Utc};
use uuid::Uuid;

impl Outbox {
    /// Accepts a document: reads what is known of the person, encodes the document against it with no
    /// transaction open, and then keeps session, precautions, one item for each target and the trail in one
    /// transaction, as long as what was read still stands. Where it does not, it is read and encoded anew.
    /// Nothing is kept when anything stands in the way.
    ///
    /// # Errors
    /// [`OutboxError`] when the store fails; [`OutboxError::Contended`] when others changed what is known
    /// of the person each time. The inner result tells why nothing was accepted.
    pub async fn accept<E: Send>(
        &self,
        key: &Key,
        wanted: Wanted<'_>,
        now: DateTime<Utc>,
        mut encode: impl FnMut(Before) -> Result<New, E> + Send,
    ) -> Result<Result<Accepted, Rejected<E>>, OutboxError> {
        for _ in 0..MOST_TRIES {
            let mut reading = self.snapshot().await?;
            self.may_use(&mut reading).await?;
            let known = Known::of(&mut reading, key).await?;
            if let Err(reason) = known.fits(key) {
                return Ok(Err(Rejected::Store(reason)));
            }
            if known.kept.is_some() {
                reading.commit().await?;
                let again = self.again(key, wanted, now).await?;
                return Ok(again.map_err(Rejected::Store));
            }
            let before = known.before(self, &mut reading, key).await?;
            reading.commit().await?;
            let new = match encode(before) {
                Ok(new) => new,
                Err(held) => return Ok(Err(Rejected::Encoding(held))),
            };
            if let Some(items) = self.keep(key, &new, &known, wanted, now).await? {
                return Ok(Ok(Accepted::New(items)));
            }
        }
        Err(OutboxError::Contended)
    }

    /// The same content again: a target that was configured since gets the session as well.
    async fn again(
        &self,
        key: &Key,
        wanted: Wanted<'_>,
        now: DateTime<Utc>,
    ) -> Result<Result<Accepted, NotAccepted>, OutboxError> {
        let (mut transaction, now) = self.begin(now).await?;
        alone_with_person(&mut transaction, &key.subject).await?;
        let known = Known::of(&mut transaction, key).await?;
        if let Err(reason) = known.fits(key) {
            return Ok(Err(reason));
        }
        let mut told = Vec::new();
        let had = items_of(self, &mut transaction, key).await?;
        let new = |target: &&String| !had.iter().any(|item| item.target == **target);
        for target in wanted.targets.iter().filter(new) {
            if known.purged {
                return Ok(Err(NotAccepted::Purged));
            }
            let queued = queue(&mut transaction, key, target, now).await?;
            told.push(queued.told(key, now));
        }
        trail::add_all(&mut transaction, told).await?;
        let items = items_of(self, &mut transaction, key).await?;
        transaction.commit().await?;
        Ok(Ok(Accepted::Before(items)))
    }

    /// Keeps what was encoded; nothing where what it was encoded against stands no more.
    async fn keep(
        &self,
        key: &Key,
        new: &New,
        against: &Known,
        wanted: Wanted<'_>,
        now: DateTime<Utc>,
    ) -> Result<Option<Vec<Item>>, OutboxError> {
        let (mut transaction, now) = self.begin(now).await?;
        alone_with_person(&mut transaction, &key.subject).await?;
        let stands = Known::of(&mut transaction, key).await?;
        if stands != *against {
            return Ok(None);
        }
        let mut detail = keep_session(&mut transaction, key, new, now).await?;
        if let Some(route) = wanted.route {
            detail.set("route", Node::Number(route.to_string()));
        }
        keep_precautions(&mut transaction, key, new).await?;
        let mut told = vec![trail::of_session(now, "accepted", key.about(None), &detail)];
        let mut items = Vec::new();
        for target in &targets_of(wanted, &stands.targets) {
            let queued = queue(&mut transaction, key, target, now).await?;
            told.push(queued.told(key, now));
            items.push(queued.item(key, new, now)?);
        }
        // The trail is written last: whoever works with a lane locks it before the trail.
        trail::add_all(&mut transaction, told).await?;
        transaction.commit().await?;
        items.sort_by(|one, other| one.target.cmp(&other.target));
        Ok(Some(items))
    }
}

/// How often a document is encoded before it is given up: each time something else of the same person was
/// accepted, purged or decided meanwhile, and whatever that was went through.
const MOST_TRIES: usize = 16;

/// The targets that were asked for, and those that had the version before.
fn targets_of(wanted: Wanted<'_>, had: &[String]) -> Vec<String> {
    let had = had
        .iter()
        .filter(|one| wanted.all.contains(one) && !wanted.targets.contains(one));
    wanted.targets.iter().chain(had).cloned().collect()
}

/// Waits until no other node accepts or purges anything of the same person: what is encoded depends on
/// what is known of the person. `SQLite` has one write lock for all.
pub(super) async fn alone_with_person(
    transaction: &mut Transaction,
    subject: &str,
) -> Result<(), OutboxError> {
    if matches!(transaction, Transaction::Postgres(_)) {
        query(
            "-- accept::alone_with_person
             SELECT pg_advisory_xact_lock(hashtextextended($1, 0)) IS NULL AS held",
        )
        .bind(subject)
        .fetch_one(transaction)
        .await?;
    }
    Ok(())
}

async fn keep_session(
    connection: &mut Transaction,
    key: &Key,
    new: &New,
    now: DateTime<Utc>,
) -> Result<Node, OutboxError> {
    hold_older_off(connection, new.form).await?;
    query(
        "-- accept::keep_session
         INSERT INTO session
           (source, id, version, subject, document, document_sha256, record, accepted_at,
            examined_at, withdrawn, urgent, form)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12)",
    )
    .bind(&key.source)
    .bind(key.session.to_string())
    .bind(key.version)
    .bind(&key.subject)
    .bind(&new.document)
    .bind(&key.document_sha256)
    .bind(new.record.text())
    .bind(now.to_rfc3339_opts(SecondsFormat::Millis, true))
    .bind(key.examined_at)
    .bind(key.withdrawn)
    .bind((!new.urgent.is_empty()).then(|| new.urgent.join(",")))
    .bind(new.form)
    .execute(&mut *connection)
    .await?;
    let own = new.tables.own_files.iter();
    let own = own.map(|(name, sha256)| (name.clone(), text(sha256.clone())));
    Ok(object([
        ("document_sha256", text(key.document_sha256.clone())),
        ("record_sha256", text(new.record.sha256())),
        (
            "resources",
            Node::Number(new.record.resources().to_string()),
        ),
        ("tables_sha256", text(new.tables.sha256.clone())),
        ("own_tables", object(own)),
    ]))
}

async fn keep_precautions(
    connection: &mut Transaction,
    key: &Key,
    new: &New,
) -> Result<(), OutboxError> {
    let precautions = &new.precautions;
    if precautions.is_empty() {
        return Ok(());
    }
    let mut insert = query_rows(
        "-- accept::keep_precautions
         INSERT INTO precaution (source, session, version, id, subject, stated, standing, form)",
        8,
        precautions.len(),
    );
    for precaution in precautions {
        insert = insert
            .bind(&key.source)
            .bind(key.session.to_string())
            .bind(key.version)
            .bind(precaution.id.to_string())
            .bind(&key.subject)
            .bind(&precaution.stated)
            .bind(precaution.standing)
            .bind(new.form);
    }
    insert.execute(connection).await?;
    Ok(())
}

/// A delivery that was queued and is still to be told in the trail.
struct Queued {
    id: Uuid,
    target: String,
    number: i64,
    /// The head of its lane, when that one does not move by itself.
    behind: Option<Uuid>,
}

impl Queued {
    fn told(&self, key: &Key, now: DateTime<Utc>) -> TrailRow {
        let about = key.about(Some((self.id, &self.target)));
        let detail = object([("number", Node::Number(self.number.to_string()))]);
        trail::of_session(now, "queued", about, &detail)
    }

    /// As it would be read from the store.
    fn item(self, key: &Key, new: &New, now: DateTime<Utc>) -> Result<Item, OutboxError> {
        let now = columns::instant(now.timestamp_millis())?;
        Ok(Item {
            id: self.id,
            target: self.target,
            number: self.number,
            session: key.session,
            version: key.version,
            state: State::Queued,
            attempts: 0,
            due_at: now,
            reason: None,
            words: None,
            receipt: None,
            accepted_at: now,
            urgent: new.urgent.clone(),
            behind: self.behind,
            decided: None,
        })
    }
}

/// Gives the next number of the lane, under its lock.
async fn queue(
    connection: &mut Transaction,
    key: &Key,
    target: &str,
    now: DateTime<Utc>,
) -> Result<Queued, OutboxError> {
    let lane = query(
        "-- accept::queue (number)
         INSERT INTO lane (target, subject, next_number) VALUES ($1, $2, 2)
         ON CONFLICT (target, subject) DO UPDATE
           SET next_number = lane.next_number + 1
         RETURNING next_number - 1 AS number,
           (SELECT head.id FROM item AS head
            WHERE head.target = $1 AND head.subject = $2 AND head.state IN ('refused', 'waiting')
            ORDER BY head.number LIMIT 1) AS behind",
    )
    .bind(target)
    .bind(&key.subject)
    .fetch_one(&mut *connection)
    .await?;
    let number: i64 = lane.try_get("number")?;
    let behind = lane.try_get::<Option<&str>>("behind")?.map(columns::uuid);
    let id = Uuid::new_v4();
    query(
        "-- accept::queue (item)
         INSERT INTO item (id, target, subject, number, source, session, version, state,
                           attempts, due_at, sends)
         VALUES ($1, $2, $3, $4, $5, $6, $7, 'queued', 0, $8, 0)",
    )
    .bind(id.to_string())
    .bind(target)
    .bind(&key.subject)
    .bind(number)
    .bind(&key.source)
    .bind(key.session.to_string())
    .bind(key.version)
    .bind(now.timestamp_millis())
    .execute(&mut *connection)
    .await?;
    Ok(Queued {
        id,
        target: target.to_owned(),
        number,
        behind: behind.transpose()?,
    })
}

async fn items_of(
    outbox: &Outbox,
    connection: &mut Transaction,
    key: &Key,
) -> Result<Vec<Item>, OutboxError> {
    let rows = query(concat!(
        "-- accept::items_of
         SELECT ",
        item_columns!(),
        " FROM item JOIN session ON session.source = item.source AND session.id = item.session
            AND session.version = item.version
         WHERE item.source = $1 AND item.session = $2 AND item.version = $3
         ORDER BY item.target"
    ))
    .bind(&key.source)
    .bind(key.session.to_string())
    .bind(key.version)
    .fetch_all(connection)
    .await?;
    rows.iter().map(|row| outbox.read_item(row)).collect()
}
