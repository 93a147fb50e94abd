//! Copying a store, and moving one from a folder into a database.

use crate::delivery::outbox::contents::{Content, TABLES, contents};
use crate::delivery::outbox::engine::{Pool, Transaction, query};
use crate::delivery::outbox::place::Database;
use crate::delivery::outbox::schema::Schema;
use crate::delivery::outbox::{Outbox, OutboxError, postgres, sqlite, trail};
use std::fs::OpenOptions;
use std::os::unix::fs::OpenOptionsExt;
use std::path::Path;

/// What came of moving a store.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Moving {
    /// It was moved; both stores hold this.
    Done(Vec<Content>),
    /// It had been moved before, and the database has it.
    Before,
}

impl Outbox {
    /// Which generations of binaries may use the store: the oldest and the newest.
    ///
    /// # Errors
    /// [`OutboxError`] when the store does not answer.
    pub async fn generations(&self) -> Result<(i64, i64), OutboxError> {
        let row = query(
            "-- Outbox::generations
             SELECT oldest, newest FROM schema_use",
        )
        .fetch_one(&self.pool)
        .await?;
        Ok((row.try_get("oldest")?, row.try_get("newest")?))
    }

    /// Copies a store of a folder to a new file, as it stands at one moment, while it is in use; false
    /// for a database, which has tools of its own.
    ///
    /// # Errors
    /// [`OutboxError`] when the file is there already or cannot be written.
    pub async fn copy_to(&self, file: &Path) -> Result<bool, OutboxError> {
        if matches!(self.pool, Pool::Postgres(_)) {
            return Ok(false);
        }
        // Made before SQLite would make it, for the sake of its mode. An empty file may be written to
        // (sqlite.org/lang_vacuum.html, "VACUUM INTO").
        let mut options = OpenOptions::new();
        options.create_new(true).write(true).mode(0o600);
        let made = options.open(file).map_err(OutboxError::Copy)?;
        query(
            "-- Outbox::copy_to
             VACUUM INTO $1",
        )
        .bind(file.display().to_string())
        .execute(&self.pool)
        .await?;
        made.sync_all().map_err(OutboxError::Copy)?;
        Ok(true)
    }
}

/// Moves the store of a folder into an empty database. Until the database has everything, the folder is
/// the store; from then on only the database is, and the folder refuses to be used. In between nobody
/// uses either.
///
/// A move that was interrupted is taken up by saying it again.
///
/// # Errors
/// [`OutboxError::InUse`], [`OutboxError::NotEmpty`] or [`OutboxError::Differs`] when nothing was moved;
/// other [`OutboxError`]s when a store fails.
pub async fn move_store(folder: &Path, database: &Database) -> Result<Moving, OutboxError> {
    if !sqlite::file(folder).exists() {
        return Err(OutboxError::Missing);
    }
    let opened = sqlite::open(folder, sqlite::Use::Moving).await?;
    let from = Pool::Sqlite(opened.pool.clone());
    let schema = Schema::of_this_binary();
    let words = database.words();
    let begun_before = match schema.prepare(&from).await {
        Ok(()) => false,
        Err(OutboxError::Moved(to)) if to == words => true,
        Err(other) => return Err(other),
    };
    let to = Pool::Postgres(postgres::connect(database).await?);
    schema.prepare(&to).await?;
    let moved = moved(&from, &to, begun_before, &words).await;
    opened.pool.close().await;
    drop(opened.used);
    moved
}

async fn moved(
    from: &Pool,
    to: &Pool,
    begun_before: bool,
    words: &str,
) -> Result<Moving, OutboxError> {
    let mut reading = from.begin().await?;
    let mut writing = to.begin().await?;
    query(
        "-- moving::moved (alone)
         LOCK TABLE target, session, precaution, lane, item, trail, trail_end, target_decision
         IN ACCESS EXCLUSIVE MODE",
    )
    .execute(&mut writing)
    .await?;
    if !empty(&mut writing).await? {
        return if begun_before && holds_end_of(&mut reading, &mut writing).await? {
            Ok(Moving::Before)
        } else {
            Err(OutboxError::NotEmpty)
        };
    }
    let mut held = Vec::new();
    for table in TABLES {
        held.push(table.copy(&mut reading, &mut writing).await?);
    }
    set_numbers(&mut reading, &mut writing).await?;
    for (was, is) in held.iter().zip(contents(&mut writing).await?) {
        if *was != is {
            return Err(OutboxError::Differs(was.table));
        }
    }
    // The folder refuses to be used before the database can be: at no moment are there two stores.
    query(
        "-- moving::moved (folder)
         UPDATE schema_use SET moved_to = $1",
    )
    .bind(words)
    .execute(&mut reading)
    .await?;
    reading.commit().await?;
    writing.commit().await?;
    Ok(Moving::Done(held))
}

async fn empty(transaction: &mut Transaction) -> Result<bool, OutboxError> {
    for table in TABLES {
        if !table.page(transaction, None).await?.is_empty() {
            return Ok(false);
        }
    }
    Ok(true)
}

/// True when the trail of the database has the last row of that of the folder.
async fn holds_end_of(
    reading: &mut Transaction,
    writing: &mut Transaction,
) -> Result<bool, OutboxError> {
    let last = trail::last_hash(reading).await?;
    let row = query(
        "-- moving::holds_end_of
         SELECT EXISTS (SELECT 1 FROM trail WHERE sha256 = $1) AS there",
    )
    .bind(last)
    .fetch_one(writing)
    .await?;
    row.try_get("there")
}

/// What the engines keep besides rows: the last numbers that were given, and which binaries the rows
/// are too new for.
async fn set_numbers(
    reading: &mut Transaction,
    writing: &mut Transaction,
) -> Result<(), OutboxError> {
    let given = trail::last_given(reading).await?;
    query(
        "-- moving::set_numbers (trail)
         UPDATE trail_end SET number = $1",
    )
    .bind(given)
    .execute(&mut *writing)
    .await?;
    query(
        "-- moving::set_numbers (decisions)
         SELECT setval(pg_get_serial_sequence('target_decision', 'number'),
           (SELECT coalesce(max(number), 0) + 1 FROM target_decision), FALSE) AS next",
    )
    .fetch_one(&mut *writing)
    .await?;
    let row = query(
        "-- moving::set_numbers (generation asked)
         SELECT oldest FROM schema_use",
    )
    .fetch_one(reading)
    .await?;
    query(
        "-- moving::set_numbers (generation)
         UPDATE schema_use SET oldest = $1 WHERE oldest < $1",
    )
    .bind(row.try_get::<i64>("oldest")?)
    .execute(writing)
    .await?;
    Ok(())
}
