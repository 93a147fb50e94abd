//! The file of this room that speaks to the database; what a search asks stands in `question`.
//!
//! Owns: the tables, every version of every resource, and the search index.
//! In: resources as text, index rows, conditions. Out: rows. Never: reads a resource.

use crate::practice::index::Row;
use crate::practice::kind::Kind;
use crate::practice::question::{Match, Question, Value};
use sqlx::SqliteConnection;
use std::collections::BTreeSet;

/// Marks a database of this server; another number is another schema.
pub(super) const SCHEMA: i64 = 1;

/// One version of one resource.
#[derive(Debug, Clone)]
pub(super) struct Stored {
    /// Its type.
    pub(super) kind: Kind,
    /// Its id.
    pub(super) id: String,
    /// The number of this version, from 1.
    pub(super) version: i64,
    /// When it was stored, an R4 instant.
    pub(super) updated: String,
    /// The interaction that made it: POST, PUT or DELETE.
    pub(super) method: String,
    /// The resource; `None` where this version is its deletion.
    pub(super) body: Option<String>,
}

type Columns = (String, i64, String, String, Option<String>);

/// Prepares an empty database, or says which schema is there.
pub(super) async fn prepare(connection: &mut SqliteConnection) -> Result<i64, sqlx::Error> {
    // The number stands in the file's head; 0 is a database nobody has prepared.
    let (found,): (i64,) = sqlx::query_as("-- prepare\nPRAGMA user_version")
        .fetch_one(&mut *connection)
        .await?;
    if found == 0 {
        sqlx::raw_sql(include_str!("schema.sql"))
            .execute(&mut *connection)
            .await?;
    } else if found != SCHEMA {
        return Ok(found);
    }
    // An older file gets the indexes it lacks; they change no row.
    sqlx::raw_sql(include_str!("indexes.sql"))
        .execute(&mut *connection)
        .await?;
    Ok(SCHEMA)
}

/// Stores a version; version 1 makes the resource. False when that version is there already.
pub(super) async fn insert(
    connection: &mut SqliteConnection,
    stored: &Stored,
) -> Result<bool, sqlx::Error> {
    sqlx::query(
        "-- insert\nINSERT INTO resource (kind, id, version, deleted) VALUES (?1, ?2, ?3, ?4) \
         ON CONFLICT (kind, id) DO UPDATE SET version = excluded.version, \
         deleted = excluded.deleted WHERE version = excluded.version - 1",
    )
    .bind(stored.kind.name())
    .bind(&stored.id)
    .bind(stored.version)
    .bind(stored.body.is_none())
    .execute(&mut *connection)
    .await?;
    let made = sqlx::query(
        "-- insert\nINSERT INTO version (resource, number, updated, method, body) \
         SELECT number, ?3, ?4, ?5, ?6 FROM resource WHERE kind = ?1 AND id = ?2 AND version = ?3 \
         ON CONFLICT (resource, number) DO NOTHING",
    )
    .bind(stored.kind.name())
    .bind(&stored.id)
    .bind(stored.version)
    .bind(&stored.updated)
    .bind(&stored.method)
    .bind(&stored.body)
    .execute(connection)
    .await?;
    Ok(made.rows_affected() == 1)
}

/// Replaces the index rows of a resource.
pub(super) async fn index(
    connection: &mut SqliteConnection,
    kind: Kind,
    id: &str,
    rows: &[Row],
) -> Result<(), sqlx::Error> {
    let resource = number(connection, kind, id).await?;
    for forget in [
        "-- index\nDELETE FROM token WHERE resource = ?1",
        "-- index\nDELETE FROM link WHERE resource = ?1",
        "-- index\nDELETE FROM span WHERE resource = ?1",
    ] {
        let query = sqlx::query(forget).bind(resource);
        query.execute(&mut *connection).await?;
    }
    for row in rows {
        let query = match row {
            Row::Token(parameter, system, code) => {
                sqlx::query("-- index\nINSERT INTO token VALUES (?1, ?2, ?3, ?4)")
                    .bind(resource)
                    .bind(parameter)
                    .bind(system)
                    .bind(code)
            }
            Row::Link(parameter, kind, id) => {
                sqlx::query("-- index\nINSERT INTO link VALUES (?1, ?2, ?3, ?4)")
                    .bind(resource)
                    .bind(parameter)
                    .bind(kind.name())
                    .bind(id)
            }
            Row::Span(parameter, span) => {
                sqlx::query("-- index\nINSERT INTO span VALUES (?1, ?2, ?3, ?4)")
                    .bind(resource)
                    .bind(parameter)
                    .bind(span.low)
                    .bind(span.high)
            }
        };
        query.execute(&mut *connection).await?;
    }
    Ok(())
}

/// The current version of a resource.
pub(super) async fn current(
    connection: &mut SqliteConnection,
    kind: Kind,
    id: &str,
) -> Result<Option<Stored>, sqlx::Error> {
    let columns: Option<Columns> = sqlx::query_as(
        "-- current\nSELECT r.id, v.number, v.updated, v.method, v.body FROM resource r \
         JOIN version v ON v.resource = r.number AND v.number = r.version \
         WHERE r.kind = ?1 AND r.id = ?2",
    )
    .bind(kind.name())
    .bind(id)
    .fetch_optional(connection)
    .await?;
    Ok(columns.map(|columns| stored(kind, columns)))
}

/// The current version of the resource with this number; nothing when it is deleted.
pub(super) async fn numbered(
    connection: &mut SqliteConnection,
    kind: Kind,
    number: i64,
) -> Result<Option<Stored>, sqlx::Error> {
    let columns: Option<Columns> = sqlx::query_as(
        "-- numbered\nSELECT r.id, v.number, v.updated, v.method, v.body FROM resource r \
         JOIN version v ON v.resource = r.number AND v.number = r.version \
         WHERE r.number = ?1 AND r.deleted = 0",
    )
    .bind(number)
    .fetch_optional(connection)
    .await?;
    Ok(columns.map(|columns| stored(kind, columns)))
}

/// Every version of a resource, the newest first.
pub(super) async fn history(
    connection: &mut SqliteConnection,
    kind: Kind,
    id: &str,
) -> Result<Vec<Stored>, sqlx::Error> {
    let versions: Vec<Columns> = sqlx::query_as(
        "-- history\nSELECT r.id, v.number, v.updated, v.method, v.body FROM resource r \
         JOIN version v ON v.resource = r.number WHERE r.kind = ?1 AND r.id = ?2 \
         ORDER BY v.number DESC",
    )
    .bind(kind.name())
    .bind(id)
    .fetch_all(connection)
    .await?;
    let versions = versions.into_iter();
    Ok(versions.map(|columns| stored(kind, columns)).collect())
}

/// The numbers of all resources of a type, in the order they were made.
pub(super) async fn every(
    connection: &mut SqliteConnection,
    kind: Kind,
) -> Result<Vec<i64>, sqlx::Error> {
    let found: Vec<(i64,)> = sqlx::query_as(
        "-- every\nSELECT number FROM resource WHERE kind = ?1 AND deleted = 0 ORDER BY number",
    )
    .bind(kind.name())
    .fetch_all(connection)
    .await?;
    Ok(found.into_iter().map(|(number,)| number).collect())
}

/// The numbers of all resources of a type that answer one condition.
pub(super) async fn matching(
    connection: &mut SqliteConnection,
    kind: Kind,
    wanted: &Match,
) -> Result<Vec<i64>, sqlx::Error> {
    let question = Question::of(wanted);
    numbers(
        connection,
        question.of_all,
        kind.name().to_owned(),
        question.values,
    )
    .await
}

/// Those of some resources that answer one condition; what others there are costs nothing.
pub(super) async fn among(
    connection: &mut SqliteConnection,
    some: &BTreeSet<i64>,
    wanted: &Match,
) -> Result<Vec<i64>, sqlx::Error> {
    let some: Vec<String> = some.iter().map(i64::to_string).collect();
    let some = format!("[{}]", some.join(","));
    let question = Question::of(wanted);
    numbers(connection, question.of_some, some, question.values).await
}

async fn numbers(
    connection: &mut SqliteConnection,
    sql: &'static str,
    whom: String,
    values: Vec<Value>,
) -> Result<Vec<i64>, sqlx::Error> {
    let asked = sqlx::query_as(sql).bind(whom);
    let asked = values.into_iter().fold(asked, |asked, value| match value {
        Value::Text(text) => asked.bind(text),
        Value::Number(number) => asked.bind(number),
    });
    let found: Vec<(i64,)> = asked.fetch_all(connection).await?;
    Ok(found.into_iter().map(|(number,)| number).collect())
}

/// Whether a stored resource refers to this one.
pub(super) async fn referred_to(
    connection: &mut SqliteConnection,
    kind: Kind,
    id: &str,
) -> Result<bool, sqlx::Error> {
    let (any,): (bool,) = sqlx::query_as(
        "-- referred_to\nSELECT EXISTS (SELECT 1 FROM link WHERE kind = ?1 AND id = ?2)",
    )
    .bind(kind.name())
    .bind(id)
    .fetch_one(connection)
    .await?;
    Ok(any)
}

async fn number(
    connection: &mut SqliteConnection,
    kind: Kind,
    id: &str,
) -> Result<i64, sqlx::Error> {
    let (number,) =
        sqlx::query_as("-- number\nSELECT number FROM resource WHERE kind = ?1 AND id = ?2")
            .bind(kind.name())
            .bind(id)
            .fetch_one(connection)
            .await?;
    Ok(number)
}

fn stored(kind: Kind, columns: Columns) -> Stored {
    let (id, version, updated, method, body) = columns;
    Stored {
        kind,
        id,
        version,
        updated,
        method,
        body,
    }
}
