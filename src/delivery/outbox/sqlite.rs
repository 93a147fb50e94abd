//! Opening the `SQLite` file of a folder.

use crate::delivery::outbox::OutboxError;
use sqlx::sqlite::{
    SqliteConnectOptions, SqliteJournalMode, SqlitePool, SqlitePoolOptions, SqliteSynchronous,
};
use std::fs::{DirBuilder, File, OpenOptions, TryLockError};
use std::io;
use std::os::unix::fs::{DirBuilderExt, OpenOptionsExt};
use std::path::{Path, PathBuf};
use std::time::Duration;

/// The file of a state folder.
pub(super) fn file(folder: &Path) -> PathBuf {
    folder.join("fascicle.sqlite")
}

/// An opened file, and what keeps others from what they must not do meanwhile.
pub(super) struct Opened {
    pub(super) pool: SqlitePool,
    /// Nobody else opens the store before this is dropped.
    pub(super) alone: File,
    /// Nobody moves the store before this is dropped.
    pub(super) used: File,
}

/// Opens the file in a folder, making both when they are missing: folder 0700, file 0600, because
/// everything in it is about people.
pub(super) async fn open(folder: &Path, to: Use) -> Result<Opened, OutboxError> {
    DirBuilder::new()
        .recursive(true)
        .mode(0o700)
        .create(folder)
        .map_err(OutboxError::Folder)?;
    let file = file(folder);
    let alone = alone(folder).await.map_err(OutboxError::Folder)?;
    let used = used(folder, to)?;
    // Made before SQLite would make it, for the sake of its mode; never opened by us again,
    // because closing it would end the locks that SQLite holds on it in this process.
    if !file.exists() {
        let mut options = OpenOptions::new();
        options.create(true).append(true).mode(0o600);
        options.open(&file).map_err(OutboxError::Folder)?;
    }
    // WAL with FULL: a commit that returned survives a power cut (sqlite.org/pragma.html,
    // synchronous). What is purged is overwritten (secure_delete).
    let options = SqliteConnectOptions::new()
        .filename(&file)
        .journal_mode(SqliteJournalMode::Wal)
        .synchronous(SqliteSynchronous::Full)
        .foreign_keys(true)
        .pragma("secure_delete", "ON")
        .pragma("cache_size", CACHE)
        .busy_timeout(Duration::from_secs(20));
    let pool = SqlitePoolOptions::new()
        .max_connections(4)
        .connect_with(options)
        .await?;
    Ok(Opened { pool, alone, used })
}

/// Of one connection, in KiB when negative (sqlite.org/pragma.html, `cache_size`): what leads to the rows of a
/// million sessions fits into it.
const CACHE: &str = "-16384";

/// What a store is opened for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Use {
    /// Working with it, beside others.
    Work,
    /// Moving it, which nobody may see half done.
    Moving,
}

/// Waits until no other process opens the store: the change to WAL and the migrations answer
/// "database is locked" to the second of two, without waiting. The lock ends with the file.
///
/// It is a file of its own, because closing the one of the store would end the locks that `SQLite`
/// holds on it in this process (sqlite.org/howtocorrupt.html, section 2.2).
async fn alone(folder: &Path) -> io::Result<File> {
    let file = beside(folder, "fascicle.lock")?;
    let locked = tokio::task::spawn_blocking(move || file.lock().map(|()| file));
    locked.await.map_err(io::Error::other)?
}

/// Held for as long as a store is open, by whoever has it open.
fn used(folder: &Path, to: Use) -> Result<File, OutboxError> {
    let file = beside(folder, "fascicle.used").map_err(OutboxError::Folder)?;
    let locked = match to {
        Use::Work => file.try_lock_shared(),
        Use::Moving => file.try_lock(),
    };
    match locked {
        Ok(()) => Ok(file),
        Err(TryLockError::WouldBlock) => Err(OutboxError::InUse),
        Err(TryLockError::Error(cause)) => Err(OutboxError::Folder(cause)),
    }
}

fn beside(folder: &Path, name: &str) -> io::Result<File> {
    let mut options = OpenOptions::new();
    options.create(true).append(true).mode(0o600);
    options.open(folder.join(name))
}
