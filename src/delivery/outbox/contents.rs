//! What a store holds, table by table.

use crate::delivery::outbox::engine::{
    Row, Statement, Transaction, Value, numbered, query, query_rows,
};
use crate::delivery::outbox::{Outbox, OutboxError};
use crate::tables::catalogue::sha256_hex;
use sqlx::AssertSqlSafe;

/// Rows read at a time: the documents of years are never in memory at once.
const AT_A_TIME: usize = 200;

/// What a column holds.
#[derive(Debug, Clone, Copy)]
enum Kind {
    Text,
    Number,
    Flag,
}
use Kind::{Flag, Number, Text};

/// A table with its columns, those of its key first.
pub(super) struct Table {
    pub(super) name: &'static str,
    key: usize,
    columns: &'static [(&'static str, Kind)],
}

/// Every table but those of the schema itself, in an order in which no row names one that is not there.
pub(super) const TABLES: &[Table] = &[
    Table {
        name: "target",
        key: 1,
        columns: &[("name", Text), ("base_sha256", Text)],
    },
    Table {
        name: "session",
        key: 3,
        columns: &[
            ("source", Text),
            ("id", Text),
            ("version", Number),
            ("subject", Text),
            ("document", Text),
            ("document_sha256", Text),
            ("record", Text),
            ("examined_at", Number),
            ("withdrawn", Flag),
            ("accepted_at", Text),
            ("urgent", Text),
            ("purged_at", Text),
            ("purged_why", Text),
            ("form", Number),
        ],
    },
    Table {
        name: "precaution",
        key: 4,
        columns: &[
            ("source", Text),
            ("session", Text),
            ("version", Number),
            ("id", Text),
            ("subject", Text),
            ("stated", Text),
            ("standing", Flag),
            ("form", Number),
        ],
    },
    Table {
        name: "lane",
        key: 2,
        columns: &[
            ("target", Text),
            ("subject", Text),
            ("next_number", Number),
            ("token", Text),
            ("lease_until", Number),
        ],
    },
    Table {
        name: "item",
        key: 1,
        columns: &[
            ("id", Text),
            ("target", Text),
            ("subject", Text),
            ("number", Number),
            ("source", Text),
            ("session", Text),
            ("version", Number),
            ("state", Text),
            ("attempts", Number),
            ("due_at", Number),
            ("sent_at", Number),
            ("sends", Number),
            ("reason", Text),
            ("words", Text),
            ("confirmed", Text),
            ("decided", Text),
            ("receipt", Text),
            ("receipt_form", Number),
        ],
    },
    Table {
        name: "trail",
        key: 1,
        columns: &[
            ("number", Number),
            ("at", Text),
            ("event", Text),
            ("item", Text),
            ("target", Text),
            ("source", Text),
            ("session", Text),
            ("version", Number),
            ("detail", Text),
            ("sha256", Text),
        ],
    },
    Table {
        name: "target_decision",
        key: 1,
        columns: &[
            ("number", Number),
            ("target", Text),
            ("paused", Flag),
            ("at", Text),
            ("decided", Text),
        ],
    },
];

/// Each table that is moved, with its columns: those that are read, compared and written.
pub fn moved() -> impl Iterator<Item = (&'static str, Vec<&'static str>)> {
    let names = |table: &Table| table.columns.iter().map(|(name, _)| *name).collect();
    TABLES.iter().map(move |table| (table.name, names(table)))
}

/// How much a table holds, and a hash over all of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Content {
    /// Name of the table.
    pub table: &'static str,
    /// Its rows.
    pub rows: u64,
    /// SHA-256 over all of them, in the order of their keys; the same on both engines.
    pub sha256: String,
}

impl Outbox {
    /// What the store holds, table by table.
    ///
    /// # Errors
    /// [`OutboxError`] when the store does not answer.
    pub async fn contents(&self) -> Result<Vec<Content>, OutboxError> {
        contents(&mut self.snapshot().await?).await
    }
}

pub(super) async fn contents(transaction: &mut Transaction) -> Result<Vec<Content>, OutboxError> {
    let mut contents = Vec::new();
    for table in TABLES {
        let mut content = table.nothing();
        let mut after = None;
        loop {
            let page = table.page(transaction, after.as_deref()).await?;
            for row in &page {
                content.add(row);
            }
            let Some(last) = page.last() else { break };
            after = Some(last.iter().take(table.key).cloned().collect::<Vec<_>>());
        }
        contents.push(content);
    }
    Ok(contents)
}

impl Table {
    const fn nothing(&self) -> Content {
        Content {
            table: self.name,
            rows: 0,
            sha256: String::new(),
        }
    }

    /// Copies every row, and tells what was read.
    pub(super) async fn copy(
        &self,
        reading: &mut Transaction,
        writing: &mut Transaction,
    ) -> Result<Content, OutboxError> {
        let mut content = self.nothing();
        let mut after = None;
        loop {
            let page = self.page(reading, after.as_deref()).await?;
            let Some(last) = page.last() else {
                return Ok(content);
            };
            after = Some(last.iter().take(self.key).cloned().collect::<Vec<_>>());
            for row in page {
                content.add(&row);
                let (name, columns) = (self.name, self.names(self.columns.len()));
                let head = format!("-- moving::Table::copy\nINSERT INTO {name} ({columns})");
                let insert = query_rows(&head, row.len(), 1);
                let insert = row.into_iter().fold(insert, Statement::bind);
                insert.execute(&mut *writing).await?;
            }
        }
    }

    /// The rows that follow a key, or the first ones.
    pub(super) async fn page(
        &self,
        reading: &mut Transaction,
        after: Option<&[Value]>,
    ) -> Result<Vec<Vec<Value>>, OutboxError> {
        let (name, all, key) = (
            self.name,
            self.names(self.columns.len()),
            self.names(self.key),
        );
        let follows = if after.is_some() {
            format!("WHERE ({key}) > ({})", numbered(0, self.key))
        } else {
            String::new()
        };
        let select = format!(
            "-- moving::Table::page\n\
             SELECT {all} FROM {name} {follows} ORDER BY {key} LIMIT {AT_A_TIME}"
        );
        let select = query(AssertSqlSafe(select));
        let after = after.unwrap_or_default().iter().cloned();
        let rows = after
            .fold(select, Statement::bind)
            .fetch_all(reading)
            .await?;
        rows.iter().map(|row| self.values(row)).collect()
    }

    fn values(&self, row: &Row) -> Result<Vec<Value>, OutboxError> {
        let value = |(name, kind): &(&str, Kind)| {
            Ok(match kind {
                Text => Value::Text(row.try_get(name)?),
                Number => Value::Number(row.try_get(name)?),
                Flag => Value::Flag(row.try_get(name)?),
            })
        };
        self.columns.iter().map(value).collect()
    }

    fn names(&self, first: usize) -> String {
        let names: Vec<&str> = self
            .columns
            .iter()
            .take(first)
            .map(|(name, _)| *name)
            .collect();
        names.join(", ")
    }
}

impl Content {
    /// Each value is written with its kind and length, so that no two rows are written alike.
    fn add(&mut self, row: &[Value]) {
        let mut written = std::mem::take(&mut self.sha256);
        for value in row {
            let (kind, value) = match value {
                Value::Text(Some(text)) => ("t", text.clone()),
                Value::Number(Some(number)) => ("n", number.to_string()),
                Value::Flag(flag) => ("f", flag.to_string()),
                Value::Text(None) | Value::Number(None) => ("-", String::new()),
            };
            let length = value.len().to_string();
            for part in [" ", kind, &length, ":", &value] {
                written.push_str(part);
            }
        }
        self.sha256 = sha256_hex(written.as_bytes());
        self.rows = self.rows.saturating_add(1);
    }
}
