//! Opening the store of a place.

use crate::base::clock::Clock;
use crate::delivery::outbox::engine::Pool;
use crate::delivery::outbox::kept::Noted;
use crate::delivery::outbox::place::Place;
use crate::delivery::outbox::schema::Schema;
use crate::delivery::outbox::{Outbox, OutboxError, postgres, sqlite};
use std::path::Path;
use std::sync::Arc;

impl Outbox {
    /// Opens the store in a state folder, making both when they are missing.
    ///
    /// # Errors
    /// [`OutboxError`] when the folder cannot be used or the store is not for this binary.
    pub async fn open(folder: &Path) -> Result<Self, OutboxError> {
        let place = Place::Folder(folder.to_owned());
        Self::open_as(&place, &Schema::of_this_binary()).await
    }

    /// Opens the store of a place, making it when it is missing.
    ///
    /// # Errors
    /// [`OutboxError`] when the place cannot be used or the store is not for this binary.
    pub async fn open_at(place: &Place) -> Result<Self, OutboxError> {
        Self::open_as(place, &Schema::of_this_binary()).await
    }

    /// Opens the store of a place as a binary that knows this schema would.
    ///
    /// # Errors
    /// [`OutboxError`] when the place cannot be used or the store is not for such a binary.
    pub async fn open_as(place: &Place, schema: &Schema) -> Result<Self, OutboxError> {
        let (pool, used) = match place {
            Place::Folder(folder) => {
                let opened = sqlite::open(folder, sqlite::Use::Work).await?;
                let pool = Pool::Sqlite(opened.pool);
                schema.prepare(&pool).await?;
                drop(opened.alone);
                (pool, Some(Arc::new(opened.used)))
            }
            Place::Database(database) => {
                let pool = Pool::Postgres(postgres::connect(database).await?);
                schema.prepare(&pool).await?;
                (pool, None)
            }
        };
        Ok(Self {
            pool,
            generation: schema.generation(),
            noted: Noted::default(),
            clock: None,
            _used: used,
        })
    }

    /// The same store with a clock of its own, as a database elsewhere has one: it holds the leases
    /// whatever the clocks of those say who work with it.
    #[must_use]
    pub fn held_by(mut self, clock: Arc<dyn Clock>) -> Self {
        self.clock = Some(clock);
        self
    }

    /// Opens the store of a place that has one, for looking and deciding.
    ///
    /// # Errors
    /// [`OutboxError::Missing`] when there is none: a mistyped folder is not an empty queue.
    /// [`OutboxError::Folder`] when nobody can tell, because this user may not look.
    pub async fn open_existing(place: &Place) -> Result<Self, OutboxError> {
        if let Place::Folder(folder) = place {
            // A folder that may not be looked into is not one without a store.
            let there = sqlite::file(folder).try_exists();
            if !there.map_err(OutboxError::Folder)? {
                return Err(OutboxError::Missing);
            }
        }
        Self::open_at(place).await
    }

    /// Closes the store once nothing uses it.
    pub async fn close(&self) {
        match &self.pool {
            Pool::Sqlite(pool) => pool.close().await,
            Pool::Postgres(pool) => pool.close().await,
        }
    }
}
