//! A small FHIR R4 (4.0.1) server on `SQLite`, for trying out and training.
//!
//! Owns: eight resource types with their versions, search, transactions, and the refusals a real
//! server would give. In: HTTP on loopback. Out: FHIR JSON with its digits as they were written.
//! Never: a record system. It says so in every answer, has no users and no backup, and does not
//! listen beyond the machine it runs on.

mod bundle;
mod end;
mod guard;
mod http;
mod index;
mod interaction;
mod kind;
mod metadata;
mod outcome;
mod question;
mod reference;
mod rules;
mod search;
mod span;
mod state;
mod store;
mod transaction;

use crate::base::clock::Clock;
use crate::base::private::Private;
use crate::practice::state::Shared;
use sqlx::sqlite::{SqliteConnectOptions, SqliteJournalMode, SqlitePoolOptions};
use std::future::Future;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

/// An open practice server.
#[derive(Debug, Clone)]
pub struct Practice {
    shared: Shared,
}

/// What a request must bring to a guarded server.
#[derive(Debug, Clone)]
pub enum Guard {
    /// A bearer token (RFC 6750).
    Bearer(Private<String>),
    /// A name and a password (RFC 7617).
    Basic {
        /// The name.
        name: String,
        /// The password.
        password: Private<String>,
    },
}

/// Why the practice server cannot be opened or served.
#[derive(Debug, thiserror::Error)]
pub enum PracticeError {
    /// The file could not be made or given its permissions.
    #[error("the file of the practice server cannot be opened")]
    File(#[source] std::io::Error),
    /// The database could not be opened or prepared.
    #[error("the database of the practice server cannot be opened")]
    Database(#[from] sqlx::Error),
    /// The file holds another schema: it belongs to another program or another version.
    #[error("the file has schema {found}, this program knows {known}")]
    Schema {
        /// The number in the file.
        found: i64,
        /// The number this program writes.
        known: i64,
    },
    /// The listener can be reached from other machines.
    #[error("the practice server listens on loopback only")]
    NotLoopback,
    /// Listening failed.
    #[error("the practice server cannot listen")]
    Listen(#[source] std::io::Error),
}

impl Practice {
    /// Opens a server on a file, or in memory when there is no path.
    ///
    /// # Errors
    /// [`PracticeError`] when the file cannot be opened or is not ours.
    pub async fn open(path: Option<&Path>, clock: Arc<dyn Clock>) -> Result<Self, PracticeError> {
        let options = match path {
            Some(path) => {
                own_file(path).await?;
                let options = SqliteConnectOptions::new().filename(path);
                options.journal_mode(SqliteJournalMode::Wal)
            }
            None => "sqlite::memory:".parse::<SqliteConnectOptions>()?,
        };
        let options = options
            .foreign_keys(true)
            .busy_timeout(Duration::from_secs(10));
        // One connection: a database in memory lives in it, and one request changes the store at
        // a time, so two conditional creates cannot both find nothing.
        let pool = SqlitePoolOptions::new()
            .min_connections(1)
            .max_connections(1)
            .idle_timeout(None)
            .max_lifetime(None)
            .connect_with(options)
            .await?;
        let mut open = pool.begin_with("BEGIN IMMEDIATE").await?;
        let found = store::prepare(&mut open).await?;
        open.commit().await?;
        if found != store::SCHEMA {
            let known = store::SCHEMA;
            return Err(PracticeError::Schema { found, known });
        }
        let guard = None;
        Ok(Self {
            shared: Shared { pool, clock, guard },
        })
    }

    /// The same server, answering only who brings the secret.
    #[must_use]
    pub fn guarded(mut self, guard: Guard) -> Self {
        self.shared.guard = Some(match guard {
            Guard::Bearer(token) => guard::Guard::bearer(token),
            Guard::Basic { name, password } => guard::Guard::basic(&name, &password),
        });
        self
    }

    /// The addresses of the server, under `/fhir`.
    pub fn router(&self) -> axum::Router {
        http::router(self.shared.clone())
    }

    /// Answers on a listener until `stop` is done, then finishes what it has begun.
    ///
    /// # Errors
    /// [`PracticeError::NotLoopback`] when other machines could reach the listener.
    pub async fn serve(
        self,
        listener: tokio::net::TcpListener,
        stop: impl Future<Output = ()> + Send + 'static,
    ) -> Result<(), PracticeError> {
        let address = listener.local_addr().map_err(PracticeError::Listen)?;
        if !address.ip().is_loopback() {
            return Err(PracticeError::NotLoopback);
        }
        axum::serve(listener, self.router())
            .with_graceful_shutdown(stop)
            .await
            .map_err(PracticeError::Listen)?;
        self.shared.pool.close().await;
        Ok(())
    }
}

/// Makes the file so that only its owner may read it; `SQLite` gives its side files the same mode.
async fn own_file(path: &Path) -> Result<(), PracticeError> {
    let mut options = tokio::fs::OpenOptions::new();
    options.read(true).write(true).create(true).truncate(false);
    #[cfg(unix)]
    options.mode(0o600);
    options.open(path).await.map_err(PracticeError::File)?;
    Ok(())
}
