//! The trail: only added to, each row bound to the one before.

use crate::base::json::{Node, object, text};
use crate::delivery::outbox::engine::{Row, Transaction, query, query_each, query_rows};
use crate::delivery::outbox::{Outbox, OutboxError, TrailRow, WantedRows};
use crate::tables::catalogue::sha256_hex;
use chrono::{DateTime, SecondsFormat, Utc};
use uuid::Uuid;

/// Which session, version, item and target a trail row speaks of.
#[derive(Debug, Clone, Copy)]
pub(super) struct About<'a> {
    pub(super) source: &'a str,
    pub(super) session: Uuid,
    pub(super) version: u32,
    pub(super) item: Option<(Uuid, &'a str)>,
}

/// A row that tells of a session or of one of its deliveries.
pub(super) fn of_session(
    now: DateTime<Utc>,
    event: &str,
    about: About<'_>,
    detail: &Node,
) -> TrailRow {
    TrailRow {
        item: about.item.map(|(id, _)| id.to_string()),
        target: about.item.map(|(_, target)| target.to_owned()),
        source: about.source.to_owned(),
        session: about.session.to_string(),
        version: i64::from(about.version),
        ..blank(now, event, detail)
    }
}

/// Adds a row, in the transaction of the change it tells.
pub(super) async fn add(
    connection: &mut Transaction,
    now: DateTime<Utc>,
    event: &str,
    about: About<'_>,
    detail: Node,
) -> Result<(), OutboxError> {
    add_all(connection, vec![of_session(now, event, about, &detail)]).await
}

/// Adds a row about a target as such, in the transaction of the change it tells.
pub(super) async fn add_of_target(
    connection: &mut Transaction,
    now: DateTime<Utc>,
    event: &str,
    target: &str,
    detail: Node,
) -> Result<(), OutboxError> {
    let row = TrailRow {
        target: Some(target.to_owned()),
        ..blank(now, event, &detail)
    };
    add_all(connection, vec![row]).await
}

fn blank(now: DateTime<Utc>, event: &str, detail: &Node) -> TrailRow {
    TrailRow {
        number: 0,
        at: now.to_rfc3339_opts(SecondsFormat::Millis, true),
        event: event.to_owned(),
        item: None,
        target: None,
        source: String::new(),
        session: String::new(),
        version: 0,
        detail: detail.canonical(),
        sha256: String::new(),
    }
}

/// Adds rows in their order, in the transaction of the change they tell.
pub(super) async fn add_all(
    connection: &mut Transaction,
    rows: Vec<TrailRow>,
) -> Result<(), OutboxError> {
    if rows.is_empty() {
        return Ok(());
    }
    let mut number = numbers_from(connection, rows.len()).await?;
    let mut before = last_hash(connection).await?;
    let mut insert = query_rows(
        "-- trail::add_all
         INSERT INTO trail
           (number, at, event, item, target, source, session, version, detail, sha256)",
        10,
        rows.len(),
    );
    for row in rows {
        let sha256 = hash(&before, &row);
        before.clone_from(&sha256);
        insert = insert
            .bind(number)
            .bind(row.at)
            .bind(row.event)
            .bind(row.item)
            .bind(row.target)
            .bind(row.source)
            .bind(row.session)
            .bind(row.version)
            .bind(row.detail)
            .bind(sha256);
        number = number.map(|number| number.saturating_add(1));
    }
    insert.execute(connection).await?;
    Ok(())
}

/// Keeps others from adding rows until the transaction ends, so that what was read of the trail still
/// holds when a row is added.
pub(super) async fn hold_end(connection: &mut Transaction) -> Result<(), OutboxError> {
    if matches!(connection, Transaction::Postgres(_)) {
        query(
            "-- trail::hold_end
             SELECT number FROM trail_end FOR UPDATE",
        )
        .fetch_one(connection)
        .await?;
    }
    Ok(())
}

/// Takes the numbers of the next rows and gives the first, and with it the end of the trail until the
/// transaction ends. `SQLite` has its one write lock, and gives the numbers itself.
async fn numbers_from(
    connection: &mut Transaction,
    rows: usize,
) -> Result<Option<i64>, OutboxError> {
    if matches!(connection, Transaction::Sqlite(_)) {
        return Ok(None);
    }
    let rows = i64::try_from(rows).map_err(|_too_many| OutboxError::Row("a count"))?;
    let row = query(
        "-- trail::numbers_from
         UPDATE trail_end SET number = number + $1 RETURNING number - $1 + 1 AS first",
    )
    .bind(rows)
    .fetch_one(connection)
    .await?;
    Ok(Some(row.try_get("first")?))
}

/// The last number that was given, whether its row is there or not.
pub(super) async fn last_given(connection: &mut Transaction) -> Result<i64, OutboxError> {
    let row = query_each(
        "-- trail::last_given
         SELECT coalesce(max(seq), 0) AS given FROM sqlite_sequence WHERE name = 'trail'",
        "-- trail::last_given
         SELECT number AS given FROM trail_end",
    )
    .fetch_one(connection)
    .await?;
    row.try_get("given")
}

pub(super) async fn last_hash(connection: &mut Transaction) -> Result<String, OutboxError> {
    let last = query(
        "-- trail::last_hash
         SELECT sha256 FROM trail ORDER BY number DESC LIMIT 1",
    )
    .fetch_optional(connection)
    .await?;
    Ok(match last {
        Some(row) => row.try_get("sha256")?,
        None => String::new(),
    })
}

/// SHA-256 over the hash before and the row in canonical JSON.
pub(super) fn hash(before: &str, row: &TrailRow) -> String {
    let optional = |value: &Option<String>| value.clone().map_or(Node::Null, text);
    let node = object([
        ("at", text(row.at.clone())),
        ("before", text(before)),
        ("detail", text(row.detail.clone())),
        ("event", text(row.event.clone())),
        ("item", optional(&row.item)),
        ("session", text(row.session.clone())),
        ("source", text(row.source.clone())),
        ("target", optional(&row.target)),
        ("version", Node::Number(row.version.to_string())),
    ]);
    sha256_hex(node.canonical().as_bytes())
}

pub(super) fn read(row: &Row) -> Result<TrailRow, OutboxError> {
    Ok(TrailRow {
        number: row.try_get("number")?,
        at: row.try_get("at")?,
        event: row.try_get("event")?,
        item: row.try_get("item")?,
        target: row.try_get("target")?,
        source: row.try_get("source")?,
        session: row.try_get("session")?,
        version: row.try_get("version")?,
        detail: row.try_get("detail")?,
        sha256: row.try_get("sha256")?,
    })
}

impl Outbox {
    /// The whole trail, or that of one session, in order.
    ///
    /// # Errors
    /// [`OutboxError`] when the store does not answer.
    pub async fn trail(&self, session: Option<Uuid>) -> Result<Vec<TrailRow>, OutboxError> {
        self.trail_wanted(&WantedRows {
            session,
            ..WantedRows::default()
        })
        .await
    }

    /// The rows asked for, in order.
    ///
    /// # Errors
    /// [`OutboxError`] when the store does not answer.
    pub async fn trail_wanted(&self, wanted: &WantedRows) -> Result<Vec<TrailRow>, OutboxError> {
        let rows = query(
            "-- Outbox::trail_wanted
             SELECT number, at, event, item, target, source, session, version, detail, sha256
             FROM trail
             WHERE number > $1 AND ($2 IS NULL OR session = $2) AND ($3 IS NULL OR target = $3)
               AND ($4 IS NULL OR event = $4)
             ORDER BY number LIMIT $5",
        )
        .bind(wanted.after)
        .bind(wanted.session.map(|session| session.to_string()))
        .bind(&wanted.target)
        .bind(&wanted.event)
        .bind(wanted.most.unwrap_or(i64::MAX))
        .fetch_all(&self.pool)
        .await?;
        rows.iter().map(read).collect()
    }
}

/// The number of the first row whose hash does not follow from what stands before it.
pub fn first_break(rows: &[TrailRow]) -> Option<i64> {
    let mut before = String::new();
    for row in rows {
        if hash(&before, row) != row.sha256 {
            return Some(row.number);
        }
        before.clone_from(&row.sha256);
    }
    None
}
