//! Opening the `SQLite` file and bringing its schema up to date.

use crate::outbox::{Outbox, OutboxError};
use sqlx::migrate::{Migration, MigrationType, Migrator};
use sqlx::sqlite::{SqliteConnectOptions, SqliteJournalMode, SqlitePoolOptions, SqliteSynchronous};
use sqlx::{Row, SqliteTransaction};
use std::borrow::Cow;
use std::fs::{DirBuilder, File, OpenOptions};
use std::io;
use std::os::unix::fs::{DirBuilderExt, OpenOptionsExt};
use std::path::Path;
use std::time::Duration;

/// Landed migrations, numbered and only added; `migrations/SUMS` holds what landed.
const MIGRATIONS: &[(i64, &str, &str)] = &[
    (1, "spine", include_str!("migrations/sqlite/0001_spine.sql")),
    (2, "pause", include_str!("migrations/sqlite/0002_pause.sql")),
];

impl Outbox {
    /// Opens the store in a state folder, making both when they are missing: folder 0700, file
    /// 0600, because everything in it is about people.
    ///
    /// # Errors
    /// [`OutboxError`] when the folder cannot be used or the schema is newer than this binary.
    pub async fn open(folder: &Path) -> Result<Self, OutboxError> {
        DirBuilder::new()
            .recursive(true)
            .mode(0o700)
            .create(folder)
            .map_err(OutboxError::Folder)?;
        let file = folder.join("fascicle.sqlite");
        let alone = alone(folder).await.map_err(OutboxError::Folder)?;
        // Made before SQLite would make it, for the sake of its mode; never opened by us again,
        // because closing it would end the locks that SQLite holds on it in this process.
        if !file.exists() {
            let mut options = OpenOptions::new();
            options.create(true).append(true).mode(0o600);
            options.open(&file).map_err(OutboxError::Folder)?;
        }
        // WAL with FULL: a commit that returned survives a power cut (sqlite.org/pragma.html,
        // synchronous).
        let options = SqliteConnectOptions::new()
            .filename(&file)
            .journal_mode(SqliteJournalMode::Wal)
            .synchronous(SqliteSynchronous::Full)
            .foreign_keys(true)
            .busy_timeout(Duration::from_secs(20));
        let pool = SqlitePoolOptions::new()
            .max_connections(4)
            .connect_with(options)
            .await?;
        migrator().run(&pool).await?;
        drop(alone);
        Ok(Self { pool })
    }

    /// Opens the store of a folder that has one, for looking and deciding.
    ///
    /// # Errors
    /// [`OutboxError::Missing`] when there is none: a mistyped folder is not an empty queue.
    pub async fn open_existing(folder: &Path) -> Result<Self, OutboxError> {
        if folder.join("fascicle.sqlite").exists() {
            Self::open(folder).await
        } else {
            Err(OutboxError::Missing)
        }
    }

    /// Binds the name of a target to its record server for good.
    ///
    /// # Errors
    /// [`OutboxError::OtherServer`] when the name stands for another one in this store: what was
    /// accepted for one server is not delivered to another.
    pub async fn bind_target(&self, name: &str, base_sha256: &str) -> Result<(), OutboxError> {
        let row = sqlx::query(
            "-- Outbox::bind_target
             INSERT INTO target (name, base_sha256) VALUES (?1, ?2)
             ON CONFLICT (name) DO UPDATE SET name = excluded.name
             RETURNING base_sha256",
        )
        .bind(name)
        .bind(base_sha256)
        .fetch_one(&self.pool)
        .await?;
        if row.try_get::<String, _>("base_sha256")? == base_sha256 {
            Ok(())
        } else {
            Err(OutboxError::OtherServer(name.to_owned()))
        }
    }

    /// Closes the store once nothing uses it.
    pub async fn close(&self) {
        self.pool.close().await;
    }

    /// A transaction that takes the one write lock at its start, so that what it reads stays true
    /// until it commits.
    pub(super) async fn begin(&self) -> Result<SqliteTransaction<'static>, OutboxError> {
        Ok(self.pool.begin_with("BEGIN IMMEDIATE").await?)
    }
}

/// Waits until no other process opens the store: the change to WAL and the migrations answer
/// "database is locked" to the second of two, without waiting. The lock ends with the file.
///
/// It is a file of its own, because closing the one of the store would end the locks that `SQLite`
/// holds on it in this process (sqlite.org/howtocorrupt.html, section 2.2).
async fn alone(folder: &Path) -> io::Result<File> {
    let file = OpenOptions::new()
        .create(true)
        .append(true)
        .mode(0o600)
        .open(folder.join("fascicle.lock"))?;
    let locked = tokio::task::spawn_blocking(move || file.lock().map(|()| file));
    locked.await.map_err(io::Error::other)?
}

fn migrator() -> Migrator {
    let migrations: Vec<Migration> = MIGRATIONS
        .iter()
        .map(|(number, name, sql)| {
            let sql = sqlx::SqlSafeStr::into_sql_str(*sql);
            let name = Cow::Borrowed(*name);
            Migration::new(*number, name, MigrationType::Simple, sql, false)
        })
        .collect();
    Migrator {
        migrations: Cow::Owned(migrations),
        ..Migrator::DEFAULT
    }
}

#[cfg(test)]
mod tests {
    use super::MIGRATIONS;
    use crate::catalogue::sha256_hex;

    #[test]
    fn landed_migrations_are_as_they_landed() {
        let sums: Vec<String> = MIGRATIONS
            .iter()
            .map(|(number, name, sql)| {
                format!(
                    "{} sqlite/{number:04}_{name}.sql",
                    sha256_hex(sql.as_bytes())
                )
            })
            .collect();

        assert_eq!(sums.join("\n") + "\n", include_str!("migrations/SUMS"));
    }
}
